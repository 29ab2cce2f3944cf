"""How many candidates each rule excluded, tower by tower and side by side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.job import Job
from layoutplan.line.geodesy import fold_deg
from layoutplan.line.model import Towers
from layoutplan.siting.figures import LIMITED, Figures, beyond_limits, sets_limits
from layoutplan.siting.judge import DistanceSteps
from layoutplan.siting.obstacles import NO, POWER_LINE, Obstacles
from layoutplan.siting.ragged import first_of_each, union_of_stretches
from layoutplan.siting.rays import ANGLE_TOLERANCE_DEG, Rays
from layoutplan.siting.trace import OUTSIDE_PERMITTED, Trace


@dataclass(frozen=True, slots=True)
class Exclusions:
    """One entry for each tower, side and rule that excluded a candidate; one candidate may break several rules.

    ``rule`` is its name, with the obstacle class behind ``keep_out:`` and ``lead_crossing:``; ``detail`` names the
    ground, or the spans near whose direction no lead may run.
    """

    tower: IntArray
    side: IntArray
    rule: NDArray[np.str_]
    detail: NDArray[np.object_]
    candidates: IntArray
    of: IntArray


def count_exclusions(
    towers: Towers,
    around: Rays,
    rays: Rays,
    trace: Trace,
    steps: DistanceSteps,
    obstacles: Obstacles,
    job: Job,
    figures: Figures,
) -> Exclusions:
    """Count the candidates that break each rule.

    Parameters
    ----------
    towers : Towers
        Of the fan, with the mapped lines that end at them.
    around : Rays
        All bearings around the towers; at an angle tower one side has more of them than the other.
    rays, trace, distance steps, obstacles
        The fan and what it meets.
    job : Job
    figures : Figures
        Of these towers.

    Returns
    -------
    Exclusions
        Candidates by rule and side, each counted under every rule that it breaks.
    """
    tower_count = len(towers)
    names = [*(f"keep_out:{name}" for name in obstacles.class_names), "permitted_land"]
    names[obstacles.code(POWER_LINE)] = "line_clearance"
    crossing = [f"lead_crossing:{name}" for name in obstacles.class_names]
    limited = [item.rule for item in LIMITED]
    limited_at = {item.figure: len(names) + len(crossing) + place for place, item in enumerate(LIMITED)}
    labels = [*names, *crossing, *limited, "electrode_distance", "reel", "lead_angle"]
    group = rays.tower * 2 + rays.side
    table = np.zeros((len(labels), 2 * tower_count), dtype=np.int64)
    _add(table, *_blocked(trace, steps, obstacles), group)
    _add(table, *_crossed(trace, steps, obstacles, len(names)), group)
    every = np.arange(len(rays))
    last = len(labels) - 1
    for label, beyond in _beyond(rays, steps, job, figures).items():
        _add(table, every, np.full(len(rays), labels.index(label)), beyond.sum(axis=1), group)
    _add(table, every, np.full(len(rays), last - 2), steps.first_at(every, rays.min_m - 1e-6), group)
    _add(table, every, np.full(len(rays), last - 1), steps.count - steps.first_beyond(every, rays.max_m), group)
    of = np.bincount(around.tower * 2 + around.side, minlength=2 * tower_count) * steps.count
    table[last] = of - np.bincount(group, minlength=2 * tower_count) * steps.count
    rule, slot = np.nonzero(table)
    order = np.lexsort((rule, slot))
    rule, slot = rule[order], slot[order]
    ground = [job.obstacle_classes[name].label for name in obstacles.class_names]
    about = np.array([*ground, *[""] * (len(labels) - len(ground))], dtype=object)
    about[len(names) : len(names) + len(crossing)] = ground
    about[obstacles.code(POWER_LINE)] = ""  # the line's own rule
    detail = about[rule]
    at_angle = rule == last
    detail[np.isin(rule, limited_at["over_reel_m"])] = "on the slope"
    detail[at_angle] = _angle_names(towers, around, job, slot[at_angle])
    return Exclusions(slot // 2, slot % 2, np.array(labels)[rule], detail, table[rule, slot], of[slot])


def _angle_names(towers: Towers, around: Rays, job: Job, slot: IntArray) -> list[str]:
    """Name for towers and sides (tower * 2 + side) the spans near whose direction no lead may run."""
    short = fold_deg(towers.adjoining_deg[around.tower] - around.bearing_deg[:, None])
    near = short < job.rules.min_angle_deg - ANGLE_TOLERANCE_DEG
    forbids = np.zeros((2 * len(towers), near.shape[1]), dtype=np.int64)
    np.add.at(forbids, around.tower * 2 + around.side, near)
    names = (towers.adjoining_name[one // 2][np.argsort(-forbids[one], kind="stable")].tolist() for one in slot)
    count = (forbids[slot] > 0).sum(axis=1).tolist()
    return [", ".join(dict.fromkeys(of[:n])) for of, n in zip(names, count, strict=True)]


def _beyond(rays: Rays, steps: DistanceSteps, job: Job, figures: Figures) -> dict[str, NDArray[np.bool_]]:
    if not sets_limits(job):
        return {}
    return beyond_limits(figures(rays.tower, rays.bearing_deg, steps.distance_m), job)


def _blocked(trace: Trace, steps: DistanceSteps, obstacles: Obstacles) -> tuple[IntArray, IntArray, IntArray]:
    """Ray, rule and number of distance steps that keep-outs take away."""
    classes = len(obstacles.class_names)
    feature = trace.blocked.feature
    rule = np.where(feature == OUTSIDE_PERMITTED, classes, obstacles.class_code[feature])
    key, enter, leave = union_of_stretches(
        trace.blocked.ray * (classes + 1) + rule, trace.blocked.enter_m, trace.blocked.leave_m
    )
    ray = key // (classes + 1)
    return ray, key % (classes + 1), steps.first_beyond(ray, leave) - steps.first_at(ray, enter)


def _crossed(
    trace: Trace, steps: DistanceSteps, obstacles: Obstacles, first_rule: int
) -> tuple[IntArray, IntArray, IntArray]:
    """Ray, rule and number of distance steps beyond the first crossing that is not allowed, class by class."""
    no = trace.touches.level == NO
    classes = len(obstacles.class_names)
    code = obstacles.class_code[trace.touches.feature[no]]
    key, at = first_of_each(trace.touches.ray[no] * classes + code, trace.touches.at_m[no])
    ray = key // classes
    return ray, first_rule + key % classes, steps.count - steps.first_at(ray, at)


def _add(table: IntArray, ray: IntArray, rule: IntArray, count: IntArray, group: FloatArray | IntArray) -> None:
    slots = table.shape[1]
    tally = np.bincount(rule * slots + group[ray].astype(np.int64), count, minlength=table.size)
    table += tally.reshape(table.shape).astype(np.int64)
