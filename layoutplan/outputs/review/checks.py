"""Every rule of a tower: measured value, limit, verdict and basis for H and S."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from layoutplan.layout.model import Plan
from layoutplan.layout.reasons import subject
from layoutplan.layout.rules import KEEP_OUT, class_labels, rule_words
from layoutplan.outputs.columns import as_lists, records
from layoutplan.outputs.review.bases import Bases
from layoutplan.outputs.review.pieces import inert, number, number_beside, tower_rows, with_unit
from layoutplan.outputs.review.sides import Cell, Entries, Topic, side_by_side
from layoutplan.outputs.review.verdicts import Verdict, of_checks

_COLUMNS = ("measured", "limit", "unit", "basis", "detail", "reference")
_NOT_MAPPED = Cell("none mapped within reach")  # neither kept nor broken: it says nothing about the ground


def rules_of(plan: Plan) -> list[str]:
    """Rules in the order of the checks, keep-outs behind: they have rows only where their class is in reach.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    list of str
        Names of rules.
    """
    return sorted(plan.checks["rule"].unique(), key=lambda rule: str(rule).startswith(KEEP_OUT))


def check_tables(plan: Plan, rules: Sequence[str], bases: Bases) -> list[str]:
    """Return the table of checks of each tower.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    rules : sequence of str
        As :func:`rules_of` gives them; their places are their numbers in the filters.
    bases : Bases
        Takes what the limits rest on.

    Returns
    -------
    list of str
        HTML, one for each tower.
    """
    labels = class_labels(plan.job.obstacle_classes)
    table, place = plan.checks, {rule: number for number, rule in enumerate(rules)}
    rows = zip(records(table, *_COLUMNS), of_checks(table), strict=True)
    entries = Entries(
        tower=tower_rows(plan, table),
        role=table["role"].tolist(),
        topic=np.array([place[rule] for rule in as_lists(table, ["rule"])[0]], dtype=np.int64),
        cells=[_cell(row, verdict, bases) for row, verdict in rows],
        topics=[
            Topic(inert(rule_words(rule, labels)), *([_NOT_MAPPED] if rule.startswith(KEEP_OUT) else []))
            for rule in rules
        ],
    )
    return side_by_side(entries, "Rules", ("rule", "H", "S", "limit", "basis"), len(plan.towers))


def _cell(row: Any, verdict: Verdict, bases: Bases) -> Cell:
    unit = inert(row.unit)
    value = f"{with_unit(number_beside(row.measured, row.limit), unit)} " if row.measured is not None else ""
    limit = with_unit(number(row.limit), unit)
    return Cell(value + verdict.html, inert(subject(row)), limit, bases.refer(row.basis), verdict.letter, verdict.open)
