"""A vector layer mapped to obstacle classes, in the corridor."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.errors import CRSError
from layoutplan.inputs.corridor import Corridor
from layoutplan.inputs.evidence import SHOWS_NOTHING, is_local, thin
from layoutplan.inputs.features import fill_widths, make_features, single_parts
from layoutplan.inputs.geodetic import Geometries, is_usable
from layoutplan.inputs.map_layer import Bounds, MapLayer, check_overlap, cleaned
from layoutplan.inputs.osm_tags import POINT_WIDTH_M, parse_width
from layoutplan.inputs.osm_ways import BRIDGE, GATE, ROAD_CLASSES, vehicle_stated
from layoutplan.inputs.signs import STREET, Signs, cover_points, sign_of
from layoutplan.inputs.systems import into_wgs84
from layoutplan.inputs.tower_columns import id_text
from layoutplan.inputs.vector import VectorLayer, open_vector, require_column
from layoutplan.inputs.vector_table import VectorTable, read_vector
from layoutplan.inputs.words import counted, listed
from layoutplan.job import Layer, ObstacleClass
from layoutplan.job.access import OPEN, PERMIT
from layoutplan.job.classes import ROADS, named
from layoutplan.job.roles import Road

Texts = NDArray[np.object_]
COVER_CLASSES = named(lambda row: row.tells.land_cover)
_UNTAGGED_OPEN = [name for name, road in ROADS.items() if road != Road.TRACK]
_COLUMNS = ("class_column", "name_column", "width_column", "vehicle_column")


def vector_layer(layer: Layer, key: str, corridor: Corridor, classes: Mapping[str, ObstacleClass]) -> MapLayer:
    """Read a layer's features in the corridor.

    Parameters
    ----------
    layer : Layer
        The job's section.
    key : str
        The job's key of ``layer``, for messages: ``layers[2]``.
    corridor : Corridor
        Where the towers are.
    classes : mapping of str to ObstacleClass
        With the job's changes.

    Returns
    -------
    MapLayer
        Features, evidence and warnings.

    Raises
    ------
    InputError
        If the file, the layer, a column or the reference system cannot be used.
    """
    found = open_vector(layer, key)
    for name in _COLUMNS:
        if (column := getattr(layer, name)) is not None:
            require_column(column, found.columns, found.where, f"{key}.{name}")
    overlap = check_overlap(found.where, _bounds_deg(found), corridor) if found.bounds or not found.features else []
    table = _in_corridor(found, layer, corridor)
    kind, unmapped = _classes(layer, table, found.where)
    given_m, odd_widths = _widths(layer, table, found.where)
    known = kind != ""
    names = cleaned(table.columns[layer.name_column]) if layer.name_column else np.full(len(kind), "", dtype=object)
    features, problems = make_features(
        feature_id=_feature_ids(found.layer, table.rows[known]),
        obstacle_class=kind[known],
        name=names[known],
        width_m=fill_widths(given_m[known], kind[known], table.geometry[known], classes, POINT_WIDTH_M),
        geometry=table.geometry[known],
        source=found.where,
        road_class=_road_classes(layer, kind[known]),
        vehicle=_vehicle(layer, table, kind)[known],
    )
    signs = Signs(*_streets(layer, table), cover_points(table.geometry[np.isin(kind, COVER_CLASSES)]))
    parts, _ = single_parts(table.geometry[~np.isin(kind, list(SHOWS_NOTHING))])
    evidence = thin(shapely.get_coordinates(parts[is_local(parts)]))
    notes = (*found.problems, *overlap, *table.problems, *unmapped, *odd_widths, *problems)
    return MapLayer(features, evidence, notes, signs=signs)


def _in_corridor(found: VectorLayer, layer: Layer, corridor: Corridor) -> VectorTable:
    """Read what meets the corridor; what has no usable geometry stays in, to be counted."""
    columns = [column for name in _COLUMNS if (column := getattr(layer, name)) is not None]
    table = read_vector(found, columns, corridor.boxes(found.crs))
    geometry = corridor.frame.geometries(corridor.cut(table.geometry))
    with np.errstate(invalid="ignore"):
        nowhere = ~np.isfinite(shapely.bounds(table.geometry)).all(axis=1)
    keep = np.flatnonzero(corridor.meets(geometry) | nowhere)
    columns_kept = {name: values[keep] for name, values in table.columns.items()}
    return VectorTable(columns_kept, geometry[keep], table.rows[keep], table.problems)


def _bounds_deg(found: VectorLayer) -> Bounds | None:
    if found.bounds is None:
        return None
    west, south, east, north = found.bounds
    if found.crs.is_geographic and (abs(south) > 90.0 or abs(north) > 90.0):
        if max(abs(west), abs(east)) > 90.0:
            raise CRSError(f"{found.where}: coordinates are no degrees, whatever the file says. Set the layer's crs.")
        return found.bounds  # latitudes beyond ±90 are of no place; swapped ones are recognised by the caller
    bounds = into_wgs84(found.crs).transform_bounds(*found.bounds)
    if not np.isfinite(bounds).all():
        return -180.0, -90.0, 180.0, 90.0
    west, south, east, north = bounds
    return west, south, east + (360.0 if east < west else 0.0), north


def _classes(layer: Layer, table: VectorTable, where: str) -> tuple[Texts, list[str]]:
    """Return the class of each feature, empty where the job maps its value to none."""
    if layer.class_column is None:
        return np.full(len(table.rows), layer.obstacle_class, dtype=object), []
    text, code = _distinct(table.columns[layer.class_column])
    kind = np.array([layer.class_map.get(value, "") for value in text], dtype=object)
    number = np.bincount(code, minlength=len(text))
    left_out = sorted((-number[i], text[i]) for i in np.flatnonzero(kind == ""))
    if not left_out:
        return kind[code], []
    each = listed(f"'{name}' {-minus:,}" for minus, name in left_out)
    return kind[code], [
        f"{where}: {counted(-sum(minus for minus, _ in left_out), 'feature')} left out, values of "
        f"'{layer.class_column}' that class_map does not list: {each}"
    ]


def _streets(layer: Layer, table: VectorTable) -> tuple[Geometries, NDArray[np.int64]]:
    """Residential streets, by the words of OpenStreetMap that many layers keep, as signs of houses."""
    if layer.class_column is None:
        found = np.zeros(len(table.rows), dtype=bool)
    else:
        text, code = _distinct(table.columns[layer.class_column])
        found = np.array([sign_of({"highway": value}, is_point=False) == STREET for value in text], dtype=bool)[code]
    parts, _ = single_parts(table.geometry[found & is_usable(table.geometry)])
    lines = parts[shapely.get_dimensions(parts) == 1]
    return lines, np.full(len(lines), STREET)


def _widths(layer: Layer, table: VectorTable, where: str) -> tuple[FloatArray, list[str]]:
    """Return the width that file or job gives each feature, NaN where neither does. [m]."""
    default_m = np.nan if layer.width_m is None else layer.width_m
    if layer.width_column is None:
        return np.full(len(table.rows), default_m), []
    text, code = _distinct(table.columns[layer.width_column])
    number = [0.0 if value == "0" else parse_width(value) for value in text]
    width_m = np.array(number, dtype=float)[code]
    is_odd = np.isnan(width_m) & (np.array(text, dtype=object)[code] != "")
    width_m[np.isnan(width_m)] = default_m
    if not is_odd.any():
        return width_m, []
    each = listed(sorted({text[i] for i in code[is_odd]}))
    return width_m, [
        f"{where}: {counted(int(is_odd.sum()), 'feature')} whose '{layer.width_column}' is no width ({each}); the "
        "width of the layer or class was taken"
    ]


def _vehicle(layer: Layer, table: VectorTable, kind: Texts) -> Texts:
    """Whether a vehicle may be on roads and at gates; where no column states it, only roads are open."""
    road = _road_classes(layer, kind)
    if layer.vehicle_column is None:
        silent = np.where(np.isin(road, _UNTAGGED_OPEN), OPEN, PERMIT)
    else:
        text, code = _distinct(table.columns[layer.vehicle_column])
        silent = np.array([vehicle_stated(value) for value in text], dtype=object)[code]
    return np.where((road != "") | (kind == GATE), silent, "").astype(object)


def _road_classes(layer: Layer, kind: Texts) -> Texts:
    """Road classes of roads and tracks, and of bridges where the job states what they carry; else empty."""
    on_bridge = np.where(kind == BRIDGE, layer.bridge_road_class or "", "")
    return np.where(np.isin(kind, list(ROAD_CLASSES)), kind, on_bridge).astype(object)


def _distinct(values: NDArray[Any]) -> tuple[list[str], NDArray[np.int64]]:
    """Return the distinct values as text and the number of each row's, so that each is looked at once."""
    code, found = pd.factorize(values, use_na_sentinel=False)
    return [id_text(value) for value in found], np.asarray(code, dtype=np.int64)


def _feature_ids(layer: str, rows: NDArray[np.int64]) -> Texts:
    prefix = cleaned([layer])[0]
    return np.array([f"{prefix} {row}" for row in rows.tolist()], dtype=object)
