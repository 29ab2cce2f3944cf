"""Figures as people read them: positions and lengths to a centimetre, most others to a hundredth of their unit."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

LONLAT_DECIMALS = 7  # a centimetre
_PLAIN = (
    "easting", "northing", "score", "rod_resistance_ohm", "expected_reading_v_low", "expected_reading_v_high",
)  # fmt: skip


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


def rounded(frame: pd.DataFrame) -> pd.DataFrame:
    """Return a copy with each column rounded as its name asks for; text, counts and geometry stay.

    Parameters
    ----------
    frame : DataFrame
        A table of the plan.

    Returns
    -------
    DataFrame

    Examples
    --------
    >>> rounded(pd.DataFrame({"bearing_true_deg": [359.999], "distance_m": [92.5049], "rods": [2]})).to_dict("records")
    [{'bearing_true_deg': 0.0, 'distance_m': 92.5, 'rods': 2}]
    """
    return frame.assign(**{column: _column(frame[column]) for column in frame.columns if _is_figure(frame[column])})


def _is_figure(column: pd.Series) -> bool:
    name = str(column.name)
    return column.dtype.kind == "f" and (name in ("lon", "lat", *_PLAIN) or name.endswith(("_m", "_deg")))


def _column(column: pd.Series) -> NDArray[np.float64]:
    name, figures = str(column.name), column.to_numpy(dtype=float)
    if name == "lon":
        return rounded_lon(figures)
    if "bearing" in name:
        return rounded_bearing(figures)
    return np.round(figures, LONLAT_DECIMALS if name == "lat" else 2) + 0.0  # no minus zero
