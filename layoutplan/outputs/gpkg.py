"""``plan.gpkg``: every table of the plan as a layer of one GeoPackage, with the looks of the layers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyproj

from layoutplan.errors import CRSError, OutputError
from layoutplan.inputs.systems import require_places
from layoutplan.job.classes import ObstacleClass
from layoutplan.layout.model import Plan
from layoutplan.layout.schema import TABLES, TableSchema
from layoutplan.outputs.columns import with_columns
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.styles import NO_CLOCK, add_styles
from layoutplan.outputs.styles.layers import layer_styles
from layoutplan.text import clean

NUMBER_KEY = "PLAN_NUMBER"  # in the metadata of files
VERSION = "1.3"  # newer GDAL versions would write 1.4, at which older desktop programs warn


def write_gpkg(plan: Plan, folder: Path) -> Path:
    """Write all tables, in the job's coordinate reference system; the same plan gives the same bytes.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    folder : Path
        Where ``plan.gpkg`` is made; it must not be there yet.

    Returns
    -------
    Path
        ``plan.gpkg``.

    Raises
    ------
    OutputError
        If ``output.crs`` is no coordinate reference system, or does not reach the plan.
    """
    tables = plan_tables(plan)
    path = write_layers(tables, TABLES, folder / "plan.gpkg", plan.job.output.crs, plan_number(plan))
    add_styles(path, tables, TABLES, layer_styles(present_classes(plan)))
    return path


def present_classes(plan: Plan) -> list[ObstacleClass]:
    """Classes of which the map has something; a legend of all of them could not be read.

    Parameters
    ----------
    plan : Plan
        With its obstacles.

    Returns
    -------
    list of ObstacleClass
        In the job's order.
    """
    present = set(plan.obstacles["obstacle_class"].unique())
    return [row for name, row in plan.job.obstacle_classes.items() if name in present]


def plan_tables(plan: Plan) -> dict[str, pd.DataFrame]:
    """All tables of a plan by name with their columns in the agreed order.

    Parameters
    ----------
    plan : Plan
        On the globe.

    Returns
    -------
    dict of str to DataFrame
    """
    return {name: with_columns(getattr(plan, name), name) for name in TABLES}


def write_layers(
    tables: Mapping[str, pd.DataFrame], schema: Mapping[str, TableSchema], path: Path, crs: str, number: str = ""
) -> Path:
    """Write tables as layers of a new GeoPackage; the same tables give the same bytes.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        By layer.
    schema : mapping of str to Table
        What they are: their titles and kinds of geometry.
    path : Path
        It must not be there yet.
    crs : str
        Of the layers.
    number : str
        Of the plan; every layer's description holds it.

    Returns
    -------
    Path
        ``path``.

    Raises
    ------
    OutputError
        As `write_gpkg`.

    References
    ----------
    .. [1] OGC 12-128, OGC GeoPackage Encoding Standard.
    """
    system = named_crs(crs)
    with _no_clock():
        for name, frame in tables.items():
            placed = projected(frame, system, name) if schema[name].geometry else frame
            _write_layer(placed, path, schema[name], number)
    return path


def _write_layer(frame: pd.DataFrame, path: Path, table: TableSchema, number: str) -> None:
    options: dict[str, Any] = {"IDENTIFIER": table.title}
    if not path.exists():
        options["VERSION"] = VERSION
    if number:
        options["DESCRIPTION"] = f"plan number {number}."
    if table.geometry:
        options["geometry_type"] = table.geometry
    pyogrio.write_dataframe(frame, path, layer=table.name, driver="GPKG", use_arrow=True, **options)


def named_crs(text: str, key: str = "output.crs") -> pyproj.CRS:
    """Reference system that a key of the job names.

    Parameters
    ----------
    text : str
        As the job gives it.
    key : str
        Of the job, for messages.

    Returns
    -------
    CRS

    Raises
    ------
    OutputError
        If it is none, or none that layers can be in.

    Examples
    --------
    >>> named_crs("EPSG:25832").name
    'ETRS89 / UTM zone 32N'
    """
    shown = clean(text)[:100]
    fix = 'Give one by its code, for instance "EPSG:25832".'
    try:
        system = pyproj.CRS.from_user_input(text)
    except pyproj.exceptions.CRSError as err:
        raise OutputError(f"job key '{key}': '{shown}' is no coordinate reference system known here. {fix}") from err
    try:
        require_places(system, f"job key '{key}'", fix)
        pyproj.Transformer.from_crs(4326, system, always_xy=True).transform(0.0, 0.0)
        system.to_wkt("WKT1_GDAL")  # as the formats store it
    except (CRSError, pyproj.exceptions.ProjError) as err:
        raise OutputError(
            f"job key '{key}': layers cannot be written in '{shown}': longitude and latitude cannot be turned into it, "
            f"or no file can name it. {fix}"
        ) from err
    return system


def projected(frame: gpd.GeoDataFrame, crs: pyproj.CRS, name: str) -> gpd.GeoDataFrame:
    """Layer in another reference system.

    Parameters
    ----------
    frame : GeoDataFrame
        In EPSG:4326.
    crs : CRS
        The other one.
    name : str
        Of the layer, for messages.

    Returns
    -------
    GeoDataFrame

    Raises
    ------
    OutputError
        If the system does not reach it.
    """
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
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": NO_CLOCK})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})
