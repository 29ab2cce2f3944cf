"""Readings that a crew brings back: one row for each tower, units in the columns' names."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layoutplan.errors import ColumnError, InputError
from layoutplan.files import why_not_read
from layoutplan.inputs.csv_table import SUFFIXES, read_csv
from layoutplan.inputs.placed import FileRows
from layoutplan.inputs.staked_table import in_small_letters
from layoutplan.inputs.tower_columns import id_text, read_figures
from layoutplan.inputs.words import listed
from layoutplan.job.section import FileSource
from layoutplan.text import clean

LEG_COLUMNS = tuple(f"leakage_leg{leg}_a" for leg in (1, 2, 3, 4))
READING_COLUMNS = (
    "electrode_h_ohm",
    "electrode_s_ohm",
    "voltage_h_v",
    "voltage_s_v",
    "leakage_total_a",
    *LEG_COLUMNS,
    "tower_resistance_ohm",
)
_ZONE = re.compile(r"(Z|[+-]\d\d:?\d\d)$", re.IGNORECASE)
_KEYS = ("line_id", "tower_id", "date")


@dataclass(frozen=True, slots=True)
class Readings:
    """What was measured.

    Attributes
    ----------
    table : DataFrame
        Columns ``line_id`` (empty where not given), ``tower_id``, ``date`` (NaT), ``row`` and ``READING_COLUMNS``, NaN
        where nothing was measured. [Ω, V, A]
    source : str
        The file, for messages.
    problems : tuple of str
    """

    table: pd.DataFrame
    source: str
    problems: tuple[str, ...] = ()


def read_readings(path: str | Path) -> Readings:
    """Read a table of readings.

    Parameters
    ----------
    path : str or Path
        A CSV with ``tower_id`` (and ``line_id`` where ids repeat), any of ``READING_COLUMNS``, and ``date``.

    Returns
    -------
    Readings
        One row for each tower, NaN where a cell is empty. [Ω], [V], [A]

    Raises
    ------
    InputError
        If the file is missing or no table.
    ColumnError
        If there is no tower id, a tower has two rows, or a cell is no number from 0 up or no date.
    """
    path = Path(path)
    if path.suffix.lower() not in SUFFIXES:
        raise InputError(f"{path.name}: no table of text ({', '.join(SUFFIXES)}). Save the readings as 'CSV UTF-8'.")
    if why := why_not_read(path):
        raise InputError(f"{path}: {why}")
    if not path.is_file():
        raise InputError(f"{path}: no such file.")
    table = in_small_letters(read_csv(FileSource(path=path)))
    there = list(table.columns.columns)
    if "tower_id" not in there:
        raise ColumnError(f"{table.where}: no column 'tower_id'; there are: {listed(there, 20)}.")
    keys = {name: _ids(table, name) for name in _KEYS[:2]}
    _check_towers(table, keys)
    found = {name: _figures(table, name) for name in READING_COLUMNS}
    frame = pd.DataFrame({**keys, "date": _dates(table), "row": table.rows, **found})
    return Readings(frame, table.where, _problems(table.where, there))


def reading_columns(table: FileRows) -> dict[str, NDArray[np.float64]]:
    """Return the columns of a table that hold readings, checked, and none of the others.

    Parameters
    ----------
    table : FileRows
        As read.

    Returns
    -------
    dict of str to ndarray
        NaN where a cell is empty. [Ω], [V], [A]

    Raises
    ------
    ColumnError
        If a cell is no number from 0 up.
    """
    return {name: _figures(table, name) for name in READING_COLUMNS if name in table.columns.columns}


def times(cells: pd.Series) -> pd.Series:
    """Times of a column in UTC; a time without zone is taken as such.

    Parameters
    ----------
    cells : Series
        As text.

    Returns
    -------
    Series
        NaT where empty, no ISO 8601 date or time, or in no year from 1 to 9999, beyond which nothing can print it.

    Examples
    --------
    >>> print(times(pd.Series(["2024-05-01T09:30+02:00"]))[0])
    2024-05-01 07:30:00+00:00
    """
    texts = pd.Series([clean(value) for value in cells], dtype=object)
    zoned = np.array([has_zone(text) for text in texts], dtype=bool)
    # apart, for in pandas 2 a time without zone takes over that of the row before it
    parts = [pd.to_datetime(texts[rows], errors="coerce", format="ISO8601", utc=True) for rows in (zoned, ~zoned)]
    found = pd.concat(parts).sort_index()
    return found.where(found.dt.year.between(1, 9999))


def has_zone(time: str) -> bool:
    """Whether a time states its zone.

    Parameters
    ----------
    time : str
        ISO 8601.

    Returns
    -------
    bool

    Examples
    --------
    >>> has_zone("2024-05-01T09:30Z"), has_zone("2024-05-01T09:30")
    (True, False)
    """
    return _ZONE.search(time) is not None


def _dates(table: FileRows) -> pd.Series:
    if "date" not in table.columns.columns:
        return pd.Series(pd.NaT, index=range(len(table.rows)), dtype="datetime64[ns, UTC]")
    cells = table.columns["date"]
    found = times(cells)
    wrong = found.isna().to_numpy() & np.array([clean(value) != "" for value in cells], dtype=bool)
    if wrong.any():
        raise ColumnError(
            f"{table.where}, {table.row_word} {listed(table.rows[wrong])}, field 'date': "
            f"'{clean(cells[wrong].iloc[0])}' is no date. Write dates as 2026-04-13, or leave them empty."
        )
    return found


def _figures(table: FileRows, column: str) -> NDArray[np.float64]:
    return read_figures(table, column if column in table.columns.columns else None, "number from 0 up")


def _ids(table: FileRows, column: str) -> NDArray[np.object_]:
    if column not in table.columns.columns:
        return np.full(len(table.rows), "", dtype=object)
    return np.array([id_text(value) for value in table.columns[column]], dtype=object)


def _check_towers(table: FileRows, keys: dict[str, NDArray[np.object_]]) -> None:
    missing = keys["tower_id"] == ""
    if missing.any():
        raise ColumnError(f"{table.where}, row {listed(table.rows[missing])}, field 'tower_id': empty. Fill it in.")
    twice = pd.DataFrame(keys).duplicated(keep=False).to_numpy()
    if twice.any():
        names = listed(dict.fromkeys(f"'{name}'" for name in keys["tower_id"][twice]))
        raise ColumnError(
            f"{table.where}, row {listed(table.rows[twice])}: more than one row for tower {names}. Keep the row that "
            "counts; give line_id where lines have towers of one id."
        )


def _problems(where: str, there: list[str]) -> tuple[str, ...]:
    strange = [name for name in there if name not in (*_KEYS, *READING_COLUMNS)]
    notes = []
    if strange:
        names = listed((f"'{name}'" for name in strange), 20)
        notes.append(f"{where}: columns that are not known and were not read: {names}")
    if not set(there) & set(READING_COLUMNS):
        notes.append(f"{where}: no column of readings; known are {', '.join(READING_COLUMNS)}")
    return tuple(notes)
