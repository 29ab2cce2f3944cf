"""The base map cut down to what a crew sees around the towers."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from layoutplan.outputs.columns import turned

_M_PER_DEG = 111_320.0  # good enough for a window's edge
SIMPLIFIED_M = 1.0


def near_towers(obstacles: gpd.GeoDataFrame, towers_lonlat: NDArray[np.float64], radius_m: float) -> gpd.GeoDataFrame:
    """Cut features to square windows about the towers, and simplify their outlines to a metre.

    Parameters
    ----------
    obstacles : GeoDataFrame
        EPSG:4326.
    towers_lonlat : ndarray, shape (n, 2)
        Continuous longitudes and latitudes. [deg]
    radius_m : float
        Half the window. [m]

    Returns
    -------
    GeoDataFrame
        The rows that reach into a window; a feature in several windows is cut to the box around those.
    """
    shapes = turned(obstacles.geometry.array, _west(towers_lonlat))
    windows = _windows(towers_lonlat, radius_m)
    row, window = shapely.STRtree(windows).query(shapes, predicate="intersects")
    edges = shapely.bounds(windows)[window]
    box = np.repeat([[np.inf, np.inf, -np.inf, -np.inf]], len(shapes), axis=0)
    np.minimum.at(box[:, :2], row, edges[:, :2])
    np.maximum.at(box[:, 2:], row, edges[:, 2:])
    near = np.unique(row)
    cut = _simplified(_cut(shapes[near], box[near]))
    kept = ~shapely.is_empty(cut)
    return obstacles.iloc[near[kept]].assign(geometry=cut[kept])


def edge(towers_lonlat: NDArray[np.float64], radius_m: float) -> shapely.Geometry:
    """Return the outline of the windows: beyond it features are left out.

    Parameters
    ----------
    towers_lonlat : ndarray, shape (n, 2)
        Longitude and latitude. [deg]
    radius_m : float
        Half the window. [m]

    Returns
    -------
    Geometry
        Lines. [deg]
    """
    return shapely.boundary(shapely.union_all(_windows(towers_lonlat, radius_m)))


def _west(lonlat: NDArray[np.float64]) -> float:
    return float(lonlat[:, 0].mean()) - 180.0 if len(lonlat) else -180.0


def _windows(lonlat: NDArray[np.float64], radius_m: float) -> NDArray[np.object_]:
    high = radius_m / _M_PER_DEG
    wide = high / np.cos(np.radians(lonlat[:, 1]))
    lon, lat = lonlat.T
    return np.asarray(shapely.box(lon - wide, lat - high, lon + wide, lat + high), dtype=object)


def _cut(shapes: NDArray[np.object_], box: NDArray[np.float64]) -> NDArray[np.object_]:
    bounds = shapely.bounds(shapes)
    out = ((bounds[:, :2] < box[:, :2]) | (bounds[:, 2:] > box[:, 2:])).any(axis=1)
    shapes = shapes.copy()
    shapes[out] = shapely.intersection(shapes[out], shapely.box(*box[out].T))
    return shapes


def _simplified(shapes: NDArray[np.object_]) -> NDArray[np.object_]:
    return np.asarray(shapely.simplify(shapes, SIMPLIFIED_M / _M_PER_DEG, preserve_topology=True), dtype=object)
