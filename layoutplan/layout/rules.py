"""The rules: what each measures, where its limit comes from, and what it makes of a stake's status.

One entry a rule, for checks, exclusions, statuses, pages and documentation alike. A stake's status follows from the
verdicts on its position and from nothing else (:func:`status_of`); what a reading will be worth, what a lead may
carry, and whom to ask on the way are marks of their own beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

from layoutplan.job.roles import Role

if TYPE_CHECKING:
    from layoutplan.job import Job, ObstacleClass

PRACTICE = "common practice, no published source"
JUDGEMENT = "engineering judgement"
SETTING = "project setting"

# Verdicts, from good to bad
KEPT = "kept"
CARE = "take care"  # mind it; nobody need be asked
COMPROMISE = "compromise"
AGREE = "to be agreed"  # somebody must say yes first
UNKNOWN = "unknown"
NOT_CONFIRMED = "cannot be confirmed"  # of positions known to an accuracy only
BROKEN = "broken"
VERDICTS = (KEPT, CARE, COMPROMISE, AGREE, UNKNOWN, BROKEN)
SEVERITY: Mapping[str, int] = MappingProxyType(
    {verdict: rank for rank, verdict in enumerate(VERDICTS)} | {NOT_CONFIRMED: VERDICTS.index(UNKNOWN)}
)

# Statuses of stakes and towers, from good to bad
ALL_MET = "all rules met"
TAKE_CARE = "take care"
COMPROMISED = "compromise"
NEEDS_AGREEMENT = "needs agreement"
NOT_COVERED = "map does not cover"
BREAKS = "breaks rules"
NO_LAYOUT = "no layout"
_STATUS = {
    KEPT: ALL_MET,
    CARE: TAKE_CARE,
    COMPROMISE: COMPROMISED,
    AGREE: NEEDS_AGREEMENT,
    UNKNOWN: NOT_COVERED,
    BROKEN: BREAKS,
}
STATUSES = (*_STATUS.values(), NO_LAYOUT)
MAY_STAKE = frozenset({ALL_MET, TAKE_CARE, COMPROMISED})  # nothing else has to be settled first

# what a rule bears on
POSITION, READING, VOLTAGE, ACCESS = "position", "reading", "voltage", "access"
KEEP_OUT = "keep_out:"  # before the name of the obstacle class


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule as the reports name it.

    Attributes
    ----------
    name : str
        In the tables of checks and exclusions.
    key : str
        Dotted key of the job file that sets its limit; empty if there is none.
    unit : str
    basis : str
        Where the default comes from.
    missed : str
        Verdict where it is not kept.
    bears_on : str
        ``POSITION``, ``READING``, ``VOLTAGE`` or ``ACCESS``.
    rests_on : callable
        Takes an obstacle class, returns whether the rule rests on how the map shows it.
    """

    name: str
    key: str
    unit: str
    basis: str
    missed: str
    bears_on: str = POSITION
    rests_on: Callable[[ObstacleClass], bool] = lambda _row: False


RULES: Mapping[str, Rule] = MappingProxyType(
    {
        rule.name: rule
        for rule in (
            Rule(
                "line_clearance",
                "rules.line_clearance_m",
                "m",
                PRACTICE,
                BROKEN,
                rests_on=lambda row: row.role == Role.LINE,
            ),
            Rule("lead_angle", "rules.min_angle_deg", "deg", PRACTICE, BROKEN),
            Rule("perpendicular_to_line", "rules.perpendicular_within_deg", "deg", JUDGEMENT, COMPROMISE),
            Rule("opposite_sides", "rules.same_side_min_angle_deg", "deg", PRACTICE, BROKEN),
            Rule("electrode_distance", "rules.electrode_size_multiple", "m", PRACTICE, BROKEN),
            Rule("reel", "rules.reel_m", "m", SETTING, BROKEN),
            Rule("lead_crossing", "", "crossings", JUDGEMENT, BROKEN, rests_on=lambda row: row.lead_crossing == "no"),
            Rule(
                "lead_beside",
                "score.margin_m",
                "m",
                JUDGEMENT,
                COMPROMISE,
                rests_on=lambda row: row.lead_crossing == "no",
            ),
            Rule(
                "crossing_agreement",
                "",
                "crossings",
                JUDGEMENT,
                AGREE,
                rests_on=lambda row: row.lead_crossing == "agree",
            ),
            Rule("crossing_care", "", "crossings", JUDGEMENT, CARE, rests_on=lambda row: row.lead_crossing == "care"),
            Rule("ground_agreement", "", "areas", JUDGEMENT, AGREE, rests_on=lambda row: row.stake == "agree"),
            Rule("permitted_land", "", "", SETTING, BROKEN),
            Rule("map_coverage", "", "", JUDGEMENT, UNKNOWN, rests_on=lambda _row: True),
            Rule("induced_voltage", "rules.max_induced_v", "V", SETTING, BROKEN, VOLTAGE),
            Rule("reading_bias", "rules.max_bias_pct", "%", SETTING, BROKEN, READING),
            Rule("lead_coupling", "rules.max_coupling_pct", "%", SETTING, BROKEN, READING),
            Rule("slope", "terrain.max_stake_slope_deg", "deg", JUDGEMENT, BROKEN),
            Rule("cliff", "terrain.cliff_drop_m", "m", JUDGEMENT, COMPROMISE),
            Rule("on_foot", "", "min", JUDGEMENT, COMPROMISE, ACCESS),
            Rule("fixed_stake", "", "", SETTING, KEPT),
        )
    }
)
ORDER: Mapping[str, int] = MappingProxyType({name: place for place, name in enumerate(RULES)})


