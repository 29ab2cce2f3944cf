"""Tables as comma-separated text, with every row number as a spreadsheet shows it."""

from __future__ import annotations

import csv
import io
import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pyogrio
import shapely
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.errors import ColumnError, CRSError, InputError, LayerError
from layoutplan.inputs.database import check_filter
from layoutplan.inputs.door import require_at_most
from layoutplan.inputs.geodetic import datum_note, to_lonlat
from layoutplan.inputs.placed import FileRows, PlacedTable
from layoutplan.inputs.systems import WGS84, settle_crs
from layoutplan.inputs.vector import require_column, require_file
from layoutplan.inputs.words import listed
from layoutplan.job import TowerSource
from layoutplan.job.section import FileSource
from layoutplan.text import clean

SUFFIXES = (".csv", ".tsv", ".txt")
_LON_LAT = (("lon", "lat"), ("longitude", "latitude"), ("long", "lat"), ("lng", "lat"))
_SEPARATOR_HELP = {
    ",": "Put cells with a comma in double quotes; where the comma is the decimal sign, part the cells by semicolons.",
    ";": "Put cells with a semicolon in double quotes.",
    "\t": "Put cells with a tab in double quotes.",
}
_MOST_COLUMNS = 2_000  # judgement; no table of towers or readings has a hundred
_GRID = (("easting", "northing"), ("east", "north"), ("x", "y"), ("e", "n"))


def read_csv_towers(source: TowerSource, key: str) -> PlacedTable:
    """Read a table with coordinates.

    Parameters
    ----------
    source : TowerSource
        File, columns and reference system.
    key : str
        The job's key of ``source``, for messages.

    Returns
    -------
    PlacedTable
        One point for each row, EPSG:4326.

    Raises
    ------
    InputError
        If it is not UTF-8, rows differ in length, or a filter cannot be used.
    ColumnError
        If there are no coordinate columns, or a cell is no finite number.
    CRSError
        If eastings and northings have no system, or degrees are outside their range.
    """
    table = read_csv(source)
    where = table.where
    x_column, y_column, is_lonlat = _coordinate_columns(source, list(table.columns.columns), where, key)
    xy = np.column_stack([_numbers(table, column) for column in (x_column, y_column)])
    found = WGS84 if is_lonlat and source.crs is None else None
    crs, _ = settle_crs(found, source.crs, where, f"{key}.crs")
    if crs.is_geographic:
        _check_degrees(xy, table.rows, (x_column, y_column), where, key)
    given = np.asarray(shapely.points(xy), dtype=object)
    notes = (*table.problems, *datum_note(given, crs, where))
    points = to_lonlat(given, crs, where)
    return PlacedTable(table.columns, table.rows, where, separator=table.separator, problems=notes, geometry=points)


def read_csv(source: FileSource) -> FileRows:
    """Read cells as text; comma, semicolon or tab between them.

    Parameters
    ----------
    source : FileSource
        File and filter.

    Returns
    -------
    FileRows
        The rows that meet the source's filter, blank ones left out; ``rows`` are line numbers of a spreadsheet, the
        header being row 1.

    Raises
    ------
    InputError
        If there is no such file, the text is not UTF-8, a row has more or fewer cells than the header, or the filter
        cannot be used.
    LayerError
        If there are no rows.
    """
    require_file(source.path)
    return _without_blank_rows(_filtered(source, _cells(source.path)))


def _cells(path: Path) -> FileRows:
    text = _decoded(path)
    require_at_most(text.count("\n"), "max_rows", "rows", path.name, "Keep those that the line needs")
    text = text.replace("\r\n", "\n").replace("\r", "\n")  # line ends of any system
    separator = max(",;\t", key=text.split("\n", 1)[0].count)
    records = [(number, row) for number, row in enumerate(_rows_of_cells(text, separator, path.name), 1) if row]
    if len(records) < 2:
        raise LayerError(f"{path.name}: no rows below the header.")
    header = [clean(cell) for cell in records[0][1]]
    if len(header) > _MOST_COLUMNS:
        raise InputError(
            f"{path.name}: {len(header):,} columns; at most {_MOST_COLUMNS:,} are taken. Leave out what is not needed."
        )
    if twice := {name for name, times in Counter(header).items() if times > 1}:
        raise ColumnError(f"{path.name}: two columns are called '{min(twice)}'. Rename one.")
    uneven = [number for number, row in records[1:] if len(row) != len(header)]
    if uneven:
        raise InputError(
            f"{path.name}, row {listed(uneven)}: not as many cells as the header has ({len(header)}). "
            f"{_SEPARATOR_HELP[separator]}"
        )
    rows = np.array([number for number, _ in records[1:]], dtype=np.int64)
    cells = pd.DataFrame([row for _, row in records[1:]], columns=header, dtype=str)
    return FileRows(cells, rows, path.name, separator=separator)


def _rows_of_cells(text: str, separator: str, where: str) -> Iterator[list[str]]:
    reader = csv.reader(io.StringIO(text), delimiter=separator, strict=True)  # else an open quote swallows rows unseen
    done = 0
    try:
        for cells in reader:
            yield cells
            done += 1
    except csv.Error as err:
        if "field limit" in str(err):
            raise InputError(
                f"{where}, row {done + 1}: a cell of more than {csv.field_size_limit():,} letters. Look for a double "
                "quote that is not closed, or shorten the cell."
            ) from err
        raise InputError(
            f"{where}, row {done + 1}: a double quote is not closed, or stands within a cell ({err}). Close it, or "
            "write it twice."
        ) from err


