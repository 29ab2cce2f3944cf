"""``permissions.csv``: the list an access officer works through, one row for each parcel."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from layoutplan.layout.model import Plan
from layoutplan.layout.schema import tables
from layoutplan.outputs.plan_number import plan_number
from layoutplan.text import clean, csv_cell


def write_permissions(plan: Plan, folder: Path) -> Path:
    """Write the parcels that stakes, leads or approaches touch: RFC 4180, UTF-8, inert cells, no shapes.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    folder : Path
        Where the file is made.

    Returns
    -------
    Path
        ``permissions.csv``.
    """
    path = folder / "permissions.csv"
    columns = [*tables("list")["permissions"].columns]
    table = pd.DataFrame(plan.permissions.assign(plan_number=plan_number(plan))[columns])
    for column in table.select_dtypes(exclude="number").columns:
        table[column] = table[column].map(lambda text: csv_cell(clean(text)))
    table.to_csv(path, index=False, lineterminator="\r\n", encoding="utf-8")
    return path
