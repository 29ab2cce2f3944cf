"""Signs in OpenStreetMap tags of what should be mapped beside a thing, and is not everywhere.

Decisions, all of them judgement:

- Houses stand along residential and living streets, at the end of private drives, where a house number is, and about
  the name of a hamlet, village or quarter. Other roads prove no houses by themselves, but are lined with them where
  the streets around show that houses are not mapped. Turning circles, tracks and localities prove none.
- Waters, woods and any land use but a residential one show that the land cover is drawn.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.inputs.evidence import thin
from layoutplan.inputs.geodetic import Geometries, is_usable

NONE, STREET, DRIVE, ADDRESS, PLACE, COVER, ROAD = range(7)
_STREETS = frozenset({"residential", "living_street"})
_ROADS = frozenset({"unclassified", "tertiary", "secondary", "primary", "road", "service", "pedestrian"})
_PLACES = frozenset(
    {"city", "town", "suburb", "quarter", "neighbourhood", "village", "hamlet", "isolated_dwelling", "farm"}
)
_NATURAL = frozenset(
    {"water", "wetland", "mud", "bay", "glacier", "wood", "scrub", "heath", "grassland", "fell", "tundra", "moor",
     "scree", "shingle", "bare_rock", "rock", "sand", "beach", "dune", "shrubbery", "coastline"}
)  # fmt: skip
COVER_M = 2000.0  # where land cover is mapped at all, there is some so near (judgement)
_STEP_DEG = 0.005  # some 500 m: cover is asked about within kilometres
_LARGEST_DEG = 3.0  # areas wider are no land cover


@dataclass(frozen=True, slots=True)
class Signs:
    """What signs a map holds, EPSG:4326.

    Attributes
    ----------
    geometry : ndarray of Geometry, shape (n,)
        Streets, roads and drives as lines, house numbers and places as points.
    kind : ndarray of int, shape (n,)
        ``STREET``, ``ROAD``, ``DRIVE``, ``ADDRESS`` or ``PLACE``.
    cover : ndarray, shape (m, 2)
        Places with water or land cover, no farther apart than some 500 m.
    """

    geometry: Geometries = field(default_factory=lambda: np.empty(0, dtype=object))
    kind: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    cover: FloatArray = field(default_factory=lambda: np.empty((0, 2)))


def sign_of(tags: Mapping[str, str], *, is_point: bool) -> int:
    """Return what an object is a sign of.

    Parameters
    ----------
    tags : mapping of str to str
        Of the object.
    is_point : bool
        Whether it is a node.

    Returns
    -------
    int
        ``STREET``, ``DRIVE``, …; ``NONE`` for most.

    Examples
    --------
    >>> sign_of({"highway": "residential"}, is_point=False) == STREET
    True
    >>> sign_of({"place": "locality"}, is_point=True) == NONE
    True
    """
    if is_point:
        if "addr:housenumber" in tags and "building" not in tags:
            return ADDRESS
        return PLACE if tags.get("place") in _PLACES else NONE
    highway = tags.get("highway")
    if highway is not None:
        if highway in _STREETS:
            return STREET
        return DRIVE if tags.get("service") == "driveway" else ROAD if highway in _ROADS else NONE
    if "addr:interpolation" in tags:
        return STREET
    if "waterway" in tags or tags.get("natural") in _NATURAL or "landcover" in tags:
        return COVER
    return COVER if tags.get("landuse", "residential") != "residential" else NONE


def cover_points(geometry: Geometries) -> FloatArray:
    """Places along and within geometries, thinned.

    Parameters
    ----------
    geometry : ndarray of Geometry
        EPSG:4326.

    Returns
    -------
    ndarray, shape (n, 2)
        Longitude and latitude. [deg]
    """
    geometry = geometry[is_usable(geometry)]
    if len(geometry) == 0:
        return np.empty((0, 2))
    west, south, east, north = shapely.bounds(geometry).T
    size = np.maximum(east - west, north - south)
    geometry, size = geometry[size <= _LARGEST_DEG], size[size <= _LARGEST_DEG]
    along = shapely.get_coordinates(shapely.segmentize(geometry, _STEP_DEG))
    return thin(np.concatenate([along, *(_inside(area) for area in geometry[size > 2 * _STEP_DEG])]))


def _inside(shape: Any) -> FloatArray:
    if shape.geom_type == "LineString" and shape.is_closed:
        shape = shapely.Polygon(shape)
    if shapely.get_dimensions(shape) < 2:
        return np.empty((0, 2))
    west, south, east, north = shape.bounds
    lon, lat = np.meshgrid(np.arange(west, east, _STEP_DEG), np.arange(south, north, _STEP_DEG))
    held = shapely.contains_xy(shape, lon.ravel(), lat.ravel())
    return np.column_stack((lon.ravel()[held], lat.ravel()[held]))
