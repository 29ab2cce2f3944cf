"""Limits on figures that a job sets, as reasons against candidates."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.siting.figures import LIMITED, Limited, beyond_limits, sets_limits
from layoutplan.siting.obstacles import TOLERANCE_M
from layoutplan.siting.relaxation import CONDUCTORS, FARTHEST, MEANS, STEEPEST_DEG, Relaxation, effort
from layoutplan.siting.scene import Blocker, Scene


def limit_blockers(scene: Scene) -> list[Blocker]:
    """Limits that the job sets; raising them is no remedy for an unknown figure.

    Parameters
    ----------
    scene : Scene
        One tower with its widened fan.

    Returns
    -------
    list of Blocker
        One for each limit that any candidate is beyond.
    """
    if not sets_limits(scene.job):
        return []
    terms = scene.figures(scene.rays.tower, scene.rays.bearing_deg, scene.steps.distance_m)
    beyond = beyond_limits(terms, scene.job)
    return [_limit(scene, terms[item.figure], item, beyond[item.rule]) for item in LIMITED if item.rule in beyond]


def _limit(scene: Scene, values: FloatArray, item: Limited, beyond: NDArray[np.bool_]) -> Blocker:
    limit = float(item.limit(scene.job) or 0.0)
    most = _most(item, limit, scene)
    ray, step_no = np.nonzero(beyond)
    at = scene.steps.distance_m[ray, step_no]

    def change(ray: IntArray, step_no: IntArray) -> FloatArray:
        value = _tenths_up(values[ray, step_no])
        return np.where(value <= most, values[ray, step_no] - limit, np.inf)  # so is what is unknown

    def relaxed(by: float) -> Relaxation:
        return _raised(item.rule, limit, limit + by, item.unit, item.way_out, MEANS if item.own_means else CONDUCTORS)

    return Blocker(ray, at - TOLERANCE_M, at + TOLERANCE_M, change, relaxed)


def _most(item: Limited, limit: float, scene: Scene) -> float:
    """Value beyond which nothing is proposed, whoever might allow it; of the reel, as far as it is ever stretched."""
    if item.figure == "slope_deg":
        return STEEPEST_DEG
    if item.figure == "over_reel_m":
        return scene.job.rules.reel_m * (FARTHEST - 1.0)
    return FARTHEST * limit if item.figure == "induced_v" else np.inf  # what a reading may be worth is the owner's word


def raised(rule: str, limit: float, needed: float) -> Relaxation:
    """Relaxation for a tower that has pairs, but none within a limit for pairs; NaN or infinite if all are unknown.

    Parameters
    ----------
    rule : str
        As exclusions name it.
    limit : float
        As the job sets it. [%]
    needed : float
        The least that lets a pair in. [%]

    Returns
    -------
    Relaxation
        With ``needed`` NaN where only a figure is missing.

    Examples
    --------
    >>> raised("lead_coupling", 2.0, 3.14).text
    "lead coupling of 3.2 % instead of 2 %, if the asset owner's rules allow it"
    >>> raised("lead_coupling", 2.0, np.inf).text
    'the figures without which the lead coupling of no pair is known'
    """
    words = rule.replace("_", " ")
    way_out = f"{words} of {{needed:g}} % instead of {{limit:g}} %, if the asset owner's rules allow it"
    if not np.isfinite(needed):
        way_out = f"the figures without which the {words} of no pair is known"
    return _raised(rule, limit, needed, "%", way_out, CONDUCTORS)


def _tenths_up(value: FloatArray) -> FloatArray:
    return np.asarray(np.ceil(value * 10 - TOLERANCE_M) / 10)


def _raised(rule: str, limit: float, needed: float, unit: str, way_out: str, step: int) -> Relaxation:
    needed = float(_tenths_up(np.array(needed))) if np.isfinite(needed) else np.nan
    share = (needed - limit) / max(limit, 1.0)
    return Relaxation(rule, needed, limit, unit, effort(step, share), way_out.format(needed=needed, limit=limit))
