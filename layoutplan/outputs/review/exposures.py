"""Exposures of each lead against their limits, for H and S."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from layoutplan.layout.model import Plan
from layoutplan.outputs.columns import records
from layoutplan.outputs.review.bases import Bases
from layoutplan.outputs.review.pieces import inert, number, number_beside, tower_rows, with_unit
from layoutplan.outputs.review.sides import Cell, Entries, Topic, side_by_side
from layoutplan.outputs.review.verdicts import Verdict, of_exposures

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


def exposure_tables(plan: Plan, first: int, bases: Bases) -> list[str]:
    """Return the table of exposures of each tower.

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
    list of str
        HTML, one for each tower.
    """
    table, kinds = plan.exposures, exposures_of(plan)
    index = pd.MultiIndex.from_tuples(kinds, names=_KIND) if kinds else pd.MultiIndex.from_frame(table[_KIND])
    rows = zip(records(table, *_COLUMNS), of_exposures(table), strict=True)
    entries = Entries(
        tower=tower_rows(plan, table),
        role=table["role"].tolist(),
        topic=np.asarray(index.get_indexer(pd.MultiIndex.from_frame(table[_KIND])), dtype=np.int64),
        cells=[_cell(row, verdict, bases) for row, verdict in rows],
        topics=[Topic(f"{inert(exposure)} <i>{inert(state)}</i>") for exposure, state in kinds],
        first=first,
    )
    return side_by_side(entries, "Exposures", ("exposure", "H", "S", "limit", "basis"), len(plan.towers))


def _cell(row: Any, verdict: Verdict, bases: Bases) -> Cell:
    unit = inert(row.unit)
    value = "" if row.value is None else with_unit(number_beside(row.value, row.limit), unit)
    share = "" if row.ratio is None else f", {_share(row.ratio)} of limit"
    time = f" for {number(row.duration_s)} s" if row.duration_s is not None else ""
    limit = "unknown" if row.limit is None else with_unit(number(row.limit), unit) + time
    basis = bases.refer(row.basis, row.edition)
    return Cell(f"{value}{share} {verdict.html}".lstrip(), inert(row.assumptions), limit, basis, verdict.letter)


def _share(ratio: float) -> str:
    """Return a share of the limit with two decimals; only 1 itself reads 1.00."""
    if 0 < ratio < 0.01:
        return "< 0.01"
    text = f"{ratio:.2f}"
    return number_beside(ratio, 1.0) if text == "1.00" and ratio != 1 else text
