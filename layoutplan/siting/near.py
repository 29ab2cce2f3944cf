"""What lies within reach of each tower: segments in its own tangent frame, and areas it stands in."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.line.geodesy import local_axes, to_ecef
from layoutplan.line.model import Towers
from layoutplan.siting.capsule import segment_distance
from layoutplan.siting.obstacles import Obstacles
from layoutplan.siting.ragged import expand
from layoutplan.windows import margins_deg

_RADIUS_M = 6.33e6  # a little less than the least radius of curvature
AT_TOWER_M = 1.0  # an overhead line that comes so close to the tower point ends at the tower
ON_ARMS_M = 10.0  # a mapped overhead line that ends so close to it is drawn to the end of its arms (judgement)
_EDGE_M = 0.01  # a tower this near to the edge of an area stands on it


@dataclass(frozen=True, slots=True)
class NearPairs:
    """Pairs of one tower and one segment within reach, sorted by tower; and the areas around towers.

    Attributes
    ----------
    tower, feature : ndarray of int, shape (n,)
    start_m, end_m : ndarray, shape (n, 2)
        Ends of the segment in the tower's frame. [m]
    distance_m : ndarray, shape (n,)
        Tower to segment. [m]
    fastened : ndarray of bool, shape (n,)
        The segment is a span of this tower: an overhead line that comes to the tower point, or a mapped one that ends
        on its arms.
    on_edge : ndarray of bool, shape (n,)
        The tower stands on the edge of this area: inside for some directions, outside for others. All of the area's
        segments are here then, however far away.
    inside_tower, inside_feature : ndarray of int, shape (m,)
        Towers that stand inside an area, and not on its edge.
    reach_m : float
        From a tower: how far away keep-outs (or bodies) are known. [m]
    """

    tower: IntArray
    feature: IntArray
    start_m: FloatArray
    end_m: FloatArray
    distance_m: FloatArray
    fastened: NDArray[np.bool_]
    on_edge: NDArray[np.bool_]
    inside_tower: IntArray
    inside_feature: IntArray
    reach_m: float


def find_near(obstacles: Obstacles, towers: Towers, reach_m: float) -> NearPairs:
    """Collect the segments that can matter to a stake within ``reach_m`` of each tower.

    A segment is kept if its keep-out (or body) comes within the reach. Tower numbers count the rows of ``towers``.

    Parameters
    ----------
    obstacles : Obstacles
        Of the whole job.
    towers : Towers
        Of one section.
    reach_m : float
        Of the stakes from the tower points. [m]

    Returns
    -------
    NearPairs
        Segments in the frames of their towers. [m]
    """
    tower, segment = _candidates(obstacles, towers, reach_m + obstacles.reach_beyond_m)
    frame = _Frame.at(towers)
    start, end, away = _measured(obstacles, frame, tower, segment)
    edges = _stood_on(obstacles, towers, tower, segment, end - start, away)
    if len(edges):
        tower, segment = _with_whole_areas(obstacles, edges, tower, segment)
        start, end, away = _measured(obstacles, frame, tower, segment)
    feature = obstacles.segment_feature[segment]
    beyond = np.where(np.isnan(obstacles.keep_out_m), obstacles.body_m, obstacles.keep_out_m)[feature]
    on_edge = np.isin(_key(obstacles, tower, feature), edges)
    keep = (away <= reach_m + beyond) | on_edge
    inside_tower, area = obstacles.areas.query(shapely.points(towers.lonlat_deg), predicate="intersects")
    inside_feature = obstacles.area_feature[area]
    within = np.flatnonzero(~np.isin(_key(obstacles, inside_tower, inside_feature), edges))
    within = within[np.lexsort((inside_feature[within], inside_tower[within]))]
    return NearPairs(
        tower[keep],
        feature[keep],
        start[keep],
        end[keep],
        away[keep],
        _fastened(obstacles, segment[keep], start[keep], end[keep], away[keep]),
        on_edge[keep],
        inside_tower[within],
        inside_feature[within],
        reach_m,
    )


def _fastened(
    obstacles: Obstacles, segment: IntArray, start_m: FloatArray, end_m: FloatArray, away_m: FloatArray
) -> NDArray[np.bool_]:
    feature = obstacles.segment_feature[segment]
    on_arms = obstacles.segment_begins[segment] & (np.hypot(*start_m.T) <= ON_ARMS_M)
    on_arms |= obstacles.segment_ends[segment] & (np.hypot(*end_m.T) <= ON_ARMS_M)
    on_arms &= (start_m != end_m).any(axis=1)  # a point is no line
    return np.asarray(obstacles.hangs[feature] & ((away_m <= AT_TOWER_M) | (on_arms & ~obstacles.is_planned[feature])))


def _key(obstacles: Obstacles, tower: IntArray, feature: IntArray) -> IntArray:
    return tower * len(obstacles.class_code) + feature


def _measured(
    obstacles: Obstacles, frame: _Frame, tower: IntArray, segment: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Ends of segments in the frames of their towers, and their distances from them."""
    vertex = obstacles.segment_vertex[segment]
    start = frame.place(obstacles.vertices_m[vertex], tower)
    end = frame.place(obstacles.vertices_m[vertex + 1], tower)
    return start, end, segment_distance(np.zeros_like(start), start, end)


