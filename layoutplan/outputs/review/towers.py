"""The part of the page about each tower: a small map and sections, each a text for every tower, behind its summary."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layoutplan.layout.model import Plan
from layoutplan.layout.rules import STATUSES
from layoutplan.outputs.columns import records
from layoutplan.outputs.review.bases import Bases
from layoutplan.outputs.review.checks import check_tables, rules_of
from layoutplan.outputs.review.exposures import exposure_tables, states_of
from layoutplan.outputs.review.pieces import inert, tower_rows
from layoutplan.outputs.review.places import (
    alternative_tables,
    approach_tables,
    exclusion_tables,
    handling_texts,
    pair_tables,
    relaxation_tables,
    stake_tables,
)
from layoutplan.outputs.review.verdicts import OPEN, Verdict, exposed, of_checks
from layoutplan.outputs.words import STATUS_SIGNS

_TOWER = ("line_id", "tower_id", "status", "reasons")


def tower_parts(
    plan: Plan, lines: Sequence[str], bases: Bases, maps: Sequence[str], agreed: Sequence[str]
) -> list[str]:
    """Return the part of each tower; a further section is one more entry in the list.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    lines : sequence of str
        Lines by their number in the filters.
    bases : Bases
        Takes what limits rest on, in the order of the page.
    maps, agreed : sequence of str
        Small map of each tower, and what it waits for.

    Returns
    -------
    list of str
        HTML, one for each tower.
    """
    rules = rules_of(plan)
    sections = [
        stake_tables(plan),
        agreed,
        check_tables(plan, rules, bases),
        *exposure_tables(plan, len(rules), bases),
        handling_texts(plan),
        alternative_tables(plan),
        pair_tables(plan),
        exclusion_tables(plan),
        relaxation_tables(plan),
        approach_tables(plan),
    ]
    place = {line: number for number, line in enumerate(lines)}
    rows = zip(records(plan.towers, *_TOWER), _counts(plan), maps, *sections, strict=True)
    return [
        _part(number, tower, place[tower.line_id], counts, picture, "".join(texts))
        for number, (tower, counts, picture, *texts) in enumerate(rows)
    ]


def _part(number: int, tower: Any, line: int, counts: str, picture: str, body: str) -> str:
    reasons = "" if "<table class=stakes>" in body else f"<p class=q>{inert(tower.reasons)}\n"
    return (
        f"<details class=tower data-line={line} data-status={STATUSES.index(tower.status)}>"
        f"<summary><h3>Tower {inert(tower.tower_id)}</h3> <span>{inert(tower.line_id)}</span> "
        f"<strong>{STATUS_SIGNS[tower.status]} {inert(tower.status)}</strong>{counts}</summary>\n"
        f"<div class=body id=t{number}>{picture}<div class=say>{reasons}{body}</div></div>"
        f"<p class=lines>Reviewer's remarks on tower {inert(tower.tower_id)}:</p></details>\n"
    )


def _counts(plan: Plan) -> list[str]:
    """Count what needs the reviewer's eye at each tower, worst first: rules, and apart from them limits by state."""
    count = len(plan.towers)
    texts = [
        _told("rules", found)
        for found in _open_counts(tower_rows(plan, plan.checks), of_checks(plan.checks), OPEN, count)
    ]
    for number, state in enumerate(states_of(plan)):
        table, verdicts = plan.exposures[plan.exposures["state"] == state], exposed(number)
        given = [verdicts.of(ratio) for ratio in table["ratio"].tolist()]
        found = _open_counts(tower_rows(plan, table), given, verdicts[:2], count)
        texts = [text + _told(inert(state), mine) for text, mine in zip(texts, found, strict=True)]
    return texts


def _told(title: str, counts: str) -> str:
    return f" <span>{title}: {counts}</span>" if counts else ""


def _open_counts(
    tower: NDArray[np.int64], verdicts: Sequence[Verdict], wanted: Sequence[Verdict], count: int
) -> list[str]:
    letters = np.array([verdict.letter for verdict in verdicts], dtype=str)
    texts: list[list[str]] = [[] for _ in range(count)]
    for verdict in wanted:
        found = np.bincount(tower[letters == verdict.letter], minlength=count)
        for row in np.flatnonzero(found).tolist():
            texts[row].append(f"{verdict.sign} {found[row]} {verdict.word}")
    return [", ".join(parts) for parts in texts]
