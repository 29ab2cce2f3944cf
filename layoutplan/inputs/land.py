"""Parcels and their permissions, held against the days of the work."""

from __future__ import annotations

from calendar import isleap
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutplan.errors import ColumnError, LayerError
from layoutplan.inputs.corridor import Corridor
from layoutplan.inputs.features import make_features, no_features, repair
from layoutplan.inputs.geodetic import Geometries, is_usable
from layoutplan.inputs.map_layer import cleaned
from layoutplan.inputs.provenance import Ledger
from layoutplan.inputs.tower_columns import id_text
from layoutplan.inputs.vector import VectorLayer, open_vector, require_column
from layoutplan.inputs.vector_table import VectorTable, read_vector
from layoutplan.inputs.words import counted, listed
from layoutplan.job import Job
from layoutplan.job.classes import the
from layoutplan.job.land import Land
from layoutplan.job.roles import Role
from layoutplan.text import clean

LAND_COLUMNS = ("parcel", "owner_ref", "permission", "state", "note", "source", "geometry")
GRANTED, TO_ASK, REFUSED = "granted", "permission needed", "no entry"
_CLASS_OF = {TO_ASK: the(Role.UNSETTLED), REFUSED: the(Role.SHUT)}
_PERMISSIONS = ("granted", "asked", "refused", "unknown")
_OVERLAP = 0.01  # share of the smaller parcel; less is the map's inaccuracy (judgement)
Texts = NDArray[np.object_]


@dataclass(frozen=True, slots=True)
class LandRead:
    """What the land layers give.

    Attributes
    ----------
    parcels : GeoDataFrame
        Columns ``LAND_COLUMNS``, EPSG:4326. ``permission`` is what the file says, ``state`` what it comes to on the
        days of the work, ``note`` why.
    features : GeoDataFrame
        The areas that are not simply open, as map features.
    problems : tuple of str
    """

    parcels: gpd.GeoDataFrame
    features: gpd.GeoDataFrame
    problems: tuple[str, ...]


def read_land(job: Job, corridor: Corridor, ledger: Ledger) -> LandRead:
    """Read all land layers of a job in the corridor.

    Parameters
    ----------
    job : Job
        Its land and work sections.
    corridor : Corridor
        Where the towers are.
    ledger : Ledger
        Takes note of the files.

    Returns
    -------
    LandRead
        Parcels, the features made of them, and warnings.

    Raises
    ------
    InputError
        If a file, a layer or a column cannot be used, or a permission ends before it begins.
    """
    tables, features, problems = [], [], []
    for number, land in enumerate(job.land):
        table, notes = _read_layer(land, f"land[{number}]", corridor, job.work.days)
        ledger.note(land.path, f"land: {land.label}", attribution=land.attribution)
        tables.append(table)
        problems += notes
        made, also = _features(table, land)
        features.append(made)
        problems += also
    if not tables:
        return LandRead(_no_land(), no_features(), ())
    parcels = gpd.GeoDataFrame(pd.concat(tables, ignore_index=True), crs="EPSG:4326")
    together = gpd.GeoDataFrame(pd.concat(features, ignore_index=True), crs="EPSG:4326")
    return LandRead(parcels.drop(columns="row"), together, (*problems, *_overlaps(parcels)))


def _no_land() -> gpd.GeoDataFrame:
    columns = {name: np.empty(0, dtype=object) for name in LAND_COLUMNS if name != "geometry"}
    return gpd.GeoDataFrame(columns, geometry=[], crs="EPSG:4326")