def _stood_on(
    obstacles: Obstacles, towers: Towers, tower: IntArray, segment: IntArray, along_m: FloatArray, away_m: FloatArray
) -> IntArray:
    """Keys of the pairs of a tower and an area on whose edge it stands.

    An edge runs straight over the ground here, but straight in degrees where it is asked who stands inside: between
    the two no place is surely inside or outside.
    """
    bulge = np.einsum("ij,ij->i", along_m, along_m) * np.tan(np.radians(np.abs(towers.lonlat_deg[tower, 1])))
    feature = obstacles.segment_feature[segment]
    on = obstacles.is_area[feature] & (away_m <= _EDGE_M + bulge / (8 * _RADIUS_M))
    return np.unique(_key(obstacles, tower, feature)[on])


def _with_whole_areas(
    obstacles: Obstacles, edges: IntArray, tower: IntArray, segment: IntArray
) -> tuple[IntArray, IntArray]:
    """Pairs of tower and segment, with all segments of the areas on whose edges towers stand."""
    rest = ~np.isin(_key(obstacles, tower, obstacles.segment_feature[segment]), edges)
    on, area = np.divmod(edges, len(obstacles.class_code))
    first = np.searchsorted(obstacles.segment_feature, area, "left")
    row, number = expand(np.searchsorted(obstacles.segment_feature, area, "right") - first)
    tower, segment = np.concatenate((tower[rest], on[row])), np.concatenate((segment[rest], first[row] + number))
    order = np.argsort(tower, kind="stable")
    return tower[order], segment[order]


def windows(towers: Towers, reach_m: float) -> NDArray[np.object_]:
    """Boxes in longitude and latitude that hold everything within ``reach_m`` of each tower.

    Parameters
    ----------
    towers : Towers
        n of them.
    reach_m : float
        From the tower points. [m]

    Returns
    -------
    ndarray of shapely.Polygon, shape (n,)
        In EPSG:4326. [deg]

    Examples
    --------
    1 km about a tower at 60 degrees north: the box is twice as wide as high in degrees.

    >>> from types import SimpleNamespace
    >>> west, south, east, north = windows(SimpleNamespace(lonlat_deg=np.array([[8.0, 60.0]])), 1000.0)[0].bounds
    >>> print(round((east - west) / (north - south), 1))
    2.0
    """
    lon, lat = towers.lonlat_deg.T
    east, north = margins_deg(lat, reach_m)
    return np.asarray(shapely.box(lon - east, lat - north, lon + east, lat + north), dtype=object)


def in_sight(features: gpd.GeoDataFrame, towers: Towers, reach_m: float) -> gpd.GeoDataFrame:
    """Rows of the features whose boxes meet the window of any tower, in their order.

    Parameters
    ----------
    features : GeoDataFrame
        In EPSG:4326.
    towers : Towers
        Of the whole job.
    reach_m : float
        From the tower points. [m]

    Returns
    -------
    GeoDataFrame
        A part of the table.
    """
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
