"""Rays against single segments: who meets whom, and along which stretch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.siting.capsule import bearing_span, ray_crossing, ray_interval
from layoutplan.siting.near import NearPairs
from layoutplan.siting.ragged import expand
from layoutplan.siting.rays import Rays

_PAD_DEG = 1e-6
_TURN = 1000.0  # more than 360: keeps the towers apart in one sorted key


@dataclass(frozen=True, slots=True)
class Stretches:
    """Parts of rays, each with the feature it is due to."""

    ray: IntArray
    feature: IntArray
    enter_m: FloatArray
    leave_m: FloatArray

    def __len__(self) -> int:
        """Return the number of stretches."""
        return len(self.ray)

    def take(self, rows: NDArray[np.bool_] | IntArray | slice) -> Stretches:
        """Return some of the stretches.

        Parameters
        ----------
        rows : ndarray of bool or int, or slice
            Rows to keep.

        Returns
        -------
        Stretches

        Examples
        --------
        >>> parts = Stretches(np.array([0, 1]), np.array([5, 6]), np.array([10.0, 20.0]), np.array([15.0, 90.0]))
        >>> parts.take(parts.leave_m > 50).feature
        array([6])
        """
        return Stretches(self.ray[rows], self.feature[rows], self.enter_m[rows], self.leave_m[rows])

    def shrunk(self, by_m: float) -> Stretches:
        """Both ends drawn in; what vanishes is dropped.

        Parameters
        ----------
        by_m : float
            From either end. [m]

        Returns
        -------
        Stretches

        Examples
        --------
        >>> parts = Stretches(np.array([0, 1]), np.array([5, 6]), np.array([10.0, 20.0]), np.array([15.0, 90.0]))
        >>> parts.shrunk(4.0).enter_m
        array([24.])
        """
        inner = Stretches(self.ray, self.feature, self.enter_m + by_m, self.leave_m - by_m)
        return inner.take(inner.enter_m <= inner.leave_m)

    def within(self, reach_m: float) -> Stretches:
        """Cut to the first part of the rays.

        Parameters
        ----------
        reach_m : float
            From the tower. [m]

        Returns
        -------
        Stretches

        Examples
        --------
        >>> parts = Stretches(np.array([0, 1]), np.array([5, 6]), np.array([-10.0, 20.0]), np.array([15.0, 90.0]))
        >>> parts.within(50.0)
        Stretches(ray=array([0, 1]), feature=array([5, 6]), enter_m=array([ 0., 20.]), leave_m=array([15., 50.]))
        """
        cut = Stretches(self.ray, self.feature, np.maximum(self.enter_m, 0.0), np.minimum(self.leave_m, reach_m))
        return cut.take(cut.enter_m <= cut.leave_m)


def joined_stretches(*parts: Stretches) -> Stretches:
    """Put stretches of several origins into one table.

    Parameters
    ----------
    *parts : Stretches

    Returns
    -------
    Stretches
        In the order of the parts.

    Examples
    --------
    >>> one = Stretches(np.array([0]), np.array([5]), np.array([10.0]), np.array([15.0]))
    >>> len(joined_stretches(one, one))
    2
    """
    return Stretches(*(np.concatenate([getattr(part, name) for part in parts]) for name in Stretches.__slots__))


@dataclass(frozen=True, slots=True)
class RaySegments:
    """Pairs of a ray and a segment near its tower that lies in the ray's direction.

    ``near`` is the row of the segment among those near the tower.
    """

    ray: IntArray
    near: IntArray
    feature: IntArray
    direction: FloatArray
    start_m: FloatArray
    end_m: FloatArray


def meet(rays: Rays, near: NearPairs, radius_m: FloatArray) -> RaySegments:
    """Pair each ray with the segments whose capsule of ``radius_m`` (one per entry of ``near``) it may enter.

    Parameters
    ----------
    rays : Rays
        Sorted by tower and bearing.
    near : NearPairs
        Segments near the same towers.
    radius_m : ndarray, one for each entry of ``near``
        Of the capsules. [m]

    Returns
    -------
    RaySegments
        Candidates: a ray may still miss its capsule by a hair.
    """
    first, width = bearing_span(near.start_m, near.end_m, radius_m)
    low = np.mod(first - _PAD_DEG, 360.0)
    high = low + np.minimum(width + 2 * _PAD_DEG, 360.0 - 1e-9)
    key, base = rays.tower * _TURN + rays.bearing_deg, near.tower * _TURN
    begin, end = np.searchsorted(key, base + low, "left"), np.searchsorted(key, base + np.minimum(high, 360.0), "right")
    again = np.searchsorted(key, base, "left")
    until = np.where(high >= 360.0, np.searchsorted(key, base + high - 360.0, "right"), again)
    count = np.concatenate((end - begin, until - again))
    row, number = expand(count)
    ray = np.concatenate((begin, again))[row] + number
    pair = row % max(len(near.tower), 1)
    return RaySegments(
        ray=ray,
        near=pair,
        feature=near.feature[pair],
        direction=rays.direction[ray],
        start_m=near.start_m[pair],
        end_m=near.end_m[pair],
    )


def capsule_stretches(pairs: RaySegments, *radii_m: FloatArray) -> list[Stretches]:
    """Stretches of the rays within each radius of their segments; pairs with a NaN or no positive radius meet nothing.

    Parameters
    ----------
    pairs : RaySegments
        From `meet`.
    *radii_m : ndarray, shape (pairs,)
        One or more radii for every pair. [m]

    Returns
    -------
    list of Stretches
        One for each radius, ahead of the tower only. [m]

    Examples
    --------
    A ray to the east meets a pole 40 m away: its keep-out of 10 m, and one widened by a margin of 5 m.

    >>> one, pole = np.array([0]), np.array([[40.0, 0.0]])
    >>> pairs = RaySegments(one, one, one, np.array([[1.0, 0.0]]), pole, pole)
    >>> for part in capsule_stretches(pairs, np.array([10.0]), np.array([15.0])):
    ...     print(part.enter_m, part.leave_m, "m")
    [30.] [50.] m
    [25.] [55.] m
    """
    rows = np.flatnonzero(np.logical_or.reduce([radius > 0 for radius in radii_m]))
    radius = np.stack([np.where(radius[rows] > 0, radius[rows], np.nan) for radius in radii_m])
    enter, leave = ray_interval(pairs.direction[rows], pairs.start_m[rows], pairs.end_m[rows], radius)
    # NaN (missed) compares false; what lies behind the tower is no concern of this ray
    ahead = leave >= 0
    return [
        Stretches(pairs.ray[rows[k]], pairs.feature[rows[k]], np.maximum(begin[k], 0.0), end[k])
        for k, begin, end in zip(ahead, enter, leave, strict=True)
    ]


def crossings(pairs: RaySegments) -> tuple[NDArray[np.bool_], FloatArray]:
    """Which pairs cross, and at what distance from the tower.

    Parameters
    ----------
    pairs : RaySegments
        From `meet`.

    Returns
    -------
    hit : ndarray of bool, shape (pairs,)
        Whether the ray crosses the segment.
    at_m : ndarray, shape (hits,)
        Where, from the tower, for those that do. [m]

    Examples
    --------
    A fence 40 m ahead of a ray to the east, and one that ends beside it:

    >>> row, east = np.arange(2), np.array([[1.0, 0.0]] * 2)
    >>> pairs = RaySegments(row, row, row, east, np.array([[40.0, -5.0], [40.0, 1.0]]), np.array([[40.0, 5.0]] * 2))
    >>> crossings(pairs)
    (array([ True, False]), array([40.]))
    """
    at = ray_crossing(pairs.direction, pairs.start_m, pairs.end_m)
    hit = ~np.isnan(at)
    return hit, at[hit]
