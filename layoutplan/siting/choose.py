"""Choosing: the best position on every ray, distinct ones on each side, and the pair for each tower."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.job import Job
from layoutplan.line.geodesy import turn_deg
from layoutplan.siting.figures import Figures, beyond_limits
from layoutplan.siting.judge import DistanceSteps, permitted, score_terms, total
from layoutplan.siting.limits import raised
from layoutplan.siting.ragged import group_starts
from layoutplan.siting.rays import ANGLE_TOLERANCE_DEG, LEFT, RIGHT, Rays
from layoutplan.siting.relaxation import Relaxation
from layoutplan.siting.trace import Trace

_DIGITS = 6  # scores are compared to a millionth of a point, so that ties are ties on every machine


@dataclass(frozen=True, slots=True)
class RayBest:
    """The best allowed position of each ray that has one, sorted by tower, side and score."""

    ray: IntArray
    tower: IntArray
    side: IntArray
    bearing_deg: FloatArray
    angle_deg: FloatArray
    distance_m: FloatArray
    caution_crossings: IntArray
    score: FloatArray

    def take(self, rows: IntArray) -> RayBest:
        """Return some of the positions.

        Parameters
        ----------
        rows : ndarray of int
            Rows to keep.

        Returns
        -------
        RayBest
            In the order of ``rows``.
        """
        return RayBest(*(getattr(self, name)[rows] for name in self.__slots__))


def best_on_rays(rays: Rays, trace: Trace, steps: DistanceSteps, job: Job, figures: Figures) -> RayBest:
    """Find the allowed distance step with the fewest points on each ray; the nearer one in a tie.

    Parameters
    ----------
    rays : Rays
        Directions from the towers.
    trace : Trace
        What each ray meets.
    distance steps : DistanceSteps
        Distances of the candidates on each ray. [m]
    job : Job
        Its weights and limits.
    figures : Figures
        Voltages, readings and the ground at any position.

    Returns
    -------
    RayBest
        Sorted by tower, side and score.
    """
    ok = permitted(rays, trace, steps)
    terms = score_terms(rays, trace, steps, figures)
    for beyond in beyond_limits(terms, job).values():
        ok &= ~beyond
    points = np.where(ok, total(terms, job.score), np.inf)
    step_no = np.argmin(points, axis=1)
    score = np.round(points[np.arange(len(rays)), step_no], _DIGITS)
    ray = np.flatnonzero(np.isfinite(score))
    ray = ray[np.lexsort((rays.bearing_deg[ray], score[ray], rays.side[ray], rays.tower[ray]))]
    return RayBest(
        ray=ray,
        tower=rays.tower[ray],
        side=rays.side[ray],
        bearing_deg=rays.bearing_deg[ray],
        angle_deg=rays.angle_deg[ray],
        distance_m=steps.start_m[ray] + steps.step_m * step_no[ray],
        caution_crossings=terms["caution_crossings"][ray, step_no[ray]].astype(np.int64),
        score=score[ray],
    )


def distinct(best: RayBest, apart_m: float, count: int) -> IntArray:
    """Rows of ``best`` that stand apart from every better one of the same tower and side, at most ``count`` of each.

    Works through all towers and sides at once, one rank after the other.

    Parameters
    ----------
    best : RayBest
        Sorted by tower, side and score.
    apart_m : float
        Least distance between two that are kept. [m]
    count : int
        Most of each tower and side.

    Returns
    -------
    ndarray of int
        Rows of ``best``, ascending.

    Examples
    --------
    Three stakes on one side of a tower, the second 1 m from the best one:

    >>> row, zero = np.arange(3), np.zeros(3, dtype=int)
    >>> distance, score = np.array([100.0, 101.0, 120.0]), np.array([1.0, 2.0, 3.0])
    >>> best = RayBest(row, zero, zero, np.full(3, 90.0), np.full(3, 90.0), distance, zero, score)
    >>> distinct(best, 10.0, 2)
    array([0, 2])
    """
    bearing = np.radians(best.bearing_deg)
    x, y = best.distance_m * np.sin(bearing), best.distance_m * np.cos(bearing)
    key = best.tower * 2 + best.side
    alive = np.ones(len(key), dtype=bool)
    chosen: list[IntArray] = []
    for _ in range(count):
        rows = np.flatnonzero(alive)
        if len(rows) == 0:
            break
        lead = rows[group_starts(key[rows])]
        chosen.append(lead)
        own = lead[np.searchsorted(key[lead], key[rows])]
        alive[rows] = np.hypot(x[rows] - x[own], y[rows] - y[own]) >= apart_m
    return np.sort(np.concatenate(chosen)) if chosen else np.zeros(0, dtype=np.int64)


@dataclass(frozen=True, slots=True)
class Choice:
    """Rows of the best positions chosen for H and S of each tower; -1 where there is no layout.

    ``same_side`` marks towers with a pair on one side; ``opposite`` those that have one on opposite sides, ``coupled``
    those of them whose pair is on one side because no opposite one keeps the limit on coupling. ``ways_out`` holds, for
    towers that have pairs but none within the job's limits for pairs, the limit that would let one in.
    """

    h: IntArray
    s: IntArray
    same_side: NDArray[np.bool_]
    opposite: NDArray[np.bool_]
    coupled: NDArray[np.bool_]
    ways_out: Mapping[int, Relaxation]


def choose_pairs(best: RayBest, tower_count: int, job: Job, figures: Figures) -> Choice:
    """Choose the pair of each tower: the best of each side, or, where the job lets them, the best pair on one side.

    H goes to the farther stake of the two; if they are equally far, to the one on the right.

    Parameters
    ----------
    best : RayBest
        Sorted by tower, side and score.
    tower_count : int
        How many towers there are, with positions or without.
    job : Job
        Its rules on sides and its limits for pairs.
    figures : Figures
        Bias and coupling of pairs.

    Returns
    -------
    Choice
        One entry for each tower.
    """
    row = np.full((2, tower_count), -1)
    lead = np.flatnonzero(group_starts(best.tower * 2 + best.side))
    row[best.side[lead], best.tower[lead]] = lead
    opposite = np.asarray((row >= 0).all(axis=0))
    first, second = np.where(opposite, row[RIGHT], -1), np.where(opposite, row[LEFT], -1)
    same_side, coupled = np.zeros(tower_count, dtype=bool), np.zeros(tower_count, dtype=bool)
    ways_out = {}
    searched = np.asarray(opposite if job.rules.sides == "required" else (row >= 0).any(axis=0))
    if job.rules.max_coupling_pct is None:
        searched &= ~opposite
    for tower in np.flatnonzero(searched).tolist():
        rows = np.flatnonzero(best.tower == tower)
        mine = best.take(rows)
        pair, way_out = _pair(mine, bool(opposite[tower]), job, figures)
        if pair is None and opposite[tower] and job.rules.sides != "required":
            pair, _ = _pair(mine, False, job, figures)  # leads at an angle couple less than those in one line
            coupled[tower] = pair is not None
        if pair is None and way_out is not None:
            ways_out[tower] = way_out
        first[tower], second[tower] = (-1, -1) if pair is None else rows[list(pair)]
        same_side[tower] = pair is not None and mine.side[pair[0]] == mine.side[pair[1]]
    swap = (first >= 0) & (best.distance_m[second] > best.distance_m[first]) if len(best.ray) else first >= 0
    h, s = np.where(swap, second, first), np.where(swap, first, second)
    return Choice(h, s, same_side, opposite, coupled, ways_out)


def _pair(
    best: RayBest, opposite: bool, job: Job, figures: Figures
) -> tuple[tuple[int, int] | None, Relaxation | None]:
    """Best two positions of one tower, on opposite sides (right one first) or with enough angle between the leads.

    Also, where there are such pairs but none keeps the job's limits for pairs, the limit that would let one in. The
    bias of opposite pairs is kept by each position; for two on one side it has to be asked.
    """
    fits = (best.side[:, None] == RIGHT) & (best.side == LEFT) if opposite else far_apart(best, job)
    if not fits.any():
        return None, None
    where = int(best.tower[0]), best.bearing_deg, best.distance_m
    points: FloatArray = best.score[:, None] + best.score
    weight = 0.0 if opposite else job.score.coupling_per_pct
    limits = []
    if weight or job.rules.max_coupling_pct is not None:
        coupled = figures.coupling_pct(*where)
        points = points + weight * np.nan_to_num(coupled)
        limits.append(("lead_coupling", coupled, job.rules.max_coupling_pct))
    if not opposite and job.rules.max_bias_pct is not None:
        limits.append(("reading_bias", figures.pair_bias_pct(*where), job.rules.max_bias_pct))
    for rule, values, limit in limits:
        if limit is None:
            continue
        within = fits & (values <= limit)  # unknown is not within a limit
        if not within.any():
            return None, raised(rule, limit, float(np.where(fits, values, np.inf).min()))
        fits = within
    points = np.asarray(np.round(np.where(fits, points, np.inf), _DIGITS))
    i, j = np.unravel_index(np.argmin(points), points.shape)
    return (int(i), int(j)), None


def far_apart(best: RayBest, job: Job) -> NDArray[np.bool_]:
    """Whether every two of n positions of one tower have the least angle between two leads on one side.

    Parameters
    ----------
    best : RayBest
        Positions of one tower.
    job : Job
        Its least angle between two leads on one side. [deg]

    Returns
    -------
    ndarray of bool, shape (n, n)
        Symmetric.

    Examples
    --------
    Leads to the east, north-east and south; 60 degrees are asked for:

    >>> from types import SimpleNamespace
    >>> from layoutplan.job import Rules
    >>> whole, flat = np.zeros(3, dtype=int), np.zeros(3)
    >>> best = RayBest(whole, whole, whole, np.array([90.0, 45.0, 180.0]), flat, flat, whole, flat)
    >>> far_apart(best, SimpleNamespace(rules=Rules(same_side_min_angle_deg=60.0)))[0].tolist()
    [False, False, True]
    """
    between = np.abs(turn_deg(best.bearing_deg[:, None] - best.bearing_deg))
    return np.asarray(between >= job.rules.same_side_min_angle_deg - ANGLE_TOLERANCE_DEG)
