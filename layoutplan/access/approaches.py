"""The table of approaches: for every tower and electrode where to leave the vehicle and how to walk from there."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutplan.access.cost import Relief
from layoutplan.access.frame import Frame
from layoutplan.access.ground import Ground
from layoutplan.access.route import Route, to_point, to_tower
from layoutplan.access.walks import Walks, walk_out
from layoutplan.line.geodesy import FloatArray
from layoutplan.line.model import Towers

APPROACH_COLUMNS = (
    *("line_id", "tower_id", "to", "drop_off_lon", "drop_off_lat", "road_name", "road_class"),
    *("walk_m", "climb_m", "walk_min", "crossings", "verdict", "note", "geometry"),
)
NOT_COVERED = "map does not cover"
FLAT = "heights unknown: level ground assumed for walking"
PARTLY_FLAT = "heights partly unknown: level ground assumed there for walking"
TOWER = "tower"


def approaches(
    towers: Towers,
    electrodes: gpd.GeoDataFrame,
    ground: Ground,
    covers: NDArray[np.bool_],
    relief: Relief | None = None,
) -> gpd.GeoDataFrame:
    """Find the way to every tower and on to its electrodes.

    Parameters
    ----------
    towers : Towers
    electrodes : GeoDataFrame
        Columns ``line_id``, ``tower_id``, ``role`` (``"H"`` or ``"S"``) and points in EPSG:4326.
    ground : Ground
    covers : ndarray of bool, shape (towers,)
        Whether the map covers each tower's surroundings as far as drop-offs are looked for.
    relief : Relief, optional
        Heights and slopes; without them level ground is assumed, and ``note`` says so.

    Returns
    -------
    GeoDataFrame
        Columns ``APPROACH_COLUMNS``, EPSG:4326, a row for each tower and one for each of its electrodes (``to``: tower,
        H, S), whose way begins at the tower. ``note`` tells whom to ask or what stands in the way. Lengths and times
        are NaN, and the geometry is None, where there is no way or nothing is known.
    """
    relief = relief or Relief()
    by_tower = electrodes.groupby(["line_id", "tower_id"], sort=False).indices
    roles, points = electrodes["role"].to_numpy(), shapely.get_coordinates(electrodes.geometry.to_numpy())
    rows: list[dict[str, object]] = []
    for number in range(len(towers)):
        key = {"line_id": str(towers.line_id[number]), "tower_id": str(towers.tower_id[number])}
        mine = by_tower.get(tuple(key.values()), np.empty(0, dtype=np.int64))
        frame = Frame.at(towers.lonlat_deg[number])
        targets = (TOWER, *roles[mine])
        if not covers[number]:
            rows += [_row(key, to, None, Route(NOT_COVERED)) for to in targets]
            continue
        xy = frame.to_xy(points[mine])
        walks = walk_out(ground, frame, relief, xy)
        ways = (to_tower(walks), *(to_point(walks, point) for point in xy))
        rows += [_row(key, to, walks, way) for to, way in zip(targets, ways, strict=True)]
    table = pd.DataFrame(rows, columns=list(APPROACH_COLUMNS))
    return gpd.GeoDataFrame(table, geometry="geometry", crs="EPSG:4326")


def _row(key: dict[str, str], to: str, walks: Walks | None, way: Route) -> dict[str, object]:
    note = [*way.because] if walks is None else [*way.because, *_heights(walks)]
    return {
        **key,
        "to": to,
        **_stop(walks),
        "walk_m": way.walk_m,
        "climb_m": way.climb_m,
        "walk_min": way.walk_min,
        "crossings": "; ".join(way.crossings),
        "verdict": way.verdict,
        "note": "; ".join(note),
        "geometry": None
        if walks is None or way.line is None
        else shapely.transform(way.line, walks.window.frame.to_lonlat),
    }


def _stop(walks: Walks | None) -> dict[str, object]:
    """Where the vehicle stops: unknown where there is no such place."""
    if walks is None or walks.drop_off is None:
        return {"drop_off_lon": np.nan, "drop_off_lat": np.nan, "road_name": "", "road_class": ""}
    ground, road = walks.window.ground, walks.drop_off.road
    lon, lat = walks.window.frame.to_lonlat(walks.drop_off.point_m[None])[0].tolist()
    return {
        "drop_off_lon": lon,
        "drop_off_lat": lat,
        "road_name": ground.road_name[road],
        "road_class": ground.road_class[road],
    }


def _heights(walks: Walks) -> tuple[str, ...]:
    """Say where level ground was assumed."""
    height: FloatArray | None = walks.window.height_m
    if height is None:
        return (FLAT,)
    return (PARTLY_FLAT,) if np.isnan(height).any() else ()
