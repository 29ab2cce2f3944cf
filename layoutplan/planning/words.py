"""Statuses and reasons in plain words."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from layoutplan.job import Job
from layoutplan.line.structures import names_of
from layoutplan.planning.facts import Facts
from layoutplan.planning.model import (
    ALL_MET,
    BREAKS,
    COMPROMISE,
    FIXED,
    FORBIDDEN,
    NEEDS_AGREEMENT,
    NO_LAYOUT,
    NOT_COVERED,
    ONE_SIDE,
)
from layoutplan.planning.silence import is_silent
from layoutplan.siting.blockers import describe
from layoutplan.siting.evaluate import Evaluated
from layoutplan.siting.exclusions import Exclusions
from layoutplan.siting.obstacles import CAUTION, NO, TOLERANCE_M, Obstacles
from layoutplan.siting.site import Sited

SIDES = np.array(["left", "right"])
MOST_SHOWN = 4  # exclusions and relaxations named in a tower's reasons; the tables hold all


def crossing_texts(chosen: Evaluated, obstacles: Obstacles, job: Job) -> list[str]:
    """What the lead of each position crosses on its way, in order, with the distance from the tower."""
    texts: dict[int, list[str]] = defaultdict(list)
    touches = chosen.touches
    for ray, feature, at, level in zip(touches.ray, touches.feature, touches.at_m, touches.level, strict=True):
        where = f"at {at:.1f} m" if at > 0 else "from the start: the tower stands in it"
        forbidden = FORBIDDEN if level == NO else ""  # of given stakes only: planning crosses nothing forbidden
        texts[int(ray)].append(f"{forbidden}{describe(obstacles, job, int(feature))} {where}")
    return ["; ".join(texts[i]) for i in range(len(chosen))]


def beside_texts(chosen: Evaluated, obstacles: Obstacles, job: Job) -> list[str]:
    """What each lead passes, within the margin for the map's accuracy, that it must not cross."""
    close = chosen.beside.edge_m < job.score.margin_m
    return [
        describe(obstacles, job, feature) if near else ""
        for feature, near in zip(chosen.beside.feature.tolist(), close.tolist(), strict=True)
    ]


def margin_texts(chosen: Evaluated, obstacles: Obstacles, job: Job) -> list[str]:
    """What each stake keeps its distance from, and each lead passes, by less than the map is accurate.

    Of each class the nearest feature; what is broken outright is said elsewhere.
    """
    margin, texts = job.score.margin_m, defaultdict(list)
    edge, feature = chosen.beside.edge_m, chosen.beside.feature
    crossed = np.isin(np.arange(len(chosen)), chosen.touches.ray[chosen.touches.level == NO])
    for i in np.flatnonzero((edge < margin) & ~crossed).tolist():
        texts[i].append(f"lead passes {describe(obstacles, job, int(feature[i]))} by {edge[i]:.1f} m")
    clear, count = chosen.clear, len(obstacles.class_names)
    key = chosen.close_position * count + obstacles.class_code[chosen.close_feature]
    limit = np.array([job.obstacle_classes[name].keep_out_m for name in obstacles.class_names])[clear.class_code]
    for row in np.flatnonzero(np.isin(clear.position * count + clear.class_code, key)).tolist():
        if clear.edge_m[row] >= limit[row] - TOLERANCE_M and clear.depth_m[row] == 0:
            what = describe(obstacles, job, int(clear.feature[row]))
            texts[int(clear.position[row])].append(
                f"stake {clear.edge_m[row]:.1f} m from {what} where {limit[row]:g} m are asked"
            )
    return [", ".join(texts[i]) for i in range(len(chosen))]


