"""Why the stakes of one tower stand where they stand, from a written plan: what is not kept, and ways out, first."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import cache
from itertools import chain
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd

from layoutplan.access.verdicts import TOWER
from layoutplan.errors import OutputError
from layoutplan.inputs.words import counted, listed
from layoutplan.layout.reasons import NO_WAY_OUT, WAY_OUT, subject, why_no_layout
from layoutplan.layout.rules import KEPT, NO_LAYOUT, SEVERITY, counts, exclusion_words, rule_words
from layoutplan.layout.set_out import set_out, warning
from layoutplan.reports.explain_electrics import lead_lines, limit_sources, stake_lines, tower_lines
from layoutplan.text import clean
from layoutplan.written.limits_again import changed_limits
from layoutplan.written.places import misplaced
from layoutplan.written.read import Written, read_plan
from layoutplan.written.sound import taken_apart

_BESIDE = " (not in the status)"  # a verdict that has no bearing on where the stake may stand
TERM_WORDS = {  # terms of the score, as `siting.judge` orders them
    "off_square_deg": "degrees off the perpendicular",
    "beyond_min_m": "m beyond the least distance",
    "caution_crossings": "crossings needing agreement or care",
    "caution_ground": "stake on land to be agreed",
    "near_keep_out": "within the margin of a keep-out",
    "lead_beside_m": "lead within the margin of what it must not cross",
    "woodland_crops_m": "m of lead over woodland or crops",
    "induced_v": "V induced by the greatest load",
    "bias_pct": "% bias of the reading for leads of this length",
    "steep_deg": "degrees steeper than easy ground",
    "walk_min": "minutes on foot from the tower",
}
Paint = Callable[[str, str], str]
_NO_EXPOSURES = pd.DataFrame(columns=["line_id", "tower_id", "role"])  # of a plan by an earlier version


def _plain(verdict: str, text: str) -> str:
    del verdict
    return text


def explain_tower(
    folder: Path, tower: str, line: str | None = None, *, short: bool = False, paint: Paint = _plain
) -> list[str]:
    """Report what the plan in ``folder`` holds on one tower.

    Parameters
    ----------
    folder : Path
        Folder of a written plan.
    tower : str
        Id of the tower.
    line : str, optional
        Id of the line, where several lines have a tower of that id.
    short : bool
        Only what decides: the status and why, ways out, each stake's set-out, what is not kept, how to handle its lead.
    paint : callable, optional
        Given a verdict or status and a text that stands for it; returns the text as it is to be shown.

    Returns
    -------
    list of str
        Lines, of any length.

    Raises
    ------
    OutputError
        If the folder holds no plan, one of a newer version or one that was taken apart, or the plan no such tower (or
        several).
    """
    with taken_apart(folder):
        return _explained(folder, tower, line, short, paint)


def _explained(folder: Path, tower: str, line: str | None, short: bool, paint: Paint) -> list[str]:
    written = read_plan(folder, record_needed=False)
    tables, labels = written.tables, _labels(written)
    line_id, tower_id = _find(tables["towers"], folder, tower, line)

    @cache
    def mine(name: str, role: str | None = None) -> Any:
        if role:
            return mine(name)[mine(name)["role"] == role]
        table = tables.get(name, _NO_EXPOSURES)
        return table[(table["line_id"] == line_id) & (table["tower_id"] == tower_id)]

    head = mine("towers").iloc[0]
    odd = changed_limits(mine("exposures"))
    lines = [f"caution: not what this program gives, do not rely on it: {text}" for text in odd]
    away = [name for table in ("towers", "electrodes") for name in _moved(mine(table))]
    if away:
        lines.append(
            f"caution: plan.gpkg was changed: {', '.join(away)} moved. The figures below are those of the planned "
            "position; check the new one with 'layoutplan check'."
        )
    lines += [f"tower {tower_id} of line '{line_id}': {paint(head['status'], head['status'])}", *_why(head, mine)]
    lines += [f"note: {text}" for text in written.notes]
    stakes = mine("electrodes").to_dict("records")
    if short:
        return [*lines, *chain.from_iterable(_in_short(stake, mine, paint, labels) for stake in stakes)]
    lines += [*tower_lines(head), *way_lines(mine("approaches"))]
    for stake in stakes:
        role = stake["role"]
        lines += _stake(stake, mine("checks", role), paint, labels)
        lines += stake_lines(stake, mine("leads", role), mine("exposures", role))
    lines += [*limit_sources(mine("exposures")), *_alternatives(mine("alternatives")), *_pairs(mine("pairs"))]
    return [*lines, *_exclusions(mine("exclusions"))]


def _why(tower: Any, mine: Callable[[str], Any]) -> Iterator[str]:
    """Reasons for the status; of a tower without layout first what would give one, then what shuts it."""
    if tower["status"] != NO_LAYOUT:
        yield f"  {tower['reasons']}"
        return
    ways = mine("relaxations")
    yield f"  {WAY_OUT} (ask for them in this order):" if len(ways) else f"  {NO_WAY_OUT}"
    yield from (f"    {row.rank}. {row.text}{_of(row)}" for row in ways.itertuples())
    silent = bool(tower.get("map_gaps"))  # what the map does not show stands in the plan's own words only
    yield f"  {tower['reasons'] if silent else why_no_layout(mine('exclusions').itertuples())}"


def _of(row: Any) -> str:
    return f" [{about}]" if (about := subject(row)) else ""


def _labels(written: Written) -> dict[str, str]:
    """Labels of the obstacle classes as the plan's record holds them; anybody may have changed it."""
    classes = (written.record or {}).get("obstacle_classes")
    rows = classes.items() if isinstance(classes, dict) else ()
    return {name: clean(row["label"]) for name, row in rows if isinstance(row, dict) and "label" in row}


