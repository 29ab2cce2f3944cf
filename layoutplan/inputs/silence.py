"""Ground of a job of which the map is silent: drawn as areas of their own, theme by theme, and the sea beside it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from shapely import Polygon

from layoutplan.arrays import FloatArray
from layoutplan.inputs.corridor import Corridor
from layoutplan.inputs.features import make_features
from layoutplan.inputs.gaps import BARE_STREETS, BUILDINGS, SEA, SILENT_CLASSES, UNCLEAR_SHORE
from layoutplan.inputs.geodetic import Geometries
from layoutplan.inputs.houses import HOUSE_CLASSES, unmapped_houses
from layoutplan.inputs.map_layer import MapLayer
from layoutplan.inputs.sea import SEA_CLASS, sea
from layoutplan.inputs.signs import STREET, Signs
from layoutplan.inputs.words import counted
from layoutplan.job import Job
from layoutplan.job.classes import ROADS, the
from layoutplan.job.roles import Road, Role

_CLASS_FOR = {cause: name for name, cause in SILENT_CLASSES.items()}
_BUILDING = the(Role.BUILDING)
_COAST_M = 2.0  # full width of a coastline where it makes no area (judgement)
_LINED = [name for name, road in ROADS.items() if road != Road.TRACK]  # with houses
_SOURCE = "what the map's layers lack"


class Silence(NamedTuple):
    """What was made of a map's signs.

    Attributes
    ----------
    features : list of GeoDataFrame
        The sea, and the areas of which the map is silent.
    cover : ndarray, shape (n, 2)
        Where there is land cover or water.
    problems, assumptions : tuple of str
    """

    features: list[gpd.GeoDataFrame]
    cover: FloatArray
    problems: tuple[str, ...]
    assumptions: tuple[str, ...]


def find_silence(
    job: Job,
    layers: Sequence[MapLayer],
    features: gpd.GeoDataFrame,
    corridor: Corridor,
    towers_lonlat: FloatArray,
    extents: Sequence[Polygon],
    coverage: Sequence[Polygon],
) -> Silence:
    """Ask the map theme by theme.

    Parameters
    ----------
    job : Job
        Its coverage section and reach.
    layers : sequence of MapLayer
        As read.
    features : GeoDataFrame
        Of all layers.
    corridor : Corridor
        Where the towers are.
    towers_lonlat : ndarray, shape (n, 2)
        Longitudes as in the corridor's frame, as those of all that follows. [deg]
    extents, coverage : sequence of Polygon
        Where the map declares to reach, and where the user vouches for the job's themes.

    Returns
    -------
    Silence
        Areas that stand for what is not mapped, and warnings.
    """
    vouched = {
        theme: np.array(coverage if theme in job.coverage.themes else [], dtype=object) for theme in (BUILDINGS, SEA)
    }
    kind = features["obstacle_class"]
    shapes = features.geometry.to_numpy()
    houses = np.asarray(shapes[kind.isin(HOUSE_CLASSES)], dtype=object)
    roads = np.asarray(shapes[kind.isin(_LINED) & (shapely.get_dimensions(shapes) == 1)], dtype=object)
    assumed = []
    signs = [layer.signs for layer in layers]
    if layers and not _gives(job, _BUILDING):
        assumed.append(
            "no layer of the job holds buildings: about its roads houses count as not mapped; those away from roads "
            "are taken not to be there"
        )
        signs.append(Signs(roads, np.full(len(roads), STREET)))
    shown = Signs(np.concatenate([np.empty(0, dtype=object), *(one.geometry for one in signs)]),
                  np.concatenate([np.empty(0, dtype=np.int64), *(one.kind for one in signs)]))  # fmt: skip
    reach_m = 2 * job.rules.reach_m  # as far as a longer reel is looked into
    bare = unmapped_houses(shown, houses, towers_lonlat, reach_m, vouched[BUILDINGS])
    tables = [_table(_CLASS_FOR[BARE_STREETS], bare, "houses not mapped", "")]
    coast, notes = _shore([layer.coastlines for layer in layers], corridor, extents, vouched[SEA])
    cover = np.concatenate([np.empty((0, 2)), *(layer.signs.cover for layer in layers)])
    return Silence([*tables, *coast], cover, tuple(notes), tuple(assumed))


def _gives(job: Job, obstacle_class: str) -> bool:
    """Whether a layer of the job can hold a class."""
    return any(
        obstacle_class not in layer.skip_classes
        if layer.is_osm
        else obstacle_class in (layer.obstacle_class, *layer.class_map.values())
        for layer in job.layers
    )


def _shore(
    coastlines: Sequence[Geometries], corridor: Corridor, extents: Sequence[Polygon], vouched: Geometries
) -> tuple[list[gpd.GeoDataFrame], list[str]]:
    """Sea as areas; where the coastlines do not part it from land, that ground, and they themselves as lines."""
    lines = np.concatenate([np.empty(0, dtype=object), *coastlines])
    found = sea(lines, [shapely.box(*window) for window in corridor.windows_deg.tolist()], extents)
    unclear = shapely.get_parts(shapely.difference(shapely.union_all(found.unclear), shapely.union_all(vouched)))
    beside = lines[shapely.intersects(lines, shapely.union_all(found.unclear))] if len(found.unclear) else lines[:0]
    tables = [
        _table(SEA_CLASS, found.water, "sea", "sea"),
        _table(SEA_CLASS, beside, "coastline", "coastline"),
        _table(_CLASS_FOR[UNCLEAR_SHORE], unclear, "land or sea", ""),
    ]
    if len(unclear) == 0:
        return tables, []
    at = ", ".join(f"{lat:.5f} {lon:.5f}" for lon, lat in found.loose_deg[:3].tolist())
    ends = f"{counted(len(found.loose_deg), 'end')} where they should go on (latitude, longitude: {at})"
    why = ends if at else "some run against each other"
    return tables, [f"the coastlines do not separate land from sea everywhere near the line: {why}"]


def _table(obstacle_class: str, shapes: Geometries, ids: str, name: str) -> gpd.GeoDataFrame:
    count = len(shapes)
    table, _ = make_features(
        feature_id=np.array([f"{ids} {number}" for number in range(1, count + 1)], dtype=object),
        obstacle_class=np.full(count, obstacle_class, dtype=object),
        name=np.full(count, name, dtype=object),
        width_m=np.full(count, _COAST_M),
        geometry=np.asarray(shapes, dtype=object),
        source=_SOURCE,
    )
    return table
