"""The table of checks: for each stake every rule with its measured value, limit, unit, verdict and basis."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from layoutplan.arrays import FloatArray
from layoutplan.job import Job
from layoutplan.layout.reasons import ALONE, ONE_SIDE
from layoutplan.layout.rules import (
    AGREE,
    BROKEN,
    COMPROMISE,
    KEEP_OUT,
    KEPT,
    ORDER,
    RULES,
    UNKNOWN,
    basis,
    map_themes,
    status_of,
)
from layoutplan.planning.crossings import met_words
from layoutplan.planning.facts import Facts
from layoutplan.siting.evaluate import Evaluated
from layoutplan.siting.obstacles import POWER_LINE, TOLERANCE_M, Obstacles
from layoutplan.siting.scene import reference


def check_rows(chosen: Evaluated, facts: Facts, obstacles: Obstacles, job: Job) -> pd.DataFrame:
    """Build the checks of all stakes.

    Returns
    -------
    DataFrame
        Columns ``position, rule, measured, limit, unit, verdict, basis, detail, missed_by``, sorted by position and
        rule; ``missed_by`` is how far a broken limit is from being kept, in its unit.
    """
    blocks = [*_line_rules(chosen, facts, job), *_crossing_rules(chosen, facts, obstacles, job)]
    blocks += [
        *_electrical_rules(chosen, facts, job),
        *_ground_rules(facts, job, len(chosen)),
        *_way_rules(facts, job, len(chosen)),
        _clearance_rules(chosen, facts, obstacles, job),
        _fixed_rows(facts, job),
    ]
    table = pd.concat(blocks, ignore_index=True)
    return table.sort_values(["position", "number"], kind="stable", ignore_index=True).drop(columns="number")


def with_grace(checks: pd.DataFrame, grace: float) -> pd.DataFrame:
    """Let limits in metres and degrees that are missed by no more than a little count as kept; drop ``missed_by``.

    Two stakes on one side of the line stay a compromise then, however far apart their leads are; so does a stake that
    just keeps its distance from something on the map.
    """
    turned = (checks["rule"] == "perpendicular_to_line") & (checks["verdict"] == COMPROMISE)
    near = (turned | (checks["verdict"] == BROKEN)) & checks["unit"].isin(["m", "deg"])
    near &= checks["missed_by"] <= grace
    checks = checks.drop(columns="missed_by")
    if not near.any():
        return checks
    close = (checks["rule"] == "opposite_sides") | checks["rule"].str.startswith(KEEP_OUT)
    held = np.where(close, COMPROMISE, KEPT)
    return checks.assign(verdict=np.where(near, held, checks["verdict"]))


def statuses(checks: pd.DataFrame, count: int) -> NDArray[np.object_]:
    """Status of each position, from its verdicts and nothing else (:func:`layoutplan.layout.rules.status_of`).

    Examples
    --------
    >>> rows = pd.DataFrame({"position": [0, 0], "rule": ["reel", "crossing_agreement"], "verdict": [KEPT, AGREE]})
    >>> statuses(rows, 2).tolist()
    ['needs agreement', 'all rules met']
    """
    found: list[list[tuple[str, str]]] = [[] for _ in range(count)]
    rows = checks[checks["verdict"] != KEPT]
    for position, *verdict in zip(*(rows[name].tolist() for name in ("position", "rule", "verdict")), strict=True):
        found[position].append((verdict[0], verdict[1]))
    return np.array([status_of(verdicts) for verdicts in found], dtype=object)


def _block(
    rule: str,
    measured: ArrayLike,
    limit: ArrayLike,
    verdict: ArrayLike,
    job: Job,
    detail: Any = "",
    count: int = 0,
    reference: Any = "",
) -> pd.DataFrame:
    entry = RULES[rule]
    measured = np.broadcast_to(np.asarray(measured, dtype=float), count)
    limit = np.broadcast_to(np.asarray(limit, dtype=float), count)
    return pd.DataFrame(
        {
            "position": np.arange(count),
            "number": ORDER[rule],
            "rule": rule,
            "measured": measured,
            "limit": limit,
            "unit": entry.unit,
            "verdict": verdict,
            "basis": basis(rule, job),
            "detail": detail,
            "reference": reference,
            "missed_by": np.abs(measured - limit),
        }
    )


def _line_rules(chosen: Evaluated, facts: Facts, job: Job) -> list[pd.DataFrame]:
    rules, rays, n = job.rules, chosen.rays, len(chosen)
    least = np.maximum(facts.least_m, 0.0)
    angle_ok = rays.angle_deg >= rules.min_angle_deg - TOLERANCE_M
    square = rays.off_square_deg <= rules.perpendicular_within_deg + TOLERANCE_M
    apart = np.where(facts.same_side, rules.same_side_min_angle_deg, np.nan)
    far = chosen.distance_m >= least - TOLERANCE_M
    reel = facts.lead_m <= rules.reel_m + 2 * TOLERANCE_M
    return [
        _block("lead_angle", rays.angle_deg, rules.min_angle_deg, _kept("lead_angle", angle_ok), job, chosen.span, n),
        _block(
            "perpendicular_to_line",
            rays.off_square_deg,
            rules.perpendicular_within_deg,
            _kept("perpendicular_to_line", square),
            job,
            count=n,
        ),
        _block(
            "opposite_sides",
            facts.between_deg,
            apart,
            _sides(facts, rules.same_side_min_angle_deg),
            job,
            _side_texts(facts),
            n,
        ),
        _block("electrode_distance", chosen.distance_m, least, _kept("electrode_distance", far), job, count=n),
        _block("reel", facts.lead_m, rules.reel_m, _kept("reel", reel), job, count=n),
    ]


def _sides(facts: Facts, least_deg: float) -> NDArray[np.str_]:
    narrow = facts.same_side & (facts.between_deg < least_deg - TOLERANCE_M)
    return np.select([np.isnan(facts.between_deg), narrow, facts.same_side], [COMPROMISE, BROKEN, COMPROMISE], KEPT)


def _side_texts(facts: Facts) -> list[str]:
    return [
        ALONE if alone else f"{ONE_SIDE}{f': {why}' if why else ''}" if same else "one stake on each side of the line"
        for alone, same, why in zip(
            np.isnan(facts.between_deg).tolist(), facts.same_side.tolist(), facts.one_side, strict=True
        )
    ]


def _crossing_rules(chosen: Evaluated, facts: Facts, obstacles: Obstacles, job: Job) -> list[pd.DataFrame]:
    n = len(chosen)
    blocks = [_lead_beside(chosen, facts, obstacles, job)]
    for rule, met in (
        ("lead_crossing", facts.crossed),
        ("crossing_agreement", facts.crossed),
        ("crossing_care", facts.crossed),
        ("ground_agreement", facts.stood_on),
    ):
        verdict = RULES[rule].missed
        count = met.of(verdict, n)
        found = np.select([count > 0, ~facts.known(map_themes(rule, job.obstacle_classes))], [verdict, UNKNOWN], KEPT)
        words, numbers = met_words(met, verdict, obstacles, job, n)
        blocks.append(_block(rule, count, 0, found, job, words, n, numbers))
    blocks += [
        _block("map_coverage", np.nan, np.nan, np.where(facts.covered, KEPT, UNKNOWN), job, facts.uncovered, n),
    ]
    if obstacles.permitted_given:
        outside = np.isin(np.arange(n), chosen.held_position[chosen.held_feature < 0])
        blocks.append(_block("permitted_land", np.nan, np.nan, _kept("permitted_land", ~outside), job, count=n))
    return blocks


def _lead_beside(chosen: Evaluated, facts: Facts, obstacles: Obstacles, job: Job) -> pd.DataFrame:
    """Leads that pass what they must not cross by less than maps are accurate."""
    edge, margin = chosen.beside.edge_m, job.score.margin_m
    known = facts.known(map_themes("lead_beside", job.obstacle_classes))
    verdict = np.select([edge < margin, ~known], [RULES["lead_beside"].missed, UNKNOWN], KEPT)
    measured = np.where(np.isinf(edge), np.nan, edge)
    numbers = [
        reference(obstacles, feature) if words else ""
        for feature, words in zip(chosen.beside.feature.tolist(), facts.beside, strict=True)
    ]
    return _block("lead_beside", measured, margin, verdict, job, facts.beside, len(chosen), numbers)


def _electrical_rules(chosen: Evaluated, facts: Facts, job: Job) -> list[pd.DataFrame]:
    """Limits that the job sets on voltage and reading; without one, the bias against the job's target."""
    rules, n = job.rules, len(chosen)
    target = job.method.bias_target_pct
    measured = {
        "induced_voltage": (chosen.terms["induced_v"], rules.max_induced_v, RULES["induced_voltage"].missed),
        "reading_bias": (np.abs(facts.bias_pct), rules.max_bias_pct, RULES["reading_bias"].missed),
        "lead_coupling": (facts.coupling_pct, rules.max_coupling_pct, RULES["lead_coupling"].missed),
    }
    if rules.max_bias_pct is None:
        measured["reading_bias"] = (np.abs(facts.bias_pct), target, COMPROMISE)
    return [
        _block(rule, values, limit, _within(values, limit, beyond), job, count=n)
        for rule, (values, limit, beyond) in measured.items()
        if limit is not None
    ]


