"""``review.csv``: the checks as a table, one row for each tower, stake and rule."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd

from layoutplan.layout.model import Plan
from layoutplan.layout.rules import NO_LAYOUT
from layoutplan.layout.schema import tables
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.rounding import rounded
from layoutplan.text import clean, csv_cell

_KEYS = ["line_id", "tower_id"]
_FIGURES = ["measured", "limit"]


def write_review_table(plan: Plan, folder: Path) -> Path:
    """Write the checks with the status of their towers: RFC 4180, UTF-8, no cell that a spreadsheet would run.

    A tower without layout has no checks; it has one row with the rule ``layout``, the verdict ``no layout`` and its
    reasons, so that no tower is missing.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    folder : Path
        Where the file is made.

    Returns
    -------
    Path
        ``review.csv``.
    """
    path = folder / "review.csv"
    schema = tables("list")["review"]
    table = rounded(_table(plan).assign(plan_number=plan_number(plan))[[*schema.columns]], schema)
    for column in table.columns.difference(_FIGURES):
        table[column] = table[column].astype(object).map(_cell)
    table.to_csv(path, index=False, lineterminator="\r\n", encoding="utf-8")
    return path


@lru_cache(maxsize=1 << 16)  # names, rules and bases come back in every row
def _cell(text: object) -> object:
    return csv_cell(clean(text))


def _table(plan: Plan) -> pd.DataFrame:
    towers = plan.towers[[*_KEYS, "status", "reasons"]]
    table = pd.DataFrame(towers).merge(plan.checks, on=_KEYS, how="left", validate="1:m")
    bare = table["rule"].isna()
    without = {
        "rule": "layout",
        "verdict": np.where(table["status"] == NO_LAYOUT, NO_LAYOUT, "unknown"),
        "detail": table["reasons"],
    }
    figures = {column: table[column].astype(float) for column in _FIGURES}
    filled = {column: table[column].astype(object).mask(bare, value) for column, value in without.items()}
    return table.assign(**filled, **figures)
