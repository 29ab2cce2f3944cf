"""Why a stake has its status, made from its checks and crossings: the one place where these words are made."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from layoutplan.layout.crossings import LEAD, STAKE, crossing_list
from layoutplan.layout.rules import (
    AGREE,
    BROKEN,
    CARE,
    COMPROMISE,
    KEEP_OUT,
    KEPT,
    RULES,
    UNKNOWN,
    class_labels,
    counts,
    exclusion_words,
    rule_words,
)

if TYPE_CHECKING:  # a written plan is explained without what reads jobs
    from layoutplan.job.classes import ObstacleClass

FIXED = "fixed by the job"  # of a stake that is no choice of the plan
ONE_SIDE = "both stakes on one side of the line"
ALONE = "no second stake"
MOST_SHOWN = 4  # exclusions and relaxations named in a tower's reasons; the tables hold all
WAY_OUT = "would give a layout"
NO_WAY_OUT = "no single change that could be advised would give a layout"
_NOTHING = "all rules met, perpendicular to the line"
_CLOSE = ("lead_beside", "line_clearance")
# rules with words of their own below, where they are kept in part only; any other is told by its name and figures
_WITH_WORDS = frozenset(
    {*_CLOSE, "crossing_agreement", "crossing_care", "ground_agreement", "opposite_sides", "cliff", "on_foot"}
    | {"perpendicular_to_line"}
)


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason for a stake's status.

    Attributes
    ----------
    rule, verdict : str
        Of the check that it comes from.
    line : str
        For a list.
    paragraph : str
        With everything that is known of it.
    of_features : bool
        Whether it only names what the table of crossings lists; a page that lists them leaves it out.
    """

    rule: str
    verdict: str
    line: str
    paragraph: str
    of_features: bool = False


def reasons_of(checks: Iterable[Any], crossings: Sequence[Any], classes: Mapping[str, ObstacleClass]) -> list[Reason]:
    """Reasons of one stake, those that forbid it first.

    Parameters
    ----------
    checks, crossings : iterable of named tuple
        Rows of the tables of these names.
    classes : mapping of str to ObstacleClass
        Of the job.

    Returns
    -------
    list of Reason
        Empty where all rules are met.
    """
    open_rows = [row for row in checks if row.verdict != KEPT and counts(row.rule, row.verdict)]
    by_rule = {row.rule: row for row in open_rows}
    labels = class_labels(classes)
    found = list(_broken(open_rows, labels))
    if (row := by_rule.get("map_coverage")) is not None:
        found.append(Reason(row.rule, row.verdict, row.detail, row.detail))
    found += _crossed(crossings, classes)
    if (row := by_rule.get("opposite_sides")) is not None and row.verdict != BROKEN:
        line = ALONE if row.detail == ALONE else ONE_SIDE
        found.append(Reason(row.rule, row.verdict, line, row.detail))
    found += _close(open_rows, classes)
    found += _of_the_way(by_rule)
    found += _of_figures(open_rows)
    return found or [_bare(row, labels) for row in open_rows]


def _of_figures(rows: Sequence[Any]) -> Iterator[Reason]:
    """Rules without words of their own."""
    for row in rows:
        plain = row.rule not in _WITH_WORDS and not row.rule.startswith(KEEP_OUT)
        if plain and row.verdict in (CARE, COMPROMISE, AGREE):
            unit = RULES[row.rule].unit
            measured = "" if row.measured is None or row.measured != row.measured else f" {row.measured:.4g} {unit}"
            limit = "" if row.limit is None or row.limit != row.limit else f", limit {row.limit:g} {unit}"
            text = f"{rule_words(row.rule)}{measured}{limit}: {row.verdict}"
            yield Reason(row.rule, row.verdict, text, text)


def _bare(row: Any, labels: Mapping[str, str]) -> Reason:
    """Reason in the rule's own name: no status stands without one."""
    text = f"{rule_words(row.rule, labels)}: {row.verdict}"
    return Reason(row.rule, row.verdict, text, text)


def side_text(rows: Iterable[Any]) -> str:
    """What shuts most of one side of a tower.

    Parameters
    ----------
    rows : iterable of named tuple
        Of the table of exclusions.

    Returns
    -------
    str
        At most ``MOST_SHOWN`` causes, the greatest share first.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> row = SimpleNamespace(rule="keep_out:main_road", detail="main road", candidates=840, of=1200)
    >>> side_text([row])
    'stake on or near main road (70 %)'
    """
    most = sorted((-row.candidates, exclusion_words(row.rule, row.detail), row.of) for row in rows)[:MOST_SHOWN]
    return ", ".join(f"{words} ({_share(-count, of)})" for count, words, of in most)


def _share(count: int, of: int) -> str:
    share = 100 * count / of
    return f"{share:.0f} %" if 1 <= share <= 99 or count == of else "over 99 %" if share > 99 else "below 1 %"


def subject(row: Any) -> str:
    """What a row of checks or relaxations is about, with its numbers on the map: for planners and reviewers.

    Parameters
    ----------
    row : named tuple
        Plans of before have no ``reference``, relaxations no ``detail``.

    Returns
    -------
    str
        Empty where it is about nothing in particular.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> subject(SimpleNamespace(detail="Ilvra", reference="waterways 1"))
    'Ilvra, waterways 1'
    """
    return ", ".join(filter(None, (getattr(row, "detail", ""), getattr(row, "reference", ""))))