def _in_short(stake: Any, mine: Callable[[str, str], Any], paint: Paint, labels: Mapping[str, str]) -> Iterator[str]:
    role = stake["role"]
    yield from _set_out(stake, paint)
    checks = _worst_first(mine("checks", role))
    for verdict, rows in checks[checks["verdict"] != KEPT].groupby("verdict", sort=False):
        names = (rule_words(rule, labels) + ("" if counts(rule, verdict) else _BESIDE) for rule in rows["rule"])
        yield f"  {paint(str(verdict), str(verdict))}: {', '.join(names)}"
    yield from lead_lines(mine("leads", role))


def _moved(table: Any) -> list[str]:
    """Names of points that somebody moved after the plan was written."""
    return list(misplaced(table.to_crs(4326).reset_index(drop=True), 0)) if len(table) else []


def _find(towers: pd.DataFrame, folder: Path, tower: str, line: str | None) -> tuple[str, str]:
    from difflib import get_close_matches

    found = towers[(towers["tower_id"] == tower) & ((towers["line_id"] == line) if line else True)]
    if len(found) == 1:
        return str(found["line_id"].iloc[0]), tower
    if len(found) > 1:
        raise OutputError(f"{folder}: tower {tower} stands in lines {', '.join(found['line_id'])}; use --line.")
    if others := towers.loc[towers["tower_id"] == tower, "line_id"].tolist():
        raise OutputError(f"{folder}: the plan has no tower {tower} of line '{line}', only of {listed(others)}.")
    near = get_close_matches(tower, towers["tower_id"].tolist(), 3, 0.3) or towers["tower_id"].tolist()[:5]
    raise OutputError(f"{folder}: the plan has no tower '{tower}'; there are for instance {', '.join(near)}.")


def _set_out(stake: Any, paint: Paint) -> Iterator[str]:
    words = set_out(SimpleNamespace(**stake))
    yield ""
    status = stake["status"]
    yield f"{stake['role']} {stake['waypoint']}: {paint(status, warning(status) or status)}"
    yield f"  set out {words.line}"
    yield f"  {words.middle}; {stake['side']} side, to the {stake['octant']}"


def _worst_first(checks: Any) -> Any:
    return checks.sort_values("verdict", key=lambda verdict: -verdict.map(SEVERITY), kind="stable")


def _stake(stake: Any, checks: Any, paint: Paint, labels: Mapping[str, str]) -> Iterator[str]:
    yield from _set_out(stake, paint)
    yield f"  {stake['lat']:.7f} {stake['lon']:.7f}   E {stake['easting']:.2f} N {stake['northing']:.2f}"
    width = max(26, *(len(rule_words(rule, labels)) + 1 for rule in checks["rule"]))
    yield f"  {'rule':<{width}}{'measured':>10}{'limit':>10} {'unit':<10}{'verdict':<13}basis"
    for row in _worst_first(checks).itertuples():
        name = rule_words(row.rule, labels)
        yield (
            f"  {name:<{width}}{_number(row.measured):>10}{_number(row.limit):>10} {row.unit:<10}"
            f"{paint(row.verdict, f'{row.verdict:<13}')}"
            f"{row.basis}{_of(row)}"
        )
    yield f"  score {stake['score']:.1f} points: {_terms(stake)}"


