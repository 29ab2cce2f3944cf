"""The columns of a tower table, each cell checked; messages name the rows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Literal, get_args

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.errors import ColumnError
from layoutplan.inputs.placed import FileRows
from layoutplan.inputs.words import listed
from layoutplan.job.bounds import LONGEST, wrong_number
from layoutplan.job.lines import Structure
from layoutplan.text import clean

UNKNOWN = "?"  # of a structure that is neither one of the owner's words nor of ours
Figure = Literal["positive number", "number from 0 up", "number"]


def id_text(value: object) -> str:
    """Return a tower's id as text: ``12.0`` becomes ``12``; foreign text is cleaned; missing ones are empty.

    Parameters
    ----------
    value : object
        As the file has it.

    Returns
    -------
    str

    Examples
    --------
    >>> id_text(12.0), id_text("012"), id_text(None)
    ('12', '012', '')
    """
    if isinstance(value, float | np.floating) and np.isfinite(value) and value == np.floor(value):
        return str(int(value))
    return "" if value is pd.NA else clean(value)


def read_ids(table: FileRows, column: str) -> NDArray[np.object_]:
    """Return the tower ids, checked to be there and unique.

    Parameters
    ----------
    table : FileRows
        As read.
    column : str
        Of the ids.

    Returns
    -------
    ndarray of str, shape (n,)

    Raises
    ------
    ColumnError
        If one is missing, too long, or used twice.
    """
    ids = np.array([id_text(value) for value in table.columns[column]], dtype=object)
    missing = ids == ""
    if missing.any():
        raise ColumnError(
            f"{table.where}, {table.row_word} {listed(table.rows[missing])}, field '{column}': no tower id. "
            "Give every tower its own."
        )
    long = np.array([len(name) > LONGEST["id"] for name in ids], dtype=bool)
    if long.any():
        raise ColumnError(
            f"{table.where}, {table.row_word} {listed(table.rows[long])}, field '{column}': a tower id of "
            f"{len(ids[long][0]):,} letters; at most {LONGEST['id']} are taken. Shorten it."
        )
    twice = pd.Series(ids).duplicated(keep=False).to_numpy()
    if twice.any():
        name = ids[twice][0]
        raise ColumnError(
            f"{table.where}, {table.row_word} {listed(table.rows[ids == name])}, field '{column}': the tower id "
            f"'{name}' is used more than once ({len(set(ids[twice]))} such ids). Make ids unique within a line."
        )
    return ids


def read_structures(table: FileRows, column: str | None, mapped: Mapping[str, str]) -> NDArray[np.object_]:
    """Return the structure of each tower.

    Parameters
    ----------
    table : FileRows
        As read.
    column : str or None
        Of the structures, if there is one.
    mapped : mapping of str to str
        The owner's values in our words.

    Returns
    -------
    ndarray of str, shape (n,)
        Empty where the file gives none.

    Raises
    ------
    ColumnError
        If one is not known.
    """
    if column is None:
        return np.full(len(table.rows), "", dtype=object)
    kinds = structures_of(table.columns[column], mapped)
    unknown = kinds == UNKNOWN
    if unknown.any():
        found = [id_text(value) for value in table.columns[column][unknown]]
        raise ColumnError(
            f"{table.where}, {table.row_word} {listed(table.rows[unknown])}, field '{column}': "
            f"{no_structure(found, mapped)}"
        )
    return kinds


def structures_of(values: Iterable[object], mapped: Mapping[str, str]) -> NDArray[np.object_]:
    """Return structures in our words, from the owner's by his map, else from ours however they are spelt.

    Parameters
    ----------
    values : iterable of object
        As a file or a map has them.
    mapped : mapping of str to str
        The owner's values in our words; they go before ours.

    Returns
    -------
    ndarray of str, shape (n,)
        Empty where there is none, ``UNKNOWN`` where it is neither's.

    Examples
    --------
    >>> structures_of(["AP", "Frame 2", "", 3.0, "mast"], {"AP": "lattice_4", "3": "pole"}).tolist()
    ['lattice_4', 'frame_2', '', 'pole', '?']
    """
    own = {"": "", **{name: name for name in get_args(Structure)}}
    texts = [id_text(value) for value in values]
    kinds = [mapped.get(text) or own.get(text.lower().replace("-", "_").replace(" ", "_"), UNKNOWN) for text in texts]
    return np.array(kinds, dtype=object)


def no_structure(found: Iterable[str], mapped: Mapping[str, str]) -> str:
    """Say which values are no structures, what is known, and how to make them known.

    Parameters
    ----------
    found : iterable of str
        Values that are not known, at least one.
    mapped : mapping of str to str
        The owner's values in our words.

    Returns
    -------
    str
    """
    values = list(dict.fromkeys(found))
    verb = "is no structure" if len(values) == 1 else "are no structures"
    known = f"{', '.join(get_args(Structure))}{f'; by structure_map {listed(mapped)}' if mapped else ''}"
    return (
        f"{listed(repr(value) for value in values)} {verb}. Known: {known}. Correct it, or say what the owner's word "
        f'means: structure_map = {{ "{values[0]}" = "lattice_4" }}.'
    )


def read_figures(table: FileRows, column: str | None, kind: Figure = "positive number", *, key: str = "") -> FloatArray:
    """Return a column of numbers.

    Parameters
    ----------
    table : FileRows
        As read.
    column : str or None
        Of the numbers, if there is one.
    kind : str
        ``"positive number"``, ``"number from 0 up"`` or ``"number"``.
    key : str
        A job key of the same meaning: no number may be beyond what that takes.

    Returns
    -------
    ndarray, shape (n,)
        In the column's unit; NaN where empty.

    Raises
    ------
    ColumnError
        If a cell holds something else.
    """
    if column is None:
        return np.full(len(table.rows), np.nan)
    cells = table.columns[column]
    empty = np.array([clean(value) == "" for value in cells], dtype=bool)
    if table.separator == ";":  # it parts the cells where the comma is the decimal sign, not one between thousands
        cells = cells.str.replace(",", ".", regex=False)
    values = pd.to_numeric(cells.where(~empty), errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    low = {"positive number": values <= 0, "number from 0 up": values < 0, "number": np.zeros(len(values), bool)}
    wrong = ~empty & (~np.isfinite(values) | low[kind])
    if wrong.any():
        found = clean(table.columns[column].to_numpy()[wrong][0])
        raise ColumnError(
            f"{table.where}, {table.row_word} {listed(table.rows[wrong])}, field '{column}': '{found}' is no {kind}. "
            "Correct it, or leave it empty if unknown."
        )
    beyond = np.array([key != "" and wrong_number(key, value) != "" for value in values.tolist()], dtype=bool)
    if beyond.any():
        raise ColumnError(
            f"{table.where}, {table.row_word} {listed(table.rows[beyond])}, field '{column}': "
            f"{wrong_number(key, values[beyond][0])} (found {values[beyond][0]:g})."
        )
    return values


def check_order(towers: gpd.GeoDataFrame, table: FileRows, column: str) -> None:
    """Refuse towers without an order number of their own.

    Parameters
    ----------
    towers : GeoDataFrame
        With the column ``order``.
    table : FileRows
        As read, for the message.
    column : str
        Of the numbers, for the message.

    Raises
    ------
    ColumnError
        If one is empty or used twice.
    """
    order = towers["order"]
    wrong = (order.isna() | order.duplicated(keep=False)).to_numpy()
    if wrong.any():
        raise ColumnError(
            f"{table.where}, {table.row_word} {listed(table.rows[wrong])}, field '{column}': empty or used twice. "
            "The order along the line needs a different number for each tower."
        )
