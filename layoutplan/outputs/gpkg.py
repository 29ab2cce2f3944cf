"""``plan.gpkg``: every table of the plan as a layer of one GeoPackage."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyproj

from layoutplan.errors import OutputError
from layoutplan.outputs.columns import TABLES, with_columns
from layoutplan.planning.model import Plan

VERSION = "1.3"  # newer GDAL versions would write 1.4, at which older desktop programs warn
_NO_CLOCK = "1970-01-01T00:00:00.000Z"  # stands where GeoPackage wants the time of writing


def write_gpkg(plan: Plan, folder: Path) -> Path:
    """Write all tables, in the job's coordinate reference system; the same plan gives the same bytes.

    Parameters
    ----------
    plan : Plan
    folder : Path
        Where ``plan.gpkg`` is made; it must not be there yet.

    Raises
    ------
    OutputError
        ``output.crs`` is no coordinate reference system, or does not reach the plan.
    """
    path = folder / "plan.gpkg"
    crs = _crs(plan.job.output.crs)
    with _no_clock():
        for name, table in TABLES.items():
            frame = with_columns(getattr(plan, name), name)
            if table.geometry:
                frame = _projected(frame, crs, name)
            _write_layer(frame, path, name, table.geometry)
    return path


def _write_layer(frame: pd.DataFrame, path: Path, name: str, geometry: str | None) -> None:
    options = {} if path.exists() else {"VERSION": VERSION}
    if geometry:
        options["geometry_type"] = geometry
    pyogrio.write_dataframe(frame, path, layer=name, driver="GPKG", use_arrow=True, **options)


def _crs(text: str) -> pyproj.CRS:
    try:
        return pyproj.CRS.from_user_input(text)
    except pyproj.exceptions.CRSError as err:
        raise OutputError(
            f"job key 'output.crs': '{text}' is no coordinate reference system known here. "
            'Give one by its code, for instance "EPSG:25832".'
        ) from err


def _projected(frame: gpd.GeoDataFrame, crs: pyproj.CRS, name: str) -> gpd.GeoDataFrame:
    if crs == frame.crs:
        return frame
    moved = frame.to_crs(crs)
    if len(moved) and not np.isfinite(moved.total_bounds).all():
        raise OutputError(
            f"layer '{name}': positions cannot be expressed in '{crs.to_string()}' (job key 'output.crs'). "
            "Choose a system that covers the line."
        )
    return moved


@contextmanager
def _no_clock() -> Iterator[None]:
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": _NO_CLOCK})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})
