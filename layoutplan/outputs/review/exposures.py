"""Exposures of each lead against their limits, for H and S."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from layoutplan.layout.model import Plan
from layoutplan.outputs.columns import as_lists, records
from layoutplan.outputs.review.bases import Bases
from layoutplan.outputs.review.pieces import inert, number, number_beside, tower_rows, with_unit
from layoutplan.outputs.review.sides import Cell, Entries, Topic, side_by_side
from layoutplan.outputs.review.verdicts import Exposed, Verdict, exposed

_KIND = ["exposure", "state"]
_COLUMNS = ("value", "limit", "ratio", "unit", "basis", "edition", "duration_s", "assumptions")


def exposures_of(plan: Plan) -> list[tuple[str, str]]:
    """Exposures with the state of the line that causes them, in the order of the table.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    list of (str, str)
        Exposure and state.
    """
    return list(plan.exposures[_KIND].drop_duplicates().itertuples(index=False, name=None))


def states_of(plan: Plan) -> list[str]:
    """States of the line in which leads are exposed, in the order of the table: in service, under a fault.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    list of str
    """
    return list(dict.fromkeys(as_lists(plan.exposures, ["state"])[0]))


def exposure_tables(plan: Plan, first: int, bases: Bases) -> list[list[str]]:
    """Return a table of exposures of each tower for each state of the line: a fault is no matter of the layout.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    first : int
        Number of the first exposure in the filters.
    bases : Bases
        Takes what the limits rest on.

    Returns
    -------
    list of list of str
        HTML, for each state one for each tower.
    """
    kinds = exposures_of(plan)
    return [
        _of_state(plan, state, exposed(number), kinds, first, bases) for number, state in enumerate(states_of(plan))
    ]


def _of_state(
    plan: Plan, state: str, verdicts: Exposed, kinds: list[tuple[str, str]], first: int, bases: Bases
) -> list[str]:
    table = plan.exposures[plan.exposures["state"] == state]
    index = pd.MultiIndex.from_tuples(kinds, names=_KIND)
    absent = Cell(verdicts.unknown.html, letter=verdicts.unknown.letter, open=True)
    entries = Entries(
        tower=tower_rows(plan, table),
        role=table["role"].tolist(),
        topic=np.asarray(index.get_indexer(pd.MultiIndex.from_frame(table[_KIND])), dtype=np.int64),
        cells=[_cell(row, verdicts.of(row.ratio), bases) for row in records(table, *_COLUMNS)],
        topics=[Topic(f"{inert(exposure)} <i>{inert(of)}</i>", absent) for exposure, of in kinds],
        first=first,
    )
    labels = (f"exposure {inert(state)}", "H", "S", "limit", "basis")
    return side_by_side(entries, f"Exposures {inert(state)}", labels, len(plan.towers), "sides exposed")


def _cell(row: Any, verdict: Verdict, bases: Bases) -> Cell:
    unit = inert(row.unit)
    value = "" if row.value is None else with_unit(number_beside(row.value, row.limit), unit)
    share = "" if row.ratio is None else f", {_share(row.ratio)} of limit"
    time = f" for {number(row.duration_s)} s" if row.duration_s is not None else ""
    limit = "unknown" if row.limit is None else with_unit(number(row.limit), unit) + time
    basis = bases.refer(row.basis, row.edition)
    return Cell(
        f"{value}{share} {verdict.html}".lstrip(), inert(row.assumptions), limit, basis, verdict.letter, verdict.open
    )


def _share(ratio: float) -> str:
    """Return a share of the limit with two decimals; only 1 itself reads 1.00."""
    if 0 < ratio < 0.01:
        return "< 0.01"
    text = f"{ratio:.2f}"
    return number_beside(ratio, 1.0) if text == "1.00" and ratio != 1 else text
