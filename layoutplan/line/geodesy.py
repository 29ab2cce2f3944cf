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

FloatArray = NDArray[np.float64]

GEOD = Geod(ellps="WGS84")
_A_M = GEOD.a
_E2 = GEOD.es
OCTANTS = np.array(["N", "NE", "E", "SE", "S", "SW", "W", "NW"])


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
    """Unit vectors to the east and to the north at each point, geocentric, each of shape (n, 3)."""
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
    """
    start, end = np.asarray(from_lonlat_deg, dtype=float), np.asarray(to_lonlat_deg, dtype=float)
    azimuth, _, distance = GEOD.inv(start[:, 0], start[:, 1], end[:, 0], end[:, 1])
    return np.mod(azimuth, 360.0), np.asarray(distance, dtype=float)


def direct(from_lonlat_deg: ArrayLike, bearing_true_deg: ArrayLike, distance_m: ArrayLike) -> FloatArray:
    """End points of geodesics; longitudes stay continuous with those of the start. Shape (n, 2). [deg]."""
    start = np.asarray(from_lonlat_deg, dtype=float)
    lon, lat, _ = GEOD.fwd(start[:, 0], start[:, 1], np.asarray(bearing_true_deg), np.asarray(distance_m))
    lon = np.asarray(lon, dtype=float)
    lon += 360.0 * np.round((start[:, 0] - lon) / 360.0)
    return np.column_stack((lon, lat))


def fold_deg(difference_deg: ArrayLike) -> FloatArray:
    """Acute angle between two directions regarded as lines, 0 to 90. [deg]."""
    folded = np.mod(np.asarray(difference_deg, dtype=float), 180.0)
    return np.minimum(folded, 180.0 - folded)


def turn_deg(difference_deg: ArrayLike) -> FloatArray:
    """Signed turn between two bearings in (-180, 180], positive to the right. [deg]."""
    return 180.0 - np.mod(180.0 - np.asarray(difference_deg, dtype=float), 360.0)


def octant(bearing_deg: ArrayLike) -> NDArray[np.str_]:
    """Name of the compass octant in which a bearing lies."""
    index = np.floor(np.mod(np.asarray(bearing_deg, dtype=float) + 22.5, 360.0) / 45.0).astype(int)
    return np.asarray(OCTANTS[index % 8])
