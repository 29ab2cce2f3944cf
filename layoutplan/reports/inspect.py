"""What was found in a job's inputs, without planning anything."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.exposure import build_network, require_figures
from layoutplan.inputs import Inputs, map_gaps, read_inputs
from layoutplan.inputs.door import as_job_allows
from layoutplan.inputs.gaps import SILENT_CLASSES, joined
from layoutplan.inputs.words import counted
from layoutplan.job import Job
from layoutplan.layout.silence import gap_text
from layoutplan.line import LineModel, build_lines
from layoutplan.line.geodesy import inverse
from layoutplan.line.grid import require_projected
from layoutplan.outputs import named_crs, require_formats
from layoutplan.planning.fixed import fixed_stakes
from layoutplan.planning.pipeline import heights_reach_m
from layoutplan.terrain import OpenedTerrain, open_terrain

ANGLE_TOWER_DEG = 2.0  # a tower with a greater deflection is called an angle tower (judgement)


@as_job_allows
def inspect_job(job: Job) -> list[str]:
    """Read all inputs of a job and describe them, line by line.

    Parameters
    ----------
    job : Job
        As loaded.

    Returns
    -------
    list of str

    Raises
    ------
    LayoutPlanError
        As for planning.
    """
    require_formats(job.output.formats)
    require_projected(job.output.grid_crs)
    named_crs(job.output.crs)
    inputs = read_inputs(job)
    model = build_lines(inputs.lines)
    ground = open_terrain(job.terrain, model.towers.lonlat_deg, heights_reach_m(job, model.towers))
    fixed_stakes(job, model.towers)
    network = build_network(job, model, [(source.line, source.faults) for source in inputs.lines])
    require_figures(network)
    seen = [*_lines(model), *_map(inputs), *_coverage(job, inputs, model), *_heights(ground)]
    given = [*inputs.assumptions, *model.assumptions, *network.assumptions, *ground.assumptions]
    return [job.title, *seen, *_rest(inputs, model, ground, given)]


def _lines(model: LineModel) -> Iterator[str]:
    towers, spans = model.towers, model.spans
    for line_id in dict.fromkeys(towers.line_id.tolist()):
        mine = towers.line_id == line_id
        offset, turn = model.offsets_m[mine], towers.deflection_deg[mine]
        length = towers.chainage_m[mine]
        yield f"line '{line_id}': {counted(int(mine.sum()), 'tower')} over {(length[-1] - length[0]) / 1000:.2f} km"
        between = (spans.line_id == line_id) & (spans.from_tower != "") & (spans.to_tower != "")
        _, size = inverse(spans.start_deg[between], spans.end_deg[between])
        if len(size):
            yield f"  spans {size.min():.0f} to {size.max():.0f} m, median {np.median(size):.0f} m"
        yield f"  towers off the centreline: median {np.median(offset):.1f} m, at most {offset.max():.1f} m"
        angle = np.abs(turn) >= ANGLE_TOWER_DEG
        turned = zip(towers.tower_id[mine][angle], turn[angle], strict=True)
        names = [f"{name} ({value:+.0f})" for name, value in turned]
        yield f"  {counted(int(angle.sum()), 'angle tower')} (degrees, right is positive): {_some(names, 12)}"


def _map(inputs: Inputs) -> Iterator[str]:
    yield f"map: {counted(len(inputs.features), 'feature')} in the corridor"
    counts = inputs.features.groupby(["source", "obstacle_class"], sort=True).size()
    last = None
    for (source, name), count in counts.items():
        if source != last:
            yield f"  {source}"
            last = source
        yield f"    {count:6d}  {name}"


def _coverage(job: Job, inputs: Inputs, model: LineModel) -> Iterator[str]:
    towers = model.towers
    covers, causes = map_gaps(job, inputs, towers.lonlat_deg)
    yield f"coverage: the map covers {covers.sum()} of {len(towers)} towers"
    stored = [joined(found) for found in causes]
    for found in dict.fromkeys(filter(None, stored)):
        names = towers.tower_id[[each == found for each in stored]].tolist()
        yield f"  {gap_text(found, job)}: {_some(names, 12)}"
    for name, cause in SILENT_CLASSES.items():
        areas = inputs.features.geometry[inputs.features["obstacle_class"] == name]
        if len(areas):
            held = [towers.tower_id[row] for row in _held(areas.to_numpy(), towers.lonlat_deg)]
            yield f"  {gap_text(joined([cause]), job)}: {len(areas)} area(s); towers in them: {_some(held, 12)}"


def _held(areas: NDArray[np.object_], lonlat_deg: FloatArray) -> list[int]:
    inside = shapely.STRtree(areas).query(shapely.points(lonlat_deg), predicate="intersects")[0]
    return sorted(set(inside.tolist()))


def _heights(ground: OpenedTerrain) -> Iterator[str]:
    known = ground.tower_height_m[~np.isnan(ground.tower_height_m)]
    if len(known):
        yield (
            f"terrain: heights known at {len(known)} of {len(ground.tower_height_m)} towers, "
            f"{known.min():.0f} to {known.max():.0f} m"
        )
    else:
        yield "terrain: no elevation model"


def _rest(inputs: Inputs, model: LineModel, ground: OpenedTerrain, given: Sequence[str]) -> Iterator[str]:
    yield "files:"
    for file in inputs.files:
        date = f", data of {file.data_date}" if file.data_date else ""
        yield f"  {file.path.name}: {file.used_for}{date}, SHA-256 {file.sha256[:16]}…"
    for path in ground.files:
        yield f"  {path.name}: terrain"
    problems = [*inputs.problems, *model.problems, *ground.problems]
    yield f"problems: {len(problems) or 'none'}"
    yield from (f"  - {text}" for text in problems)
    yield "assumptions:"
    yield from (f"  - {text}" for text in dict.fromkeys(given))


def _some(names: list[str], most: int) -> str:
    return (", ".join(names[:most]) + (f", … {len(names) - most} more" if len(names) > most else "")) or "none"