def rule_words(name: str, labels: Mapping[str, str] = MappingProxyType({})) -> str:
    """Name of a rule in words.

    Parameters
    ----------
    name : str
        As in the table of checks.
    labels : mapping of str to str
        Of the job's obstacle classes, from `class_labels`; a class that is not among them is named by its key.

    Returns
    -------
    str

    Examples
    --------
    >>> rule_words("keep_out:river_canal", {"river_canal": "river or canal"}), rule_words("line_clearance")
    ('keep-out: river or canal', 'line clearance')
    """
    rule, colon, _ = name.partition(":")
    words = "keep-out" if rule == KEEP_OUT[:-1] else rule.replace("_", " ")
    return f"{words}: {ground_words(name, labels)}" if colon else words


def ground_words(rule: str, labels: Mapping[str, str]) -> str:
    """Ground that a rule about an obstacle class keeps off, by the class's label, else by its name."""
    name = rule.partition(":")[2]
    return labels.get(name, name.replace("_", " "))


def class_labels(classes: Mapping[str, ObstacleClass]) -> dict[str, str]:
    """Labels of obstacle classes, by their names: as people call them."""
    return {name: row.label for name, row in classes.items()}


_EXCLUDED = MappingProxyType(
    {
        "lead_crossing": "lead across {}",
        "keep_out": "stake on or near {}",
        "lead_angle": "lead along the {}",
        "line_clearance": "stake too near the line",
        "electrode_distance": "stake too near the tower",
        "permitted_land": "stake outside permitted land",
        "reel": "lead longer than the reel",
    }
)


def exclusion_words(rule: str, detail: str) -> str:
    """What candidates would have done that a rule excluded, for people to read.

    Parameters
    ----------
    rule, detail : str
        As in the table of exclusions.

    Examples
    --------
    >>> exclusion_words("lead_crossing:river_canal", "river or canal")
    'lead across river or canal'
    >>> exclusion_words("lead_angle", "span to 4, span to 6"), exclusion_words("slope", "")
    ('lead along the span to 4, span to 6', 'slope')
    """
    name, _, of = rule.partition(":")
    words = _EXCLUDED.get(name)
    if words is None:
        return f"{rule_words(rule)} {detail}".rstrip()
    return words.format(detail or of.replace("_", " ")) if "{}" in words else f"{words} {detail}".rstrip()


def map_themes(rule: str, classes: Mapping[str, ObstacleClass]) -> frozenset[str]:
    """Themes of the map that a rule rests on, beside how far the map reaches.

    Parameters
    ----------
    rule : str
        As in the table of checks; ``keep_out:<class>`` rests on its class.
    classes : mapping of str to ObstacleClass
        Of the job.

    Returns
    -------
    frozenset of str
        Themes of the classes that matter.
    """
    name = rule.partition(":")[2]
    rows = [classes[name]] if name else filter(RULES[rule].rests_on, classes.values())
    return frozenset(theme for row in rows for theme in row.map_themes)


def basis(rule: str, job: Job) -> str:
    """Where the limit of a rule comes from; a changed one is a project setting, with the default's basis beside it."""
    entry = RULES[rule]
    if entry.key and entry.basis != SETTING:
        section, key = entry.key.split(".")
        own = getattr(job, section)
        default = type(own).model_fields[key].default
        if getattr(own, key) != default:
            return f"{SETTING} (default {default:g}: {entry.basis})"
    return entry.basis


def counts(rule: str, verdict: str) -> bool:
    """Whether a verdict counts for the status: those on the position, limits of any kind that are broken, no way there.

    A target for the reading that is missed, or a voltage that is not known, has no bearing on where a stake may stand;
    whom to ask on the way to it is a matter of its own, and listed as such.

    Parameters
    ----------
    rule, verdict : str
        As in the table of checks.

    Returns
    -------
    bool

    Examples
    --------
    >>> counts("reading_bias", COMPROMISE), counts("reading_bias", BROKEN)
    (False, True)
    """
    on = bears_on(rule)
    return verdict == BROKEN or on == POSITION or (on == ACCESS and verdict == COMPROMISE)


def bears_on(rule: str) -> str:
    """What a rule of the table of checks bears on: ``POSITION``, ``READING``, ``VOLTAGE`` or ``ACCESS``.

    Examples
    --------
    >>> bears_on("reel"), bears_on("keep_out:building"), bears_on("induced_voltage")
    ('position', 'position', 'voltage')
    """
    entry = RULES.get(rule)
    return entry.bears_on if entry else POSITION  # keep-outs of the obstacle classes


def status_of(checks: Iterable[tuple[str, str]]) -> str:
    """Status of a stake: that of the worst verdict which counts.

    Parameters
    ----------
    checks : iterable of (str, str)
        Rule and verdict.

    Returns
    -------
    str
        One of ``STATUSES``; all rules met without a verdict that counts.

    Examples
    --------
    >>> status_of([("reel", KEPT), ("crossing_care", CARE), ("reading_bias", COMPROMISE)])
    'take care'
    """
    worst = max((SEVERITY[verdict] for rule, verdict in checks if counts(rule, verdict)), default=0)
    return _STATUS[VERDICTS[worst]]


def worst_status(statuses: Iterable[str]) -> str:
    """Return the worst of some statuses; no layout where there is none.

    Parameters
    ----------
    statuses : iterable of str
        Each one of ``STATUSES``.

    Returns
    -------
    str

    Examples
    --------
    >>> worst_status(["all rules met", "needs agreement"]), worst_status([])
    ('needs agreement', 'no layout')
    """
    return max(statuses, key=STATUSES.index, default=NO_LAYOUT)
