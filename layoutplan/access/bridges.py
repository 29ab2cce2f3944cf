"""Bridges: what they lead over is passed on them, and they are entered and left at their ends only."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import STRtree

from layoutplan.access.ground import WalkingGround
from layoutplan.access.lattice import Geometries
from layoutplan.access.placed import CutShapes
from layoutplan.arrays import BoolArray, IntArray

_JOINED_M = 0.1  # a road and the bridge it leads onto share a corner


def is_ford(
    ground: WalkingGround, roads: CutShapes, road: IntArray, blocked: IntArray, pieces: Geometries
) -> BoolArray:
    """Mark the pieces of roads within blocked shapes that are no dry way through a river.

    Parameters
    ----------
    ground : WalkingGround
        The whole map.
    roads : CutShapes
        All roads about a tower.
    road, blocked : ndarray of int, shape (n,)
        Rows of each piece's road and of what it lies in.
    pieces : ndarray of Geometry, shape (n,)
        In the tower's frame. [m]

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    ford = ground.is_track[road] & ground.fordable[blocked]
    bridges = roads.shape[ground.bridge[roads.row] >= 0]
    ford[STRtree(bridges).query(pieces, predicate="dwithin", distance=_JOINED_M)[0]] = False
    return ford


def bridge_sides(ground: WalkingGround, roads: CutShapes, blocked: Geometries) -> CutShapes:
    """Sides of the bridges that lead over something blocked, one cell from their middle, open at their ends.

    Without them a way would step off a bridge onto an island, or between two carriageways. Nobody walks below the
    bridge then, either: the way round leads over the road at its end.

    Parameters
    ----------
    ground : WalkingGround
        The whole map.
    roads : CutShapes
        Those near a tower, in its frame. [m]
    blocked : array of geometries
        What nobody walks through, in the same frame. [m]

    Returns
    -------
    CutShapes
        Lines. [m]
    """
    bridges = roads.where((ground.bridge[roads.row] >= 0) & ground.is_open[roads.row])
    cell = ground.settings.cell_m
    whole = shapely.line_merge(shapely.union_all(bridges.shape))
    decks = shapely.get_parts(shapely.buffer(whole, cell, quad_segs=2, cap_style="flat"))
    decks = decks[np.unique(STRtree(blocked).query(decks, predicate="intersects")[0])]
    deck, bridge = STRtree(bridges.shape).query(decks, predicate="intersects")
    first = bridge[np.searchsorted(deck, np.arange(len(decks)))]
    ends = shapely.union_all(shapely.buffer(_loose_ends(whole), 1.01 * cell))
    sides = shapely.difference(shapely.boundary(decks), ends)
    left = ~shapely.is_empty(sides)
    return CutShapes(ground.bridge[bridges.row[first]], sides).where(left)


def _loose_ends(lines: shapely.Geometry) -> Geometries:
    """Points where a single line ends."""
    parts = shapely.get_parts(lines)
    ends = shapely.get_coordinates([shapely.get_point(parts, place) for place in (0, -1)])
    place, count = np.unique(ends, axis=0, return_counts=True)
    return np.asarray(shapely.points(place[count == 1]))
