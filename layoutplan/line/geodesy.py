"""Ground truth: distances and bearings on the WGS 84 ellipsoid, and flat local frames that keep them.

All siting geometry happens in a *tangent frame* of its own for each tower: x east, y north, in metres, the tower at the
origin. A point at the geodesic distance ``s`` and azimuth ``a`` from the tower lies there at ``(s sin a, s cos a)`` but
for ``s**3 / (6 R**2)``: 0.03 µm at 200 m, 4 µm at 1 km. There is no projection, hence no scale factor, no
convergence, no zone border and no trouble at the antimeridian.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pyproj import Geod

from layoutplan.arrays import FloatArray

GEOD = Geod(ellps="WGS84")
_A_M = GEOD.a
_E2 = GEOD.es
# in full: a lone S would be taken for the electrode
OCTANTS = np.array(["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"])


def to_ecef(lonlat_deg: ArrayLike) -> FloatArray:
    """Geocentric Cartesian coordinates of points on the ellipsoid.

    Parameters
    ----------
    lonlat_deg : array_like, shape (n, 2)
        Longitude and latitude. [deg]

    Returns
    -------
    ndarray, shape (n, 3)
        X, Y, Z (EPSG:4978) at ellipsoidal height 0. [m]

    References
    ----------
    .. [1] EPSG guidance note 7-2, geographic to geocentric conversion.

    Examples
    --------
    On the equator at Greenwich the X axis pierces the ellipsoid, at the pole the Z axis:

    >>> print(to_ecef([[0, 0], [0, 90]]).round(3) + 0.0, "m")
    [[6378137.          0.          0.   ]
     [      0.          0.    6356752.314]] m
    """
    lon, lat = np.radians(np.asarray(lonlat_deg, dtype=float)).T
    sin_lat, cos_lat = np.sin(lat), np.cos(lat)
    prime_vertical_m = _A_M / np.sqrt(1 - _E2 * sin_lat**2)
    return np.column_stack(
        (
            prime_vertical_m * cos_lat * np.cos(lon),
            prime_vertical_m * cos_lat * np.sin(lon),
            prime_vertical_m * (1 - _E2) * sin_lat,
        )
    )


def local_axes(lonlat_deg: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Unit vectors to the east and to the north at each point, geocentric.

    Parameters
    ----------
    lonlat_deg : array_like, shape (n, 2)
        Longitude and latitude. [deg]

    Returns
    -------
    east, north : ndarray, shape (n, 3)
        In the axes of `to_ecef`.

    Examples
    --------
    >>> east, north = local_axes([[0, 0]])
    >>> print(east.round(1), north.round(1) + 0.0)
    [[-0.  1.  0.]] [[0. 0. 1.]]
    """
    lon, lat = np.radians(np.asarray(lonlat_deg, dtype=float)).T
    east = np.column_stack((-np.sin(lon), np.cos(lon), np.zeros_like(lon)))
    north = np.column_stack((-np.sin(lat) * np.cos(lon), -np.sin(lat) * np.sin(lon), np.cos(lat)))
    return east, north