def _ground_rules(facts: Facts, job: Job, count: int) -> list[pd.DataFrame]:
    """Slope at the stake and drops under the lead, where the job names an elevation model."""
    if not job.terrain.files:
        return []
    slope = _within(facts.slope_deg, job.terrain.max_stake_slope_deg, RULES["slope"].missed)
    drop = np.select(
        [np.isnan(facts.ground.cliff_drop_m), facts.ground.cliff_drop_m >= job.terrain.cliff_drop_m],
        [UNKNOWN, RULES["cliff"].missed],
        KEPT,
    )
    unknown = "no height known there"
    return [
        _block("slope", facts.slope_deg, job.terrain.max_stake_slope_deg, slope, job,
               np.where(np.isnan(facts.slope_deg), unknown, ""), count),
        _block("cliff", facts.ground.cliff_drop_m, job.terrain.cliff_drop_m, drop, job,
               np.where(facts.ground.known, "", unknown), count),
    ]  # fmt: skip


def _way_rules(facts: Facts, job: Job, count: int) -> list[pd.DataFrame]:
    """Way on foot, where ways were looked for."""
    way = facts.on_foot
    if way is None:
        return []
    verdict = np.select([~way.is_known, way.is_shut, way.asks], [UNKNOWN, RULES["on_foot"].missed, AGREE], KEPT)
    return [_block("on_foot", way.walk_min, np.nan, verdict, job, way.detail, count)]


