"""Rays from the tower against capsules (a segment and everything within a radius of it). Pure geometry.

Everything happens in the tower's tangent frame: the tower at the origin, x east, y north, metres. A ray is a direction
``u = (sin b, cos b)``; a point on it is given by its distance ``t`` from the tower. All functions work on arrays of
pairs (one ray, one segment each).
"""

from __future__ import annotations

import numpy as np

from layoutplan.arrays import FloatArray

_TINY_M = 1e-9
_LEVEL = 1e-15  # a rate below this is that of a line along the slab


def segment_distance(points_m: FloatArray, start_m: FloatArray, end_m: FloatArray) -> FloatArray:
    """Distance of points from segments, pair by pair.

    Parameters
    ----------
    points_m, start_m, end_m : ndarray, shapes that broadcast to (n, 2)
        Points, and both ends of the segments; these may coincide. [m]

    Returns
    -------
    ndarray, shape (n,)
        0 on the segment. [m]

    Examples
    --------
    A road along the x axis from 0 to 100 m, seen from beside it and from beyond its end:

    >>> road = np.array([[0.0, 0.0]]), np.array([[100.0, 0.0]])
    >>> print(segment_distance(np.array([[50.0, 30.0], [103.0, 4.0]]), *road), "m")
    [30.  5.] m
    """
    along = end_m - start_m
    length2 = np.einsum("...i,...i->...", along, along)
    offset = points_m - start_m
    part = np.clip(
        np.einsum("...i,...i->...", offset, along) / np.where(length2 > 0, length2, 1.0),
        0.0,
        1.0,
    )
    return np.asarray(np.hypot(*np.moveaxis(offset - part[..., None] * along, -1, 0)))


