"""A written plan as it was: every table, its settings and its words, out of ``plan.gpkg`` and ``plan.json``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from layoutplan.errors import OutputError
from layoutplan.inputs.corridor import Frame
from layoutplan.inputs.model import InputFile
from layoutplan.planning.model import Plan
from layoutplan.planning.read import (
    TABLES_NAME,
    read_plan_record,
    read_plan_tables,
    recorded_job,
    tables_sha256,
)
from layoutplan.text import clean

_DECIMALS = 9  # of a degree, as in the tables of a plan
_SAME_PLACE_DEG = 2e-7  # a few centimetres at most; coordinate systems turned there and back give millimetres
_KINDS = {"gpd.GeoDataFrame": True, "pd.DataFrame": False}


@dataclass(frozen=True, slots=True)
class Stored:
    """A plan read back.

    Attributes
    ----------
    plan : Plan
        Longitudes within [-180, 180) as in its files; the paths in its job are names only; no timings.
    changed : str
        What is to be said if ``plan.gpkg`` is no longer as it was written; empty if it is.
    """

    plan: Plan
    changed: str


def stored_plan(folder: str | Path) -> Stored:
    """Read the plan in a folder back, so that further formats can be made from it.

    Parameters
    ----------
    folder : str or Path
        Where ``plan.gpkg`` and ``plan.json`` are.

    Raises
    ------
    OutputError
        The folder holds no plan, one of another version, one whose tables have been taken apart, or one whose towers,
        stakes or leads were moved since: their figures would no longer belong to them.
    """
    folder = Path(folder)
    record, read = read_plan_record(folder), read_plan_tables(folder)
    read.setdefault("pairs", pd.DataFrame())  # earlier plans looked for none
    missing = [name for name in _tables() if name not in read]
    if missing:
        raise OutputError(f"'{folder}': plan.gpkg has no layer {', '.join(missing)}. Plan again into this folder.")
    try:
        frame = Frame.around(read["towers"][["lon", "lat"]].to_numpy(dtype=float))
        tables = {
            name: _in_degrees(read[name], frame) if spatial else read[name] for name, spatial in _tables().items()
        }
        changed = "" if _as_written(record, folder) else _require_in_place(tables, folder)
        return Stored(_plan(record, tables), changed)
    except (AttributeError, KeyError, TypeError, ValueError) as err:  # whatever was taken away; ValidationError too
        raise OutputError(
            f"'{folder}': plan.json or plan.gpkg was taken apart ({type(err).__name__}: {clean(err)[:100]}). "
            "Plan again into this folder."
        ) from err


def _plan(record: Mapping[str, Any], tables: Mapping[str, Any]) -> Plan:
    return Plan(
        job=recorded_job(record),
        files=tuple(
            InputFile(Path(file["file"]), file["sha256"], file["used_for"], file["data_date"], file["attribution"])
            for file in record["inputs"]
        ),
        assumptions=tuple(record["assumptions"]),
        cautions=tuple(record["cautions"]),
        problems=tuple(record["problems"]),
        grid_crs=str(record["grid_crs"]),
        **tables,
    )


def _tables() -> dict[str, bool]:
    """Tables of a plan, and whether they have geometry."""
    return {item.name: _KINDS[str(item.type)] for item in fields(Plan) if item.type in _KINDS}


def _in_degrees(table: gpd.GeoDataFrame, frame: Frame) -> gpd.GeoDataFrame:
    """Leave degrees to the bit as they are; bring other systems back to them, as finely as a plan keeps them."""
    if table.crs is None or table.crs == "EPSG:4326":
        return table
    lonlat = frame.geometries(table.to_crs(4326).geometry.to_numpy())
    rounded = shapely.transform(lonlat, lambda xy: np.round(xy, _DECIMALS) + 0.0)
    return table.set_geometry(gpd.GeoSeries(rounded, index=table.index, crs="EPSG:4326"), crs="EPSG:4326")


def _as_written(record: Mapping[str, Any], folder: Path) -> bool:
    return bool(record.get("tables_sha256") == tables_sha256(folder / TABLES_NAME))


def _require_in_place(tables: Mapping[str, Any], folder: Path) -> str:
    """Refuse a plan in which points no longer lie where their own figures say."""
    away = list(
        dict.fromkeys((*moved(tables["towers"], 0), *moved(tables["electrodes"], 0), *moved(tables["leads"], -1)))
    )
    electrodes, leads = tables["electrodes"], tables["leads"]
    pairs = [set(zip(table["line_id"], table["tower_id"], table["role"], strict=True)) for table in (electrodes, leads)]
    away += [f"{tower} {role}" for _, tower, role in sorted(pairs[0] ^ pairs[1], key=str)]
    if away:
        raise OutputError(
            f"'{folder}': plan.gpkg was changed: {', '.join(map(clean, away[:5]))} no longer lie(s) where the plan's "
            "figures say. Hold them against the rules with 'layoutplan check', enter them as [[fixed]] in the job, and "
            "plan again."
        )
    return (
        "plan.gpkg was changed after the plan was written; towers, stakes and leads lie where they lay, but whether "
        "their other figures are those of the plan is not known"
    )


def moved(table: pd.DataFrame, vertex: int) -> Iterator[str]:
    """Names of points, or of lines by their first or last vertex, that are not at the row's ``lon`` and ``lat``.

    Parameters
    ----------
    table : GeoDataFrame
        Towers, electrodes or leads, in degrees.
    vertex : int
        0 for points and first vertices, -1 for last ones.
    """
    shapes = table.geometry.to_numpy()
    ends = shapes if vertex == 0 else shapely.get_point(shapes, vertex)
    away = np.stack((shapely.get_x(ends) - table["lon"].to_numpy(float), shapely.get_y(ends) - table["lat"]), axis=1)
    away[:, 0] -= 360.0 * np.round(np.nan_to_num(away[:, 0]) / 360.0)
    roles = table["role"] if "role" in table else [""] * len(table)
    for row in np.flatnonzero(~(np.abs(away) < _SAME_PLACE_DEG).all(axis=1)).tolist():
        yield f"{table['tower_id'].iloc[row]} {roles[row]}".strip()
