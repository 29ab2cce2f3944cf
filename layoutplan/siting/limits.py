"""Limits on voltages and readings that a job sets, as reasons against candidates."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layoutplan.job import Rules
from layoutplan.line.geodesy import FloatArray
from layoutplan.siting.blockers import CAUTIOUS_EFFORT, Blocker, Relaxation, Scene
from layoutplan.siting.electrics import LIMITED, beyond_limits, sets_limits
from layoutplan.siting.obstacles import TOLERANCE_M
from layoutplan.siting.ragged import IntArray


def limit_blockers(scene: Scene) -> list[Blocker]:
    """Limits on voltage and reading that the job sets; an unknown figure cannot be mended by raising them."""
    if not sets_limits(scene.job.rules):
        return []
    terms = scene.electrics(scene.rays.tower, scene.rays.bearing_deg, scene.rungs.distance_m)
    beyond = beyond_limits(terms, scene.job.rules)
    return [_limit(scene, terms[term], key, rule, beyond[rule]) for term, key, rule in LIMITED if rule in beyond]


def _limit(scene: Scene, values: FloatArray, key: str, rule: str, beyond: NDArray[np.bool_]) -> Blocker:
    limit, unit = float(getattr(scene.job.rules, key)), "V" if key.endswith("_v") else "%"
    ray, rung = np.nonzero(beyond)
    at = scene.rungs.distance_m[ray, rung]

    def change(ray: IntArray, rung: IntArray) -> FloatArray:
        return np.nan_to_num(values[ray, rung] - limit, nan=np.inf)

    def relaxed(by: float) -> Relaxation:
        return _raised(rule, limit, limit + by, unit)

    return Blocker(ray, at - TOLERANCE_M, at + TOLERANCE_M, change, relaxed)


def uncoupled(least_pct: float, rules: Rules) -> Relaxation:
    """Relaxation for a tower all of whose pairs couple too much."""
    limit = rules.max_coupling_pct
    assert limit is not None, "asked only where the job sets it"
    return _raised("lead coupling", limit, least_pct, "%")


def _raised(rule: str, limit: float, needed: float, unit: str) -> Relaxation:
    needed = float(np.ceil(needed * 10 - TOLERANCE_M) / 10)
    text = f"{rule} of {needed:g} {unit} instead of {limit:g} {unit}, if the asset owner's rules allow it"
    return Relaxation(rule, needed, limit, unit, CAUTIOUS_EFFORT + needed / limit - 1, text)
