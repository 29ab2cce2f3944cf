"""Tables as they are written: columns in order, rows as plain values, and where their longitudes lie."""

from __future__ import annotations

from collections import namedtuple
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from functools import partial
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import shapely
from numpy.typing import ArrayLike, NDArray

from layoutplan.layout.model import Plan
from layoutplan.layout.schema import TABLES, TableSchema


def with_columns(frame: pd.DataFrame, name: str, schema: Mapping[str, TableSchema] = TABLES) -> pd.DataFrame:
    """Return the table with its columns in the agreed order, further ones behind; an empty one gets them typed.

    Parameters
    ----------
    frame : DataFrame or GeoDataFrame
        The table.
    name : str
        Key of ``schema``.
    schema : mapping of str to Table
        The plan's tables if left out.

    Returns
    -------
    DataFrame or GeoDataFrame
        With the geometry last.
    """
    table = schema[name]
    order = [*table.columns, *(each for each in frame.columns if each != "geometry" and each not in table.columns)]
    tail = ["geometry"] if table.geometry else []
    if len(frame):
        return frame[order + tail]
    kinds = {each: column.dtype for each, column in table.columns.items()}
    empty = pd.DataFrame({each: pd.Series(dtype=kinds.get(each, "str")) for each in order})
    return gpd.GeoDataFrame(empty, geometry=[], crs=4326) if tail else empty


def as_lists(frame: pd.DataFrame, columns: Iterable[str]) -> list[list[Any]]:
    """Return columns as plain Python values; much faster than iterating over pandas.

    Parameters
    ----------
    frame : DataFrame
        The table.
    columns : iterable of str
        Names of columns.

    Returns
    -------
    list of list
        One for each column; None where a value is missing.

    Examples
    --------
    >>> as_lists(pd.DataFrame({"role": ["H", "S"], "slope_deg": [3.5, np.nan]}), ["role", "slope_deg"])
    [['H', 'S'], [3.5, None]]
    """
    return [pa.array(frame[column], from_pandas=True).to_pylist() for column in columns]


def records(frame: pd.DataFrame, *columns: str) -> Iterator[Any]:
    """Return the rows of some columns as named tuples.

    Parameters
    ----------
    frame : DataFrame
        The table.
    *columns : str
        Names of columns.

    Yields
    ------
    named tuple
        None where a value is missing.

    Examples
    --------
    >>> [row.role for row in records(pd.DataFrame({"role": ["H", "S"]}), "role")]
    ['H', 'S']
    """
    row = namedtuple("row", columns)  # type: ignore[misc]  # the names are known where the rows are used
    return map(row._make, zip(*as_lists(frame, columns), strict=True))


def on_the_globe(plan: Plan) -> Plan:
    """Bring the longitudes of all tables back to [-180, 180); inside, they run on across the antimeridian.

    A shape that crosses the antimeridian stays in one piece: its western end lies within the range, and its longitudes
    run on eastwards beyond 180.

    Parameters
    ----------
    plan : Plan
        As it was planned.

    Returns
    -------
    Plan
    """
    placed = [table for table in TABLES.values() if table.geometry]
    return replace(plan, **{table.name: _frame_on_the_globe(getattr(plan, table.name), table) for table in placed})


def _frame_on_the_globe(frame: gpd.GeoDataFrame, table: TableSchema) -> gpd.GeoDataFrame:
    changes: dict[str, object] = {}
    for name, column in table.columns.items():
        if column.type == "longitude" and name in frame and np.any(_turns(frame[name], -180.0)):
            changes[name] = turned_lon(frame[name])
    if len(frame) and np.any(_turns(_west(frame.geometry.array), -180.0)):
        changes["geometry"] = gpd.GeoSeries(turned(frame.geometry.array), index=frame.index, crs=frame.crs)
    return frame.assign(**changes) if changes else frame


def turned_lon(lon_deg: ArrayLike, west_deg: float = -180.0) -> NDArray[np.float64]:
    """Longitudes moved by whole turns.

    Parameters
    ----------
    lon_deg : array_like, shape (n,)
        Of any turn. [deg]
    west_deg : float
        Where they begin. [deg]

    Returns
    -------
    ndarray, shape (n,)
        Within [west, west + 360). [deg]

    Examples
    --------
    >>> turned_lon([180.1, -0.5]), turned_lon([-179.9], west_deg=0.0)
    (array([-179.9,   -0.5]), array([180.1]))
    """
    lon = np.asarray(lon_deg, dtype=float)
    return lon + 360.0 * _turns(lon, west_deg)


def west_deg(plan: Plan) -> float:
    """Where the longitudes of a drawing begin, so that a line across the antimeridian is in one piece.

    Parameters
    ----------
    plan : Plan
        With its towers.

    Returns
    -------
    float
        Half a turn west of the first tower. [deg]
    """
    return float(plan.towers["lon"].iloc[0]) - 180.0 if len(plan.towers) else -180.0


def turned(geometries: ArrayLike, west_deg: float = -180.0) -> NDArray[np.object_]:
    """Move geometries by whole turns so that the western edge of each lies within [west, west + 360).

    Parameters
    ----------
    geometries : array_like of Geometry, shape (n,)
        Longitude and latitude. [deg]
    west_deg : float
        Where longitudes begin. [deg]

    Returns
    -------
    ndarray of Geometry, shape (n,)

    Examples
    --------
    >>> turned([shapely.Point(200.0, -17.0)])[0].wkt
    'POINT (-160 -17)'
    """
    shapes = np.asarray(geometries, dtype=object)
    turns = _turns(_west(shapes), west_deg)
    moved = shapes.copy()
    for turn in np.unique(turns[turns != 0]):
        rows = turns == turn
        moved[rows] = shapely.transform(shapes[rows], partial(np.add, [360.0 * turn, 0.0]))
    return moved


def _west(geometries: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(shapely.bounds(np.asarray(geometries, dtype=object)))[..., 0]


def _turns(lon_deg: ArrayLike, west_deg: float) -> NDArray[np.float64]:
    lon = np.asarray(lon_deg, dtype=float)
    return -np.nan_to_num(np.floor((lon - west_deg) / 360.0))
