"""For a tower without layout: the single changes that would give it one, in the order of asking.

The fan is spread wider than the rules allow. Every reason against a candidate is a *blocker*: a rule, or one feature
of the map. Candidates with a single blocker are what relaxing that blocker would open up.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.job import Job, Rules
from layoutplan.line.geodesy import turn_deg
from layoutplan.line.model import Towers
from layoutplan.siting.blockers import find_blockers
from layoutplan.siting.figures import NOTHING_KNOWN, Figures
from layoutplan.siting.judge import DistanceSteps, tally
from layoutplan.siting.limits import limit_blockers
from layoutplan.siting.mapped_spans import with_mapped_spans
from layoutplan.siting.near import find_near
from layoutplan.siting.obstacles import Obstacles
from layoutplan.siting.one_side import leads_nearer_together, reading_words, two_on_one_side
from layoutplan.siting.ragged import union_of_stretches
from layoutplan.siting.rays import LEFT, RIGHT, Rays, circle, keeping_angle, least_distance_m
from layoutplan.siting.relaxation import CROSSING, FARTHEST, LEAST_SIZES, Relaxation, least_angle_deg
from layoutplan.siting.scene import Blocker, Scene
from layoutplan.siting.trace import trace_rays

_SIDES = {LEFT: "left", RIGHT: "right"}


def find_relaxations(
    tower: Towers, obstacles: Obstacles, job: Job, figures: Figures = NOTHING_KNOWN, *, one_side: bool = True
) -> list[Relaxation]:
    """Find the single changes that would give a tower a layout, those that a planner would ask for first at the front.

    Parameters
    ----------
    tower : Towers
        Of length one.
    obstacles : Obstacles
        Of the whole job.
    job : Job
        Its rules and limits.
    figures : Figures
        Of the tower.
    one_side : bool
        Whether to look for pairs on one side: not where there are some, and none keeps the job's limits.

    Returns
    -------
    list of Relaxation
        Empty where no single change helps.
    """
    rules = job.rules
    wide = rules.model_copy(update={"reel_m": rules.reel_m * FARTHEST, "min_angle_deg": least_angle_deg(rules)})
    reach = wide.reach_m + float(np.hypot(*tower.leg_xy_m[0])) + 1.0
    near = find_near(obstacles, tower, reach)
    tower = with_mapped_spans(tower, near, obstacles)
    rays = keeping_angle(circle(tower, wide, job.search.bearing_step_deg), wide)
    trace = trace_rays(rays, near, obstacles, reach_m=reach, margin_m=0.0)
    steps = _wider_steps(rays, tower, rules, reach, job.search.distance_step_m)
    scene = Scene(tower, rays, trace, steps, near, obstacles, job, figures)
    blockers = [*find_blockers(scene), *limit_blockers(scene)]
    open_at, lone = _alone(blockers, steps)
    open_rays = np.asarray(open_at.any(axis=1))
    needs = _ray_needs(blockers, open_rays, lone)
    may_share = one_side and rules.sides != "required"
    found = [_relaxed(blockers[which], need, rays, job, may_share) for which, need in needs.items()]
    if one_side:
        change = two_on_one_side if rules.sides == "required" else leads_nearer_together
        found.append(change(scene, open_at))
    whole = [item for item in found if item is not None]
    return sorted(whole, key=_by_effort) or _one_side_each(blockers, needs, open_rays, rays)


def _by_effort(item: Relaxation) -> tuple[float, str]:
    return item.effort, item.text


def _wider_steps(rays: Rays, tower: Towers, rules: Rules, reach_m: float, step_m: float) -> DistanceSteps:
    first = max(np.floor(least_distance_m(tower, rules)[0] * LEAST_SIZES / step_m), 1.0)
    return DistanceSteps(np.full(len(rays), first * step_m), step_m, max(int((reach_m - 1.0) / step_m - first) + 1, 0))


def _alone(blockers: list[Blocker], steps: DistanceSteps) -> tuple[NDArray[np.bool_], IntArray]:
    """Mark open candidates; and for each candidate the number of its only blocker, -1 if none or several."""
    number = np.repeat(np.arange(len(blockers)), [len(blocker.ray) for blocker in blockers])
    ray, enter, leave = (
        np.concatenate([getattr(blocker, name) for blocker in blockers]) for name in ("ray", "enter_m", "leave_m")
    )
    key, enter, leave = union_of_stretches(ray * len(blockers) + number, enter, leave)
    ray, number = key // len(blockers), key % len(blockers)
    weight = number.astype(np.float64)
    first, beyond = steps.first_at(ray, enter), steps.first_beyond(ray, leave)
    count = np.cumsum(tally(steps, ray, first) - tally(steps, ray, beyond), axis=1)[:, : steps.count]
    which = np.cumsum(tally(steps, ray, first, weight) - tally(steps, ray, beyond, weight), axis=1)[:, : steps.count]
    return count == 0, np.where(count == 1, np.round(which), -1).astype(np.int64)


def _ray_needs(blockers: list[Blocker], open_rays: NDArray[np.bool_], lone: IntArray) -> dict[int, FloatArray]:
    """Least change on each ray for each blocker that stands alone somewhere.

    It is 0 where a ray is open anyway, and infinite where others block it too.
    """
    ray, step_no = np.nonzero((lone >= 0) & ~open_rays[:, None])
    number = lone[ray, step_no]
    needs = {}
    for which in np.unique(number).tolist():
        mine = number == which
        needs[which] = np.where(open_rays, 0.0, np.inf)
        np.minimum.at(needs[which], ray[mine], blockers[which].change(ray[mine], step_no[mine]))
    return needs


def _relaxed(blocker: Blocker, need: FloatArray, rays: Rays, job: Job, may_share: bool) -> Relaxation | None:
    """Return the change to this blocker that opens a pair, if any does."""
    worst = max(need[rays.side == side].min(initial=np.inf) for side in (LEFT, RIGHT))
    if np.isfinite(worst):
        return blocker.relaxed(worst)
    worst = _same_side_need(need, rays, job.rules.same_side_min_angle_deg) if may_share else np.inf
    if not np.isfinite(worst):
        return None
    item = blocker.relaxed(worst)
    return replace(item, text=f"{item.text}; both stakes would then be on one side of the line{reading_words(job)}")


def _same_side_need(need: FloatArray, rays: Rays, min_angle_deg: float) -> float:
    usable = np.flatnonzero(np.isfinite(need))
    between = np.abs(turn_deg(rays.bearing_deg[usable][:, None] - rays.bearing_deg[usable]))
    apart = (between >= min_angle_deg) & (rays.side[usable][:, None] == rays.side[usable])
    both = np.maximum(need[usable][:, None], need[usable])
    return float(np.where(apart, both, np.inf).min(initial=np.inf))


def _one_side_each(
    blockers: list[Blocker], needs: dict[int, FloatArray], open_rays: NDArray[np.bool_], rays: Rays
) -> list[Relaxation]:
    """No single change is enough: state for each side that is shut what would open it; nothing if one stays shut.

    What must not be crossed is crossed for the lack of anything else, but not together with a second concession.
    """
    out = []
    for side in _SIDES:
        mine = rays.side == side
        if open_rays[mine].any():
            continue
        least = {which: need[mine].min(initial=np.inf) for which, need in needs.items()}
        options = [blockers[which].relaxed(need) for which, need in least.items() if np.isfinite(need)]
        best = min(options, key=_by_effort, default=None)
        if best is None or best.effort >= CROSSING:
            return []
        out.append(replace(best, text=f"together with a change for the {_SIDES[1 - side]} side: {best.text}"))
    return out
