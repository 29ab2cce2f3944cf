"""Windows in degrees about places, wide enough that nothing nearer than asked is missed."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import FloatArray

_METRES_PER_DEGREE = 110_500.0  # a little less than the least on the ellipsoid, so windows come out too wide
_FARTHEST_DEG = 89.9  # nearer to a pole a window would reach round it


def margins_deg(lat_deg: ArrayLike, reach_m: float) -> tuple[FloatArray, float]:
    """How far windows reach east and west, and north and south, of places.

    Parameters
    ----------
    lat_deg : array_like
        Of the places; of several in one window that farthest from the equator. [deg]
    reach_m : float
        What the windows must hold about the places. [m]

    Returns
    -------
    east_deg : ndarray
        Of the shape of ``lat_deg``; never too little. [deg]
    north_deg : float
        [deg]

    Examples
    --------
    At 60 degrees a degree of longitude is half as long as one of latitude:

    >>> east, north = margins_deg(60.0, 1000.0)
    >>> print(round(float(east / north), 2))
    2.0
    """
    north = reach_m / _METRES_PER_DEGREE
    farthest = np.minimum(np.abs(np.asarray(lat_deg, dtype=float)) + north, _FARTHEST_DEG)
    return north / np.cos(np.radians(farthest)), north
