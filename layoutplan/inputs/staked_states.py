"""What a crew says of each stake beside where it stands: its state, a note, the plan that it belongs to."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layoutplan.inputs.placed import FileRows
from layoutplan.inputs.words import listed
from layoutplan.text import clean, csv_cell

FAILED = "failed"  # no stake stands there
STATE_MEANING: Mapping[str, str] = MappingProxyType(
    {
        "staked": "the stake stands",
        "measured": "the stake stands and was measured with",
        FAILED: "no stake could be set",
        "again": "staked, to be measured again",
    }
)
STATES = tuple(STATE_MEANING)
LONGEST_NOTE = 500  # letters; a note, no report


def states(table: FileRows) -> tuple[NDArray[np.object_], list[str]]:
    """State of each row (one of ``STATES``, empty if none is told), and which cells are no state.

    Parameters
    ----------
    table : FileRows
        Whatever the capitals of its columns' names.
    """
    told = np.array([text.casefold() for text in _texts(table, "state")], dtype=object)
    known = np.isin(told, STATES)
    strange = np.flatnonzero(~known & (told != ""))
    notes = []
    if len(strange):
        notes.append(
            f"{table.where}, {table.row_word} {listed(table.rows[strange])}, field 'state': "
            f"'{told[strange[0]][:40]}' is none of {', '.join(STATES)}: unknown"
        )
    return np.where(known, told, ""), notes


def crew_notes(table: FileRows) -> NDArray[np.object_]:
    """Note of each row on one line; the apostrophe that keeps spreadsheets from running a cell is taken off again."""
    return np.array([unguarded(text)[:LONGEST_NOTE] for text in _texts(table, "note")], dtype=object)


def needs_no_place(table: FileRows) -> NDArray[np.bool_]:
    """Whether each row says enough without a place: a state, or a note of a stake of a plan that it names."""
    plans = _texts(table, "plan_number")
    noted = np.array([bool(note and plan) for note, plan in zip(crew_notes(table), plans, strict=True)], dtype=bool)
    return (states(table)[0] != "") | noted


def plan_numbers(table: FileRows) -> frozenset[str]:
    """Plan numbers that its column of this name holds."""
    return frozenset(text.strip("'").upper() for text in _texts(table, "plan_number")) - {""}


def _texts(table: FileRows, name: str) -> list[str]:
    column = next((column for column in table.columns.columns if str(column).lower() == name), None)
    return [""] * len(table.rows) if column is None else [clean(value) for value in _plain(table.columns[column])]


def _plain(cells: pd.Series) -> list[object]:
    return [None if value is pd.NaT or value is pd.NA else value for value in cells]


def unguarded(text: str) -> str:
    """Text of a cell without the apostrophe that keeps spreadsheets from running it.

    Parameters
    ----------
    text : str
        As the file has it.

    Returns
    -------
    str

    Examples
    --------
    >>> unguarded("'=1+1"), unguarded("'tis wet")
    ('=1+1', "'tis wet")
    """
    return text[1:] if text.startswith("'") and csv_cell(text[1:]) != text[1:] else text
