"""A conformal plane for whole jobs: near a place all distances are the ground's times one factor.

Spherical Mercator; the ellipsoid's flattening is left out (0.7 % at most), so it serves judgements in tens of metres,
not limits.
"""

from __future__ import annotations

import numpy as np
import shapely

from layoutplan.arrays import FloatArray
from layoutplan.inputs.geodetic import Geometries

_RADIUS_M = 6_371_008.8  # mean radius of the Earth
_FARTHEST_DEG = 89.0


def mercator(geometry: Geometries) -> Geometries:
    """Geometries on the plane.

    Parameters
    ----------
    geometry : ndarray of Geometry, shape (n,)
        EPSG:4326.

    Returns
    -------
    ndarray of Geometry, shape (n,)
        See `scale_at` for their lengths.
    """
    return np.asarray(shapely.transform(geometry, _forth), dtype=object)


def from_mercator(geometry: Geometries) -> Geometries:
    """Geometries back from the plane.

    Parameters
    ----------
    geometry : ndarray of Geometry, shape (n,)
        On the plane.

    Returns
    -------
    ndarray of Geometry, shape (n,)
        EPSG:4326.
    """
    return np.asarray(shapely.transform(geometry, _back), dtype=object)


def scale_at(geometry: Geometries) -> FloatArray:
    """How many times longer the plane is than the ground.

    Parameters
    ----------
    geometry : ndarray of Geometry, shape (n,)
        EPSG:4326.

    Returns
    -------
    ndarray, shape (n,)
        At the end of each geometry that is farthest from the equator. [-]

    Examples
    --------
    >>> scale_at(np.array([shapely.Point(8, 0), shapely.Point(8, 60)])).round(6)
    array([1., 2.])
    """
    _, south, _, north = shapely.bounds(geometry).T
    farthest = np.maximum(np.abs(south), np.abs(north))
    return np.asarray(1.0 / np.cos(np.radians(np.minimum(farthest, _FARTHEST_DEG))))


def _forth(lonlat_deg: FloatArray) -> FloatArray:
    lat = np.radians(np.clip(lonlat_deg[:, 1], -_FARTHEST_DEG, _FARTHEST_DEG))
    return np.column_stack((np.radians(lonlat_deg[:, 0]), np.arcsinh(np.tan(lat)))) * _RADIUS_M


def _back(xy_m: FloatArray) -> FloatArray:
    return np.degrees(np.column_stack((xy_m[:, 0] / _RADIUS_M, np.arctan(np.sinh(xy_m[:, 1] / _RADIUS_M)))))
