"""The towers of a line from a file: one row each, ids unique and clean, every oddity named with its row."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from layoutplan.arrays import FloatArray
from layoutplan.errors import InputError, LayerError, LineError
from layoutplan.inputs import csv_table
from layoutplan.inputs.geodetic import geocentric, is_usable
from layoutplan.inputs.model import TOWER_COLUMNS
from layoutplan.inputs.placed import PlacedTable, single_points
from layoutplan.inputs.tower_columns import check_order, read_figures, read_ids, read_structures
from layoutplan.inputs.vector import open_vector, require_column, require_file
from layoutplan.inputs.vector_table import read_vector
from layoutplan.inputs.words import listed
from layoutplan.job import TowerSource

SAME_PLACE_M = 0.5  # nearer than this, two towers of a line make a span without length (judgement)
_NO_LINE_M = 5.0  # degrees taken for metres make a line of 500 km this long (judgement)


def read_towers(source: TowerSource, key: str) -> tuple[gpd.GeoDataFrame, PlacedTable]:
    """Read the towers of a line.

    Parameters
    ----------
    source : TowerSource
        File, columns and reference system.
    key : str
        The job's key of ``source``, for messages: ``lines[0].towers``.

    Returns
    -------
    towers : GeoDataFrame
        Columns ``TOWER_COLUMNS``, EPSG:4326, sorted by ``order`` where the job names an order column.
    table : PlacedTable
        What was read, with its problems.

    Raises
    ------
    InputError
        If anything keeps a row from being a tower; see the error tree.
    """
    require_file(source.path)
    is_csv = source.path.suffix.lower() in csv_table.SUFFIXES
    table = csv_table.read_csv_towers(source, key) if is_csv else _read_vector_towers(source, key)
    _check_columns(source, table, key)
    _check_places(table)
    columns = {
        "tower_id": read_ids(table, source.id_column),
        "structure": read_structures(table, source.structure_column, source.structure_map),
        "base_width_m": read_figures(table, source.base_width_column, key="base_width_m"),
        "earth_electrode_size_m": read_figures(table, source.earth_electrode_size_column, key="earth_electrode_size_m"),
        "footing_resistance_ohm": read_figures(table, source.footing_resistance_column, key="footing_resistance_ohm"),
        "soil_resistivity_ohm_m": read_figures(table, source.soil_resistivity_column, key="soil_resistivity_ohm_m"),
        "order": read_figures(table, source.order_column, "number"),
    }
    towers = gpd.GeoDataFrame(columns, geometry=table.geometry, crs="EPSG:4326")[list(TOWER_COLUMNS)]
    check_line(towers, table.where)
    if source.order_column is None:
        return towers, table
    check_order(towers, table, source.order_column)
    return towers.sort_values("order", ignore_index=True), table


def check_line(towers: gpd.GeoDataFrame, where: str) -> None:
    """Refuse towers that cannot make a line.

    Parameters
    ----------
    towers : GeoDataFrame
        EPSG:4326.
    where : str
        File and layer, for the message.

    Raises
    ------
    LineError
        If there is only one, all stand in one spot, or two at one place.
    """
    if len(towers) < 2:
        raise LineError(f"{where}: a line needs at least two towers (found {len(towers)}).")
    places = geocentric(shapely.get_coordinates(towers.geometry.to_numpy()))
    if len(towers) > 2 and np.ptp(places, axis=0).max() < _NO_LINE_M:
        raise LineError(
            f"{where}: all {len(towers)} towers stand within {_NO_LINE_M:g} m of each other. Longitude and latitude in "
            "degrees look taken for metres, or eastings and northings have a wrong decimal sign: see crs under towers."
        )
    pairs = sorted(cKDTree(places).query_pairs(SAME_PLACE_M))
    if pairs:
        names = [f"'{towers['tower_id'].iloc[i]}' and '{towers['tower_id'].iloc[j]}'" for i, j in pairs]
        raise LineError(
            f"{where}: towers {listed(names)} stand at the same place (within {SAME_PLACE_M:g} m): a span without "
            "length. Delete one, or give two circuits on separate towers a [[lines]] each."
        )


def _read_vector_towers(source: TowerSource, key: str) -> PlacedTable:
    layer = open_vector(source, key)
    named = [name for name in _named_columns(source).values() if name in layer.columns]
    table = read_vector(layer, named)
    if len(table.rows) == 0:
        filtered = f' that meet where = "{source.where}"' if source.where else ""
        raise LayerError(f"{layer.where}: no towers{filtered}.")
    # columns are checked against the whole layer, so that the message can list what there is
    columns = pd.DataFrame(dict(table.columns), columns=list(layer.columns), index=pd.RangeIndex(len(table.rows)))
    points = single_points(table.geometry, table.rows, layer.where, "a tower's point")
    problems = (*layer.problems, *table.problems)
    return PlacedTable(columns, table.rows, layer.where, "feature", problems=problems, geometry=points)


def _named_columns(source: TowerSource) -> dict[str, str]:
    names = {
        "id_column": source.id_column,
        "structure_column": source.structure_column,
        "base_width_column": source.base_width_column,
        "earth_electrode_size_column": source.earth_electrode_size_column,
        "footing_resistance_column": source.footing_resistance_column,
        "soil_resistivity_column": source.soil_resistivity_column,
        "order_column": source.order_column,
    }
    return {key: name for key, name in names.items() if name is not None}


def _check_columns(source: TowerSource, table: PlacedTable, key: str) -> None:
    for name, column in _named_columns(source).items():
        require_column(column, list(table.columns.columns), table.where, f"{key}.{name}")


def _check_places(table: PlacedTable) -> None:
    bad = ~is_usable(table.geometry)
    if bad.any():
        raise InputError(
            f"{table.where}, {table.row_word} {listed(table.rows[bad])}: no coordinates, or coordinates that are not "
            "finite. Give the tower a place or delete the row."
        )
    lonlat = shapely.get_coordinates(table.geometry)
    beyond = np.abs(lonlat[:, 1]) > 90.0
    if beyond.any():
        raise InputError(
            f"{table.where}, {table.row_word} {listed(table.rows[beyond])}: latitude {lonlat[beyond][0, 1]:g} is "
            "beyond ±90. Longitude and latitude look swapped, or the coordinate reference system is a wrong one."
        )
    swapped = _swapped(lonlat)
    if swapped.any():
        raise InputError(
            f"{table.where}, {table.row_word} {listed(table.rows[swapped])}: far from all other towers, but near them "
            "with longitude and latitude swapped. Swap the two in these rows."
        )


def _swapped(lonlat: FloatArray) -> NDArray[np.bool_]:
    """Mark towers over 10° from the middle of all that come within 1° of it when swapped."""
    middle = np.median(lonlat, axis=0)
    away = np.abs(lonlat - middle).max(axis=1)
    return np.asarray((away > 10.0) & (np.abs(lonlat[:, ::-1] - middle).max(axis=1) < 1.0))
