"""The end of a check in words, and as an object for programs."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from layoutplan.checking.check import Checked
from layoutplan.inputs.words import counted
from layoutplan.layout.reasons import subject
from layoutplan.layout.rules import NOT_CONFIRMED, rule_words

_MOST = 40  # lines of one kind; the files hold all


def check_lines(found: Checked, files: list[Path], whole: bool) -> list[str]:
    """What moved, what no longer holds, what is missing, what the readings hint at, and where it is written.

    Stakes that are not there are missing only where the ``whole`` plan should be there; else they are only counted.
    """
    lines, labels = [_headline(found, whole)], found.labels
    lines += _listed("moved or new", [_moved(row) for row in found.moved.itertuples()])
    lines += _listed("broken", [_check(row, labels) for row in found.broken.itertuples()])
    doubts = found.checks[found.checks["verdict"] == NOT_CONFIRMED]
    lines += _listed("cannot be confirmed", [_check(row, labels) for row in doubts.itertuples()])
    worse = found.worse[~found.worse["verdict"].isin(["broken", NOT_CONFIRMED])]
    lines += _listed("worse than planned", [f"{_check(row, labels)}{_was(row)}" for row in worse.itertuples()])
    missing = found.missing if whole else found.missing.iloc[:0]
    lines += _listed("missing", [f"{row.waypoint}: {row.role} of tower {row.tower_id}" for row in missing.itertuples()])
    lines += _listed("reported", [_reported(row) for row in found.reported.itertuples()])
    lines += _listed("readings", [_hint(row) for row in found.hints.itertuples()])
    lines += [f"note: {text}" for text in found.problems]
    return [*lines, "written:", *(f"  {path}" for path in files)]


def _headline(found: Checked, whole: bool) -> str:
    stakes, broken = len(found.electrodes), len(found.broken[["line_id", "tower_id", "role"]].drop_duplicates())
    told = len(found.not_confirmed)
    of_these = f", of these {told} reported without a position: planned place not confirmed" if told else ""
    breaks = "breaks" if broken == 1 else "break"
    return (
        f"{counted(stakes, 'stake')} checked: {len(found.moved)} moved or new, {broken} {breaks} rules, "
        f"{len(found.missing)} "
        f"{'missing' if whole else 'not surveyed yet'}{of_these}"
    )


def _listed(title: str, texts: list[str]) -> list[str]:
    if not texts:
        return []
    more = [f"  … and {len(texts) - _MOST} more, see check.gpkg"] if len(texts) > _MOST else []
    return [f"{title}:", *(f"  {text}" for text in texts[:_MOST]), *more]


def _moved(row: Any) -> str:
    if row.change == "new":
        return f"{row.role} of tower {row.tower_id}: not in the plan"
    known = "" if pd.isna(row.accuracy_m) else f", known to {row.accuracy_m:g} m"
    return (
        f"{row.waypoint}: {row.offset_m:.2f} m at {row.offset_bearing_deg:.0f} degrees from where it was planned{known}"
    )


def _check(row: Any, labels: Mapping[str, str]) -> str:
    figures = "" if pd.isna(row.measured) else f" {row.measured:.2f} {row.unit} (limit {round(row.limit, 2):g})"
    about = subject(row)
    return f"{row.waypoint}: {rule_words(row.rule, labels)}{figures}" + (f" [{about}]" if about else "")


def _was(row: Any) -> str:
    return "" if pd.isna(row.planned_verdict) else f", was {row.planned_verdict}"


def _reported(row: Any) -> str:
    at = f" at {row.reported_at}" if row.reported_at else ""
    known = "" if pd.isna(row.accuracy_m) else f", known to {row.accuracy_m:g} m"
    note = f'; note: "{row.note}"' if row.note else ""
    return f"{row.waypoint}: {row.state or 'no state'}{at}; position {row.position}{known}{note}"


def _hint(row: Any) -> str:
    what = f": {row.what_to_do}" if row.what_to_do else ""
    return f"tower {row.tower_id}: {row.hint}{what}" + (f" [{row.basis}]" if row.basis else "")


def check_result(found: Checked, files: list[Path], whole: bool) -> dict[str, Any]:
    """Return the same as an object."""
    return {
        "event": "result",
        "plan_number": found.plan_number,
        "stakes": len(found.electrodes),
        "not_surveyed": 0 if whole else len(found.missing),
        "moved": _records(found.moved, "waypoint", "tower_id", "role", "change", "offset_m", "offset_bearing_deg"),
        "broken": _records(found.broken, "waypoint", "tower_id", "role", "rule", "measured", "limit", "unit"),
        "worse": _records(found.worse, "waypoint", "tower_id", "role", "rule", "verdict", "planned_verdict"),
        "missing": _records(found.missing if whole else found.missing.iloc[:0], "waypoint", "tower_id", "role"),
        "reported": _reported_records(found),
        "hints": _records(found.hints, "tower_id", "hint", "measured", "limit", "unit") if len(found.hints) else [],
        "problems": list(found.problems),
        "files": [str(path) for path in files],
    }


def _reported_records(found: Checked) -> list[dict[str, Any]]:
    columns = ("waypoint", "tower_id", "role", "state", "note", "reported_at", "position", "accuracy_m")
    return _records(found.reported, *columns) if len(found.reported) else []


def _records(table: pd.DataFrame, *columns: str) -> list[dict[str, Any]]:
    rows = pd.DataFrame(table[list(columns)]).astype(object)
    shown = rows.where(rows.notna(), None).to_numpy().tolist()
    return [dict(zip(columns, row, strict=True)) for row in shown]