def _terms(stake: Any) -> str:
    given = {words: stake[name] for name, words in TERM_WORDS.items() if name in stake}
    amounts = [_amount(value, words) for words, value in given.items() if pd.notna(value) and value]
    unknown = [f"{words} unknown (counts nothing)" for words, value in given.items() if pd.isna(value)]
    return ", ".join([*(amounts or ["perpendicular to the line at the least distance"]), *unknown])


def _amount(value: float, words: str) -> str:
    number, (first, *rest) = f"{value:.3g}", words.split(" ")
    return " ".join((number, first.removesuffix("s") if number == "1" else first, *rest))


def _number(value: float) -> str:
    return "-" if pd.isna(value) else f"{value:.1f}"


def way_lines(ways: pd.DataFrame) -> list[str]:
    """Report the ways of one tower, one line each.

    Parameters
    ----------
    ways : DataFrame
        Rows of the table of approaches.

    Returns
    -------
    list of str
    """
    lines = []
    for way in ways.to_dict("records"):
        road = " ".join(filter(None, (way["road_name"], f"({way['road_class'].replace('_', ' ')})")))
        start = f"from {road} at {way['drop_off_lat']:.6f}, {way['drop_off_lon']:.6f}" if way["road_class"] else ""
        parts = [way["verdict"], start if way["to"] == TOWER else "from the tower"]
        if not np.isnan(way["walk_min"]):
            parts.append(f"{way['walk_m']:.0f} m, {way['walk_min']:.0f} min")
        if not np.isnan(way["climb_m"]):
            parts.append(f"climbing {way['climb_m']:.0f} m")
        parts += [f"across {way['crossings']}"] if way["crossings"] else []
        parts += [f"({way['note']})"] if way["note"] else []
        lines.append(f"  way to {way['to']}: " + ", ".join(filter(None, parts)))
    return lines


def _asked(crossings: Any) -> str:
    """Crossings that somebody has to agree to or the crew has to take care of."""
    return f"{counted(int(crossings), 'crossing')} needing agreement or care"


def _alternatives(table: pd.DataFrame) -> Iterator[str]:
    yield ""
    yield "alternatives:" if len(table) else "alternatives: none"
    for row in table.itertuples():
        yield (
            f"  {row.side:<6}{row.rank}  {row.distance_m:6.1f} m at {row.bearing_true_deg:5.1f} degrees, "
            f"{row.angle_to_line_deg:.0f} to the line, {_asked(row.caution_crossings)}, "
            f"score {row.score:.1f}"
        )


def _pairs(table: pd.DataFrame) -> Iterator[str]:
    for row in table.to_dict("records"):
        where = ", ".join(
            f"{role} {row[f'{of}_distance_m']:.1f} m at {row[f'{of}_bearing_true_deg']:.1f} degrees"
            for role, of in (("H", "h"), ("S", "s"))
        )
        yield (
            f"  a pair on the {row['side']} alone: {where}, {row['between_deg']:.0f} between the leads, "
            f"{_asked(row['caution_crossings'])}, score {row['score']:.1f} (chosen pair: "
            f"{row['chosen_score']:.1f})"
        )
        own, chosen = (
            f"{row[f'{which}bias_pct']:.1f} % of bias and {row[f'{which}coupling_pct']:.1f} % coupled from lead to lead"
            for which in ("", "chosen_")
        )
        yield f"    its reading: {own}; of the chosen pair: {chosen}"


def _exclusions(table: pd.DataFrame) -> Iterator[str]:
    yield ""
    yield "candidates excluded (one may break several rules):" if len(table) else "no candidate was excluded"
    for row in table.sort_values(["side", "candidates"], ascending=[True, False], kind="stable").itertuples():
        yield f"  {row.side:<6}{row.candidates:7d} of {row.of:<7d} {exclusion_words(str(row.rule), str(row.detail))}"
