"""Places as the tables hold them: points and lines rounded like the columns, and positions in the grid."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from pyproj import CRS, Transformer

from layoutplan.arrays import FloatArray

WGS84 = "EPSG:4326"


def points(lonlat_deg: FloatArray) -> Any:
    """Points at positions rounded like the columns.

    Parameters
    ----------
    lonlat_deg : ndarray, shape (n, 2)
        Longitude and latitude. [deg]

    Returns
    -------
    ndarray of shapely geometry, shape (n,)

    Examples
    --------
    >>> points(np.array([[9.12345678949, 47.0]]))[0].x
    9.123456789
    """
    return shapely.points(np.round(lonlat_deg, 9))


def two_point_lines(start_deg: FloatArray, end_deg: FloatArray) -> Any:
    """Two-point lines at positions rounded like the columns.

    Parameters
    ----------
    start_deg, end_deg : ndarray, shape (n, 2)
        Longitude and latitude. [deg]

    Returns
    -------
    ndarray of shapely geometry, shape (n,)

    Examples
    --------
    >>> print(two_point_lines(np.array([[9.0, 47.0]]), np.array([[9.001, 47.0]]))[0])
    LINESTRING (9 47, 9.001 47)
    """
    return shapely.linestrings(np.round(np.stack((start_deg, end_deg), axis=1), 9))


def grid_position(lonlat_deg: FloatArray, grid_crs: str) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Easting, northing and meridian convergence (grid bearing = true bearing - convergence) in the grid.

    The convergence is taken from a short step to the north, so that it holds for any projected system.

    Parameters
    ----------
    lonlat_deg : ndarray, shape (n, 2)
        Longitude and latitude, WGS 84. [deg]
    grid_crs : str
        A projected system.

    Returns
    -------
    easting, northing : ndarray, shape (n,)
        In the grid's unit.
    convergence_deg : ndarray, shape (n,)
        From true north to grid north, clockwise. [deg]

    Examples
    --------
    On the central meridian of UTM zone 32 grid north is true north, and the easting 500 km:

    >>> easting, _, convergence_deg = grid_position(np.array([[9.0, 47.0]]), "EPSG:32632")
    >>> float(round(easting[0], 3)), abs(round(float(convergence_deg[0]), 6))
    (500000.0, 0.0)
    """
    transform = Transformer.from_crs(WGS84, CRS.from_user_input(grid_crs), always_xy=True)
    lon = np.mod(lonlat_deg[:, 0] + 180.0, 360.0) - 180.0
    east, north = transform.transform(lon, lonlat_deg[:, 1])
    step = np.where(lonlat_deg[:, 1] > 0, -1e-4, 1e-4)  # towards the equator, never over a pole
    east_2, north_2 = transform.transform(lon, lonlat_deg[:, 1] + step)
    sign = np.sign(step)
    towards_north = np.degrees(np.arctan2((east_2 - east) * sign, (north_2 - north) * sign))
    return np.asarray(east), np.asarray(north), -towards_north