def ground_texts(chosen: Evaluated, obstacles: Obstacles, job: Job) -> list[str]:
    """Areas that hold a position and need somebody's agreement."""
    texts: dict[int, list[str]] = defaultdict(list)
    mapped = chosen.held_feature >= 0
    caution = mapped & (obstacles.stake[chosen.held_feature] == CAUTION)
    caution &= ~is_silent(obstacles, chosen.held_feature)  # nobody can agree to what nobody knows
    for position, feature in zip(chosen.held_position[caution], chosen.held_feature[caution], strict=True):
        texts[int(position)].append(describe(obstacles, job, int(feature)))
    return ["; ".join(texts[i]) for i in range(len(chosen))]


def stake_status(chosen: Evaluated, same_side: NDArray[np.bool_], facts: Facts, job: Job) -> NDArray[np.str_]:
    """Status of each position; the worst that applies."""
    agree = (chosen.terms["caution_crossings"] > 0) | facts.on_agreed_ground
    compromise = (chosen.rays.off_square_deg > job.rules.square_within_deg + 1e-6) | same_side[chosen.rays.tower]
    compromise |= facts.ground.cliff_drop_m >= job.terrain.cliff_drop_m
    compromise |= _terrain_unknown(facts, job) | np.isnan(facts.between_deg)
    compromise |= np.array([text != "" for text in facts.margins], dtype=bool)
    if facts.on_foot is not None:
        compromise |= facts.on_foot.is_shut
    return np.select(
        [~facts.covered, agree, compromise],
        [NOT_COVERED, NEEDS_AGREEMENT, COMPROMISE],
        ALL_MET,
    )


def _terrain_unknown(facts: Facts, job: Job) -> NDArray[np.bool_]:
    """Stakes at which the job's elevation model has no height: whether they may stand there is not known."""
    return np.isnan(facts.slope_deg) & bool(job.terrain.files)


def stake_reasons(
    chosen: Evaluated,
    same_side: NDArray[np.bool_],
    facts: Facts,
    other_side: Mapping[int, str],
    broken: Mapping[int, str],
    job: Job,
) -> list[str]:
    """Reasons for the status of each position."""
    out, unknown = [], _terrain_unknown(facts, job)
    both_fixed = np.bincount(chosen.rays.tower[facts.fixed]) == 2
    forbidden = np.bincount(chosen.touches.ray[chosen.touches.level == NO], minlength=len(chosen))
    for i, tower in enumerate(chosen.rays.tower):
        parts = [f"breaks {broken[i]}"] if i in broken else []
        if facts.uncovered[i]:
            parts.append(facts.uncovered[i])
        if facts.crossings[i]:
            agreed = ""
            if chosen.terms["caution_crossings"][i] > 0:
                agreed = f": {'the rest ' if forbidden[i] else ''}to be agreed"
            parts.append(f"lead crosses {facts.crossings[i]}{agreed}")
        if facts.grounds[i]:
            parts.append(f"stands on {facts.grounds[i]}: to be agreed")
        if same_side[tower]:
            why = other_side.get(int(tower), "no position opposite")
            fixed_so = facts.fixed[i] and both_fixed[tower]
            parts.append(f"{ONE_SIDE}: {'the job fixes them there' if fixed_so else why}")
        if facts.margins[i]:
            parts.append(f"nearer than the map is accurate ({job.score.margin_m:g} m): {facts.margins[i]}")
        drop = facts.ground.cliff_drop_m[i]
        if drop >= job.terrain.cliff_drop_m:
            parts.append(f"lead passes a drop of {drop:.0f} m: look at it first")
        if unknown[i]:
            parts.append("terrain unknown")
        if np.isnan(facts.between_deg[i]):
            parts.append("no second stake")
        if facts.on_foot is not None and facts.on_foot.is_shut[i]:
            parts.append(f"no way on foot on the map: {facts.on_foot.detail[i]}")
        off = chosen.rays.off_square_deg[i]
        if off > job.rules.square_within_deg + 1e-6:
            parts.append(f"lead is {off:.0f} degrees off square to the line")
        told = "; ".join(parts) or "all rules met, square to the line"
        out.append(f"{FIXED}; {told}" if facts.fixed[i] else told)
    return out


