"""``plan_<table>.parquet``: each table of the plan as GeoParquet, those without geometry as plain Parquet."""

from __future__ import annotations

from pathlib import Path

from layoutplan.layout.model import Plan
from layoutplan.layout.schema import TABLES
from layoutplan.outputs.gpkg import named_crs, plan_tables, projected
from layoutplan.outputs.plan_number import plan_number

_VERSION = "1.1.0"


def write_geoparquet(plan: Plan, folder: Path) -> list[Path]:
    """Write one file for each table, in the reference system of ``plan.gpkg``; the same plan gives the same bytes.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    folder : Path
        Where the file is made.

    Returns
    -------
    list of Path
        One for each table.

    Raises
    ------
    OutputError
        If ``output.crs`` is no coordinate reference system, or does not reach the plan.
    """
    crs = named_crs(plan.job.output.crs)
    paths = []
    for name, table in plan_tables(plan).items():
        geometry = TABLES[name].geometry
        path = folder / f"plan_{name}.parquet"
        frame = projected(table, crs, name) if geometry else table.copy(deep=False)
        frame.attrs = {"plan_number": plan_number(plan)}  # goes into the file's metadata
        if geometry:
            frame.to_parquet(path, index=False, schema_version=_VERSION)
        else:
            frame.to_parquet(path, index=False)
        paths.append(path)
    return paths
