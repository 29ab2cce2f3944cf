"""Lines for the tests: towers at given metres east and north of a place."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from pyproj import Geod

from layoutplan.inputs.model import TOWER_FIGURES, LineInput
from layoutplan.job import Line, TowerSource

GEOD = Geod(ellps="WGS84")


def place(xy_m: Any, lon: float = 10.0, lat: float = 48.0) -> np.ndarray:
    """Longitude and latitude of points east and north of a place, longitudes continuous with its own."""
    xy = np.atleast_2d(np.asarray(xy_m, dtype=float))
    azimuth, distance = np.degrees(np.arctan2(xy[:, 0], xy[:, 1])), np.hypot(xy[:, 0], xy[:, 1])
    lons, lats, _ = GEOD.fwd(np.full(len(xy), lon), np.full(len(xy), lat), azimuth, distance)
    return np.column_stack((lons + 360 * np.round((lon - lons) / 360), lats))


def line_input(
    towers_m: Any,
    centreline_m: Any = None,
    *,
    lon: float = 10.0,
    lat: float = 48.0,
    ids: Any = None,
    in_order: bool = False,
    settings: dict[str, Any] | None = None,
    **columns: Any,
) -> LineInput:
    """A line as the readers would hand it over; the centreline is one chain of points, or several."""
    lonlat = place(towers_m, lon, lat) if len(towers_m) else np.empty((0, 2))
    count = len(lonlat)
    table = {
        "tower_id": [str(i + 1) for i in range(count)] if ids is None else list(ids),
        "structure": [""] * count,
        **{name: np.full(count, np.nan) for name in (*TOWER_FIGURES, "order")},
    }
    table |= columns
    course: tuple[shapely.LineString, ...] = ()
    if centreline_m is not None:
        parts = centreline_m if isinstance(centreline_m[0][0], list | tuple) else [centreline_m]
        course = tuple(shapely.LineString(place(part, lon, lat)) for part in parts)
    line = Line(towers=TowerSource(path="towers.gpkg"), **(settings or {}))
    frame = gpd.GeoDataFrame(table, geometry=gpd.points_from_xy(*lonlat.T), crs="EPSG:4326")
    return LineInput(line, frame, course, in_order, "towers.gpkg, layer 'towers'")