def tower_names(towers: gpd.GeoDataFrame) -> dict[tuple[str, str], str]:
    """Names of towers by line and id: the id, with its line where several lines have it."""
    line, tower = (towers[key].to_numpy(dtype=str) for key in ("line_id", "tower_id"))
    return dict(zip(zip(line.tolist(), tower.tolist(), strict=True), names_of(line, tower).tolist(), strict=True))


def side_texts(exclusions: Exclusions) -> dict[tuple[int, int], str]:
    """Name for each tower and side the rules that excluded most."""
    rows: dict[tuple[int, int], list[tuple[int, str, int]]] = defaultdict(list)
    columns = (exclusions.tower, exclusions.side, exclusions.candidates, exclusions.rule, exclusions.of)
    for tower, side, count, rule, of in zip(*columns, strict=True):
        rows[int(tower), int(side)].append((-int(count), str(rule), int(of)))
    return {
        key: ", ".join(f"{rule} excluded {-count} of {of}" for count, rule, of in sorted(found)[:MOST_SHOWN])
        for key, found in rows.items()
    }


def other_side_texts(sited: Sited, excluded: dict[tuple[int, int], str]) -> dict[int, str]:
    """Say for towers with both stakes on one side what keeps the other one shut, or that points alone decided."""
    used = dict(zip(sited.chosen.rays.tower.tolist(), sited.chosen.rays.side.tolist(), strict=True))
    return {
        int(tower): "fewer points than a pair on opposite sides"
        if sited.opposite[tower]
        else f"on the {SIDES[1 - used[tower]]} {excluded.get((tower, 1 - used[tower]), 'nothing is left')}"
        for tower in np.flatnonzero(sited.same_side).tolist()
    }


def no_layout_reasons(sited: Sited, excluded: dict[tuple[int, int], str]) -> dict[int, str]:
    """Say for towers without layout what shuts each side and what would open it."""
    out = {}
    for tower, relaxations in sited.relaxations.items():
        sides = "; ".join(f"{SIDES[side]}: {excluded.get((tower, side), 'nothing excluded')}" for side in (0, 1))
        ways = "; or ".join(item.text for item in relaxations[:MOST_SHOWN])
        out[tower] = f"{sides}. " + (
            f"Would give a layout: {ways}" if ways else "No single change that could be advised would help"
        )
    return out


def tower_status(status: NDArray[np.str_], tower: NDArray[np.int64], count: int) -> list[str]:
    """Worst status of a tower's stakes; no layout where there are none."""
    rank = {ALL_MET: 0, COMPROMISE: 1, NEEDS_AGREEMENT: 2, NOT_COVERED: 3, BREAKS: 4}
    worst = np.full(count, -1)
    np.maximum.at(worst, tower, np.array([rank[name] for name in status], dtype=np.int64))
    names = [*rank, NO_LAYOUT]
    return [names[i] for i in worst]


def tower_reasons(electrodes: gpd.GeoDataFrame, sited: Sited, uncovered: list[str]) -> list[str]:
    """Reasons for the status of each tower: what is said of its two stakes, or why there are none."""
    shut = no_layout_reasons(sited, side_texts(sited.exclusions))
    tower = np.repeat(np.unique(sited.chosen.rays.tower), 2)  # H and S follow each other in the table
    of_stakes = dict(zip(tower[::2].tolist(), _both(electrodes["reasons"].tolist()), strict=True))
    out = []
    for i, reason in enumerate(uncovered):
        text = of_stakes.get(i) or shut[i]
        out.append(f"{reason}; {text}" if reason and i in shut else text)
    return out


def _both(reasons: list[str]) -> list[str]:
    pairs = zip(reasons[::2], reasons[1::2], strict=True)
    return [h if h == s else f"H: {h}. S: {s}" for h, s in pairs]
