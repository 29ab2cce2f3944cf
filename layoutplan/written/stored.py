"""A written plan as it was: every table, its settings and its words, out of ``plan.gpkg`` and ``plan.json``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from layoutplan.errors import OutputError
from layoutplan.inputs.corridor import LongitudeFrame
from layoutplan.inputs.model import InputFile
from layoutplan.inputs.provenance import sha256_of
from layoutplan.layout.model import Plan
from layoutplan.layout.notes import CAUTIONS, job_assumptions
from layoutplan.layout.schema import TABLES
from layoutplan.outputs.plan_number import plan_number
from layoutplan.store.record import RECORD_NAME
from layoutplan.text import clean
from layoutplan.written.job import found_terrain, recorded_job
from layoutplan.written.limits_again import changed_limits
from layoutplan.written.places import loose, misplaced
from layoutplan.written.read import read_plan
from layoutplan.written.sound import taken_apart

_DECIMALS = 9  # of a degree, as in the tables of a plan
_KINDS = {"gpd.GeoDataFrame": True, "pd.DataFrame": False}


@dataclass(frozen=True, slots=True)
class Stored:
    """A plan read back.

    Attributes
    ----------
    plan : Plan
        Longitudes within [-180, 180) as in its files; the paths in its job are names only; no timings.
    changed : str
        A note if ``plan.gpkg`` is no longer as it was written; empty if it is.
    notes : tuple of str
        Further notes: files of another plan beside it, cautions that were missing in its record.
    lost : tuple of str
        Elevation files that were not found again: what is drawn from them will be missing.
    """

    plan: Plan
    changed: str
    notes: tuple[str, ...] = ()
    lost: tuple[str, ...] = ()


def stored_plan(folder: str | Path, job_file: str | Path | None = None) -> Stored:
    """Read the plan in a folder back, so that further formats can be made from it.

    Parameters
    ----------
    folder : str or Path
        Where ``plan.gpkg`` and ``plan.json`` are.
    job_file : str or Path, optional
        Its ``terrain`` names the elevation model's files, if they are no longer where they lay beside the plan.

    Returns
    -------
    Stored
        The plan, with notes on it.

    Raises
    ------
    OutputError
        If the folder holds no plan, one of another version, one whose tables have been taken apart, or one whose
        towers, stakes or leads were moved since: their figures would no longer belong to them.
    """
    folder = Path(folder)
    written = read_plan(folder)
    record, read = dict(written.record or {}), written.tables
    read.setdefault("pairs", pd.DataFrame())  # earlier plans looked for none
    missing = [name for name in TABLES if name not in read]
    if missing:
        raise OutputError(f"'{folder}': plan.gpkg has no layer {', '.join(missing)}. Plan again into this folder.")
    with taken_apart(folder):
        frame = LongitudeFrame.around(read["towers"][["lon", "lat"]].to_numpy(dtype=float))
        tables = {
            name: _in_degrees(read[name], frame) if table.geometry else read[name] for name, table in TABLES.items()
        }
        plan, further = _plan(record, tables)
        plan, lost = _with_ground(plan, record, folder, job_file)
        if odd := changed_limits(plan.exposures):
            raise OutputError(
                f"'{folder}': {len(odd)} exposure(s) in plan.gpkg have a limit or ratio that this program does not "
                f"give: {clean(odd[0])}. They were changed, or another version made them. Plan again into this folder."
            )
        changed = "" if written.as_written else _require_in_place(plan, str(record.get("plan_number")), folder)
        return Stored(plan, changed, (*written.notes, *further), lost)


def _plan(record: Mapping[str, Any], tables: Mapping[str, Any]) -> tuple[Plan, list[str]]:
    """Return the plan, its cautions and assumptions as far as this program knows them, and what its record lacked."""
    job = recorded_job(record)
    assumed = [text for text in job_assumptions(job) if text not in record["assumptions"]]
    unsaid = [text for text in CAUTIONS if text not in record["cautions"]]
    foreign = [text for text in record["cautions"] if text not in CAUTIONS]
    further = [f"{RECORD_NAME} lacked this caution: {text}" for text in unsaid]
    further += [f"{RECORD_NAME} lacked this assumption: {text}" for text in assumed]
    further += [
        f"{RECORD_NAME} holds a caution that is none of this program; it was left out: {text}" for text in foreign
    ]
    plan = Plan(
        job=job,
        files=tuple(
            InputFile(Path(file["file"]), file["sha256"], file["used_for"], file["data_date"], file["attribution"])
            for file in record["inputs"]
        ),
        assumptions=(*record["assumptions"], *assumed),
        cautions=CAUTIONS,
        problems=tuple(record["problems"]),
        grid_crs=str(record["grid_crs"]),
        **tables,
    )
    return plan, further


def _with_ground(
    plan: Plan, record: Mapping[str, Any], folder: Path, job_file: str | Path | None
) -> tuple[Plan, tuple[str, ...]]:
    """Return the plan with its elevation files where they lie now, and the names of those that were not found.

    Raises
    ------
    OutputError
        The job file names other ground than the plan was made with: its number would no longer tell the two apart.
    """
    terrain, lost = found_terrain(record, folder, job_file)
    if lost:  # a place where nothing lies: never a file of that name that happens to be there
        terrain = terrain.model_copy(update={"files": tuple(folder / ".layoutplan" / name for name in lost)})
    elif job_file is not None and plan.job.terrain.files:
        planned = {file.sha256 for file in plan.files if file.used_for == "terrain"}
        if not planned <= {sha256_of(path) for path in terrain.files}:
            raise OutputError(
                f"'{job_file}': the files under [terrain] are not those that the plan was made with. Name those, or "
                "plan again."
            )
    output = plan.job.output
    if output.font:  # named by somebody else: nowhere either, and the sheets say that it is missing
        output = output.model_copy(update={"font": folder / ".layoutplan" / output.font.name})
    return replace(plan, job=plan.job.model_copy(update={"terrain": terrain, "output": output})), lost


def _in_degrees(table: gpd.GeoDataFrame, frame: LongitudeFrame) -> gpd.GeoDataFrame:
    """Leave degrees to the bit as they are; bring other systems back to them, as finely as a plan keeps them."""
    if table.crs is None or table.crs == "EPSG:4326":
        return table
    lonlat = frame.geometries(table.to_crs(4326).geometry.to_numpy())
    rounded = shapely.transform(lonlat, lambda xy: np.round(xy, _DECIMALS) + 0.0)
    return table.set_geometry(gpd.GeoSeries(rounded, index=table.index, crs="EPSG:4326"), crs="EPSG:4326")


def _require_in_place(plan: Plan, number: str, folder: Path) -> str:
    """Refuse a plan in which points no longer lie where their figures place them, or these are not those of the plan.

    The plan's number is made from its towers' and stakes' figures; the leads' are held against both.
    """
    electrodes, leads = plan.electrodes, plan.leads
    points = (
        *misplaced(plan.towers, 0),
        *misplaced(electrodes, 0),
        *misplaced(leads, -1),
        *loose(leads, electrodes, plan.towers),
    )
    away = list(dict.fromkeys(points))
    pairs = [set(zip(table["line_id"], table["tower_id"], table["role"], strict=True)) for table in (electrodes, leads)]
    away += [f"{tower} {role}" for _, tower, role in sorted(pairs[0] ^ pairs[1], key=str)]
    if away:
        raise OutputError(
            f"'{folder}': plan.gpkg was changed: {', '.join(map(clean, away[:5]))} no longer lie(s) where the plan's "
            "figures say. Check them with 'layoutplan check', enter them as [[fixed]] in the job, and "
            "plan again."
        )
    if plan_number(plan) != number:
        raise OutputError(
            f"'{folder}': the towers and stakes in plan.gpkg, with the settings in {RECORD_NAME}, are not those of "
            f"plan {clean(number)}: their places, names or statuses, or the settings, were changed. Plan again into "
            "this folder."
        )
    return (
        "plan.gpkg was changed after the plan was written; towers, stakes and leads lie where they lay, but whether "
        "their other figures are those of the plan is not known"
    )
