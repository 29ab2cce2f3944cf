"""What walking costs about one tower: places on a lattice, the time of every move between them, and what shuts moves.

The time of a move is that of walking straight: the mean effort of the cells it passes through times the pace at the
gradient *along the move*, not at the steepest slope, so that following a contour stays easy. The crew walks in and out
again, so up and down are averaged and a way costs the same both ways.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely import STRtree

from layoutplan.access.bridges import bridge_sides, is_ford
from layoutplan.access.drawing import Drawing
from layoutplan.access.frame import TangentFrame
from layoutplan.access.ground import FENCE, WalkingGround
from layoutplan.access.lattice import MOVES, Geometries, passed, shifted_views, starts
from layoutplan.access.placed import CutShapes, bodies, opened, placed
from layoutplan.arrays import BoolArray, FloatArray

Sampler = Callable[[FloatArray], FloatArray]
_STEEPEST = 50.0  # beyond any ground; keeps the exponential finite
_FORCED_EFFORT = 1e3  # of a blocked cell, where the question is what stands in the way
_FORCED_S = 1e6  # for each barrier crossed then: the fewest barriers, whatever the detour


@dataclass(frozen=True, slots=True)
class Relief:
    """The ground's shape; what is None is unknown, and flat ground is assumed for walking.

    Attributes
    ----------
    elevation_m, slope_deg : callable or None
        Take longitude and latitude, shape (n, 2), and give values of shape (n,), NaN where unknown.
    """

    elevation_m: Sampler | None = None
    slope_deg: Sampler | None = None


@dataclass(frozen=True, slots=True)
class CostWindow:
    """A square about a tower, which stands on the middle place of the lattice.

    Attributes
    ----------
    ground : WalkingGround
    frame : TangentFrame
    cell_m, half_m : float
        Between neighbouring places; from the tower to the outermost ones. [m]
    effort : ndarray, shape (size, size)
        Multiple of the time along a path on level ground; infinite where blocked.
    height_m : ndarray, shape (size, size), or None
    ask, steep : ndarray of bool, shape (size, size)
        Whether walking there needs a permission; whether it is too steep.
    shut : ndarray of bool, shape (8, size, size)
        Moves that meet a barrier.
    stop : ndarray of bool, shape (2, size, size)
        Places beside roads where the vehicle may stop: at once, and with a permission.
    features, roads : Placed
        What lies there, uncut.
    barriers : CutShapes
        What blocks, with its openings.
    """

    ground: WalkingGround
    frame: TangentFrame
    cell_m: float
    half_m: float
    effort: FloatArray
    height_m: FloatArray | None
    ask: BoolArray
    steep: BoolArray
    shut: BoolArray
    stop: BoolArray
    features: CutShapes
    roads: CutShapes
    barriers: CutShapes

    @property
    def size(self) -> int:
        """Rows and columns of the lattice."""
        return len(self.effort)

    def places_m(self, index: ArrayLike) -> FloatArray:
        """East and north of places.

        Parameters
        ----------
        index : array_like of int, shape (n,)
            Numbers of the places, row by row from the south-west.

        Returns
        -------
        ndarray, shape (n, 2)
            In the tower's frame. [m]
        """
        row, col = np.divmod(np.asarray(index), self.size)
        return np.column_stack((col, row)) * self.cell_m - self.half_m


def pace_s_per_m(gradient: ArrayLike) -> FloatArray:
    r"""Seconds per metre on a path, the mean of walking up and down.

    Parameters
    ----------
    gradient : array_like
        Rise over level distance, either way. [-]

    Returns
    -------
    ndarray
        [s/m]

    Notes
    -----
    Tobler's hiking function gives the speed :math:`W = 6 \exp(-3.5\,|\mathrm{d}h/\mathrm{d}x + 0.05|)` km/h on paths,
    5.04 km/h on the level, and 0.6 of it off the path [1]_. The distance is taken as horizontal here.

    References
    ----------
    .. [1] W. Tobler, "Three presentations on geographical analysis and modeling," National Center for Geographic
       Information and Analysis, Technical Report 93-1, 1993.

    Examples
    --------
    5 km/h on the level, and slower on a slope of one in five:

    >>> print((3.6 / pace_s_per_m([0.0, 0.2])).round(2), "km/h")
    [5.04 2.93] km/h
    """
    g = np.minimum(np.fmax(np.abs(np.asarray(gradient, dtype=float)), 0.0), _STEEPEST)  # of NaN and 0, fmax takes 0
    level, grown = np.exp(3.5 * 0.05), np.exp(3.5 * g)
    return np.asarray(0.3 * (level * grown + np.maximum(grown / level, level / grown)))  # |g + 0.05| and |-g + 0.05|


def open_window(ground: WalkingGround, frame: TangentFrame, half_m: float, relief: Relief) -> CostWindow:
    """Lay the lattice about a tower and look up what walking costs there.

    Parameters
    ----------
    ground : WalkingGround
        The whole map.
    frame : TangentFrame
        Of the tower.
    half_m : float
        Half the side of the square, at least; whole cells are taken. [m]
    relief : Relief
        Heights, if there are any. [m]

    Returns
    -------
    CostWindow
        Seconds and levels of its cells.
    """
    cell = ground.settings.cell_m
    steps = int(np.ceil(half_m / cell))
    size, half = 2 * steps + 1, steps * cell
    reach = half + cell / 2
    features, roads = placed(ground.feature_tree, frame, reach), placed(ground.road_tree, frame, reach)
    body = CutShapes(features.row, bodies(features.shape, ground.width_m[features.row], cell))
    barriers = _barriers(ground, body, roads, placed(ground.gate_tree, frame, reach).shape)
    drawing = Drawing(size, cell, half)
    effort = drawing.effort(ground, body, roads, barriers)
    height, gradient = _sampled(relief, frame, drawing.axis())
    steep = np.zeros((size, size), dtype=bool)
    if gradient is not None:
        too_much = np.tan(np.radians(ground.settings.max_walk_slope_deg + 1e-6))  # not at the limit itself
        steep = (gradient > too_much) & (effort > 1.0)  # roads are built on any slope
        if height is None:
            effort *= pace_s_per_m(gradient) / pace_s_per_m(0.0)
        effort[steep] = np.inf
    return CostWindow(
        ground=ground,
        frame=frame,
        cell_m=cell,
        half_m=half,
        effort=effort,
        height_m=height,
        ask=drawing.ask(ground, body, roads),
        steep=steep,
        shut=drawing.shut(barriers.shape),
        stop=drawing.stop(ground, roads),
        features=features,
        roads=roads,
        barriers=barriers,
    )


def move_times_s(window: CostWindow, *, forced: bool = False) -> FloatArray:
    """Seconds of every move, infinite where it is shut or leaves the lattice.

    Parameters
    ----------
    window : CostWindow
        The lattice about a tower and what walking costs there.
    forced : bool
        Let barriers be crossed at a price that no detour reaches, to find out which ones stand in the way.

    Returns
    -------
    ndarray, shape (size, size, 8)
        By row, column and move. [s]
    """
    effort = np.where(np.isinf(window.effort), _FORCED_EFFORT, window.effort) if forced else window.effort
    times = np.full((*effort.shape, len(MOVES)), np.inf)
    for number, move in enumerate(MOVES):
        cells = passed(move)
        length = window.cell_m * float(np.hypot(*move))
        time = shifted_views(effort, move, move).copy()
        for by in cells[:-1]:
            time += shifted_views(effort, move, by)
        time *= length / len(cells)
        if window.height_m is None:
            time *= float(pace_s_per_m(0.0))
        else:
            rise = shifted_views(window.height_m, move, move) - shifted_views(window.height_m, move, (0, 0))
            time *= pace_s_per_m(rise / length)
        shut = window.shut[number][starts(move, window.size)]
        time[shut] = time[shut] + _FORCED_S if forced else np.inf
        times[(*starts(move, window.size), number)] = time
    return times


def _sampled(relief: Relief, frame: TangentFrame, axis_m: FloatArray) -> tuple[FloatArray | None, FloatArray | None]:
    """Height and steepest gradient by row and column; the gradient from the heights where only they are known."""
    if relief.elevation_m is None and relief.slope_deg is None:
        return None, None
    lonlat, shape = frame.lattice_to_lonlat(axis_m), (len(axis_m), len(axis_m))
    height = None if relief.elevation_m is None else np.asarray(relief.elevation_m(lonlat), dtype=float).reshape(shape)
    if relief.slope_deg is not None:
        return height, np.tan(np.radians(np.asarray(relief.slope_deg(lonlat), dtype=float).reshape(shape)))
    assert height is not None
    north, east = np.gradient(height, axis_m[1] - axis_m[0])
    return height, np.hypot(north, east)


def _barriers(ground: WalkingGround, body: CutShapes, roads: CutShapes, gates: Geometries) -> CutShapes:
    """What blocks, opened where a road or path leads through and where there is a gate.

    An opening reaches one cell about the piece of road inside: the least through which a way is sure to be found.
    Bridges are left at their ends only, and fords are not waded through.
    """
    blocked = body.where(np.isinf(ground.factor[body.row]))
    tree = STRtree(blocked.shape)
    open_road = roads.shape[ground.is_open[roads.row]]
    road, by_road = tree.query(open_road, predicate="intersects")
    pieces = shapely.intersection(open_road[road], blocked.shape[by_road])
    ford = is_ford(ground, roads, roads.row[ground.is_open[roads.row]][road], blocked.row[by_road], pieces)
    pieces, by_road = pieces[~ford], by_road[~ford]
    gate, by_gate = tree.query(gates, predicate="dwithin", distance=ground.settings.cell_m)
    is_fence = ground.feature_class[blocked.row[by_gate]] == FENCE
    openings = shapely.buffer(np.concatenate((pieces, gates[gate[is_fence]])), ground.settings.cell_m, quad_segs=4)
    cut = opened(blocked.shape, openings, np.concatenate((by_road, by_gate[is_fence])))
    left = CutShapes(blocked.row, cut).where(~shapely.is_empty(cut))
    sides = bridge_sides(ground, roads, blocked.shape)
    return CutShapes(np.concatenate((left.row, sides.row)), np.concatenate((left.shape, sides.shape)))
