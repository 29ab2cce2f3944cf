"""Limits on figures that a job sets, as reasons against candidates."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layoutplan.line.geodesy import FloatArray
from layoutplan.siting.blockers import CAUTIOUS_EFFORT, Blocker, Relaxation, Scene
from layoutplan.siting.figures import LIMITED, Limited, beyond_limits, sets_limits
from layoutplan.siting.obstacles import TOLERANCE_M
from layoutplan.siting.ragged import IntArray


def limit_blockers(scene: Scene) -> list[Blocker]:
    """Limits that the job sets; an unknown figure cannot be mended by raising them."""
    if not sets_limits(scene.job):
        return []
    terms = scene.figures(scene.rays.tower, scene.rays.bearing_deg, scene.rungs.distance_m)
    beyond = beyond_limits(terms, scene.job)
    return [_limit(scene, terms[item.figure], item, beyond[item.rule]) for item in LIMITED if item.rule in beyond]


def _limit(scene: Scene, values: FloatArray, item: Limited, beyond: NDArray[np.bool_]) -> Blocker:
    limit = float(item.limit(scene.job) or 0.0)
    ray, rung = np.nonzero(beyond)
    at = scene.rungs.distance_m[ray, rung]

    def change(ray: IntArray, rung: IntArray) -> FloatArray:
        return np.nan_to_num(values[ray, rung] - limit, nan=np.inf)

    def relaxed(by: float) -> Relaxation:
        return _raised(item.rule, limit, limit + by, item.unit, item.way_out)

    return Blocker(ray, at - TOLERANCE_M, at + TOLERANCE_M, change, relaxed)


def raised(rule: str, limit: float, needed: float) -> Relaxation:
    """Relaxation for a tower that has pairs, but none within a limit for pairs; NaN or infinite if all are unknown."""
    way_out = f"{rule} of {{needed:g}} % instead of {{limit:g}} %, if the asset owner's rules allow it"
    return _raised(rule, limit, needed, "%", way_out)


def _raised(rule: str, limit: float, needed: float, unit: str, way_out: str) -> Relaxation:
    needed = float(np.ceil(needed * 10 - TOLERANCE_M) / 10) if np.isfinite(needed) else np.nan
    effort = CAUTIOUS_EFFORT + (needed - limit) / max(limit, 1.0)
    return Relaxation(rule, needed, limit, unit, effort, way_out.format(needed=needed, limit=limit))
