"""Where the conductors hang: crossarms on the bisector, straight stretches, and the part of the line near a tower."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import BoolArray, FloatArray, IntArray
from layoutplan.electrical._arrays import finite, positive, refuse


def conductor_vertices(tower_xy_m: ArrayLike, offset_m: ArrayLike, height_m: ArrayLike) -> FloatArray:
    """Points where the conductors are held, one per tower and conductor.

    Parameters
    ----------
    tower_xy_m : array_like, shape (n, 2)
        Tower positions in line order, n >= 2, x east and y north. [m]
    offset_m : array_like, shape (c,) or (n, c)
        Lateral offset, positive to the right of increasing chainage. [m]
    height_m : array_like, shape (c,) or (n, c)
        Effective height above ground, > 0. [m]

    Returns
    -------
    numpy.ndarray, shape (n, c, 3)
        x, y and height above ground. [m]

    Raises
    ------
    InputRangeError
        If a height is not above ground or two neighbouring towers coincide.

    Notes
    -----
    Crossarms of an angle tower stand on the bisector of its two spans and keep their length, so the conductors
    come closer to each other by the cosine of half the deflection; those of an end tower stand perpendicular to its
    span.

    References
    ----------
    Crossarms on the bisector: common practice, no source.

    Examples
    --------
    A line that turns right by 60°: the outer conductors, 8 m from the axis, on the bisector.

    >>> turn = np.radians(60)
    >>> hung = conductor_vertices([[0, -300], [0, 0], [300 * np.sin(turn), 300 * np.cos(turn)]], [-8, 8], 15)
    >>> print(hung[1].round(2), "m")
    [[-6.93  4.   15.  ]
     [ 6.93 -4.   15.  ]] m
    """
    towers = finite("tower_xy_m", tower_xy_m)
    step = np.diff(towers, axis=0)
    length = np.hypot(*step.T)
    refuse("Span length", length, length == 0, "two neighbouring towers are at one place")
    heading = step / length[:, None]
    along = np.vstack([heading[:1], heading[:-1] + heading[1:], heading[-1:]])
    size = np.hypot(*along.T)
    refuse("Mean direction at a tower", size, size < 1e-6, "the line turns back on itself")
    right = np.column_stack([along[:, 1], -along[:, 0]]) / size[:, None]
    offset = np.atleast_2d(finite("offset_m", offset_m))
    shape = (len(towers), offset.shape[1])
    vertices = np.empty((*shape, 3))
    vertices[..., :2] = towers[:, None] + right[:, None] * np.broadcast_to(offset, shape)[..., None]
    vertices[..., 2] = positive("height_m", height_m)
    return vertices


def straight_stretches(tower_xy_m: ArrayLike, *, tolerance_m: float = 0.1, keep: BoolArray | None = None) -> IntArray:
    """Towers to keep so that every tower left out lies within a tolerance of the straight line between its keepers.

    Spans in one straight line that carry one current act as a single long span, which saves most of the work.

    Parameters
    ----------
    tower_xy_m : array_like, shape (n, 2)
        Tower positions in line order, n >= 2. [m]
    tolerance_m : float
        Largest lateral shift, > 0. A lead perpendicular to the line then sees a false angle of at most this over the
        span length. [m]
    keep : numpy.ndarray of bool, shape (n,), optional
        Towers that must stay: where cross-section, height or current changes.

    Returns
    -------
    numpy.ndarray of int, shape (k,)
        Indices, ascending, the first and last tower always among them.

    Raises
    ------
    InputRangeError
        If a position is not a number or the tolerance is not positive.

    Notes
    -----
    One pass over the towers: from the last keeper the line may go on within the cone of bearings that passes every
    tower since at less than the tolerance. O(n).

    References
    ----------
    .. [1] J. Sklansky, V. Gonzalez, "Fast polygonal approximation of digitized curves," Pattern Recognition, vol.
       12, pp. 327-331, 1980 (from memory): the cone of directions.

    Examples
    --------
    Four spans, one tower 5 m off the straight line between the others:

    >>> straight_stretches([[0, 0], [0, 300], [5, 600], [0, 900], [0, 1200]]).tolist()
    [0, 1, 2, 3, 4]
    >>> straight_stretches([[0, 0], [0, 300], [0, 600], [0, 900]]).tolist()
    [0, 3]
    """
    towers = finite("tower_xy_m", tower_xy_m)
    tolerance = float(positive("tolerance_m", tolerance_m))
    forced = np.zeros(len(towers), dtype=bool) if keep is None else keep
    kept = [0]
    way, low, high = _way(towers, 0, 1), -math.inf, math.inf
    for i in range(1, len(towers)):
        length, turn = _turn(towers, kept[-1], i, way)
        if not low <= turn <= high or (forced[i - 1] and kept[-1] < i - 1):
            kept.append(i - 1)
            way, low, high = _way(towers, i - 1, i), -math.inf, math.inf
            length, turn = _turn(towers, i - 1, i, way)
        spread = math.asin(tolerance / length) if length > tolerance else math.pi
        low, high = max(low, turn - spread), min(high, turn + spread)
    return np.array([*kept, len(towers) - 1])


def _way(towers: FloatArray, start: int, end: int) -> float:
    x, y = towers[end] - towers[start]
    return math.atan2(y, x)


def _turn(towers: FloatArray, start: int, end: int, way: float) -> tuple[float, float]:
    """Length from one tower to another and its direction against a reference, within half a turn."""
    x, y = towers[end] - towers[start]
    return math.hypot(x, y), math.remainder(math.atan2(y, x) - way, math.tau)


class SpanWindows(NamedTuple):
    """Which vertices (t, w + 1) and spans (t, w) of a line are looked at from each of t places.

    Use as ``vertices[windows.vertex]`` and ``current[windows.span]``. Rows with fewer spans repeat their last vertex:
    spans of no length have no effect.
    """

    vertex: IntArray
    span: IntArray


def span_windows(
    chainage_m: ArrayLike, centre_m: ArrayLike, *, near_m: float = 2000.0, reach_m: float = 0.0
) -> SpanWindows:
    """Select the part of a line that matters at each of many places, in one rectangular table.

    Parameters
    ----------
    chainage_m : array_like, shape (n,)
        Chainage of the line's vertices, ascending, n >= 2. [m]
    centre_m : array_like, shape (t,)
        Chainage of the towers whose leads are studied. [m]
    near_m : float
        Length of line each way with every vertex, > 0; 2 km is enough for balanced currents. [m]
    reach_m : float
        How far to go on with fewer and fewer vertices (at 2, 4, 8 ... times ``near_m``); `window_reach` for currents
        that return through the earth. [m]

    Returns
    -------
    SpanWindows
        Each far chord takes the current of its first span, seen in line order.

    Raises
    ------
    InputRangeError
        If a chainage is not a number or does not ascend.

    References
    ----------
    Own choice of the steps, no published source; see `window_reach`.

    Examples
    --------
    Ten spans of 300 m seen from the chainages 0 and 1500 m, 500 m either way; a shorter row repeats its last vertex:

    >>> span_windows(300.0 * np.arange(11), [0, 1500], near_m=500).vertex.tolist()
    [[0, 1, 2, 2, 2], [3, 4, 5, 6, 7]]
    """
    chainage, centre = finite("chainage_m", chainage_m), np.atleast_1d(finite("centre_m", centre_m))
    near = float(positive("near_m", near_m))
    step = np.diff(chainage)
    refuse("Step of chainage_m", step, step <= 0, "it must ascend from tower to tower")
    end = len(chainage) - 1
    first = np.clip(np.searchsorted(chainage, centre - near, side="right") - 1, 0, end - 1)
    last = np.clip(np.searchsorted(chainage, centre + near), 1, end)
    doublings = max(0, math.ceil(math.log2(max(reach_m, near) / near)))
    far = np.minimum(near * 2.0 ** np.arange(1, doublings + 1), reach_m)
    before = np.clip(np.searchsorted(chainage, centre[:, None] - far, side="right") - 1, 0, end)
    after = np.clip(np.searchsorted(chainage, centre[:, None] + far), 0, end)
    close = np.minimum(first[:, None] + np.arange((last - first).max(initial=1) + 1), last[:, None])
    vertex = np.sort(np.concatenate([before, close, after], axis=1), axis=1)
    repeated = vertex[:, 1:] == vertex[:, :-1]
    vertex[:, 1:] = np.where(repeated, vertex[:, -1:], vertex[:, 1:])
    vertex.sort(axis=1)
    used = 1 + (np.diff(vertex, axis=1) > 0).sum(axis=1).max(initial=1)
    return SpanWindows(vertex[:, :used], np.minimum(vertex[:, : used - 1], end - 1))