def _read_layer(
    land: Land, key: str, corridor: Corridor, days: tuple[date, date] | None
) -> tuple[gpd.GeoDataFrame, list[str]]:
    found = open_vector(land, key)
    names = ("parcel_column", "owner_column", "permission_column", "valid_from_column", "valid_to_column")
    columns = {name: column for name in names if (column := getattr(land, name)) is not None}
    for name, column in columns.items():
        require_column(column, found.columns, found.where, f"{key}.{name}")
    table = read_vector(found, list(dict.fromkeys(columns.values())), corridor.boxes(found.crs))
    geometry, keep = _areas(table, found, corridor)
    permission, odd = _permissions(land, table, keep, found.where)
    start, end = (_dates(columns.get(name), table, keep, found.where) for name in names[3:])
    _check_order(start, end, table.rows[keep], found.where)
    state, note = _states(permission, start, end, land, days)
    parcels = {
        "parcel": _texts(columns.get("parcel_column"), table, keep, f"{land.label} ", table.rows),
        "owner_ref": _texts(columns.get("owner_column"), table, keep),
        "permission": permission,
        "state": state,
        "note": note,
        "source": np.full(len(keep), found.where, dtype=object),
        "row": table.rows[keep],
    }
    return gpd.GeoDataFrame(parcels, geometry=geometry, crs="EPSG:4326"), [*found.problems, *table.problems, *odd]


def _areas(table: VectorTable, found: VectorLayer, corridor: Corridor) -> tuple[Geometries, NDArray[np.int64]]:
    usable = np.flatnonzero(is_usable(table.geometry))
    geometry = corridor.frame.geometries(corridor.cut(table.geometry[usable]))
    flat = shapely.get_dimensions(geometry) != 2
    if flat.any():
        raise LayerError(
            f"{found.where}, feature {listed(table.rows[usable][flat])}: {geometry[flat][0].geom_type} where an area "
            "was expected. Name a layer of polygons."
        )
    restored, _ = repair(geometry, found.where)
    near = corridor.meets(restored)
    return restored[near], usable[near]


def _texts(
    column: str | None, table: VectorTable, keep: NDArray[np.int64], prefix: str = "", rows: Any = None
) -> Texts:
    """Texts of a column; without one, empty or the prefix with the number of the row."""
    if column is not None:
        return cleaned([id_text(value) for value in table.columns[column][keep].tolist()])
    if rows is None:
        return np.full(len(keep), "", dtype=object)
    return np.array([f"{prefix}{row}" for row in rows[keep].tolist()], dtype=object)


def _permissions(land: Land, table: VectorTable, keep: NDArray[np.int64], where: str) -> tuple[Texts, list[str]]:
    if land.permission_column is None:
        return np.full(len(keep), land.permission or "unknown", dtype=object), []
    texts = [clean(value) for value in table.columns[land.permission_column][keep].tolist()]
    known = {name: name for name in _PERMISSIONS} | dict(land.permission_map)
    found = [known.get(text, known.get(text.lower(), "")) for text in texts]
    odd = sorted({text for text, name in zip(texts, found, strict=True) if not name and text})
    notes = []
    if odd:
        notes.append(
            f"{where}: values of '{land.permission_column}' that permission_map does not list count as unknown: "
            f"{listed(repr(text) for text in odd)}"
        )
    return np.array([name or "unknown" for name in found], dtype=object), notes


def _dates(column: str | None, table: VectorTable, keep: NDArray[np.int64], where: str) -> NDArray[np.datetime64]:
    """Days of a column, NaT where empty."""
    if column is None:
        return np.full(len(keep), np.datetime64("NaT", "D"))
    values = pd.Series(table.columns[column][keep])
    empty = np.array([clean(value) in ("", "NaT") for value in values.tolist()], dtype=bool)
    days = pd.to_datetime(values.where(~empty), errors="coerce", format="ISO8601")
    wrong = days.isna().to_numpy() & ~empty
    if wrong.any():
        raise ColumnError(
            f"{where}, feature {listed(table.rows[keep][wrong])}, field '{column}': "
            f"'{clean(values[wrong].iloc[0])}' is no date. Write dates as 2026-04-13, or leave them empty."
        )
    return np.asarray(days.to_numpy().astype("datetime64[D]"))


def _check_order(
    start: NDArray[np.datetime64], end: NDArray[np.datetime64], rows: NDArray[np.int64], where: str
) -> None:
    reversed_ = start > end
    if reversed_.any():
        raise ColumnError(
            f"{where}, feature {listed(rows[reversed_])}: the permission ends ({end[reversed_][0]}) before it begins "
            f"({start[reversed_][0]}). Correct the dates."
        )


