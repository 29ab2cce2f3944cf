"""Points as a crew staked them: out of a receiver's GPX file, a table (that of the map page too) or a vector layer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.errors import CRSError, InputError
from layoutplan.files import why_not_read
from layoutplan.inputs.placed import PlacedTable
from layoutplan.inputs.staked_gpx import read_waypoints
from layoutplan.inputs.staked_readings import has_zone, reading_columns, times
from layoutplan.inputs.staked_states import FAILED, crew_notes, plan_numbers, states, unguarded
from layoutplan.inputs.staked_table import read_placed
from layoutplan.inputs.systems import is_wgs84, parse_crs
from layoutplan.inputs.tower_columns import id_text, read_figures
from layoutplan.inputs.words import counted, listed
from layoutplan.text import clean

M_PER_HDOP = 5.0  # judgement, common rule of thumb, no source
_NAMES = ("waypoint", "name")
_TIMES = ("time", "timestamp", "datetime")
_ELEVATIONS = ("elevation_m", "elevation", "ele")
_ACCURACIES = ("accuracy_m", "accuracy")


@dataclass(frozen=True, slots=True)
class Staked:
    """Points as they were staked.

    Attributes
    ----------
    points : GeoDataFrame
        Columns ``name`` (empty where the file gives none), ``accuracy_m`` (NaN unknown), ``time`` (UTC, NaT unknown),
        ``elevation_m``, ``row`` (of the file; of a GPX file the number of the waypoint), ``duplicate`` (its name is
        there more than once), ``state`` (one of ``STATES``, empty if none is told), ``note``, those of
        ``READING_COLUMNS`` that the file has, and points in EPSG:4326.
    source : str
        File and layer, for messages.
    problems, assumptions : tuple of str
    unplaced : GeoDataFrame
        The same of what stands nowhere that is known: rows that say something and have no place, and failed stakes.
    plan_numbers : frozenset of str
        Of the plans that the rows belong to, as their column says.
    """

    points: gpd.GeoDataFrame
    source: str
    problems: tuple[str, ...] = ()
    assumptions: tuple[str, ...] = ()
    unplaced: gpd.GeoDataFrame = field(default_factory=gpd.GeoDataFrame)
    plan_numbers: frozenset[str] = frozenset()


def read_staked(path: str | Path, crs: str | None = None, layer: str | None = None) -> Staked:
    """Read what a crew staked; no point is left out. A row that says something of its stake may have no place.

    Parameters
    ----------
    path : str or Path
        ``.gpx``; a CSV with ``waypoint`` or ``name`` and ``lon, lat`` or ``easting, northing``; or any vector layer of
        points.
    crs : str, optional
        Coordinate reference system, for files that carry none.
    layer : str, optional
        Needed where a vector file has several.

    Returns
    -------
    Staked
        Points in EPSG:4326, with warnings.

    Raises
    ------
    InputError
        If the file, or one of its points, cannot be used; see the error tree.
    """
    path = Path(path)
    if why := why_not_read(path):
        raise InputError(f"{path}: {why}")
    if not path.exists():
        raise InputError(f"{path}: no such file.")
    is_gpx = path.suffix.lower() == ".gpx"
    table = _gpx_table(path, crs) if is_gpx else read_placed(path, crs, layer)
    names = _texts(table, _NAMES)
    accuracy, doubtful, assumed = _accuracy(table)
    time, late, zones = _times(table)
    state, odd = states(table)
    placed = ~shapely.is_missing(table.geometry) & (state != FAILED)
    twice = _duplicates(np.where(placed, names, ""))
    columns = {
        "name": names,
        "accuracy_m": accuracy,
        "time": time,
        "elevation_m": read_figures(table, _column(table, _ELEVATIONS), "number"),
        "row": table.rows,
        "duplicate": twice,
        "state": state,
        "note": crew_notes(table),
        **reading_columns(table),
    }
    points = gpd.GeoDataFrame(columns, geometry=table.geometry, crs="EPSG:4326")
    problems = (*table.problems, *doubtful, *late, *odd, *_name_problems(table, names, twice))
    numbers = plan_numbers(table)
    return Staked(_rows(points, placed), table.where, problems, (*assumed, *zones), _rows(points, ~placed), numbers)


def _rows(points: gpd.GeoDataFrame, wanted: NDArray[np.bool_]) -> gpd.GeoDataFrame:
    return points[wanted].reset_index(drop=True)


def _gpx_table(path: Path, crs: str | None) -> PlacedTable:
    if crs is not None and not is_wgs84(parse_crs(crs, path.name, "crs")):
        raise CRSError(f"{path.name}: crs = '{crs}', but GPX is WGS 84 by its definition. Leave crs out.")
    found = read_waypoints(path)
    lon, lat, elevation, accuracy, hdop = found.columns
    columns = pd.DataFrame(
        {"name": found.name, "time": found.time, "ele": elevation, "accuracy": accuracy, "hdop": hdop}
    )
    notes = []
    if found.passed_over:
        notes.append(f"{path.name}: {found.passed_over} ignored: only waypoints are read")
    if found.version not in ("1.0", "1.1"):
        notes.append(f"{path.name}: GPX version '{found.version}' is not known; read like 1.1")
    if found.odd:
        notes.append(
            f"{path.name}, waypoint {listed(found.odd)}: elevation, accuracy or hdop is no number it can be: unknown"
        )
    rows = np.arange(1, len(lon) + 1)
    points = np.asarray(shapely.points(lon, lat), dtype=object)
    return PlacedTable(columns, rows, path.name, "waypoint", problems=tuple(notes), geometry=points)


def _column(table: PlacedTable, names: Sequence[str]) -> str | None:
    return next((name for name in names if name in table.columns.columns), None)


def _texts(table: PlacedTable, names: Sequence[str]) -> NDArray[np.object_]:
    column = _column(table, names)
    if column is None:
        return np.full(len(table.rows), "", dtype=object)
    return np.array([unguarded(id_text(value)) for value in table.columns[column]], dtype=object)


def _accuracy(table: PlacedTable) -> tuple[FloatArray, list[str], list[str]]:
    """Accuracy of each position, warnings about it, and what was assumed. [m]."""
    accuracy = read_figures(table, _column(table, _ACCURACIES), "number from 0 up")
    hdop = read_figures(table, _column(table, ("hdop",)), "number from 0 up")
    notes, assumed = [], []
    none = (accuracy == 0.0) | (np.isnan(accuracy) & (hdop == 0.0))
    if none.any():
        rows = listed(table.rows[none])
        notes.append(f"{table.where}, {table.row_word} {rows}: an accuracy of 0: no receiver has that; unknown")
    guess = np.isnan(accuracy) & (hdop > 0.0)
    if guess.any():
        assumed.append(
            f"{table.where}: accuracy of {counted(int(guess.sum()), 'point')} taken as hdop × {M_PER_HDOP:g} m "
            "(judgement, common rule of thumb, no source)"
        )
    return np.where(none, np.nan, np.where(guess, M_PER_HDOP * hdop, accuracy)), notes, assumed


def _times(table: PlacedTable) -> tuple[pd.Series, list[str], list[str]]:
    column = _column(table, _TIMES)
    if column is None:
        return pd.Series(pd.NaT, index=range(len(table.rows)), dtype="datetime64[ns, UTC]"), [], []
    cells = table.columns[column]
    time = times(cells)
    texts = np.array([clean(value) for value in cells], dtype=object)
    notes, assumed = [], []
    wrong = time.isna().to_numpy() & ~np.isin(texts, ["", "NaT"])
    if wrong.any():
        notes.append(
            f"{table.where}, {table.row_word} {listed(table.rows[wrong])}, field '{column}': '{texts[wrong][0]}' is no "
            "ISO 8601 time: unknown"
        )
    local = sum(not has_zone(text) for text in texts[time.notna().to_numpy()])
    if local:
        assumed.append(f"{table.where}: {counted(local, 'time')} without zone taken as UTC")
    return time, notes, assumed


def _duplicates(names: NDArray[np.object_]) -> NDArray[np.bool_]:
    keys = pd.Series([name.casefold() for name in names], dtype=object)
    return np.asarray(keys.duplicated(keep=False) & (keys != ""))


def _name_problems(table: PlacedTable, names: NDArray[np.object_], twice: NDArray[np.bool_]) -> list[str]:
    notes = []
    nameless = names == ""
    if nameless.any():
        notes.append(
            f"{table.where}: {counted(int(nameless.sum()), 'point')} of {len(names)} without a name: "
            "can be matched by place only"
        )
    if twice.any():
        rows = pd.Series(table.rows[twice]).groupby([name.casefold() for name in names[twice]], sort=False).agg(list)
        texts = listed(f"'{name}' ({table.row_word} {listed(found)})" for name, found in rows.items())
        notes.append(f"{table.where}: staked more than once under one name: {texts}")
    return notes
