"""Reasons against the candidates of one tower, each with what it would take to lift it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.job import ObstacleClass
from layoutplan.job.classes import OUTSIDE_WORDS
from layoutplan.siting.judge import within_stretches
from layoutplan.siting.meet import Stretches, joined_stretches
from layoutplan.siting.obstacles import NO, POWER_LINE, TOLERANCE_M, Obstacles
from layoutplan.siting.ragged import group_starts
from layoutplan.siting.rays import ANGLE_TOLERANCE_DEG, lead_length_m, nearest_span, reel_distance_m
from layoutplan.siting.relaxation import (
    AGREEMENT_SHARE,
    CONDUCTORS,
    CROSSING,
    DISTANCE,
    LEAST_SIZES,
    MEANS,
    Relaxation,
    effort,
    least_angle_deg,
)
from layoutplan.siting.scene import Blocker, Scene, reference
from layoutplan.siting.trace import OUTSIDE_PERMITTED

ENDLESS_M = 9e3  # beyond any reel


def find_blockers(scene: Scene) -> list[Blocker]:
    """All reasons against any candidate of the widened fan.

    Parameters
    ----------
    scene : Scene
        One tower.

    Returns
    -------
    list of Blocker
        In no order that matters.
    """
    return [
        _angle(scene),
        _least_distance(scene),
        _reel(scene),
        _line_clearance(scene),
        *_keep_outs(scene),
        *_crossings(scene),
        *_owned_land(scene),
        *_not_permitted(scene),
    ]


def _angle(scene: Scene) -> Blocker:
    limit, least = scene.job.rules.min_angle_deg, least_angle_deg(scene.job.rules)
    short = limit - scene.rays.angle_deg
    ray = np.flatnonzero(short > ANGLE_TOLERANCE_DEG)
    span = nearest_span(scene.tower, scene.rays.tower, scene.rays.bearing_deg)

    def relaxed(change: float) -> Relaxation:
        needed = max(np.floor(limit - change + ANGLE_TOLERANCE_DEG), least)
        along = span[ray][np.argmin(np.abs(short[ray] - change))]
        text = (
            f"a lead at {needed:.0f} degrees to the {along} instead of {limit:g}, only if the asset owner's rules "
            "allow it (the nearer its direction to the line's, the more voltage it picks up)"
        )
        return Relaxation("lead_angle", needed, limit, "deg", effort(CONDUCTORS, change / max(limit, 1.0)), text)

    return Blocker(ray, np.zeros(len(ray)), np.full(len(ray), ENDLESS_M), lambda ray, _: short[ray], relaxed)


def _least_distance(scene: Scene) -> Blocker:
    rules, size = scene.job.rules, float(scene.tower.electrode_size_m[0])
    limit = max(rules.min_distance_m, rules.electrode_size_multiple * size)
    distance = scene.steps.distance_m

    def relaxed(change: float) -> Relaxation:
        needed = np.floor(limit - change + TOLERANCE_M)
        text = (
            f"a stake {needed:.0f} m from the tower instead of {limit:.1f} m (the reading is worth less the nearer the "
            "stake; a measured size of the earth electrode may settle it)"
        )
        return Relaxation("electrode_distance", needed, limit, "m", effort(DISTANCE, change / limit), text)

    every = np.arange(len(scene.rays))
    upto = np.full(len(every), limit - 2 * TOLERANCE_M)

    def change(ray: IntArray, step_no: IntArray) -> FloatArray:
        short = limit - distance[ray, step_no]
        return np.where(np.floor(limit - short + TOLERANCE_M) >= LEAST_SIZES * limit, short, np.inf)

    return Blocker(every, np.zeros(len(every)), upto, change, relaxed)


def _reel(scene: Scene) -> Blocker:
    rules, leg = scene.job.rules, scene.tower.leg_xy_m
    reach = reel_distance_m(scene.rays.direction, np.repeat(leg, len(scene.rays), axis=0), rules.reach_m)

    def change(ray: IntArray, step_no: IntArray) -> FloatArray:
        return lead_length_m(scene.points_m(ray, step_no), leg[0], rules.slack_pct) - rules.reel_m

    def relaxed(by: float) -> Relaxation:
        needed = np.ceil(rules.reel_m + by - TOLERANCE_M)
        text = f"a {needed:.0f} m reel instead of {rules.reel_m:g} m"
        return Relaxation("reel", needed, rules.reel_m, "m", effort(MEANS, by / rules.reel_m), text)

    every = np.arange(len(scene.rays))
    return Blocker(every, reach + 2 * TOLERANCE_M, np.full(len(every), ENDLESS_M), change, relaxed)


def _line_clearance(scene: Scene) -> Blocker:
    obstacles, row = scene.obstacles, scene.job.obstacle_classes[POWER_LINE]
    limit, floor = row.keep_out_m, _floor_m(row)
    lines = np.flatnonzero(obstacles.class_code == obstacles.code(POWER_LINE))
    mine = scene.trace.blocked.take(np.isin(scene.trace.blocked.feature, lines))

    def relaxed(change: float) -> Relaxation:
        needed = np.floor(limit - change + TOLERANCE_M)
        text = (
            f"a stake {needed:.0f} m from the outermost conductor instead of {limit:g} m, only if the asset owner's "
            "rules allow it"
        )
        step = effort(CONDUCTORS, change / max(limit, 1.0))
        return Relaxation("line_clearance", needed, limit, "m", step, text)

    def change(ray: IntArray, step_no: IntArray) -> FloatArray:
        away = scene.edge_distance_m(ray, step_no, lines)
        return np.where(np.floor(away + TOLERANCE_M) >= floor, limit - away, np.inf)

    return Blocker(mine.ray, mine.enter_m, mine.leave_m, change, relaxed)


def _floor_m(row: ObstacleClass) -> float:
    """Nearest to the edge of a feature that a stake is ever proposed; its keep-out where the class names none. [m]."""
    return row.keep_out_m if row.floor_m is None else row.floor_m


def _owned(scene: Scene) -> NDArray[np.bool_]:
    """Features that are land whose owner may agree to leads and stakes."""
    classes = [scene.job.obstacle_classes[name].owner_may_agree for name in scene.obstacles.class_names]
    return np.array(classes)[scene.obstacles.class_code]


def _by_feature(stretches: Stretches) -> Iterator[tuple[int, Stretches]]:
    ordered = stretches.take(np.argsort(stretches.feature, kind="stable"))
    first = np.flatnonzero(group_starts(ordered.feature)).tolist()
    for begin, end in zip(first, [*first[1:], len(ordered)][: len(first)], strict=True):
        yield int(ordered.feature[begin]), ordered.take(slice(begin, end))


def _namesakes_joined(stretches: Stretches, obstacles: Obstacles) -> Stretches:
    """Let pieces of one class and name (a road mapped in parts, both carriageways) count as the first of them."""
    first: dict[tuple[int, str], int] = {}
    count = len(obstacles.class_code)
    stands_for = np.arange(count)
    for feature in np.unique(stretches.feature).tolist():
        if name := obstacles.name[feature]:
            stands_for[feature] = first.setdefault((int(obstacles.class_code[feature]), name), feature)
    return Stretches(stretches.ray, stands_for[stretches.feature], stretches.enter_m, stretches.leave_m)


def _keep_outs(scene: Scene) -> list[Blocker]:
    obstacles, blocked = scene.obstacles, scene.trace.blocked
    mine = blocked.take(blocked.feature >= 0)
    mine = mine.take((obstacles.class_code[mine.feature] != obstacles.code(POWER_LINE)) & ~_owned(scene)[mine.feature])
    return [_keep_out(scene, feature, stretches) for feature, stretches in _by_feature(mine)]


def _keep_out(scene: Scene, feature: int, mine: Stretches) -> Blocker:
    """Give way as far as the floor of the class; nobody can agree to a stake in the water or in a house."""
    obstacles = scene.obstacles
    limit = float(obstacles.keep_out_m[feature] - obstacles.body_m[feature])
    name = obstacles.class_names[obstacles.class_code[feature]]
    row = scene.job.obstacle_classes[name]
    floor = _floor_m(row)

    def change(ray: IntArray, step_no: IntArray) -> FloatArray:
        away = scene.edge_distance_m(ray, step_no, np.array([feature]))
        inside = scene.trace.inside.take(scene.trace.inside.feature == feature)
        within = within_stretches(inside, scene.steps)[ray, step_no] | (_tenths_m(away) < floor)
        return np.where(within, np.inf, limit - away)

    def relaxed(by: float) -> Relaxation:
        needed = float(_tenths_m(max(limit - by, 0.0)))
        text = f"a stake {needed:g} m from the {scene.describe(feature)} instead of {limit:g} m, {_agreed(row)}"
        place = effort(DISTANCE, AGREEMENT_SHARE + by / max(limit, 1.0))
        return Relaxation(f"keep_out:{name}", needed, limit, "m", place, text, reference(obstacles, feature))

    return Blocker(mine.ray, mine.enter_m, mine.leave_m, change, relaxed)


def _tenths_m(away_m: FloatArray | float) -> FloatArray:
    """Distances as they are offered: whole decimetres that they keep. [m]."""
    return np.asarray(np.floor((away_m + TOLERANCE_M) * 10) / 10)


def _agreed(row: ObstacleClass) -> str:
    return f"agreed with {row.agreed_by}"


def _crossings(scene: Scene) -> list[Blocker]:
    barriers = _barriers(scene)
    barriers = barriers.take(~_owned(scene)[barriers.feature])
    out = []
    for feature, mine in _by_feature(_namesakes_joined(barriers, scene.obstacles)):
        name = scene.obstacles.class_names[scene.obstacles.class_code[feature]]
        row = scene.job.obstacle_classes[name]
        needs = f", {row.crossing_needs}" if row.crossing_needs else ""
        text = f"permission to cross the {scene.describe(feature)}, {_agreed(row)}{needs}"
        worst = name == POWER_LINE or row.moving_traffic
        place = effort(CONDUCTORS if name == POWER_LINE else CROSSING, 1.0 if worst else AGREEMENT_SHARE)
        about = reference(scene.obstacles, feature)
        out.append(_permission(mine, f"lead_crossing:{name}", text, place, about, possible=row.may_cross))
    return out


def _barriers(scene: Scene) -> Stretches:
    """Everything beyond the first touch of a feature that must not be crossed."""
    touches = scene.trace.touches
    no = touches.level == NO
    return Stretches(touches.ray[no], touches.feature[no], touches.at_m[no], np.full(int(no.sum()), ENDLESS_M))


def _owned_land(scene: Scene) -> list[Blocker]:
    """One agreement opens a piece of land for the lead and for the stake."""
    blocked, owned = scene.trace.blocked, _owned(scene)
    mine = joined_stretches(blocked.take(blocked.feature >= 0), _barriers(scene))
    out = []
    for feature, stretches in _by_feature(_namesakes_joined(mine.take(owned[mine.feature]), scene.obstacles)):
        name = scene.obstacles.class_names[scene.obstacles.class_code[feature]]
        row = scene.job.obstacle_classes[name]
        text = f"lead and stake on the {scene.describe(feature)}, {_agreed(row)}"
        step = DISTANCE if row.lead_crossing == "no" else MEANS  # guarded land is not asked for lightly
        about, place = reference(scene.obstacles, feature), effort(step, AGREEMENT_SHARE)
        out.append(_permission(stretches, f"ground_agreement:{name}", text, place, about))
    return out


def _not_permitted(scene: Scene) -> list[Blocker]:
    blocked = scene.trace.blocked
    mine = blocked.take(blocked.feature == OUTSIDE_PERMITTED)
    text = f"permission for {OUTSIDE_WORDS}"
    return [_permission(mine, "permitted_land", text, effort(MEANS, AGREEMENT_SHARE))] if len(mine) else []


def _permission(
    mine: Stretches, rule: str, text: str, place: float, about: str = "", *, possible: bool = True
) -> Blocker:
    relaxation = Relaxation(rule, np.nan, np.nan, "", place, text, about)
    change = 0.0 if possible else np.inf  # nobody can permit a lead through a house
    return Blocker(mine.ray, mine.enter_m, mine.leave_m, lambda ray, _: np.full(len(ray), change), lambda _: relaxation)
