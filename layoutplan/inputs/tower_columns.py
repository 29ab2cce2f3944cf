"""The columns of a tower table, each cell checked; messages name the rows."""

from __future__ import annotations

from typing import get_args

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layoutplan.errors import ColumnError
from layoutplan.inputs.geodetic import FloatArray
from layoutplan.inputs.placed import PlacedTable
from layoutplan.inputs.words import listed
from layoutplan.job.model import Structure
from layoutplan.text import clean


def id_text(value: object) -> str:
    """Return a tower's id as text: ``12.0`` becomes ``12``; foreign text is cleaned; missing ones are empty."""
    if isinstance(value, float | np.floating) and np.isfinite(value) and value == np.floor(value):
        return str(int(value))
    return "" if value is pd.NA else clean(value)


def read_ids(table: PlacedTable, column: str) -> NDArray[np.object_]:
    """Return the tower ids, checked to be there and unique.

    Raises
    ------
    ColumnError
    """
    ids = np.array([id_text(value) for value in table.columns[column]], dtype=object)
    missing = ids == ""
    if missing.any():
        raise ColumnError(
            f"{table.where}, {table.row_word} {listed(table.rows[missing])}, field '{column}': no tower id. "
            "Give every tower its own."
        )
    twice = pd.Series(ids).duplicated(keep=False).to_numpy()
    if twice.any():
        name = ids[twice][0]
        raise ColumnError(
            f"{table.where}, {table.row_word} {listed(table.rows[ids == name])}, field '{column}': the tower id "
            f"'{name}' is used more than once ({len(set(ids[twice]))} such ids). Make ids unique within a line."
        )
    return ids


def read_structures(table: PlacedTable, column: str | None) -> NDArray[np.object_]:
    """Return the structure of each tower, empty where the file does not say."""
    if column is None:
        return np.full(len(table.rows), "", dtype=object)
    texts = [clean(value).lower().replace("-", "_").replace(" ", "_") for value in table.columns[column]]
    kinds = np.array(texts, dtype=object)
    unknown = ~np.isin(kinds, ("", *get_args(Structure)))
    if unknown.any():
        raise ColumnError(
            f"{table.where}, {table.row_word} {listed(table.rows[unknown])}, field '{column}': "
            f"'{kinds[unknown][0]}' is no structure. Known: {', '.join(get_args(Structure))}."
        )
    return kinds


def read_figures(table: PlacedTable, column: str | None, *, positive: bool) -> FloatArray:
    """Return a column of numbers, NaN where empty."""
    if column is None:
        return np.full(len(table.rows), np.nan)
    empty = np.array([clean(value) == "" for value in table.columns[column]], dtype=bool)
    values = pd.to_numeric(table.columns[column].where(~empty), errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    wrong = ~empty & ~(np.isfinite(values) & ((values > 0) | (not positive)))
    if wrong.any():
        found = clean(table.columns[column].to_numpy()[wrong][0])
        raise ColumnError(
            f"{table.where}, {table.row_word} {listed(table.rows[wrong])}, field '{column}': '{found}' is no "
            f"{'positive ' if positive else ''}number. Mend it, or leave it empty if unknown."
        )
    return values


def check_order(towers: gpd.GeoDataFrame, table: PlacedTable, column: str) -> None:
    """Raise a ColumnError unless every tower has an order number of its own."""
    order = towers["order"]
    wrong = (order.isna() | order.duplicated(keep=False)).to_numpy()
    if wrong.any():
        raise ColumnError(
            f"{table.where}, {table.row_word} {listed(table.rows[wrong])}, field '{column}': empty or used twice. "
            "The order along the line needs a different number for each tower."
        )
