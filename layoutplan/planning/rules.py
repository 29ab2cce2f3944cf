"""The rules by name: what is measured in which unit, and where the limit comes from."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from layoutplan.job import Job, ObstacleClass, Rules
from layoutplan.siting.obstacles import POWER_LINE

PRACTICE = "common practice, no published source"
JUDGEMENT = "engineering judgement"
SETTING = "project setting"


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule as the reports name it.

    Attributes
    ----------
    name : str
        In the table of checks.
    key : str
        Key of the job file that sets its limit; empty if there is none.
    unit : str
    basis : str
        Where the default comes from.
    rests_on : callable
        Says of an obstacle class whether the rule rests on what the map tells of it.
    """

    name: str
    key: str
    unit: str
    basis: str
    rests_on: Callable[[ObstacleClass], bool] = lambda _row: False


RULES = {
    rule.name: rule
    for rule in (
        Rule("line_clearance", "line_clearance_m", "m", PRACTICE, lambda row: row.name == POWER_LINE),
        Rule("lead_angle", "min_angle_deg", "deg", PRACTICE),
        Rule("square_to_line", "square_within_deg", "deg", JUDGEMENT),
        Rule("opposite_sides", "same_side_min_angle_deg", "deg", PRACTICE),
        Rule("electrode_distance", "electrode_size_multiple", "m", PRACTICE),
        Rule("reel", "reel_m", "m", SETTING),
        Rule("lead_crossing", "", "crossings", JUDGEMENT, lambda row: row.lead_crossing == "no"),
        Rule("lead_beside", "", "m", JUDGEMENT, lambda row: row.lead_crossing == "no"),
        Rule("crossing_agreement", "", "crossings", JUDGEMENT, lambda row: row.lead_crossing == "caution"),
        Rule("ground_agreement", "", "areas", JUDGEMENT, lambda row: row.stake == "caution"),
        Rule("permitted_land", "", "", SETTING),
        Rule("map_coverage", "", "", JUDGEMENT, lambda _row: True),
        Rule("induced_voltage", "max_induced_v", "V", SETTING),
        Rule("reading_bias", "max_bias_pct", "%", SETTING),
        Rule("lead_coupling", "max_coupling_pct", "%", SETTING),
        Rule("slope", "", "deg", JUDGEMENT),
        Rule("cliff", "", "m", JUDGEMENT),
        Rule("on_foot", "", "min", JUDGEMENT),
        Rule("fixed_stake", "", "", SETTING),
    )
}


def map_themes(rule: str, classes: Mapping[str, ObstacleClass]) -> frozenset[str]:
    """Themes of the map that a rule rests on, beside how far the map reaches.

    Parameters
    ----------
    rule : str
        As in the table of checks; ``keep_out:<class>`` rests on its class.
    classes : mapping
        Obstacle classes of the job.
    """
    name = rule.partition(":")[2]
    rows = [classes[name]] if name else filter(RULES[rule].rests_on, classes.values())
    return frozenset(theme for row in rows for theme in row.map_themes)


def basis(rule: str, job: Job) -> str:
    """Where the limit of a rule comes from; a changed one is a project setting, with the default's basis beside it."""
    entry = RULES[rule]
    if entry.key and entry.basis != SETTING:
        default = Rules.model_fields[entry.key].default
        if getattr(job.rules, entry.key) != default:
            return f"{SETTING} (default {default:g}: {entry.basis})"
    return entry.basis
