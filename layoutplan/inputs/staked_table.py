"""Staked points out of tables and vector layers: rows with places, whatever else their columns hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

import numpy as np
import pandas as pd
import shapely

from layoutplan.arrays import FloatArray
from layoutplan.errors import ColumnError, CRSError, InputError, LayerError
from layoutplan.inputs.csv_table import SUFFIXES, read_csv
from layoutplan.inputs.geodetic import datum_note, is_usable, to_lonlat
from layoutplan.inputs.placed import FileRows, PlacedTable, single_points
from layoutplan.inputs.staked_states import needs_no_place
from layoutplan.inputs.systems import WGS84, parse_crs
from layoutplan.inputs.tower_columns import read_figures
from layoutplan.inputs.vector import VectorLayer, open_vector
from layoutplan.inputs.vector_table import read_vector
from layoutplan.inputs.words import listed
from layoutplan.job.section import FileSource

_T = TypeVar("_T", bound=FileRows)
_DEGREES = (("lon", "lat"), ("longitude", "latitude"), ("long", "lat"), ("lng", "lat"))
_GRID = (("easting", "northing"), ("east", "north"), ("x", "y"), ("e", "n"))


def read_placed(path: Path, crs: str | None, layer: str | None) -> PlacedTable:
    """Read a table or a vector layer with one point in each row, column names in small letters.

    The place may be missing in rows that say something of a stake, see ``needs_no_place``.

    Parameters
    ----------
    path : Path
        Of the file.
    crs : str, optional
        For files that carry no coordinate reference system; it wins over one that a vector file carries.
    layer : str, optional
        Needed where a vector file has several.

    Returns
    -------
    PlacedTable
        Points in EPSG:4326.

    Raises
    ------
    InputError
        If the file or one of its rows cannot be used; see the error tree.
    """
    table = _read_csv(path, crs) if path.suffix.lower() in SUFFIXES else _read_layer(path, crs, layer)
    _check_places(table)
    return in_small_letters(table)


def in_small_letters(table: _T) -> _T:
    """Return the table with its columns' names in small letters.

    Parameters
    ----------
    table : FileRows
        As read.

    Returns
    -------
    FileRows

    Raises
    ------
    ColumnError
        If two names differ in capitals only.
    """
    names = [str(name).lower() for name in table.columns.columns]
    if twice := {name for name in names if names.count(name) > 1}:
        raise ColumnError(f"{table.where}: two columns are called '{min(twice)}', capitals apart. Rename one.")
    return replace(table, columns=table.columns.set_axis(names, axis=1))


def _read_csv(path: Path, crs: str | None) -> PlacedTable:
    table = read_csv(FileSource(path=path))
    where = table.where
    given = None if crs is None else parse_crs(crs, where, "crs")
    degrees = given is None or given.is_geographic
    columns = _coordinate_columns(table, (*_DEGREES, *_GRID) if degrees else _GRID)
    if given is None and columns[0].lower() not in {x for x, _ in _DEGREES}:
        raise CRSError(
            f"{where}: '{columns[0]}' and '{columns[1]}' without a coordinate reference system. Give it (crs), for "
            "instance 'EPSG:25832'."
        )
    xy = np.column_stack([read_figures(table, column, "number") for column in columns])
    known = ~np.isnan(xy)
    empty = ~known.all(axis=1) & (known.any(axis=1) | ~needs_no_place(table))
    if empty.any():
        raise ColumnError(
            f"{where}, row {listed(table.rows[empty])}: no '{columns[0]}' or no '{columns[1]}'. Correct or delete it."
        )
    if degrees:
        _check_degrees(xy, table, columns)
    placed = known.all(axis=1)
    there = np.asarray(shapely.points(xy[placed]), dtype=object)
    notes = (*table.problems, *datum_note(there, given or WGS84, where))
    points = np.full(len(xy), None, dtype=object)
    points[placed] = to_lonlat(there, given or WGS84, where)
    return PlacedTable(table.columns, table.rows, where, separator=table.separator, problems=notes, geometry=points)


def _coordinate_columns(table: FileRows, pairs: Sequence[tuple[str, str]]) -> tuple[str, str]:
    there = {str(name).lower(): str(name) for name in table.columns.columns}
    for x, y in pairs:
        if x in there and y in there:
            return there[x], there[y]
    wanted = "lon and lat, or easting and northing" if pairs[0] == _DEGREES[0] else "easting and northing"
    raise ColumnError(
        f"{table.where}: no coordinate columns found among: {listed(there.values(), 20)}. Name them {wanted}."
    )


def _check_degrees(xy: FloatArray, table: FileRows, columns: tuple[str, str]) -> None:
    wrong = np.flatnonzero((np.abs(xy[:, 1]) > 90.0) | (np.abs(xy[:, 0]) > 360.0))
    if len(wrong):
        x, y = xy[wrong[0]]
        raise CRSError(
            f"{table.where}, row {listed(table.rows[wrong])}: '{columns[0]}' {x:g}, '{columns[1]}' {y:g} are no "
            "longitude and latitude in degrees. Swap the two, or give the coordinate reference system (crs)."
        )


def _read_layer(path: Path, crs: str | None, layer: str | None) -> PlacedTable:
    found = _opened(FileSource(path=path, layer=layer, crs=crs))
    table = read_vector(found, found.columns)
    if len(table.rows) == 0:
        raise LayerError(f"{found.where}: no points.")
    columns = pd.DataFrame(dict(table.columns), columns=list(found.columns), index=pd.RangeIndex(len(table.rows)))
    points = single_points(table.geometry, table.rows, found.where, "a staked point")
    problems = (*found.problems, *table.problems)
    return PlacedTable(columns, table.rows, found.where, "feature", problems=problems, geometry=points)


def _opened(source: FileSource) -> VectorLayer:
    try:
        return open_vector(source, "staked")
    except CRSError as err:
        if source.crs is not None:
            raise
        raise CRSError(
            f"{source.path.name}: no coordinate reference system. Give it (crs), for instance 'EPSG:25832'."
        ) from err


def _check_places(table: PlacedTable) -> None:
    with np.errstate(invalid="ignore"):
        beyond = is_usable(table.geometry) & (np.abs(shapely.get_y(table.geometry)) > 90.0)
    unplaced = shapely.is_missing(table.geometry) & needs_no_place(table)
    bad = ~unplaced & ~is_usable(table.geometry) | beyond
    if bad.any():
        raise InputError(
            f"{table.where}, {table.row_word} {listed(table.rows[bad])}: no coordinates, or none on the Earth. "
            "Check the coordinate reference system, give the point a place or delete it."
        )
