"""A written plan opened again: its job, lines and map as they were when it was made, out of the plan's own tables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pydantic import ValidationError

from layoutplan.errors import OutputError
from layoutplan.inputs.corridor import LongitudeFrame
from layoutplan.inputs.door import allowing
from layoutplan.inputs.gaps import AREA_THEMES, FEW_FEATURES, GAPS, causes_of, joined
from layoutplan.inputs.model import FEATURE_COLUMNS, TOWER_COLUMNS, TOWER_FIGURES, FaultTable, LineInput
from layoutplan.inputs.osm_line import branch_of
from layoutplan.inputs.provenance import sha256_of
from layoutplan.job import Job, Line
from layoutplan.job.terrain import Terrain
from layoutplan.line import LineModel, build_lines
from layoutplan.store.record import TABLES_NAME
from layoutplan.terrain import Dem, OpenedTerrain, open_terrain
from layoutplan.text import clean
from layoutplan.written.job import found_terrain, recorded_job
from layoutplan.written.read import Written, read_plan
from layoutplan.written.sound import taken_apart

_NEEDED = ("towers", "spans", "electrodes", "obstacles", "checks")


@dataclass(frozen=True, slots=True)
class Reopened:
    """What a plan was made from.

    Attributes
    ----------
    job : Job
        Its settings; the paths in it are names only.
    model : LineModel
    faults : list of (Line, FaultTable or None)
        Every line, branches included.
    features : GeoDataFrame
        The map as the plan holds it, columns ``FEATURE_COLUMNS``.
    uncovered : list of list of str
        Codes of the causes for which the map does not cover each tower of ``model``; what is silent in parts only is
        among the features.
    tables : dict of DataFrame
        The plan's tables, geometries in EPSG:4326 with the longitudes of ``frame``.
    frame : LongitudeFrame
    grid_crs : str
    notes : tuple of str
        What could not be opened again.
    dem : Dem
        The ground, where its files were found.
    plan_number : str
    """

    job: Job
    model: LineModel
    faults: list[tuple[Line, FaultTable | None]]
    features: gpd.GeoDataFrame
    uncovered: list[list[str]]
    tables: Mapping[str, Any]
    frame: LongitudeFrame
    grid_crs: str
    notes: tuple[str, ...]
    dem: Dem = field(default_factory=Dem)
    plan_number: str = ""


def reopen(folder: str | Path, job_file: str | Path | None = None) -> Reopened:
    """Open the plan in a folder again.

    Parameters
    ----------
    folder : str or Path
        Of the plan.
    job_file : str or Path, optional
        The job file of the plan, or one laid over it: its ``terrain`` names the elevation model's files, if they are no
        longer where they lay beside the plan.

    Returns
    -------
    Reopened
        Its job, tables and inputs as planning had them.

    Raises
    ------
    OutputError
        If the folder holds no plan, one of another version, or one whose tables have been taken apart.
    LayoutPlanError
        If the job file or its elevation model cannot be used.
    """
    with taken_apart(folder):
        return _reopened(Path(folder), job_file)


def _reopened(folder: Path, job_file: str | Path | None) -> Reopened:
    written = read_plan(folder)
    record, tables = dict(written.record or {}), written.tables
    missing = [name for name in _NEEDED if name not in tables]
    if missing:
        raise OutputError(f"'{folder}': plan.gpkg has no layer {', '.join(missing)}. Plan again into this folder.")
    frame = LongitudeFrame.around(tables["towers"][["lon", "lat"]].to_numpy(dtype=float))
    tables = {name: _in_degrees(table, frame) for name, table in tables.items()}
    terrain, lost = found_terrain(record, Path(folder), job_file)
    job = _job(record, folder, terrain)
    lines = [_line_input(line_id, job, tables) for line_id in dict.fromkeys(tables["spans"]["line_id"])]
    model = build_lines(lines)
    gaps = tables["towers"].set_index(["line_id", "tower_id"])["map_gaps"].fillna("")
    keys = list(zip(model.towers.line_id.tolist(), model.towers.tower_id.tolist(), strict=True))
    with allowing(job):
        opened = open_terrain(terrain, model.towers.lonlat_deg, 2 * job.rules.reach_m)
    return Reopened(
        job=job,
        model=model,
        faults=[(line.line, line.faults) for line in lines],
        features=tables["obstacles"][list(FEATURE_COLUMNS)],
        uncovered=[_of_tower(stored) for stored in gaps.reindex(keys, fill_value=joined([FEW_FEATURES])).tolist()],
        tables=tables,
        frame=frame,
        grid_crs=str(record["grid_crs"]),
        notes=(*_told(written), *_notes(record, opened, job_file, lost), *opened.problems),
        dem=opened.dem,
        plan_number=clean(record.get("plan_number")),
    )


def _of_tower(stored: str) -> list[str]:
    """Causes that hold for the whole surroundings of a tower."""
    return [cause for cause in causes_of(stored) if GAPS[cause].theme not in AREA_THEMES]


def _told(written: Written) -> tuple[str, ...]:
    """Notes on the folder's files; not that stakes were moved, which is what is looked into."""
    return tuple(text for text in written.notes if text != f"changed after the plan was written: {TABLES_NAME}")


