"""Map features of the corridor in one table, whatever files they come from."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.inputs.crossings import require_few_crossings
from layoutplan.inputs.geodetic import Geometries, is_usable
from layoutplan.inputs.model import FEATURE_COLUMNS
from layoutplan.inputs.words import counted
from layoutplan.job import ObstacleClass


def no_features() -> gpd.GeoDataFrame:
    """Return an empty feature table.

    Returns
    -------
    GeoDataFrame
        Columns ``FEATURE_COLUMNS``, EPSG:4326.
    """
    columns = {name: np.empty(0, dtype=object) for name in FEATURE_COLUMNS if name != "geometry"}
    columns["width_m"] = np.empty(0, dtype=float)
    return gpd.GeoDataFrame(columns, geometry=[], crs="EPSG:4326")[list(FEATURE_COLUMNS)]


def make_features(
    *,
    feature_id: NDArray[np.object_],
    obstacle_class: NDArray[np.object_],
    name: NDArray[np.object_],
    width_m: FloatArray,
    geometry: Geometries,
    source: str,
    road_class: NDArray[np.object_] | str = "",
    vehicle: NDArray[np.object_] | str = "",
) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Drop what has no geometry, repair what is invalid, take several parts apart.

    Parameters
    ----------
    feature_id, obstacle_class, name : ndarray of str, shape (n,)
        Ids as messages give them, classes of the job, names or empty.
    width_m : ndarray, shape (n,)
        Full width of lines and points; areas get 0. [m]
    geometry : ndarray of Geometry, shape (n,)
        Two-dimensional, EPSG:4326; may be missing, empty or infinite.
    source : str
        File and layer.
    road_class, vehicle : ndarray of str, shape (n,), or str
        See :data:`layoutplan.inputs.model.Inputs`; one text holds for all.

    Returns
    -------
    features : GeoDataFrame
        Columns ``FEATURE_COLUMNS``; parts of one feature are called ``id/1``, ``id/2``, …
    problems : list of str
        How many were left out or repaired.

    Raises
    ------
    InputError
        If an outline crosses itself more often than the job allows.
    """
    usable = is_usable(geometry)
    restored, was_invalid = repair(geometry[usable], source)
    parts, owner = single_parts(restored)
    row = np.flatnonzero(usable)[owner]
    columns = {
        "feature_id": _part_ids(feature_id[row], owner),
        "obstacle_class": obstacle_class[row],
        "name": name[row],
        "width_m": np.where(shapely.get_dimensions(parts) == 2, 0.0, width_m[row]),
        "road_class": _spread(road_class, row),
        "vehicle": _spread(vehicle, row),
        "source": np.full(len(row), source, dtype=object),
    }
    problems = []
    if missing := int((~usable).sum()):
        problems.append(
            f"{source}: {counted(missing, 'feature')} without a usable geometry (missing, empty or infinite) left out"
        )
    if repaired := int(was_invalid.sum()):
        problems.append(f"{source}: {counted(repaired, 'feature')} with an invalid geometry repaired")
    return gpd.GeoDataFrame(columns, geometry=parts, crs="EPSG:4326")[list(FEATURE_COLUMNS)], problems


def _spread(values: NDArray[np.object_] | str, row: NDArray[np.int64]) -> NDArray[np.object_]:
    return np.full(len(row), values, dtype=object) if isinstance(values, str) else values[row]


def repair(geometry: Geometries, where: str) -> tuple[Geometries, NDArray[np.bool_]]:
    """Make geometries valid; what collapses to nothing keeps its edge, so that it is not lost.

    Parameters
    ----------
    geometry : ndarray of Geometry, shape (n,)
        Lines and areas, two-dimensional.
    where : str
        File and layer, for messages.

    Returns
    -------
    geometry : ndarray of Geometry, shape (n,)
        All valid.
    was_invalid : ndarray of bool, shape (n,)
        Those that were repaired.

    Raises
    ------
    InputError
        If an outline crosses itself more often than the job allows.

    Examples
    --------
    A bow tie becomes its two triangles:

    >>> restored, was_invalid = repair(np.array([shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])]), "fields.gpkg")
    >>> restored[0].geom_type, restored[0].area, was_invalid
    ('MultiPolygon', 2.0, array([ True]))
    """
    invalid = ~shapely.is_valid(geometry)
    if not invalid.any():
        return geometry, invalid
    restored = geometry.copy()
    for i in np.flatnonzero(invalid):  # one by one, so that Ctrl+C is heard between them
        restored[i] = _repaired(geometry[i], where)
    return restored, invalid


