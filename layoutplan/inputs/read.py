"""From a job to everything its files hold: the one entrance to reading."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from layoutplan.inputs.corridor import Corridor, LongitudeFrame
from layoutplan.inputs.door import as_job_allows
from layoutplan.inputs.evidence import thin
from layoutplan.inputs.extracts import Extracts
from layoutplan.inputs.features import no_features
from layoutplan.inputs.land import read_land
from layoutplan.inputs.lines import read_lines
from layoutplan.inputs.map_layer import MapLayer
from layoutplan.inputs.model import Inputs, LineInput
from layoutplan.inputs.osm_layer import osm_layer
from layoutplan.inputs.polygons import read_coverage
from layoutplan.inputs.provenance import Ledger, ages
from layoutplan.inputs.silence import find_silence
from layoutplan.inputs.vector_layer import vector_layer
from layoutplan.job import Job

Progress = Callable[[str, float], None]


@as_job_allows
def read_inputs(job: Job, progress: Progress | None = None) -> Inputs:
    """Read every file a job names: lines and towers first, then the map, in the towers' corridor only.

    Parameters
    ----------
    job : Job
        All that names files.
    progress : callable, optional
        Called with what is being read and the share of the reading done, 0 to 1.

    Returns
    -------
    Inputs
        Longitudes are continuous: where a tower lies within two degrees of the antimeridian they may exceed ±180°.

    Raises
    ------
    InputError
        If a file cannot be used as it stands; the message states which, where in it, and how to fix it.
    """
    report = _forwards(progress or _silent)
    ledger = Ledger()
    extracts = Extracts(job, report)
    lines, problems = read_lines(job, extracts, ledger, report)
    towers = np.concatenate([shapely.get_coordinates(line.towers.geometry.to_numpy()) for line in lines])
    frame = LongitudeFrame.around(towers)
    corridor = Corridor.around(frame.points(towers), _margin_m(job), frame)
    coverage, notes = read_coverage(job, corridor, ledger)
    land = read_land(job, corridor, ledger)
    layers = _read_layers(job, corridor, extracts, lines, ledger, report)
    report("fingerprints of the files", 0.95)
    files = ledger.files()
    features = _together([*(layer.features for layer in layers), land.features])
    extents = tuple(frame.geometries(np.array(extracts.boxes(), dtype=object)).tolist())
    silence = find_silence(job, layers, features, corridor, frame.points(towers), extents, coverage)
    report("inputs read", 1.0)
    return Inputs(
        lines=tuple(_in_frame(line, frame) for line in lines),
        features=_together([features, *silence.features]),
        evidence=thin(np.concatenate([np.empty((0, 2)), *(layer.evidence for layer in layers)])),
        cover=silence.cover,
        extents=extents,
        coverage=coverage,
        files=files,
        problems=(
            *problems,
            *notes,
            *land.problems,
            *(text for layer in layers for text in layer.problems),
            *silence.problems,
            *ages(files, job.work.days),
        ),
        land=land.parcels,
        assumptions=(
            *(text for line in lines for text in line.assumptions),
            *(text for layer in layers for text in layer.assumptions),
            *silence.assumptions,
        ),
    )


def as_read(job: Job, lines: Sequence[LineInput]) -> Job:
    """Return the job with its lines as they were read: the map may fill in what it leaves open.

    Parameters
    ----------
    job : Job
        As loaded.
    lines : sequence of LineInput
        As read; branches are left out.

    Returns
    -------
    Job
    """
    read = {line.line.id: line.line for line in lines}
    return job.model_copy(update={"lines": tuple(read.get(line.id, line) for line in job.lines)})


def _margin_m(job: Job) -> float:
    """Return how far from a tower the map matters: beyond the farthest stake's keep-out, to see whether it reaches."""
    keep_out = max(row.keep_out_m + row.width_m / 2 for row in job.obstacle_classes.values())
    # twice the reach, because a way out for a tower without layout may be looked for with a longer reel
    to_the_road = job.access.radius_m if job.access.find_ways else 0.0
    return max(2 * job.rules.reach_m + keep_out, job.rules.reach_m + job.coverage.radius_m, to_the_road)


def _read_layers(
    job: Job, corridor: Corridor, extracts: Extracts, lines: Sequence[LineInput], ledger: Ledger, report: Progress
) -> list[MapLayer]:
    own_ways = _own_ways(lines)
    layers = []
    for number, layer in enumerate(job.layers):
        report(f"map layer {layer.path.name}", 0.2 + 0.7 * number / len(job.layers))
        if layer.is_osm:
            extract = extracts.read(layer.path, corridor)
            layers.append(osm_layer(layer, extract, corridor, own_ways[layer.path]))
            ledger.note(layer.path, "map", data_date=extract.data_date, attribution=extracts.credit(layer.path))
        else:
            layers.append(vector_layer(layer, f"layers[{number}]", corridor, job.obstacle_classes))
            ledger.note(layer.path, "map", attribution=layer.attribution)
    return layers


def _own_ways(lines: Sequence[LineInput]) -> dict[Path, list[int]]:
    """Ways of each extract that are planned lines."""
    ways: dict[Path, list[int]] = defaultdict(list)
    for line in lines:
        if line.line.osm is not None:
            ways[line.line.osm.path] += line.osm_way_ids
    return ways


def _in_frame(line: LineInput, frame: LongitudeFrame) -> LineInput:
    if frame.centre_deg is None:
        return line
    towers = line.towers.set_geometry(frame.geometries(line.towers.geometry.to_numpy()), crs="EPSG:4326")
    course = tuple(frame.geometries(np.array(line.course, dtype=object)).tolist())
    return replace(line, towers=towers, course=course)


def _together(tables: Sequence[gpd.GeoDataFrame]) -> gpd.GeoDataFrame:
    filled = [table for table in tables if len(table)]
    if not filled:
        return no_features()
    return gpd.GeoDataFrame(pd.concat(filled, ignore_index=True), crs="EPSG:4326")


def _forwards(progress: Progress) -> Progress:
    """Return a reporter whose share never falls back, whatever order files are read in."""
    reached = 0.0

    def report(what: str, share: float) -> None:
        nonlocal reached
        reached = max(reached, share)
        progress(what, reached)

    return report


def _silent(_what: str, _share: float) -> None:
    pass