def _states(
    permission: Texts,
    start: NDArray[np.datetime64],
    end: NDArray[np.datetime64],
    land: Land,
    days: tuple[date, date] | None,
) -> tuple[Texts, Texts]:
    """What each permission comes to on the days of the work, and why."""
    dated = ~(np.isnat(start) & np.isnat(end))
    if days is None:
        beyond, why = dated, "permission has dates, and the job's days of work are not given"
    else:
        first, last = np.datetime64(days[0], "D"), np.datetime64(days[1], "D")
        beyond, why = (start > first) | (end < last), "permission does not hold on all days of the work"
    granted, refused = permission == "granted", permission == "refused"
    state = np.select([refused, granted & ~beyond], [REFUSED, GRANTED], TO_ASK).astype(object)
    note = np.where(granted & beyond, why, np.char.add("permission ", permission.astype(str))).astype(object)
    closed = _closed(land, days)
    if closed is not None:
        worse = state != REFUSED
        state[worse] = np.where(closed, REFUSED, TO_ASK)
        season = f"closed {land.closed_from} to {land.closed_to}"
        note[worse] = season if closed else f"{season}, and the job's days of work are not given"
    return state, note


def _closed(land: Land, days: tuple[date, date] | None) -> bool | None:
    """Whether the closed season touches the days of the work; None if it does not, False if that is not known."""
    if land.closed_from is None or land.closed_to is None:
        return None
    if days is None:
        return False
    turn = 1 if land.closed_to < land.closed_from else 0
    for year in range(days[0].year - 1, days[1].year + 1):
        first, last = _day(year, land.closed_from), _day(year + turn, land.closed_to)
        if first <= np.datetime64(days[1], "D") and last >= np.datetime64(days[0], "D"):
            return True
    return None


def _day(year: int, month_day: str) -> np.datetime64:
    """Day of a year; 29 February is the 28th where there is none."""
    leaps = month_day != "02-29" or isleap(year)
    return np.datetime64(f"{year}-{month_day if leaps else '02-28'}", "D")


def _features(parcels: gpd.GeoDataFrame, land: Land) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Areas that are not open as map features, named by parcel, owner reference and note."""
    shut = parcels[parcels["state"] != GRANTED]
    label = [] if land.parcel_column is None else [land.label]
    names = [
        clean(" ".join([*label, parcel, f"(owner {owner})" if owner else "", note]))
        for parcel, owner, note in zip(shut["parcel"], shut["owner_ref"], shut["note"], strict=True)
    ]
    source = str(parcels["source"].iloc[0]) if len(parcels) else ""
    return make_features(
        feature_id=np.array([f"{land.label} {row}" for row in shut["row"]], dtype=object),
        obstacle_class=shut["state"].map(_CLASS_OF).to_numpy(dtype=object),
        name=np.array(names, dtype=object),
        width_m=np.zeros(len(shut)),
        geometry=shut.geometry.to_numpy(),
        source=source,
    )


def _overlaps(parcels: gpd.GeoDataFrame) -> Sequence[str]:
    """Warn where parcels of one layer overlap: then the stricter of the two holds."""
    notes = []
    for where, rows in parcels.groupby("source", sort=False):
        shapes = rows.geometry.to_numpy()
        first, second = shapely.STRtree(shapes).query(shapes, predicate="overlaps")
        first, second = first[first < second], second[first < second]
        common = shapely.area(shapely.intersection(shapes[first], shapes[second]))
        smaller = np.minimum(shapely.area(shapes[first]), shapely.area(shapes[second]))
        bad = common > _OVERLAP * smaller
        if bad.any():
            names = rows["parcel"].to_numpy()
            pairs = [f"{names[i]} and {names[j]}" for i, j in zip(first[bad], second[bad], strict=True)]
            notes.append(
                f"{where}: {counted(int(bad.sum()), 'pair')} of parcels overlap ({listed(pairs)}): the stricter holds"
            )
    return notes
