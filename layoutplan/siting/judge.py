"""Asking points of traced rays: is a stake allowed there, and what does it cost.

The same two functions serve the fan (many distances on every ray) and given positions (one distance on each ray).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import BoolArray, FloatArray
from layoutplan.job import Score
from layoutplan.siting.figures import FIGURE_TERMS, Figures
from layoutplan.siting.meet import Stretches
from layoutplan.siting.obstacles import CAUTION, NO, TOLERANCE_M
from layoutplan.siting.ragged import union_of_stretches
from layoutplan.siting.rays import Rays
from layoutplan.siting.trace import Trace

TERMS = (
    "off_square_deg",
    "beyond_min_m",
    "caution_crossings",
    "caution_ground",
    "near_keep_out",
    "lead_beside_m",
    "woodland_crops_m",
    "induced_v",
    "bias_pct",
    "steep_deg",
    "walk_min",
)
_MAYBE_UNKNOWN = frozenset(FIGURE_TERMS)


@dataclass(frozen=True, slots=True)
class DistanceSteps:
    """Equally spaced distances on each ray: ``start_m + step_m * j`` for j = 0 … count - 1."""

    start_m: FloatArray
    step_m: float
    count: int

    @property
    def distance_m(self) -> FloatArray:
        """All distances, shape (rays, count). [m]."""
        return self.start_m[:, None] + self.step_m * np.arange(self.count)

    def first_at(self, ray: NDArray[np.int64], at_m: FloatArray) -> NDArray[np.int64]:
        """Return the number of the first distance step at or beyond a place on a ray.

        Parameters
        ----------
        ray : ndarray of int, shape (n,)
            Rows of ``start_m``.
        at_m : ndarray, shape (n,)
            Distances from the tower. [m]

        Returns
        -------
        ndarray of int, shape (n,)
            0 … ``count``, the latter where the ray ends before.

        Examples
        --------
        Steps at 50, 60 and 70 m:

        >>> DistanceSteps(np.array([50.0]), 10.0, 3).first_at(np.zeros(3, dtype=int), np.array([0.0, 60.0, 71.0]))
        array([0, 1, 3])
        """
        return np.clip(np.ceil((at_m - self.start_m[ray]) / self.step_m), 0, self.count).astype(np.int64)

    def first_beyond(self, ray: NDArray[np.int64], at_m: FloatArray) -> NDArray[np.int64]:
        """Number of the first distance step beyond a place on a ray, 0 … ``count``; parameters as of `first_at`.

        Examples
        --------
        Steps at 50, 60 and 70 m; the one at the place itself does not count:

        >>> DistanceSteps(np.array([50.0]), 10.0, 3).first_beyond(np.zeros(2, dtype=int), np.array([60.0, 65.0]))
        array([2, 2])
        """
        return np.clip(np.floor((at_m - self.start_m[ray]) / self.step_m) + 1, 0, self.count).astype(np.int64)


def within_stretches(stretches: Stretches, steps: DistanceSteps) -> BoolArray:
    """Whether each distance step lies in any of the stretches.

    Parameters
    ----------
    stretches : Stretches
        Parts of the rays. [m]
    distance steps : DistanceSteps
        Distances of the candidates on each ray. [m]

    Returns
    -------
    ndarray of bool, shape (rays, count)
        Ends of a stretch belong to it.

    Examples
    --------
    A road takes away 55 m to 60 m of the ray; distance steps at 50, 60 and 70 m:

    >>> road = Stretches(np.array([0]), np.array([0]), np.array([55.0]), np.array([60.0]))
    >>> within_stretches(road, DistanceSteps(np.array([50.0]), 10.0, 3))
    array([[False,  True, False]])
    """
    ray, enter, leave = union_of_stretches(stretches.ray, stretches.enter_m, stretches.leave_m)
    first, beyond = steps.first_at(ray, enter), steps.first_beyond(ray, leave)
    holds = first < beyond  # disjoint stretches that hold a distance step begin, and end, at different distance steps
    change = np.zeros((len(steps.start_m), steps.count + 1), dtype=np.int8)
    change[ray[holds], first[holds]] += 1
    change[ray[holds], beyond[holds]] -= 1
    return np.cumsum(change, axis=1, dtype=np.int8)[:, : steps.count].view(np.bool_)


def permitted(rays: Rays, trace: Trace, steps: DistanceSteps) -> BoolArray:
    """Whether a stake on each distance step keeps every hard rule of a single position.

    The angle to the spans is a property of the ray and is checked where the rays are made.

    Parameters
    ----------
    rays : Rays
        Directions from the towers.
    trace : Trace
        What each ray meets.
    distance steps : DistanceSteps
        Distances of the candidates on each ray. [m]

    Returns
    -------
    ndarray of bool, shape (rays, count)
    """
    distance = steps.distance_m
    no = trace.touches.level == NO
    barrier = np.full(len(rays), np.inf)
    np.minimum.at(barrier, trace.touches.ray[no], trace.touches.at_m[no])
    ok = (distance >= rays.min_m[:, None] - TOLERANCE_M) & (distance <= np.minimum(rays.max_m, barrier)[:, None])
    return ok & ~within_stretches(trace.blocked, steps)


def score_terms(rays: Rays, trace: Trace, steps: DistanceSteps, figures: Figures) -> dict[str, FloatArray]:
    """Terms of the score in their own units, by name (:data:`TERMS`), each broadcastable to (rays, count).

    off_square_deg
        Turn from the perpendicular to the line.
    beyond_min_m
        Distance beyond the least that the rules can allow at this tower.
    caution_crossings
        Features the lead crosses that somebody must agree to or take care of.
    caution_ground
        1 where the stake stands on land that needs agreement.
    near_keep_out
        1 where the stake is within the margin of a keep-out.
    lead_beside_m
        By how much the lead passes what it must not cross nearer than the margin.
    woodland_crops_m
        Length of lead over woodland or crops.
    induced_v
        Voltage that the greatest load induces in the lead; NaN if unknown.
    bias_pct
        Share of the expected resistance by which the reading would be bent; NaN if unknown.
    steep_deg
        Slope at the stake beyond what counts as easy ground; NaN if unknown.
    walk_min
        Minutes on foot from the tower; NaN if unknown.

    Further figures may come along that have limits, but no weight.

    Parameters
    ----------
    rays : Rays
        Directions from the towers.
    trace : Trace
        What each ray meets.
    distance steps : DistanceSteps
        Distances of the candidates on each ray. [m]
    figures : Figures
        Voltages, readings and the ground at any position.

    Returns
    -------
    dict of str to ndarray
        Each broadcastable to (rays, count); NaN where unknown.
    """
    caution = trace.touches.level == CAUTION
    ray = trace.touches.ray[caution]
    crossings = np.zeros((len(rays), steps.count + 1), dtype=np.int16)
    np.add.at(crossings, (ray, steps.first_at(ray, trace.touches.at_m[caution])), 1)
    return {
        "off_square_deg": rays.off_square_deg[:, None],
        "beyond_min_m": np.maximum(steps.distance_m - rays.min_m[:, None], 0.0),
        "caution_crossings": np.cumsum(crossings, axis=1, dtype=np.int16)[:, : steps.count],
        "caution_ground": within_stretches(trace.agreed_ground, steps),
        "near_keep_out": within_stretches(trace.close, steps),
        "lead_beside_m": _most_short(trace, steps),
        "woodland_crops_m": _length_within(trace.soft, steps),
        **figures(rays.tower, rays.bearing_deg, steps.distance_m),
    }


def total(terms: dict[str, FloatArray], weights: Score) -> FloatArray:
    """Weighted sum of the terms in points; the fewer the better. An unknown term adds nothing.

    Parameters
    ----------
    terms : dict of str to ndarray
        From `score_terms`.
    weights : Score
        Points per unit of each term.

    Returns
    -------
    ndarray, shape (rays, count)
        Points. [-]

    Examples
    --------
    A stake 10 degrees off the perpendicular, 20 m beyond the least distance, whose lead crosses one track that needs
    care, and whose voltage is unknown:

    >>> terms = {name: np.zeros((1, 1)) for name in TERMS} | {"induced_v": np.array([[np.nan]])}
    >>> found = {"off_square_deg": 10.0, "beyond_min_m": 20.0, "caution_crossings": 1.0}
    >>> total(terms | {name: np.array([[value]]) for name, value in found.items()}, Score())
    array([[29.]])
    """
    weight = {
        "off_square_deg": weights.off_perpendicular_per_deg,
        "beyond_min_m": weights.beyond_min_per_m,
        "caution_crossings": weights.caution_crossing,
        "caution_ground": weights.caution_ground,
        "near_keep_out": weights.near_keep_out,
        "lead_beside_m": weights.lead_beside_per_m,
        "woodland_crops_m": weights.woodland_crops_per_m,
        "induced_v": weights.induced_per_v,
        "bias_pct": weights.bias_per_pct,
        "steep_deg": weights.steep_per_deg,
        "walk_min": weights.walk_per_min,
    }
    points: FloatArray = (
        weight["off_square_deg"] * terms["off_square_deg"] + weight["beyond_min_m"] * terms["beyond_min_m"]
    )
    for name in TERMS[2:]:
        if weight[name]:
            known = np.nan_to_num(terms[name]) if name in _MAYBE_UNKNOWN else terms[name]
            points += weight[name] * known
    return points


def _most_short(trace: Trace, steps: DistanceSteps) -> FloatArray:
    """By how much leads to each distance step come nearer than the margin to what they must not cross, at most. [m]."""
    passes = trace.passes
    if len(passes.ray) == 0:
        return np.zeros((len(steps.start_m), 1))
    most = np.zeros((len(steps.start_m), steps.count + 1))
    np.maximum.at(most, (passes.ray, steps.first_at(passes.ray, passes.at_m)), passes.short_m)
    return np.asarray(np.maximum.accumulate(most, axis=1)[:, : steps.count])


def tally(
    steps: DistanceSteps, ray: NDArray[np.int64], step_no: NDArray[np.int64], weight: FloatArray | None = None
) -> FloatArray:
    """Number (or weight) of events on each distance step, with one column more for those beyond the last.

    Parameters
    ----------
    distance steps : DistanceSteps
        Distances of the candidates on each ray. [m]
    ray, distance step : ndarray of int, shape (n,)
        Where each event is.
    weight : ndarray, shape (n,), optional
        What it counts; 1 if left out.

    Returns
    -------
    ndarray, shape (rays, count + 1)
        Sums of the weights; 0 where nothing happens.

    Examples
    --------
    >>> steps = DistanceSteps(np.array([50.0]), 10.0, 3)
    >>> tally(steps, np.array([0, 0, 0]), np.array([1, 1, 3]))
    array([[0., 2., 0., 1.]])
    """
    width = steps.count + 1
    return (
        np.bincount(ray * width + step_no, weight, minlength=len(steps.start_m) * width)
        .reshape(-1, width)
        .astype(float)
    )


def _length_within(stretches: Stretches, steps: DistanceSteps) -> FloatArray:
    """Length of each ray within disjoint stretches, from the tower to each distance step. [m]."""
    if len(stretches) == 0:
        return np.zeros((len(steps.start_m), 1))
    ray, enter, leave = stretches.ray, stretches.enter_m, stretches.leave_m
    first, beyond = steps.first_at(ray, enter), steps.first_at(ray, leave)
    inside = np.zeros((len(steps.start_m), steps.count + 1), dtype=np.int8)
    np.add.at(inside, (ray, first), 1)
    np.subtract.at(inside, (ray, beyond), 1)
    offset = tally(steps, ray, first, enter) - tally(steps, ray, beyond, leave)
    inside = np.cumsum(inside, axis=1, dtype=np.int8)[:, : steps.count]
    return np.maximum(inside * steps.distance_m - np.cumsum(offset, axis=1)[:, : steps.count], 0.0)