def inverse(from_lonlat_deg: ArrayLike, to_lonlat_deg: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Geodesic azimuth at the first points and distance to the second ones.

    Parameters
    ----------
    from_lonlat_deg, to_lonlat_deg : array_like, shape (n, 2)
        Longitude and latitude. [deg]

    Returns
    -------
    bearing_true_deg, distance_m : ndarray, shape (n,)
        Azimuth in [0, 360) and geodesic length; 0 and 0 for coincident points.

    References
    ----------
    .. [1] C. F. F. Karney, "Algorithms for geodesics," J. Geodesy, vol. 87, pp. 43-55, 2013: what the geodesic
       library computes by.

    Examples
    --------
    One degree of latitude and one of longitude at the equator:

    >>> bearing, distance = inverse([[0, 0], [0, 0]], [[0, 1], [1, 0]])
    >>> print(bearing, "deg", distance.round(1), "m")
    [ 0. 90.] deg [110574.4 111319.5] m
    """
    start, end = np.asarray(from_lonlat_deg, dtype=float), np.asarray(to_lonlat_deg, dtype=float)
    azimuth, _, distance = GEOD.inv(start[:, 0], start[:, 1], end[:, 0], end[:, 1])
    return np.mod(azimuth, 360.0), np.asarray(distance, dtype=float)


def direct(from_lonlat_deg: ArrayLike, bearing_true_deg: ArrayLike, distance_m: ArrayLike) -> FloatArray:
    """End points of geodesics; longitudes stay continuous with those of the start.

    Parameters
    ----------
    from_lonlat_deg : array_like, shape (n, 2)
        Longitude and latitude. [deg]
    bearing_true_deg : array_like, shape (n,)
        Azimuth at the start, clockwise from true north. [deg]
    distance_m : array_like, shape (n,)
        Length along the ellipsoid. [m]

    Returns
    -------
    ndarray, shape (n, 2)
        Longitude and latitude; beyond 180 degrees where the geodesic crosses the antimeridian. [deg]

    References
    ----------
    .. [1] C. F. F. Karney, "Algorithms for geodesics," J. Geodesy, vol. 87, pp. 43-55, 2013: what the geodesic
       library computes by.

    Examples
    --------
    1 km to the east, near Greenwich and across the antimeridian:

    >>> direct([[0, 0], [179.999, 0]], [90, 90], [1000, 1000]).round(6)
    array([[8.98300000e-03, 0.00000000e+00],
           [1.80007983e+02, 0.00000000e+00]])
    """
    start = np.asarray(from_lonlat_deg, dtype=float)
    lon, lat, _ = GEOD.fwd(start[:, 0], start[:, 1], np.asarray(bearing_true_deg), np.asarray(distance_m))
    lon = np.asarray(lon, dtype=float)
    lon += 360.0 * np.round((start[:, 0] - lon) / 360.0)
    return np.column_stack((lon, lat))


def fold_deg(difference_deg: ArrayLike) -> FloatArray:
    """Acute angle between two directions regarded as lines.

    Parameters
    ----------
    difference_deg : array_like
        Difference of two bearings, of any size and sign. [deg]

    Returns
    -------
    ndarray
        0 to 90. [deg]

    Examples
    --------
    >>> fold_deg([30, 150, 190, -80])
    array([30., 30., 10., 80.])
    """
    folded = np.mod(np.asarray(difference_deg, dtype=float), 180.0)
    return np.minimum(folded, 180.0 - folded)


def turn_deg(difference_deg: ArrayLike) -> FloatArray:
    """Signed turn between two bearings, positive to the right.

    Parameters
    ----------
    difference_deg : array_like
        New bearing less the old one, of any size. [deg]

    Returns
    -------
    ndarray
        In (-180, 180]. [deg]

    Examples
    --------
    From 350 to 10 degrees is 20 to the right, from 10 to 350 as much to the left:

    >>> turn_deg([10 - 350, 350 - 10])
    array([ 20., -20.])
    """
    return 180.0 - np.mod(180.0 - np.asarray(difference_deg, dtype=float), 360.0)


def octant(bearing_deg: ArrayLike) -> NDArray[np.str_]:
    """Name of the compass octant in which a bearing lies.

    Parameters
    ----------
    bearing_deg : array_like
        Clockwise from north. [deg]

    Returns
    -------
    ndarray of str
        ``north``, ``north-east`` and so on.

    Examples
    --------
    >>> octant([0, 44, 181, 337.5]).tolist()
    ['north', 'north-east', 'south', 'north']
    """
    index = np.floor(np.mod(np.asarray(bearing_deg, dtype=float) + 22.5, 360.0) / 45.0).astype(int)
    return np.asarray(OCTANTS[index % 8])