def _fixed_rows(facts: Facts, job: Job) -> pd.DataFrame:
    """Mark stakes that the job fixes as no choice of the plan."""
    told = "the job fixes the stake there; the plan did not choose the place"
    rows = _block("fixed_stake", np.nan, np.nan, KEPT, job, told, len(facts.fixed))
    return rows[facts.fixed]


def _within(values: FloatArray, limit: float, beyond: str) -> NDArray[np.str_]:
    return np.select([np.isnan(values), values > limit + 1e-9], [UNKNOWN, beyond], KEPT)


def _clearance_rules(chosen: Evaluated, facts: Facts, obstacles: Obstacles, job: Job) -> pd.DataFrame:
    """Line clearance, and keep-outs of the classes that come within reach of the stake's tower.

    What is kept by less than the map is accurate is a compromise; of a planned line it is not the map that tells.
    """
    classes = [job.obstacle_classes[name] for name in obstacles.class_names]
    clear = chosen.clear
    guarded = np.array([row.stake == "no" for row in classes])[clear.class_code]
    code, position = clear.class_code[guarded], clear.position[guarded]
    feature, edge, depth = clear.feature[guarded], clear.edge_m[guarded], clear.depth_m[guarded]
    limit = np.array([row.keep_out_m for row in classes])[code]
    held = _held(chosen, obstacles)
    inside = np.isin(position * len(classes) + code, held)
    in_doubt = np.isin(
        position * len(classes) + code,
        chosen.close_position * len(classes) + obstacles.class_code[chosen.close_feature],
    )
    ok = (edge >= limit - TOLERANCE_M) & ~inside
    known = np.array([facts.known(row.map_themes) for row in classes])
    line = code == obstacles.code(POWER_LINE)
    names = np.array([f"{KEEP_OUT}{name}" for name in obstacles.class_names])
    number = np.where(line, 0, len(RULES) + code)
    bases = np.array([row.basis for row in classes], dtype=object)
    name = obstacles.name[feature]
    return pd.DataFrame(
        {
            "position": position,
            "number": number,
            "rule": np.where(line, "line_clearance", names[code]),
            "measured": np.where(inside, 0.0, edge),
            "limit": limit,
            "unit": "m",
            # other power lines may be missing from the map, too
            "verdict": np.where(ok & in_doubt, COMPROMISE, _seen(ok, known[code, position])),
            "basis": np.where(line, basis("line_clearance", job), bases[code]),
            "detail": np.where(inside, np.where(name == "", "inside", "inside " + name), name),
            "reference": obstacles.feature_id[feature],
            "missed_by": np.where(inside, limit + depth, limit - edge),  # where the keep-out is 0, inside is not at it
        }
    )


def _held(chosen: Evaluated, obstacles: Obstacles) -> NDArray[np.int64]:
    mapped = chosen.held_feature >= 0
    code = obstacles.class_code[chosen.held_feature[mapped]]
    return np.asarray(chosen.held_position[mapped] * len(obstacles.class_names) + code)


def _kept(rule: str, ok: NDArray[np.bool_]) -> NDArray[np.str_]:
    return np.where(ok, KEPT, RULES[rule].missed)


def _seen(ok: NDArray[np.bool_], known: NDArray[np.bool_]) -> NDArray[np.str_]:
    """Verdict of a rule that rests on the map: where the map is silent of its theme, a kept rule is unknown."""
    return np.select([~ok, ~known], [BROKEN, UNKNOWN], KEPT)
