"""Where the vehicle stops: roads near places, and what lies between."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from layoutplan.access.cost import CostWindow
from layoutplan.access.ground import PERMIT
from layoutplan.access.lattice import Geometries
from layoutplan.arrays import FloatArray, IntArray

_FIRST_TRIED = 32


@dataclass(frozen=True, slots=True)
class DropOff:
    """Where the vehicle stops.

    Attributes
    ----------
    place : int
        Where the walk begins, beside the road.
    point_m : ndarray, shape (2,)
        On the road's centreline, in the tower's frame. [m]
    road : int
        Row of the job's roads.
    permit : bool
        Whether stopping, or driving there, needs a permission.
    seconds : float
        From the stop to the tower.
    """

    place: int
    point_m: FloatArray
    road: int
    permit: bool
    seconds: float


def met(lines: Geometries, barriers: Geometries) -> tuple[IntArray, IntArray]:
    """Find which lines meet which barriers.

    Parameters
    ----------
    lines, barriers : ndarray of shapely geometry
        In one plane.

    Returns
    -------
    line, barrier : ndarray of int
        Pairs.

    Examples
    --------
    >>> from shapely import LineString
    >>> wall = LineString([(5, -1), (5, 1)])
    >>> line, barrier = met(np.array([LineString([(0, 0), (9, 0)]), LineString([(0, 0), (4, 0)])]), np.array([wall]))
    >>> line.tolist(), barrier.tolist()
    ([0], [0])
    """
    line, barrier = STRtree(barriers).query(lines, predicate="intersects")
    return line, barrier


def connectors(window: CostWindow, place: IntArray, level: IntArray) -> tuple[IntArray, Geometries]:
    """Join places to the nearest road on which a vehicle may stop.

    Parameters
    ----------
    window : CostWindow
    place, level : ndarray of int, shape (n,)
        Level of the road that is looked for: ``YES`` or ``PERMIT``.

    Returns
    -------
    road : ndarray of int, shape (n,)
        Row among the job's roads.
    line : ndarray of shapely geometry, shape (n,)
        The shortest to it, in metres east and north of the tower.
    """
    road, shape = nearest_roads(window, place, level)
    return road, lines_to(window, place, shape)


def nearest_roads(window: CostWindow, place: IntArray, level: IntArray) -> tuple[IntArray, Geometries]:
    """Find the nearest road of each place.

    Parameters
    ----------
    window : CostWindow
    place, level : ndarray of int, shape (n,)
        As of `connectors`.

    Returns
    -------
    road : ndarray of int, shape (n,)
        Row among the job's roads.
    shape : ndarray of shapely geometry, shape (n,)
        In metres east and north of the tower.
    """
    start = np.asarray(shapely.points(window.places_m(place)))
    road, shape = np.zeros(len(place), dtype=np.int64), np.empty(len(place), dtype=object)
    for one in np.unique(level):
        mine = level == one
        roads = window.roads.where(window.ground.may_stop[window.roads.row] == one)
        nearest = STRtree(roads.shape).nearest(start[mine])
        road[mine], shape[mine] = roads.row[nearest], roads.shape[nearest]
    return road, shape


def lines_to(window: CostWindow, place: IntArray, road: Geometries) -> Geometries:
    """Shortest lines from places to roads.

    Parameters
    ----------
    window : CostWindow
    place : ndarray of int, shape (n,)
    road : ndarray of shapely geometry, shape (n,)

    Returns
    -------
    ndarray of shapely geometry, shape (n,)
    """
    return np.asarray(shapely.shortest_line(shapely.points(window.places_m(place)), road))


def tracks_at(window: CostWindow, level: IntArray) -> int:
    """How many tracks with stops of some levels there are, the free ones counted as one.

    Parameters
    ----------
    window : CostWindow
    level : ndarray of int
        Of stops.

    Returns
    -------
    int
    """
    rows = window.roads.row[window.ground.may_stop[window.roads.row] == PERMIT]
    tracks = np.unique(window.ground.track[rows]) if (level == PERMIT).any() else ()
    return len(tracks) + bool((level != PERMIT).any())


def parted(window: CostWindow, road: IntArray, line: Geometries) -> NDArray[np.bool_]:
    """Whether a barrier other than a road of the same class lies on the way from the road.

    Parameters
    ----------
    window : CostWindow
    road : ndarray of int, shape (n,)
        Rows of the job's roads.
    line : ndarray of shapely geometry, shape (n,)
        From places to them, from `connectors`.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    one, barrier = met(line, window.barriers.shape)
    kind = window.ground.feature_class[window.barriers.row[barrier]]
    parted = np.zeros(len(line), dtype=bool)
    parted[one[kind != window.ground.road_class[road[one]]]] = True
    return parted


def growing(order: IntArray) -> Iterator[IntArray]:
    """Parts of an array, each twice as long as the one before.

    Parameters
    ----------
    order : ndarray of int

    Yields
    ------
    ndarray of int

    Examples
    --------
    >>> [len(part) for part in growing(np.arange(100))]
    [32, 64, 4]
    """
    first, count = 0, _FIRST_TRIED
    while first < len(order):
        yield order[first : first + count]
        first, count = first + count, 2 * count
