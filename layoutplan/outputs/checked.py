"""What came of a check: ``check.gpkg`` and ``check.csv``, beside the plan and never over it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

import pandas as pd

from layoutplan.layout.schema import tables as schema_of
from layoutplan.outputs.columns import with_columns
from layoutplan.outputs.gpkg import write_layers
from layoutplan.outputs.styles import add_styles
from layoutplan.outputs.styles.checked import CHECKED_STYLES
from layoutplan.outputs.write import write_together
from layoutplan.text import clean, csv_cell

RESULTS = ("check.gpkg", "check.csv")


def write_checked(
    tables: Mapping[str, pd.DataFrame], crs: str, folder: Path, inputs: Iterable[Path] = (), number: str = ""
) -> list[Path]:
    """Write the stakes as they are, their checks, what is missing and what the readings hint at.

    Parameters
    ----------
    tables : mapping
        ``electrodes``, ``leads``, ``shifts``, ``checks``, ``exposures``, ``missing``, ``reported``, ``hints``; empty
        ones are left out.
    crs : str
        Of the layers.
    folder : Path
        Made if it does not exist.
    inputs : iterable of Path
        Files that were read; none of them is written over.
    number : str
        Of the plan.

    Returns
    -------
    list of Path
        The GeoPackage and the list.

    Raises
    ------
    OutputError
        If the folder cannot be written to, or a result would be written over an input; an earlier check is then as it
        was.
    """
    schema = schema_of("check")
    layers = {name: with_columns(table, name, schema) for name, table in tables.items() if len(table)}

    def make(staging: Path) -> list[Path]:
        path = write_layers(layers, schema, staging / RESULTS[0], crs, number)
        add_styles(path, layers, schema, CHECKED_STYLES)
        return [path, _csv(tables, staging / RESULTS[1], number)]

    return write_together(folder, make, inputs=inputs)


def _csv(tables: Mapping[str, pd.DataFrame], path: Path, number: str) -> Path:
    """One row for each stake and rule, with where the stake is."""
    keys, order = ["line_id", "tower_id", "role"], [*schema_of("list")["check"].columns]
    checks, stakes = tables["checks"], pd.DataFrame(tables["electrodes"])
    places = stakes[[*keys, *(name for name in order if name in stakes and name not in checks)]]
    table = checks.merge(places, on=keys, how="left").assign(plan_number=number)[order]
    for column in table.select_dtypes(exclude="number").columns:
        table[column] = table[column].map(lambda text: csv_cell(clean(text)))
    table.to_csv(path, index=False, lineterminator="\r\n", encoding="utf-8")
    return path
