"""``plan_<table>.parquet``: each table of the plan as GeoParquet, those without geometry as plain Parquet."""

from __future__ import annotations

from pathlib import Path

from layoutplan.outputs.columns import TABLES, with_columns
from layoutplan.outputs.gpkg import layer_crs, projected
from layoutplan.planning.model import Plan

_VERSION = "1.1.0"


def write_geoparquet(plan: Plan, folder: Path) -> list[Path]:
    """Write one file for each table, in the reference system of ``plan.gpkg``; the same plan gives the same bytes.

    Raises
    ------
    OutputError
        ``output.crs`` is no coordinate reference system, or does not reach the plan.
    """
    crs = layer_crs(plan.job.output.crs)
    paths = []
    for name, table in TABLES.items():
        frame = with_columns(getattr(plan, name), name)
        path = folder / f"plan_{name}.parquet"
        if table.geometry:
            projected(frame, crs, name).to_parquet(path, index=False, schema_version=_VERSION)
        else:
            frame.to_parquet(path, index=False)
        paths.append(path)
    return paths
