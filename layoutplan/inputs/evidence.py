"""Where the map has something: vertices of what is mapped, thinned.

A map cut out at a border keeps long things whole: a road or a forest that crosses the border is there beyond it, where
houses and ditches are not. So only things of a limited size show that the map is worked out where they lie. (On a
country extract with a line that crosses the border, vertices of all things take eight towers beyond it for
covered, up to 920 m away; those of things of limited size take three, up to 350 m away.)
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.inputs.geodetic import Geometries, metres_per_degree
from layoutplan.job.classes import named

CELL_DEG = 0.0005  # some 50 m: fine enough for a question asked within hundreds of metres
_CELLS_ROUND = 2.0**22  # more than there are cells along a parallel, counted on beyond 180° too
_CHUNK = 1_000_000  # points thinned together, so that memory stays flat
LOCAL_M = 1000.0  # diagonal of the bounding box of the largest thing that counts (judgement)
# kept whole where all else is cut, or drawn by the project and not by a surveyor of the land
SHOWS_NOTHING = frozenset(named(lambda row: not row.tells.reach))


def is_local(geometry: Geometries) -> NDArray[np.bool_]:
    """Mark geometries that are small enough to show that the map is worked out around them.

    Parameters
    ----------
    geometry : ndarray of Geometry, shape (n,)
        EPSG:4326.

    Returns
    -------
    ndarray of bool, shape (n,)
        False for missing and empty ones.

    Examples
    --------
    A pond of 100 m, and a boundary of 10 km:

    >>> is_local(np.array([shapely.box(8.0, 47.0, 8.001, 47.001), shapely.box(8.0, 47.0, 8.1, 47.1)]))
    array([ True, False])
    """
    west, south, east, north = shapely.bounds(geometry).T
    with np.errstate(invalid="ignore"):
        lon_m, lat_m = metres_per_degree(south)
        return np.asarray(np.hypot((east - west) * lon_m, (north - south) * lat_m) <= LOCAL_M)


def thin(lonlat_deg: FloatArray) -> FloatArray:
    """Keep the first finite point in each cell of a fine grid.

    Parameters
    ----------
    lonlat_deg : ndarray, shape (n, 2)
        Longitude and latitude. [deg]

    Returns
    -------
    ndarray, shape (m, 2)
        Some of them. [deg]
    """
    while len(lonlat_deg) > _CHUNK:
        chunks = np.array_split(lonlat_deg, -(-len(lonlat_deg) // _CHUNK))
        thinner = np.concatenate([_first_in_cells(chunk) for chunk in chunks])
        if len(thinner) > len(lonlat_deg) // 2:
            return _first_in_cells(thinner)
        lonlat_deg = thinner
    return _first_in_cells(lonlat_deg)


def _first_in_cells(lonlat_deg: FloatArray) -> FloatArray:
    with np.errstate(invalid="ignore"):
        cell = np.floor(lonlat_deg[:, 0] / CELL_DEG) + np.floor(lonlat_deg[:, 1] / CELL_DEG) * _CELLS_ROUND
    # neighbours along a line mostly share a cell: told apart cheaply before the rest is looked up
    new = np.flatnonzero(np.isfinite(cell) & (np.diff(cell, prepend=np.nan) != 0.0))
    return np.asarray(lonlat_deg[new[~pd.Series(cell[new].astype(np.int64)).duplicated().to_numpy()]])
