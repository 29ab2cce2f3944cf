"""Choosing: the best position on every ray, distinct ones on each side, and the pair for each tower."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layoutplan.job import Score
from layoutplan.line.geodesy import FloatArray, turn_deg
from layoutplan.siting.judge import Rungs, allowed, score_terms, total
from layoutplan.siting.ragged import IntArray, group_starts
from layoutplan.siting.rays import ANGLE_TOLERANCE_DEG, LEFT, RIGHT, Rays
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
        """Return some of the positions."""
        return RayBest(*(getattr(self, name)[rows] for name in self.__slots__))


def best_on_rays(rays: Rays, trace: Trace, rungs: Rungs, weights: Score) -> RayBest:
    """Find the allowed rung with the fewest points on each ray; the nearer one in a tie."""
    ok = allowed(rays, trace, rungs)
    terms = score_terms(rays, trace, rungs)
    points = np.where(ok, total(terms, weights), np.inf)
    rung = np.argmin(points, axis=1)
    score = np.round(points[np.arange(len(rays)), rung], _DIGITS)
    ray = np.flatnonzero(np.isfinite(score))
    ray = ray[np.lexsort((rays.bearing_deg[ray], score[ray], rays.side[ray], rays.tower[ray]))]
    return RayBest(
        ray=ray,
        tower=rays.tower[ray],
        side=rays.side[ray],
        bearing_deg=rays.bearing_deg[ray],
        angle_deg=rays.angle_deg[ray],
        distance_m=rungs.start_m[ray] + rungs.step_m * rung[ray],
        caution_crossings=terms["caution_crossings"][ray, rung[ray]].astype(np.int64),
        score=score[ray],
    )


def distinct(best: RayBest, apart_m: float, count: int) -> IntArray:
    """Rows of ``best`` that stand apart from every better one of the same tower and side, at most ``count`` of each.

    Works through all towers and sides at once, one rank after the other.
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

    ``same_side`` marks towers where only a pair on one side exists.
    """

    h: IntArray
    s: IntArray
    same_side: NDArray[np.bool_]


def choose_pairs(best: RayBest, tower_count: int, same_side_min_angle_deg: float) -> Choice:
    """Choose the pair of each tower: the best of each side, or, failing that, the best pair on one side.

    H goes to the farther stake of the two; if they are equally far, to the one on the right.
    """
    row = np.full((2, tower_count), -1)
    lead = np.flatnonzero(group_starts(best.tower * 2 + best.side))
    row[best.side[lead], best.tower[lead]] = lead
    opposite = (row >= 0).all(axis=0)
    first, second = np.where(opposite, row[RIGHT], -1), np.where(opposite, row[LEFT], -1)
    same_side = np.zeros(tower_count, dtype=bool)
    for tower in np.flatnonzero(~opposite & (row >= 0).any(axis=0)):
        pair = _pair_on_one_side(best, np.flatnonzero(best.tower == tower), same_side_min_angle_deg)
        if pair is not None:
            first[tower], second[tower] = pair
            same_side[tower] = True
    swap = (first >= 0) & (best.distance_m[second] > best.distance_m[first]) if len(best.ray) else first >= 0
    return Choice(np.where(swap, second, first), np.where(swap, first, second), same_side)


def _pair_on_one_side(best: RayBest, rows: IntArray, min_angle_deg: float) -> tuple[int, int] | None:
    """Best two of the rows with enough angle between the leads; the rows are sorted by score."""
    between = np.abs(turn_deg(best.bearing_deg[rows][:, None] - best.bearing_deg[rows]))
    points = np.where(
        between >= min_angle_deg - ANGLE_TOLERANCE_DEG, best.score[rows][:, None] + best.score[rows], np.inf
    )
    i, j = np.unravel_index(np.argmin(np.round(points, _DIGITS)), points.shape)
    return (int(rows[i]), int(rows[j])) if np.isfinite(points[i, j]) else None