def _notes(
    record: dict[str, Any], opened: OpenedTerrain, job_file: str | Path | None, lost: tuple[str, ...]
) -> tuple[str, ...]:
    settings = record["settings"]
    notes = []
    if settings.get("terrain", {}).get("files"):
        planned = {file["sha256"] for file in record["inputs"] if file["used_for"] == "terrain"}
        if not opened.files:
            notes.append(
                "slopes, drops and lengths on the ground are not checked: the elevation model is not part of the plan; "
                "leads are taken as long as on flat ground. "
                + (
                    f"{', '.join(map(clean, lost))} is missing, moved or changed. "
                    "Name the plan's job file with --job to have them checked"
                    if job_file is None
                    else f"'{job_file}' names none under [terrain]"
                )
            )
        elif planned != {sha256_of(path) for path in opened.files}:
            notes.append("the elevation model has changed since the plan was made")
    return tuple(notes)


def _in_degrees(table: pd.DataFrame, frame: LongitudeFrame) -> pd.DataFrame:
    if not isinstance(table, gpd.GeoDataFrame):
        return table
    lonlat = table.to_crs(4326) if table.crs is not None else table
    return lonlat.set_geometry(frame.geometries(lonlat.geometry.to_numpy()), crs="EPSG:4326")


def _job(record: dict[str, Any], folder: str | Path, terrain: Terrain) -> Job:
    try:
        job = recorded_job(record, terrain={})  # the elevation model is not part of the plan
        return job.model_copy(update={"terrain": terrain})
    except (KeyError, ValidationError) as err:
        raise OutputError(
            f"'{folder}': the settings in plan.json cannot be used. Plan again into this folder."
        ) from err


def _line_input(line_id: str, job: Job, tables: Mapping[str, Any]) -> LineInput:
    """Line as it was read: towers and course out of its spans, the towers' figures out of their table."""
    spans = tables["spans"][tables["spans"]["line_id"] == line_id]
    lonlat = shapely.get_coordinates(spans.geometry.to_numpy()).reshape(-1, 2, 2)
    course = shapely.LineString(np.vstack((lonlat[:, 0], lonlat[-1:, 1])))
    places: dict[str, Any] = {}
    for start, end, ends in zip(spans["from_tower"], spans["to_tower"], lonlat, strict=True):
        if start:
            places.setdefault(start, ends[0])
        if end:
            places[end] = ends[1]  # the last piece of a bent span ends at the tower
    known = tables["towers"][tables["towers"]["line_id"] == line_id].set_index("tower_id")
    towers = known.reindex(list(places))
    structure = towers["structure"].fillna("").to_numpy(dtype=object)
    figures = {name: towers[name].to_numpy(dtype=float) for name in TOWER_FIGURES}
    columns = {
        "tower_id": list(places),
        "structure": structure,
        **figures,
        "order": np.arange(len(places), dtype=float),
    }
    points = shapely.points(np.array(list(places.values())))
    table = gpd.GeoDataFrame(columns, geometry=points, crs="EPSG:4326")[list(TOWER_COLUMNS)]
    faults = FaultTable(
        tuple(places),
        towers["fault_from_start_ka"].to_numpy(dtype=float) * 1e3,
        towers["fault_from_end_ka"].to_numpy(dtype=float) * 1e3,
    )
    return LineInput(_line(line_id, job), table, (course,), True, f"line '{line_id}' of the plan", faults=faults)


def _line(line_id: str, job: Job) -> Line:
    for line in job.lines:
        if line.id == line_id:
            return line
    base = next(line for line in job.lines if line.id == line_id.rpartition("-")[0])  # a branch found in an extract
    return branch_of(base, line_id)