def _decoded(path: Path) -> str:
    if path.is_dir():
        raise InputError(f"{path}: a folder, where a table of text was expected. Name the file in it.")
    try:
        size_mb = path.stat().st_size / 1e6
        require_at_most(size_mb, "max_unpacked_mb", "MB of text", path.name, "Keep the rows that the line needs")
        raw = path.read_bytes()
    except OSError as err:
        raise InputError(f"{path}: cannot be read: {err.strerror}.") from err
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as err:
        before = raw[: err.start].replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        line = before.count(b"\n") + 1
        raise InputError(
            f"{path.name}, row {line}: not UTF-8 text (byte 0x{raw[err.start]:02X} at offset {err.start}). "
            "Save the table as 'CSV UTF-8'."
        ) from err


def _filtered(source: FileSource, table: FileRows) -> FileRows:
    """Apply the job's filter with GDAL, which knows its language; its feature numbers count the data rows."""
    if source.where is None:
        return table
    check_filter(source.where, source.path.name)
    try:
        kept = pyogrio.raw.read(
            f"CSV:{source.path.absolute()}", where=source.where, read_geometry=False, return_fids=True
        )[1]
    except (ValueError, RuntimeError) as err:
        raise InputError(
            f'{source.path.name}: cannot be read with where = "{source.where}": {clean(err)[:200]}'
        ) from err
    if len(kept) == 0:
        raise LayerError(f'{source.path.name}: no row meets where = "{source.where}".')
    return _rows(table, kept - 1)


def _without_blank_rows(table: FileRows) -> FileRows:
    """Drop the rows of separators that spreadsheets leave at the end."""
    filled = (table.columns.apply(lambda column: column.str.strip()) != "").any(axis=1).to_numpy()
    if not filled.any():
        raise LayerError(f"{table.where}: no rows below the header.")
    return _rows(table, np.flatnonzero(filled))


def _rows(table: FileRows, index: NDArray[np.int64]) -> FileRows:
    return replace(table, columns=table.columns.iloc[index].reset_index(drop=True), rows=table.rows[index])


def _coordinate_columns(source: TowerSource, columns: list[str], where: str, key: str) -> tuple[str, str, bool]:
    """Return x and y column and whether they are named as longitude and latitude."""
    by_name = {name.lower(): name for name in columns}
    guess = next((pair for pair in (*_LON_LAT, *_GRID) if set(pair) <= set(by_name)), ("", ""))
    x_column = source.x_column or by_name.get(guess[0])
    y_column = source.y_column or by_name.get(guess[1])
    if x_column is None or y_column is None:
        raise ColumnError(
            f"{where}: no coordinate columns found among the first row's names: {listed(columns, 20)}. "
            f"Set {key}.x_column and {key}.y_column."
        )
    require_column(x_column, columns, where, f"{key}.x_column")
    require_column(y_column, columns, where, f"{key}.y_column")
    return x_column, y_column, (x_column.lower(), y_column.lower()) in _LON_LAT


def _numbers(table: FileRows, column: str) -> FloatArray:
    values = np.empty(len(table.columns))
    for index, cell in enumerate(table.columns[column]):
        values[index] = _number(cell, comma=table.separator != ",")
    wrong = np.flatnonzero(~np.isfinite(values))
    if len(wrong):
        cell = clean(table.columns[column].iloc[wrong[0]])
        what = f"'{cell}' is not a finite number" if cell else "empty"
        also = f" (also row {listed(table.rows[wrong[1:]])})" if len(wrong) > 1 else ""
        row = table.rows[wrong[0]]
        fix = "Write a plain number: no unit, nothing between thousands, degrees as decimals. Or delete the row."
        raise ColumnError(f"{table.where}, row {row}, field '{column}': {what}{also}. {fix}")
    return values


def _number(cell: str, *, comma: bool) -> float:
    """Return the number in a cell, NaN if there is none; ``comma`` allows one as the decimal sign."""
    text = cell.strip()
    if "_" in text or not text.isascii():  # Python would take 4_7 for 47, and digits of any script
        return math.nan
    try:
        return float(text.replace(",", ".") if comma and "." not in text else text)
    except ValueError:
        return math.nan


def _check_degrees(xy: FloatArray, rows: NDArray[np.int64], columns: tuple[str, str], where: str, key: str) -> None:
    x, y = xy.T
    wrong = np.flatnonzero((np.abs(y) > 90.0) | (np.abs(x) > 360.0))
    if len(wrong) == 0:
        return
    first = wrong[0]
    found = f"{where}, row {rows[first]}: '{columns[0]}' {x[first]:g}, '{columns[1]}' {y[first]:g}"
    if abs(y[first]) <= 360.0 and (np.abs(x) <= 90.0).all():
        raise CRSError(
            f"{found}: latitude beyond ±90. Longitude and latitude look swapped: swap {key}.x_column and y_column."
        )
    raise CRSError(f"{found}: no longitude and latitude in degrees. For eastings and northings set {key}.crs.")
