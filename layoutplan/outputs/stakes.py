"""``stakes.csv``: the staking list, one row for each electrode."""

from __future__ import annotations

from pathlib import Path

from layoutplan.outputs.columns import TABLES
from layoutplan.outputs.rounding import rounded
from layoutplan.planning.model import Plan
from layoutplan.text import clean, csv_cell

_LAST = "reasons"  # the score and its terms are for reviewers; they are in plan.gpkg


def write_stakes(plan: Plan, folder: Path) -> Path:
    """Write the electrodes and what their leads cross: RFC 4180, UTF-8, no cell that a spreadsheet would run."""
    path = folder / "stakes.csv"
    columns = TABLES["electrodes"].columns
    table = rounded(plan.electrodes[list(columns[: columns.index(_LAST) + 1])])
    keys = ["line_id", "tower_id", "role"]
    table = table.merge(plan.leads[[*keys, "crossings"]], on=keys, how="left", validate="1:1")
    for column in table.select_dtypes(exclude="number").columns:
        table[column] = table[column].map(lambda text: csv_cell(clean(text)))
    table.to_csv(path, index=False, lineterminator="\r\n", encoding="utf-8")
    return path
