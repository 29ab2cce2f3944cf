"""What lies within reach of each tower: segments in its own tangent frame, and areas it stands in."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from layoutplan.line.geodesy import FloatArray, local_axes, to_ecef
from layoutplan.line.model import Towers
from layoutplan.siting.capsule import segment_distance
from layoutplan.siting.obstacles import Obstacles
from layoutplan.siting.ragged import IntArray, expand

_METRES_PER_DEGREE = 110_500.0  # a little less than the least on the ellipsoid, so windows come out too wide


@dataclass(frozen=True, slots=True)
class Near:
    """Pairs of one tower and one segment within reach, sorted by tower; and the areas around towers.

    Attributes
    ----------
    tower, feature : ndarray of int, shape (n,)
    start_m, end_m : ndarray, shape (n, 2)
        Ends of the segment in the tower's frame. [m]
    distance_m : ndarray, shape (n,)
        Tower to segment. [m]
    inside_tower, inside_feature : ndarray of int, shape (m,)
        Towers that stand inside an area.
    """

    tower: IntArray
    feature: IntArray
    start_m: FloatArray
    end_m: FloatArray
    distance_m: FloatArray
    inside_tower: IntArray
    inside_feature: IntArray


def find_near(obstacles: Obstacles, towers: Towers, reach_m: float) -> Near:
    """Collect the segments that can matter to a stake within ``reach_m`` of each tower.

    A segment is kept if its keep-out (or body) comes within the reach. Tower numbers count the rows of ``towers``.
    """
    tower, segment = _candidates(obstacles, towers, reach_m + obstacles.reach_beyond_m)
    frame = _Frame.at(towers)
    vertex = obstacles.segment_vertex[segment]
    start = frame.place(obstacles.vertices_m[vertex], tower)
    end = frame.place(obstacles.vertices_m[vertex + 1], tower)
    away = segment_distance(np.zeros_like(start), start, end)
    feature = obstacles.segment_feature[segment]
    beyond = np.where(np.isnan(obstacles.keep_out_m), obstacles.body_m, obstacles.keep_out_m)[feature]
    keep = away <= reach_m + beyond
    inside = obstacles.areas.query(shapely.points(towers.lonlat_deg), predicate="intersects")
    order = np.lexsort((inside[1], inside[0]))
    return Near(
        tower[keep],
        feature[keep],
        start[keep],
        end[keep],
        away[keep],
        inside[0][order],
        obstacles.area_feature[inside[1][order]],
    )


def windows(towers: Towers, reach_m: float) -> NDArray[np.object_]:
    """Boxes in longitude and latitude that hold everything within ``reach_m`` of each tower."""
    lon, lat = towers.lonlat_deg.T
    high = reach_m / _METRES_PER_DEGREE
    wide = high / np.cos(np.radians(np.abs(lat) + high))
    return np.asarray(shapely.box(lon - wide, lat - high, lon + wide, lat + high), dtype=object)


def in_sight(features: gpd.GeoDataFrame, towers: Towers, reach_m: float) -> gpd.GeoDataFrame:
    """Rows of the features whose boxes meet the window of any tower, in their order."""
    meets, _ = STRtree(windows(towers, reach_m)).query(features.geometry.to_numpy())
    return features.iloc[np.unique(meets)].reset_index(drop=True)


def _candidates(obstacles: Obstacles, towers: Towers, window_m: float) -> tuple[IntArray, IntArray]:
    tower, chunk = obstacles.chunks.query(windows(towers, window_m))
    order = np.lexsort((chunk, tower))
    tower, chunk = tower[order], chunk[order]
    first = obstacles.chunk_first
    row, number = expand(first[chunk + 1] - first[chunk])
    return tower[row], first[chunk[row]] + number


@dataclass(frozen=True, slots=True)
class _Frame:
    """The towers' tangent frames."""

    origin_m: FloatArray
    east: FloatArray
    north: FloatArray

    @classmethod
    def at(cls, towers: Towers) -> _Frame:
        return cls(to_ecef(towers.lonlat_deg), *local_axes(towers.lonlat_deg))

    def place(self, points_m: FloatArray, tower: IntArray) -> FloatArray:
        """Geocentric points in the frames of their towers, shape (n, 2)."""
        offset = points_m - self.origin_m[tower]
        return np.column_stack(
            (np.einsum("ij,ij->i", offset, self.east[tower]), np.einsum("ij,ij->i", offset, self.north[tower]))
        )