def _repaired(geometry: shapely.Geometry, where: str) -> shapely.Geometry:
    lon, lat = shapely.get_coordinates(geometry)[0].tolist()
    require_few_crossings(geometry, f"{where}, the area with a corner at {lat:.6f} {lon:.6f}")
    whole = shapely.make_valid(geometry, method="structure", keep_collapsed=False)
    return shapely.make_valid(geometry) if whole.is_empty else whole  # the default method keeps lines and points


def single_parts(geometry: Geometries) -> tuple[Geometries, NDArray[np.int64]]:
    """Take multi-part geometries apart.

    Parameters
    ----------
    geometry : ndarray of Geometry, shape (n,)
        Of any kind; missing and empty ones have no parts.

    Returns
    -------
    parts : ndarray of Geometry, shape (m,)
        Without empty ones.
    owner : ndarray of int, shape (m,)
        Place in ``geometry`` that each part comes from.

    Examples
    --------
    >>> parts, owner = single_parts(np.array([shapely.Point(1, 1), shapely.MultiPoint([(2, 2), (3, 3)])]))
    >>> owner
    array([0, 1, 1])
    """
    if not (shapely.get_type_id(geometry) > shapely.GeometryType.POLYGON).any():  # taking apart copies
        kept = np.flatnonzero(~(shapely.is_missing(geometry) | shapely.is_empty(geometry)))
        return geometry[kept], kept
    parts, owner = shapely.get_parts(geometry, return_index=True)
    while (shapely.get_type_id(parts) > shapely.GeometryType.POLYGON).any():  # collections may hold multi-part ones
        inner, place = shapely.get_parts(parts, return_index=True)
        parts, owner = inner, owner[place]
    there = ~shapely.is_empty(parts)
    return parts[there], owner[there]


def fill_widths(
    given_m: FloatArray,
    obstacle_class: NDArray[np.object_],
    geometry: Geometries,
    classes: Mapping[str, ObstacleClass],
    point_width_m: float,
) -> FloatArray:
    """Fill in widths that are not given: lines take their class's, points at least ``point_width_m``.

    Parameters
    ----------
    given_m : ndarray, shape (n,)
        NaN where not given. [m]
    obstacle_class : ndarray of str, shape (n,)
        Classes of the job.
    geometry : ndarray of Geometry, shape (n,)
        Of the features.
    classes : mapping of str to ObstacleClass
        Of the job.
    point_width_m : float
        Of a thing mapped as a point. [m]

    Returns
    -------
    ndarray, shape (n,)
        [m]

    Examples
    --------
    A road of 7 m by its tags, one without, and a pole:

    >>> from types import SimpleNamespace
    >>> shapes = np.array([shapely.LineString([(0, 0), (1, 0)])] * 2 + [shapely.Point(0, 0)])
    >>> roads = {"road": SimpleNamespace(width_m=5.0)}
    >>> fill_widths(np.array([7.0, np.nan, np.nan]), np.array(["road"] * 3), shapes, roads, 1.0)
    array([7., 5., 1.])
    """
    of_class = pd.Series(obstacle_class).map({name: row.width_m for name, row in classes.items()}).to_numpy(dtype=float)
    is_point = shapely.get_dimensions(geometry) == 0
    return np.where(np.isnan(given_m), np.where(is_point, point_width_m, of_class), given_m)


def _part_ids(ids: NDArray[np.object_], owner: NDArray[np.int64]) -> NDArray[np.object_]:
    """Add a number to the ids of features that have several parts."""
    if len(ids) == 0:
        return ids
    of = pd.Series(owner)
    number = of.groupby(of).cumcount().to_numpy() + 1
    several = np.bincount(owner)[owner] > 1
    named = ids.copy()
    named[several] = [f"{name}/{part}" for name, part in zip(ids[several], number[several], strict=True)]
    return named
