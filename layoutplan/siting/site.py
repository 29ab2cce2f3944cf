"""Siting of one section of towers: fan, trace, choice, alternatives, and the measured values of what was chosen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.job import Job
from layoutplan.line.model import Towers
from layoutplan.siting.choose import Choice, RayBest, best_on_rays, choose_pairs, distinct
from layoutplan.siting.evaluate import Evaluated, evaluate
from layoutplan.siting.exclusions import Exclusions, count_exclusions
from layoutplan.siting.figures import NOTHING_KNOWN, Figures
from layoutplan.siting.fixed import NO_FIXED, Fixed, around_fixed
from layoutplan.siting.judge import DistanceSteps
from layoutplan.siting.mapped_spans import with_mapped_spans
from layoutplan.siting.measure import distance_to_axis_m
from layoutplan.siting.near import NearPairs, find_near
from layoutplan.siting.obstacles import TOLERANCE_M, Obstacles
from layoutplan.siting.pairs import StakePairs, better_on_one_side
from layoutplan.siting.rays import Rays, circle, keeping_angle
from layoutplan.siting.relax import find_relaxations
from layoutplan.siting.relaxation import Relaxation
from layoutplan.siting.trace import trace_rays

LONELY = Relaxation(
    "fixed stake", np.nan, np.nan, "", 0.0, "the fixed stake elsewhere, or none: nothing can be chosen to go with it"
)


@dataclass(frozen=True, slots=True)
class Sited:
    """What was decided for a section of towers; tower numbers count its rows.

    Attributes
    ----------
    chosen : Evaluated
        The stakes of all towers that have a layout.
    role : ndarray of str
        ``"H"`` or ``"S"`` for each entry of ``chosen``.
    same_side : ndarray of bool
        Per tower: both stakes on one side of the line.
    opposite : ndarray of bool
        Per tower: there is a position on either side, so that one side was a choice.
    coupled : ndarray of bool
        Per tower: the choice was one side because no opposite pair keeps the limit on coupling of the leads.
    alternatives : RayBest
        Distinct further positions of each side, best first.
    alternatives_axis_m : ndarray
        Their distances to the nearest axis of the planned lines. [m]
    pairs : StakePairs
        On one side, with fewer points than the chosen pair on opposite sides, reading as well.
    exclusions : Exclusions
    relaxations : dict
        For each tower without layout, what would give it one.
    """

    chosen: Evaluated
    role: NDArray[np.str_]
    same_side: NDArray[np.bool_]
    opposite: NDArray[np.bool_]
    coupled: NDArray[np.bool_]
    alternatives: RayBest
    alternatives_axis_m: FloatArray
    pairs: StakePairs
    exclusions: Exclusions
    relaxations: dict[int, list[Relaxation]]


def site_towers(
    towers: Towers,
    obstacles: Obstacles,
    job: Job,
    figures: Figures = NOTHING_KNOWN,
    wanted: Fixed = NO_FIXED,
) -> Sited:
    """Choose the positions of H and S for a section of towers.

    Parameters
    ----------
    towers : Towers
        Of one section.
    obstacles : Obstacles
        Of the whole job.
    job : Job
        Its rules, limits, weights and search steps.
    figures : Figures
        Of these towers.
    wanted : Fixed
        Stakes that stay where they are; the others are chosen around them. They stay out of a plan only where nothing
        goes with them.

    Returns
    -------
    Sited
        Positions, exclusions and ways out of all towers of the section.
    """
    rules, search = job.rules, job.search
    reach = rules.reach_m + float(np.hypot(*towers.leg_xy_m.T).max(initial=0.0)) + 1.0
    near = find_near(obstacles, towers, max(reach, wanted.distance_m.max(initial=0.0) + 1.0) + job.score.margin_m)
    spanned = with_mapped_spans(towers, near, obstacles)
    around = circle(spanned, rules, search.bearing_step_deg)
    rays = keeping_angle(around, rules)
    trace = trace_rays(rays, near, obstacles, reach_m=reach, margin_m=job.score.margin_m)
    steps = all_steps(rays, reach, search.distance_step_m)
    best = best_on_rays(rays, trace, steps, job, figures)
    pairs, choice = better_on_one_side(best, choose_pairs(best, len(towers), job, figures), job, figures)
    choice, fixed = around_fixed(choice, best, wanted, towers, rules)
    rows = np.concatenate((choice.h[choice.h >= 0], choice.s[choice.s >= 0]))
    role = np.concatenate((np.repeat(["H", "S"], [(choice.h >= 0).sum(), (choice.s >= 0).sum()]), fixed.role))
    tower = np.concatenate((best.tower[rows], fixed.tower))
    bearing = np.concatenate((best.bearing_deg[rows], fixed.bearing_deg))
    distance = np.concatenate((best.distance_m[rows], fixed.distance_m))
    chosen = evaluate(towers, tower, bearing, distance, near, obstacles, job, figures)
    other = best.take(_alternatives(best, rows, job))
    without = np.flatnonzero(np.bincount(tower, minlength=len(towers)) < 2)
    return Sited(
        chosen=chosen,
        role=role[np.lexsort((np.mod(bearing, 360.0), tower))],
        same_side=choice.same_side,
        opposite=choice.opposite,
        coupled=choice.coupled,
        alternatives=other,
        alternatives_axis_m=_axis_distance_m(other, rays, near, obstacles),
        pairs=pairs.take(~np.isin(pairs.tower, wanted.tower)),
        exclusions=count_exclusions(spanned, around, rays, trace, steps, obstacles, job, figures),
        relaxations={
            int(i): [LONELY] if i in wanted.tower else _relaxations(int(i), towers, obstacles, job, figures, choice)
            for i in without
        },
    )


def _relaxations(
    tower: int, towers: Towers, obstacles: Obstacles, job: Job, figures: Figures, choice: Choice
) -> list[Relaxation]:
    row = np.array([tower])
    where = towers.rows(row), obstacles, job, figures.rows(row)
    if tower not in choice.ways_out:
        return find_relaxations(*where)
    others = () if choice.opposite[tower] else find_relaxations(*where, one_side=False)
    return sorted((choice.ways_out[tower], *others), key=lambda item: item.effort)


def all_steps(rays: Rays, reach_m: float, step_m: float) -> DistanceSteps:
    """Whole multiples of the step, from the least distance allowed on any ray to the reach; at least one.

    Parameters
    ----------
    rays : Rays
        Of the fan.
    reach_m : float
        Farthest distance. [m]
    step_m : float
        Between neighbouring candidates. [m]

    Returns
    -------
    DistanceSteps
        The same for all rays.

    Examples
    --------
    Two rays on which the rules allow 58 m to 143 m and 61 m to 140 m, in steps of 5 m:

    >>> whole, flat = np.zeros(2, dtype=int), np.zeros(2)
    >>> rays = Rays(whole, flat, whole, flat, flat, np.array([58.0, 61.0]), np.array([143.0, 140.0]))
    >>> print(all_steps(rays, 150.0, 5.0).distance_m[0, [0, -1]], "m")
    [ 60. 140.] m
    """
    first = np.ceil((rays.min_m.min(initial=reach_m) - TOLERANCE_M) / step_m)
    last = np.floor(min(rays.max_m.max(initial=0.0), reach_m) / step_m)
    return DistanceSteps(np.full(len(rays), first * step_m), step_m, max(int(last - first) + 1, 1))


def _alternatives(best: RayBest, taken: IntArray, job: Job) -> IntArray:
    """Rows of distinct positions on each side beside the chosen ones."""
    rows = distinct(best, job.search.alternatives_apart_m, job.search.alternatives + 1)
    return rows[~np.isin(rows, taken)]


def _axis_distance_m(best: RayBest, rays: Rays, near: NearPairs, obstacles: Obstacles) -> FloatArray:
    order = np.argsort(best.ray, kind="stable")
    away = np.empty(len(order))
    away[order] = distance_to_axis_m(rays.take(best.ray[order]), best.distance_m[order], near, obstacles)
    return away
