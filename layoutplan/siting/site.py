"""Siting of one section of towers: fan, trace, choice, alternatives, and the measured values of what was chosen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layoutplan.job import Job
from layoutplan.line.geodesy import FloatArray
from layoutplan.line.model import Towers
from layoutplan.siting.blockers import Relaxation
from layoutplan.siting.choose import RayBest, best_on_rays, choose_pairs, distinct
from layoutplan.siting.evaluate import Evaluated, evaluate
from layoutplan.siting.exclusions import Exclusions, count_exclusions
from layoutplan.siting.judge import Rungs
from layoutplan.siting.mapped_spans import with_mapped_spans
from layoutplan.siting.measure import distance_to_axis_m
from layoutplan.siting.near import Near, find_near
from layoutplan.siting.obstacles import TOLERANCE_M, Obstacles
from layoutplan.siting.ragged import IntArray
from layoutplan.siting.rays import Rays, circle, keeping_angle
from layoutplan.siting.relax import find_relaxations
from layoutplan.siting.trace import trace_rays


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
    alternatives : RayBest
        Distinct further positions of each side, best first.
    alternatives_axis_m : ndarray
        Their distances to the nearest axis of the planned lines. [m]
    exclusions : Exclusions
    relaxations : dict
        For each tower without layout, what would give it one.
    """

    chosen: Evaluated
    role: NDArray[np.str_]
    same_side: NDArray[np.bool_]
    alternatives: RayBest
    alternatives_axis_m: FloatArray
    exclusions: Exclusions
    relaxations: dict[int, list[Relaxation]]


def site_towers(towers: Towers, obstacles: Obstacles, job: Job) -> Sited:
    """Choose the positions of H and S for a section of towers.

    Parameters
    ----------
    towers : Towers
    obstacles : Obstacles
    job : Job
    """
    rules, search = job.rules, job.search
    reach = rules.reach_m + float(np.hypot(*towers.leg_xy_m.T).max(initial=0.0)) + 1.0
    near = find_near(obstacles, towers, reach + job.score.margin_m)
    around = circle(with_mapped_spans(towers, near, obstacles), rules, search.bearing_step_deg)
    rays = keeping_angle(around, rules)
    trace = trace_rays(rays, near, obstacles, reach_m=reach, margin_m=job.score.margin_m)
    rungs = ladder(rays, reach, search.distance_step_m)
    best = best_on_rays(rays, trace, rungs, job.score)
    choice = choose_pairs(best, len(towers), rules.same_side_min_angle_deg)
    rows = np.concatenate((choice.h[choice.h >= 0], choice.s[choice.s >= 0]))
    role = np.repeat(["H", "S"], len(rows) // 2)
    chosen = evaluate(towers, best.tower[rows], best.bearing_deg[rows], best.distance_m[rows], near, obstacles, job)
    other = best.take(_alternatives(best, rows, job))
    without = np.flatnonzero(choice.h < 0)
    return Sited(
        chosen=chosen,
        role=role[np.lexsort((best.bearing_deg[rows], best.tower[rows]))],
        same_side=choice.same_side,
        alternatives=other,
        alternatives_axis_m=_axis_distance_m(other, rays, near, obstacles),
        exclusions=count_exclusions(around, rays, trace, rungs, obstacles, len(towers)),
        relaxations={int(i): find_relaxations(towers.rows(np.array([i])), obstacles, job) for i in without},
    )


def ladder(rays: Rays, reach_m: float, step_m: float) -> Rungs:
    """Whole multiples of the step, from the least distance allowed on any ray to the reach; at least one."""
    first = np.ceil((rays.min_m.min(initial=reach_m) - TOLERANCE_M) / step_m)
    last = np.floor(min(rays.max_m.max(initial=0.0), reach_m) / step_m)
    return Rungs(np.full(len(rays), first * step_m), step_m, max(int(last - first) + 1, 1))


def _alternatives(best: RayBest, taken: IntArray, job: Job) -> IntArray:
    """Rows of distinct positions on each side beside the chosen ones."""
    rows = distinct(best, job.search.alternatives_apart_m, job.search.alternatives + 1)
    return rows[~np.isin(rows, taken)]


def _axis_distance_m(best: RayBest, rays: Rays, near: Near, obstacles: Obstacles) -> FloatArray:
    order = np.argsort(best.ray, kind="stable")
    away = np.empty(len(order))
    away[order] = distance_to_axis_m(rays.take(best.ray[order]), best.distance_m[order], near, obstacles)
    return away
