"""Figures as people read them, in files with a text for each: positions and lengths to a centimetre."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from layoutplan.layout.schema import TABLES, Column, TableSchema

LONLAT_DECIMALS = TABLES["towers"].columns["lon"].shown or 0  # a centimetre


def rounded_lon(lon_deg: ArrayLike, decimals: int = LONLAT_DECIMALS) -> NDArray[np.float64]:
    """Round longitudes; 180 becomes -180, as the range is open at its eastern end.

    Parameters
    ----------
    lon_deg : array_like
        [deg]
    decimals : int
        Seven are a centimetre.

    Returns
    -------
    ndarray
        In [-180, 180). [deg]

    Examples
    --------
    >>> rounded_lon([8.123456789, 180.0])
    array([   8.1234568, -180.       ])
    """
    lon = np.round(np.asarray(lon_deg, dtype=float), decimals) + 0.0
    return np.where(lon >= 180.0, lon - 360.0, lon)


def rounded_bearing(bearing_deg: ArrayLike, decimals: int = 2) -> NDArray[np.float64]:
    """Round bearings; 360 becomes 0.

    Parameters
    ----------
    bearing_deg : array_like
        [deg]
    decimals : int

    Returns
    -------
    ndarray
        In [0, 360). [deg]

    Examples
    --------
    >>> rounded_bearing([87.256, 359.999])
    array([87.26,  0.  ])
    """
    return np.round(np.asarray(bearing_deg, dtype=float), decimals) % 360.0


def rounded(frame: pd.DataFrame, table: TableSchema) -> pd.DataFrame:
    """Return a copy with its figures as people read them; text, counts and geometry stay.

    Parameters
    ----------
    frame : DataFrame
    table : TableSchema
        By which each column has so many decimals.

    Returns
    -------
    DataFrame

    Examples
    --------
    >>> stakes = pd.DataFrame({"bearing_true_deg": [359.999], "distance_m": [92.5049], "rods": [2]})
    >>> rounded(stakes, TABLES["electrodes"]).to_dict("records")
    [{'bearing_true_deg': 0.0, 'distance_m': 92.5, 'rods': 2}]
    """
    shown = [column for name, column in table.columns.items() if name in frame and column.shown is not None]
    return frame.assign(
        **{column.name: _column(frame[column.name], column) for column in shown if frame[column.name].dtype.kind == "f"}
    )


def _column(values: pd.Series, column: Column) -> NDArray[np.float64]:
    figures, decimals = values.to_numpy(dtype=float), column.shown or 0
    if column.type == "longitude":
        return rounded_lon(figures, decimals)
    if column.type == "bearing":
        return rounded_bearing(figures, decimals)
    return np.round(figures, decimals) + 0.0  # no minus zero
