"""``stakes.csv``: the staking list, one row for each electrode."""

from __future__ import annotations

from pathlib import Path

from layoutplan.layout.model import Plan
from layoutplan.layout.schema import tables
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.rounding import rounded
from layoutplan.text import clean, csv_cell

_EXPECTED = ("expected_reading_v_low", "expected_reading_v_high")


def write_stakes(plan: Plan, folder: Path) -> Path:
    """Write the electrodes, their rods and leads: RFC 4180, UTF-8, no cell that a spreadsheet would run.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    folder : Path
        Where the file is made.

    Returns
    -------
    Path
        ``stakes.csv``.
    """
    path = folder / "stakes.csv"
    schema = tables("list")["stakes"]
    keys = ["line_id", "tower_id", "role"]
    of_leads = [name for name in schema.columns if name in plan.leads and name not in plan.electrodes]
    both = plan.electrodes.merge(plan.leads[[*keys, *of_leads]], on=keys, how="left", validate="1:1")
    table = rounded(both.assign(plan_number=plan_number(plan))[[*schema.columns]], schema)
    for column in _EXPECTED:  # an empty cell might be read as no voltage
        table[column] = table[column].astype(object).where(table[column].notna(), "unknown")
    for column in table.select_dtypes(exclude="number").columns:
        table[column] = table[column].map(lambda text: csv_cell(clean(text)))
    table.to_csv(path, index=False, lineterminator="\r\n", encoding="utf-8")
    return path
