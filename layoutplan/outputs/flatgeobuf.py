"""``plan_<table>.fgb``: each layer of the plan as FlatGeobuf."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path
from typing import Any

import pyogrio

from layoutplan.layout.model import Plan
from layoutplan.layout.schema import TABLES
from layoutplan.outputs.gpkg import NUMBER_KEY, named_crs, plan_tables, projected
from layoutplan.outputs.plan_number import plan_number


def write_flatgeobuf(plan: Plan, folder: Path) -> list[Path]:
    """Write one file for each table with geometry, in the reference system of ``plan.gpkg``.

    Without spatial index: with one the rows would come back in another order.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    folder : Path
        Where the file is made.

    Returns
    -------
    list of Path
        One for each table with geometry.

    Raises
    ------
    OutputError
        If ``output.crs`` is no coordinate reference system, or does not reach the plan.
    """
    crs = named_crs(plan.job.output.crs)
    paths = []
    for name, table in plan_tables(plan).items():
        if geometry := TABLES[name].geometry:
            frame = projected(table, crs, name)
            options: dict[str, Any] = {"geometry_type": geometry, "SPATIAL_INDEX": "NO"}
            options["layer_metadata"] = {NUMBER_KEY: plan_number(plan)}
            file = BytesIO()  # GDAL says nothing of a disk that is full
            pyogrio.write_dataframe(frame, file, layer=name, driver="FlatGeobuf", use_arrow=True, **options)
            paths.append(folder / f"plan_{name}.fgb")
            paths[-1].write_bytes(file.getbuffer())
    return paths