def ray_interval(
    direction: FloatArray, start_m: FloatArray, end_m: FloatArray, radius_m: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Stretch of each ray that lies within a radius of its segment.

    Parameters
    ----------
    direction : ndarray, shape (n, 2)
        Unit vectors of the rays.
    start_m, end_m : ndarray, shape (n, 2)
        Ends of the segments; they may coincide. [m]
    radius_m : ndarray, shape (n,) or (k, n)
        Radius; k radii are treated at once. Where it is negative or NaN nothing is met. [m]

    Returns
    -------
    enter_m, leave_m : ndarray, shape of ``radius_m``
        Distances along the ray's whole line (negative ones lie behind the tower); NaN where it misses. [m]

    Notes
    -----
    A capsule is convex, so there is one stretch: from the least to the greatest of where the line meets the discs about
    the two ends and the strip between them.

    Examples
    --------
    To the east, past a segment at right angles 40 m ahead, with 10 m to keep; to the north it is missed:

    >>> east, north = [1.0, 0.0], [0.0, 1.0]
    >>> start, end = np.array([[40.0, -5.0]] * 2), np.array([[40.0, 5.0]] * 2)
    >>> enter, leave = ray_interval(np.array([east, north]), start, end, np.array([10.0, 10.0]))
    >>> print(enter, leave, "m")
    [30. nan] [50. nan] m
    """
    direct_x, direct_y = np.ascontiguousarray(direction.T)
    start_x, start_y = np.ascontiguousarray(start_m.T)
    end_x, end_y = np.ascontiguousarray(end_m.T)
    radius_m = np.where(radius_m >= 0, radius_m, np.nan)
    with np.errstate(invalid="ignore", divide="ignore"):
        enter, leave = _strip(direct_x, direct_y, start_x, start_y, end_x - start_x, end_y - start_y, radius_m)
        for x, y in ((start_x, start_y), (end_x, end_y)):
            middle, across = direct_x * x + direct_y * y, direct_x * y - direct_y * x
            half = np.sqrt(radius_m**2 - across**2)  # NaN where the ray's line misses the disc
            enter, leave = np.fmin(enter, middle - half), np.fmax(leave, middle + half)
    return enter, leave


def _strip(
    direct_x: FloatArray,
    direct_y: FloatArray,
    start_x: FloatArray,
    start_y: FloatArray,
    along_x: FloatArray,
    along_y: FloatArray,
    radius_m: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Where the ray's line lies beside the segment and within the radius of it."""
    length = np.hypot(along_x, along_y)
    length = np.where(length > _TINY_M, length, np.nan)
    unit_x, unit_y = along_x / length, along_y / length
    enter_a, leave_a = _slab(direct_x * unit_x + direct_y * unit_y, start_x * unit_x + start_y * unit_y, length)
    across = start_y * unit_x - start_x * unit_y
    enter_b, leave_b = _slab(direct_y * unit_x - direct_x * unit_y, across - radius_m, 2 * radius_m)
    enter, leave = np.maximum(enter_a, enter_b), np.minimum(leave_a, leave_b)
    miss = ~(enter <= leave)
    enter[miss] = np.nan
    leave[miss] = np.nan
    return enter, leave


def _slab(rate: FloatArray, low_m: FloatArray, width_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Where ``low <= rate t <= low + width``; a line along the slab is inside for ever, or (NaN) never."""
    first, second = low_m / rate, (low_m + width_m) / rate
    enter, leave = np.minimum(first, second), np.maximum(first, second)
    level = np.abs(rate) < _LEVEL
    if level.any():
        inside = (low_m <= 0) & (low_m + width_m >= 0)
        enter = np.where(level, np.where(inside, -np.inf, np.nan), enter)
        leave = np.where(level, np.where(inside, np.inf, np.nan), leave)
    return enter, leave


def ray_crossing(direction: FloatArray, start_m: FloatArray, end_m: FloatArray) -> FloatArray:
    """Distance at which each ray crosses its segment.

    A vertex belongs to the segment on its left only, so a ray through the corner of a ring crosses it once and an
    inside stays an inside.

    Parameters
    ----------
    direction : ndarray, shape (n, 2)
        Unit vectors of the rays, which begin at the origin.
    start_m, end_m : ndarray, shape (n, 2)
        Ends of the segments. [m]

    Returns
    -------
    ndarray, shape (n,)
        NaN where the ray does not cross it. [m]

    Examples
    --------
    >>> east, west = [1.0, 0.0], [-1.0, 0.0]
    >>> ray_crossing(np.array([east, west]), np.array([[40.0, -5.0]] * 2), np.array([[40.0, 5.0]] * 2))
    array([40., nan])
    """
    side_start = direction[:, 0] * start_m[:, 1] - direction[:, 1] * start_m[:, 0]
    side_end = direction[:, 0] * end_m[:, 1] - direction[:, 1] * end_m[:, 0]
    crosses = (side_start >= 0) != (side_end >= 0)
    along_start = direction[:, 0] * start_m[:, 0] + direction[:, 1] * start_m[:, 1]
    along_end = direction[:, 0] * end_m[:, 0] + direction[:, 1] * end_m[:, 1]
    gap = np.where(crosses, side_start - side_end, 1.0)
    at = along_start + (along_end - along_start) * side_start / gap
    return np.where(crosses & (at >= 0), at, np.nan)


def bearing_span(start_m: FloatArray, end_m: FloatArray, radius_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Range of bearings under which a capsule is seen from the tower.

    Parameters
    ----------
    start_m, end_m : ndarray, shape (n, 2)
        Ends of the segments in the tower's frame. [m]
    radius_m : ndarray, shape (n,)
        Of the capsules. [m]

    Returns
    -------
    first_deg, width_deg : ndarray, shape (n,)
        Where the range begins and how wide it is; 360 wide where the tower stands within the capsule.

    Notes
    -----
    A capsule is the convex hull of two discs, so the tangents from outside touch one of the discs.

    Examples
    --------
    A disc of 50 m, 100 m to the east, is seen under 30 degrees either way; within one of 150 m the tower stands itself:

    >>> place = np.array([[100.0, 0.0]] * 2)
    >>> first, width = bearing_span(place, place, np.array([50.0, 150.0]))
    >>> print(first.round(1), width.round(1), "deg")
    [60.  0.] [ 60. 360.] deg
    """
    reach = np.stack((np.hypot(*start_m.T), np.hypot(*end_m.T)))
    bearing = np.degrees(np.stack((np.arctan2(*start_m.T), np.arctan2(*end_m.T))))
    turn = 180.0 - np.mod(180.0 - (bearing[1] - bearing[0]), 360.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        half = np.degrees(np.arcsin(radius_m / reach))
    low = np.minimum(-half[0], turn - half[1])
    high = np.maximum(half[0], turn + half[1])
    inside = segment_distance(np.zeros_like(start_m), start_m, end_m) <= radius_m + _TINY_M
    width = np.where(inside, 360.0, high - low)
    return np.where(inside, 0.0, bearing[0] + np.where(np.isnan(low), 0.0, low)), width
