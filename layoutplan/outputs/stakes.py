"""``stakes.csv``: the staking list, one row for each electrode."""

from __future__ import annotations

from pathlib import Path

from layoutplan.layout.model import Plan
from layoutplan.outputs.columns import TABLES
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.rounding import rounded
from layoutplan.text import clean, csv_cell

_LAST = "reasons"  # the score and its terms are for reviewers; they are in plan.gpkg
_RODS = ("rods", "rod_resistance_ohm", "rods_note")
_EXPECTED = ("expected_reading_v_low", "expected_reading_v_high")
_HANDLING = ("handling", "handling_fault")


def write_stakes(plan: Plan, folder: Path) -> Path:
    """Write the electrodes, their rods and leads: RFC 4180, UTF-8, no cell that a spreadsheet would run."""
    path = folder / "stakes.csv"
    columns = TABLES["electrodes"].columns
    keys = ["line_id", "tower_id", "role"]
    leads = plan.leads[[*keys, "crossings", *_EXPECTED, *_HANDLING]]
    order = [*columns[: columns.index(_LAST) + 1], "crossings", *_RODS, *_EXPECTED, *_HANDLING]
    table = rounded(plan.electrodes.merge(leads, on=keys, how="left", validate="1:1")[order])
    for column in _EXPECTED:  # an empty cell might be read as no voltage
        table[column] = table[column].astype(object).where(table[column].notna(), "unknown")
    table["plan_number"] = plan_number(plan)
    for column in table.select_dtypes(exclude="number").columns:
        table[column] = table[column].map(lambda text: csv_cell(clean(text)))
    table.to_csv(path, index=False, lineterminator="\r\n", encoding="utf-8")
    return path
