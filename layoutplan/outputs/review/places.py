"""What is shown of a tower beside rules and exposures: stakes, crossings, other positions, why there is no layout."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from layoutplan.layout.model import Plan
from layoutplan.layout.rules import NO_LAYOUT, class_labels, exclusion_words
from layoutplan.layout.set_out import SET_OUT_COLUMNS, set_out, warning
from layoutplan.outputs.columns import records
from layoutplan.outputs.review.pieces import by_tower, headed, inert, number, plain_rows, tower_rows
from layoutplan.outputs.words import bearing, crossing_words, degrees, figure

_STAKE = ("role", "side", "octant", "reasons", "crossings", "map_gaps", *SET_OUT_COLUMNS)
_HANDLING = ("line_id", "tower_id", "role", "handling", "handling_fault")
_ALTERNATIVE = ("side", "rank", "distance_m", "bearing_true_deg", "angle_to_line_deg", "distance_to_line_m",
                "lead_length_m", "caution_crossings", "score", "lat", "lon")  # fmt: skip
_PAIR = ("side", "h_distance_m", "h_bearing_true_deg", "s_distance_m", "s_bearing_true_deg", "between_deg",
         "caution_crossings", "score", "chosen_score", "bias_pct", "chosen_bias_pct", "coupling_pct",
         "chosen_coupling_pct")  # fmt: skip
_APPROACH = {"to": "to", "road_name": "from", "road_class": "kind of road", "walk_m": "walk, m",
             "climb_m": "climb, m", "walk_min": "walk, min", "crossings": "crosses", "verdict": "verdict",
             "note": "note"}  # fmt: skip


def stake_tables(plan: Plan) -> list[str]:
    """Where each stake goes, what its lead crosses, what has to be agreed and why.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    list of str
        HTML, one for each tower.
    """
    rows = [
        f"<tr><th>{inert(row.role)}<td>{_where(row)}<td>{inert(crossing_words(row.crossings, row.map_gaps))}"
        f"<td>{inert(row.reasons)}\n"
        for row in records(plan.leads, *_STAKE)
    ]
    labels = ("stake", "where", "its lead", "to be agreed, and other reasons")
    return _tables(plan, plan.leads, rows, "Stakes, crossings and what has to be agreed", labels, "stakes")


def _where(row: Any) -> str:
    first = f"{told}. " if (told := warning(row.status)) else ""
    place = f"{row.side} side, to the {row.octant}, set out {set_out(row).line}"
    return inert(f"{first}Waypoint {row.waypoint}: {place}; {set_out(row).middle}")


def handling_texts(plan: Plan) -> list[str]:
    """How leads have to be handled by their exposures; once where it is the same for both.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    list of str
        HTML, one for each tower.
    """
    told: dict[tuple[str, str, str, str], list[str]] = {}
    for row in records(plan.leads, *_HANDLING):
        told.setdefault((row.line_id, row.tower_id, row.handling, row.handling_fault), []).append(row.role)
    keys = pd.DataFrame([key[:2] for key in told], columns=["line_id", "tower_id"])
    texts = [
        f"<p class='q more'>Lead{'s' if len(roles) > 1 else ''} {inert(' and '.join(roles))}: "
        f"in service {inert(service) or 'unknown'}; under a fault {inert(fault) or 'unknown'}.\n"
        for (_, _, service, fault), roles in told.items()
    ]
    return by_tower(texts, tower_rows(plan, keys), len(plan.towers))


def alternative_tables(plan: Plan) -> list[str]:
    """Where else a stake could go, best first on each side.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    list of str
        HTML, one for each tower.
    """
    rows = [
        f"<tr><th>{inert(row.side)} {row.rank}<td>{figure(row.distance_m, 'm')} at {bearing(row.bearing_true_deg)}"
        f"<td>{degrees(row.angle_to_line_deg)}<td>{figure(row.distance_to_line_m, 'm')}"
        f"<td>{figure(row.lead_length_m, 'm')}<td>{number(row.caution_crossings)}<td>{number(row.score)}"
        f"<td>{row.lat:.6f}, {row.lon:.6f}\n"
        for row in records(plan.alternatives, *_ALTERNATIVE)
    ]
    labels = ("side, rank", "distance, true bearing", "angle to the line", "from the line", "lead",
              "crossings needing agreement or care", "score", "latitude, longitude")  # fmt: skip
    return _tables(plan, plan.alternatives, rows, "Alternatives", labels, "alternatives more")


def pair_tables(plan: Plan) -> list[str]:
    """Pairs on one side that have fewer points than the chosen pair, and how both would read.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    list of str
        HTML, one for each tower.
    """
    if plan.pairs.empty:
        return [""] * len(plan.towers)
    rows = [
        f"<tr><th>{inert(row.side)}<td>{figure(row.h_distance_m, 'm')} at {bearing(row.h_bearing_true_deg)}"
        f"<td>{figure(row.s_distance_m, 'm')} at {bearing(row.s_bearing_true_deg)}<td>{degrees(row.between_deg)}"
        f"<td>{number(row.caution_crossings)}<td>{number(row.score)} / {number(row.chosen_score)}"
        f"<td>{number(row.bias_pct)} / {number(row.chosen_bias_pct)}"
        f"<td>{number(row.coupling_pct)} / {number(row.chosen_coupling_pct)}\n"
        for row in records(plan.pairs, *_PAIR)
    ]
    labels = ("both on the", "H: distance, true bearing", "S: distance, true bearing", "between the leads",
              "crossings needing agreement or care", "score: this / chosen", "bias, %: this / chosen",
              "coupling, %: this / chosen")  # fmt: skip
    return _tables(plan, plan.pairs, rows, "A pair on one side of the line", labels, "alternatives more")


def exclusion_tables(plan: Plan) -> list[str]:
    """How many positions each rule shuts, for towers without layout.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    list of str
        HTML, one for each tower.
    """
    table = _without_layout(plan, plan.exclusions)
    rows = [
        f"<tr><td>{inert(row.side)}<th>{inert(exclusion_words(row.rule, row.detail))}<td>{row.candidates} of {row.of}\n"
        for row in records(table, "side", "rule", "detail", "candidates", "of")
    ]
    return _tables(
        plan, table, rows, "What rules out each side", ("side", "rule", "positions left out"), "exclusions more"
    )


def relaxation_tables(plan: Plan) -> list[str]:
    """Single changes that would give a layout, in the order of asking.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    list of str
        HTML, one for each tower.
    """
    table = plan.relaxations
    rows = [f"<tr><th>{row.rank}<td>{inert(row.text)}\n" for row in records(table, "rank", "text")]
    found = _tables(plan, table, rows, "Single changes that would give a layout", ("", "change"), "relaxations more")
    none = "<h4 class=more>Single changes that would give a layout</h4><p class=more>None was found.\n"
    return [
        text or (none if status == NO_LAYOUT else "") for text, status in zip(found, plan.towers["status"], strict=True)
    ]


def approach_tables(plan: Plan) -> list[str]:
    """How to get there on foot; empty where ways were not looked for.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    list of str
        HTML, one for each tower.
    """
    labels = class_labels(plan.job.obstacle_classes)
    table = plan.approaches
    to_tower = (table["to"] == "tower").to_numpy()
    begins = np.where(to_tower, table["road_name"], "the tower")
    table = table.assign(road_name=begins, road_class=table["road_class"].map(labels).fillna("").where(to_tower, ""))
    rows = plain_rows(table, list(_APPROACH))
    return _tables(plan, table, rows, "Approach on foot", list(_APPROACH.values()), "approaches more")


def _without_layout(plan: Plan, table: pd.DataFrame) -> pd.DataFrame:
    without = (plan.towers["status"] == NO_LAYOUT).to_numpy()
    return table[without[tower_rows(plan, table)]]


def _tables(
    plan: Plan, frame: pd.DataFrame, rows: Sequence[str], title: str, labels: Sequence[str], kind: str
) -> list[str]:
    return headed(title, labels, by_tower(rows, tower_rows(plan, frame), len(plan.towers)), kind)
