"""The part of the page about each tower: sections, each a text for every tower, put behind its summary."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from layoutplan.layout.model import Plan
from layoutplan.layout.rules import STATUSES
from layoutplan.outputs.columns import records
from layoutplan.outputs.review.bases import Bases
from layoutplan.outputs.review.checks import check_tables, rules_of
from layoutplan.outputs.review.exposures import exposure_tables
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
from layoutplan.outputs.review.verdicts import OPEN, of_checks, of_exposures
from layoutplan.outputs.words import STATUS_SIGNS

_TOWER = ("line_id", "tower_id", "status", "reasons")


def tower_parts(plan: Plan, lines: Sequence[str], bases: Bases) -> list[str]:
    """Return the part of each tower; a further section is one more entry in the list.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    lines : sequence of str
        Lines by their number in the filters.
    bases : Bases
        Takes what limits rest on, in the order of the page.

    Returns
    -------
    list of str
        HTML, one for each tower.
    """
    rules = rules_of(plan)
    sections = [
        stake_tables(plan),
        check_tables(plan, rules, bases),
        exposure_tables(plan, len(rules), bases),
        handling_texts(plan),
        alternative_tables(plan),
        pair_tables(plan),
        exclusion_tables(plan),
        relaxation_tables(plan),
        approach_tables(plan),
    ]
    place = {line: number for number, line in enumerate(lines)}
    rows = zip(records(plan.towers, *_TOWER), _open_counts(plan), *sections, strict=True)
    return [_part(tower, place[tower.line_id], counts, "".join(texts)) for tower, counts, *texts in rows]


def _part(tower: Any, line: int, counts: str, body: str) -> str:
    reasons = "" if "<table class=stakes>" in body else f"<p class=q>{inert(tower.reasons)}\n"
    return (
        f"<details class=tower data-line={line} data-status={STATUSES.index(tower.status)}>"
        f"<summary><h3>Tower {inert(tower.tower_id)}</h3> <span>{inert(tower.line_id)}</span> "
        f"<strong>{STATUS_SIGNS[tower.status]} {inert(tower.status)}</strong> <span>{counts}</span></summary>\n"
        f"{reasons}{body}<p class=lines>Reviewer's remarks on tower {inert(tower.tower_id)}:</p></details>\n"
    )


def _open_counts(plan: Plan) -> list[str]:
    """Count the checks and exposures of each tower that need the reviewer's eye, worst first."""
    tower = np.concatenate([tower_rows(plan, plan.checks), tower_rows(plan, plan.exposures)])
    verdicts = [*of_checks(plan.checks), *of_exposures(plan.exposures)]
    letters = np.array([verdict.letter for verdict in verdicts], dtype=str)
    texts = [""] * len(plan.towers)
    for verdict in OPEN:
        counts = np.bincount(tower[letters == verdict.letter], minlength=len(texts))
        for row in np.flatnonzero(counts).tolist():
            texts[row] += f"{', ' if texts[row] else ''}{verdict.sign} {counts[row]} {verdict.word}"
    return texts
