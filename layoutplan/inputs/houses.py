"""Where houses must stand, by the map's own signs, and none is mapped: ground of which nothing is known.

Towns are mapped street by street: the streets first, the houses years later or never. A street whose houses are drawn
vouches for the ground beside it; one without a single house along it does not.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely import STRtree

from layoutplan.arrays import BoolArray, FloatArray
from layoutplan.inputs.geodetic import Geometries
from layoutplan.inputs.mercator import from_mercator, mercator, scale_at
from layoutplan.inputs.signs import ADDRESS, DRIVE, PLACE, ROAD, STREET, Signs
from layoutplan.job.classes import named

HOUSE_CLASSES = frozenset(named(lambda row: row.tells.houses))
# all of it is judgement
WITHIN_M = {STREET: 60.0, ROAD: 60.0, DRIVE: 60.0, ADDRESS: 60.0, PLACE: 200.0}  # a house so near answers for the sign
DOUBT_M = {
    STREET: 65.0,
    ROAD: 65.0,
    DRIVE: 65.0,
    ADDRESS: 65.0,
    PLACE: 150.0,
}  # ground so near is doubted where none does
AROUND_M = 500.0  # if most streets within this distance are bare, bare stretches of other roads are doubted, too
_ROUND = 8  # corners of a quarter circle
_OUTER = 1.0 / np.cos(np.pi / (4 * _ROUND))  # so that the corners' chords keep outside the circle


def unmapped_houses(
    signs: Signs, houses: Geometries, towers_lonlat: FloatArray, within_m: float, vouched: Geometries
) -> Geometries:
    """Areas about signs of houses where no house is mapped.

    Parameters
    ----------
    signs : Signs
        Longitudes as those of the towers.
    houses : ndarray of Geometry
        Buildings, gardens and residential land, EPSG:4326.
    towers_lonlat : ndarray, shape (n, 2)
        Longitude and latitude. [deg]
    within_m : float
        Areas farther from every tower are left out. [m]
    vouched : ndarray of Geometry
        Where the user states that houses are drawn if there are any.

    Returns
    -------
    ndarray of Polygon
        EPSG:4326, disjoint.
    """
    shape, kind, owner = _pieces(signs)
    if len(shape) == 0:
        return shape
    flat, scale = mercator(shape), scale_at(shape)
    bare = ~_reached(flat, scale * _by_kind(WITHIN_M, kind), mercator(houses))
    alone = _whole_bare(bare, owner) & (kind != ROAD)
    doubted = bare & (alone | _mostly_bare_around(flat, scale, bare, kind))
    towers = mercator(np.asarray(shapely.points(towers_lonlat), dtype=object))
    rows = np.flatnonzero(doubted)
    rows = rows[_reached(flat[rows], scale[rows] * (within_m + max(DOUBT_M.values())), towers)]
    belts = shapely.buffer(flat[rows], scale[rows] * _by_kind(DOUBT_M, kind[rows]) * _OUTER, quad_segs=_ROUND)
    ground = shapely.difference(shapely.union_all(belts), shapely.union_all(mercator(vouched)))
    parts = shapely.get_parts(ground)
    return from_mercator(parts[shapely.get_dimensions(parts) == 2])


def _pieces(signs: Signs) -> tuple[Geometries, NDArray[np.int64], NDArray[np.int64]]:
    """Signs, streets cut into their segments, with kind and row of the sign."""
    is_street = np.isin(signs.kind, (STREET, ROAD, DRIVE))
    lines = np.flatnonzero(is_street)
    coords, row = shapely.get_coordinates(signs.geometry[lines], return_index=True)
    whole = np.flatnonzero(row[1:] == row[:-1])
    cut = np.asarray(shapely.linestrings(np.stack((coords[whole], coords[whole + 1]), axis=1)), dtype=object)
    points = np.flatnonzero(~is_street)
    owner = np.concatenate((lines[row[whole]], points))
    return np.concatenate((cut, signs.geometry[points])), signs.kind[owner], owner


def _by_kind(table: dict[int, float], kind: NDArray[np.int64]) -> FloatArray:
    return np.array([table.get(code, 0.0) for code in range(max(table) + 1)])[kind]


def _reached(flat: Geometries, within: FloatArray, targets: Geometries) -> BoolArray:
    """Mark shapes that have a target within a distance of their own."""
    found = np.zeros(len(flat), dtype=bool)
    found[STRtree(targets).query(flat, predicate="dwithin", distance=within)[0]] = True
    return found


def _whole_bare(bare: BoolArray, owner: NDArray[np.int64]) -> BoolArray:
    """Mark pieces of signs without any house."""
    return np.asarray((np.bincount(owner, ~bare) == 0)[owner])


def _mostly_bare_around(flat: Geometries, scale: FloatArray, bare: BoolArray, kind: NDArray[np.int64]) -> BoolArray:
    """Mark bare pieces of streets and roads about which more than half of the streets' length is bare."""
    found = np.zeros(len(bare), dtype=bool)
    streets = np.flatnonzero(kind == STREET)
    asked = np.flatnonzero(bare & np.isin(kind, (STREET, ROAD)))
    if len(asked) == 0 or len(streets) == 0:
        return found
    middle = shapely.get_coordinates(shapely.centroid(flat))
    length = shapely.length(flat[streets])
    around = cKDTree(middle[streets]).query_ball_point(middle[asked], scale[asked] * AROUND_M)
    lacking = np.where(bare[streets], length, -length)
    found[asked] = [lacking[rows].sum() > 0.0 for rows in around]
    return found