def ways_out(rows: Iterable[Any]) -> list[str]:
    """Single changes that would give a tower a layout, as people read them.

    Parameters
    ----------
    rows : iterable of named tuple
        Of the table of relaxations or as siting finds them, in the order of asking.

    Returns
    -------
    list of str
        Each wording once: of two things without a name the tables hold the numbers on the map.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> ways_out([SimpleNamespace(text="a 171 m reel instead of 150 m")] * 2)
    ['a 171 m reel instead of 150 m']
    """
    return list(dict.fromkeys(row.text for row in rows))


def shut_text(sides: Mapping[str, str]) -> str:
    """What shuts sides of a tower.

    Parameters
    ----------
    sides : mapping of str to str
        Words for ``left`` or ``right`` or both, from `side_text`.

    Returns
    -------
    str

    Examples
    --------
    >>> shut_text({"left": "lead longer than the reel (100 %)", "right": ""})
    'ruled out, as a share of the positions tried, left: lead longer than the reel (100 %); right: nothing'
    """
    shut = "; ".join(f"{side}: {text or 'nothing'}" for side, text in sides.items())
    return f"ruled out, as a share of the positions tried, {shut}"


def why_no_layout(rows: Iterable[Any], silence: str = "") -> str:
    """Why a tower has no layout: what the map does not show there, and what shuts either side.

    Parameters
    ----------
    rows : iterable of named tuple
        Of the table of exclusions, of this tower.
    silence : str
        What the map is silent about, in words.

    Returns
    -------
    str

    Examples
    --------
    >>> why_no_layout([], "the map ends here")
    'the map ends here; ruled out, as a share of the positions tried, left: nothing; right: nothing'
    """
    every = list(rows)
    sides = {side: side_text(row for row in every if row.side == side) for side in ("left", "right")}
    return "; ".join(filter(None, (silence, shut_text(sides))))


def reason_text(reasons: Sequence[Reason], *, fixed: bool) -> str:
    """All reasons of a stake in full, for people to read.

    Parameters
    ----------
    reasons : sequence of Reason
        From `reasons_of`.
    fixed : bool
        Whether the job fixes the stake.

    Returns
    -------
    str

    Examples
    --------
    >>> reason_text([], fixed=True)
    'fixed by the job; all rules met, perpendicular to the line'
    """
    told = "; ".join(reason.paragraph for reason in reasons) or _NOTHING
    return f"{FIXED}; {told}" if fixed else told


def _broken(rows: Sequence[Any], labels: Mapping[str, str]) -> Iterator[Reason]:
    broken = [row.rule for row in rows if row.verdict == BROKEN]
    if broken:
        text = f"breaks {', '.join(rule_words(rule, labels) for rule in broken)}"
        yield Reason(broken[0], BROKEN, text, text)


def _crossed(crossings: Sequence[Any], classes: Mapping[str, ObstacleClass]) -> Iterator[Reason]:
    for met_by, verdict, rule, says in (
        (LEAD, BROKEN, "lead_crossing", "lead crosses {}"),
        (LEAD, AGREE, "crossing_agreement", "lead crosses {}: to be agreed"),
        (LEAD, CARE, "crossing_care", "lead crosses {}: take care"),
        (STAKE, AGREE, "ground_agreement", "stands on {}: to be agreed"),
    ):
        rows = [row for row in crossings if row.met_by == met_by and row.verdict == verdict]
        if rows:
            text = says.format(crossing_list(rows, classes))
            yield Reason(rule, verdict, text, text, of_features=True)


def _close(rows: Sequence[Any], classes: Mapping[str, ObstacleClass]) -> Iterator[Reason]:
    """What is kept by less than the map is accurate; where a lead crosses what is forbidden, that is stated instead."""
    crosses = any(row.rule == "lead_crossing" and row.verdict == BROKEN for row in rows)
    texts = []
    for row in rows:
        if row.verdict != COMPROMISE or not (row.rule in _CLOSE or row.rule.startswith(KEEP_OUT)):
            continue
        if row.rule == "lead_beside":
            texts += [] if crosses else [f"lead passes {row.detail} by {row.measured:.1f} m"]
        else:
            label = classes[row.rule.removeprefix(KEEP_OUT)].label if row.rule != "line_clearance" else "power line"
            named = f"{label} '{row.detail}'" if row.detail else label
            texts.append(f"stake {row.measured:.1f} m from {named} where {row.limit:g} m is required")
    if texts:
        text = f"nearer than the map is accurate: {', '.join(texts)}"
        yield Reason("lead_beside", COMPROMISE, text, text)


def _of_the_way(by_rule: Mapping[str, Any]) -> Iterator[Reason]:
    """Ground, way on foot, and how the lead lies to the line."""
    says = {
        ("cliff", COMPROMISE): "lead passes a drop of {row.measured:.0f} m: look at it first",
        ("slope", UNKNOWN): "terrain unknown",
        ("cliff", UNKNOWN): "heights under the lead unknown: whether it passes a drop is not known",
        ("on_foot", COMPROMISE): "no way on foot on the map: {row.detail}",
        ("perpendicular_to_line", COMPROMISE): "lead is {row.measured:.0f} degrees off the perpendicular to the line",
    }
    for (rule, verdict), text in says.items():
        row = by_rule.get(rule)
        if row is not None and row.verdict == verdict:
            told = text.format(row=row)
            yield Reason(rule, verdict, told, told)
