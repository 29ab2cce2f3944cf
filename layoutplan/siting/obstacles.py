"""Map features and planned spans as flat arrays of segments, ready for the rays."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.job import ObstacleClass
from layoutplan.job.classes import PERMITTED, the
from layoutplan.job.roles import Role
from layoutplan.line.geodesy import to_ecef
from layoutplan.line.model import Spans
from layoutplan.siting.own_lines import on_planned_line
from layoutplan.siting.ragged import expand

FREE, CAUTION, NO = 0, 1, 2
_LEVEL = {"free": FREE, "care": CAUTION, "agree": CAUTION, "no": NO}
TOLERANCE_M = 1e-6  # a limit kept to this is kept; the same everywhere
POWER_LINE = the(Role.LINE)
_CHUNK = 16  # segments that share one box of the search tree


@dataclass(frozen=True, slots=True)
class Obstacles:
    """Features (one entry each, planned spans last) and their segments.

    Attributes
    ----------
    class_names : tuple of str
        Obstacle classes in the table's order; ``class_code`` counts them.
    feature_id, name : ndarray of object
        For reports.
    class_code : ndarray of int
    body_m : ndarray
        Half the width on the ground of a feature mapped as a line; 0 for areas. [m]
    keep_out_m : ndarray
        From the mapped line or edge: half width and keep-out together; NaN where a stake may stand. [m]
    stake, crossing : ndarray of int
        ``FREE``, ``CAUTION`` or ``NO``.
    is_area, is_growth, is_planned : ndarray of bool
        Areas; what slows a lead laid through it; spans of the planned lines.
    hangs : ndarray of bool
        Lines that hang from towers or poles, the planned ones too: one that ends at a tower is a span of it.
    segment_feature, segment_vertex : ndarray of int
        Feature of each segment, and its first vertex in ``vertices_m`` (the second is the next one).
    segment_begins, segment_ends : ndarray of bool
        Whether the mapped line begins with this segment's first vertex, or ends with its second.
    vertices_m : ndarray, shape (n, 3)
        Geocentric. [m]
    chunk_first : ndarray of int, shape (c + 1,)
        First segment of each chunk.
    chunks : STRtree
        Boxes of the chunks in longitude and latitude.
    areas : STRtree
        The polygons, for the question whether a tower stands inside.
    area_feature : ndarray of int
        Feature of each polygon in ``areas``.
    permitted_given : bool
        Whether the job names permitted land, so that everything else is out of bounds.
    """

    class_names: tuple[str, ...]
    feature_id: NDArray[np.object_]
    name: NDArray[np.object_]
    class_code: IntArray
    body_m: FloatArray
    keep_out_m: FloatArray
    stake: IntArray
    crossing: IntArray
    is_area: NDArray[np.bool_]
    is_growth: NDArray[np.bool_]
    is_planned: NDArray[np.bool_]
    hangs: NDArray[np.bool_]
    segment_feature: IntArray
    segment_vertex: IntArray
    segment_begins: NDArray[np.bool_]
    segment_ends: NDArray[np.bool_]
    vertices_m: FloatArray
    chunk_first: IntArray
    chunks: STRtree
    areas: STRtree
    area_feature: IntArray
    permitted_given: bool

    @property
    def reach_beyond_m(self) -> float:
        """Largest distance at which a feature still matters to a stake. [m]."""
        return float(np.nanmax(np.append(np.where(np.isnan(self.keep_out_m), self.body_m, self.keep_out_m), 0.0)))

    def code(self, class_name: str) -> int:
        """Return the number of a class.

        Parameters
        ----------
        class_name : str
            One of ``class_names``.

        Returns
        -------
        int
            Its place in ``class_names``.

        Raises
        ------
        ValueError
            If there is no such class.
        """
        return self.class_names.index(class_name)


def build_obstacles(
    features: gpd.GeoDataFrame,
    spans: Spans,
    classes: Mapping[str, ObstacleClass],
    *,
    permitted_given: bool,
) -> tuple[Obstacles, int]:
    """Flatten map features and planned spans.

    Parameters
    ----------
    features : GeoDataFrame
        Columns as in :data:`layoutplan.inputs.model.FEATURE_COLUMNS`; single-part points, lines and polygons.
    spans : Spans
        Axes of the planned lines; they keep stakes away like any other power line.
    classes : mapping
        Obstacle classes with the job's changes.
    permitted_given : bool
        Whether the job names permitted land.

    Returns
    -------
    obstacles : Obstacles
    dropped : int
        Segments of mapped power lines left out because they are the planned lines themselves.
    """
    names = tuple(classes)
    geometry = features.geometry.to_numpy()
    axis = np.asarray(shapely.linestrings(np.stack((spans.start_deg, spans.end_deg), axis=1)), dtype=object)
    shapes = np.concatenate((geometry, axis))
    code = features["obstacle_class"].map({name: i for i, name in enumerate(names)}).to_numpy(dtype=np.int64)
    code = np.concatenate((code, np.full(len(spans), names.index(POWER_LINE))))
    planned = np.arange(len(code)) >= len(features)
    rows = list(classes.values())
    stake = np.array([_LEVEL[row.stake] for row in rows])[code]
    body = np.concatenate((features["width_m"].to_numpy(dtype=float) / 2, spans.half_width_m))
    keep_out = np.where(stake == NO, body + np.array([row.keep_out_m for row in rows])[code], np.nan)
    is_area = shapely.get_dimensions(shapes) == 2
    lonlat, segment_vertex, segment_feature, begins, ends = _segments(shapes)
    hangs = np.array([row.overhead_line for row in rows])[code] & ~is_area
    own = on_planned_line(lonlat, segment_vertex, (hangs & ~planned)[segment_feature], spans)
    segment_vertex, segment_feature, begins, ends = (
        segment_vertex[~own],
        segment_feature[~own],
        begins[~own],
        ends[~own],
    )
    chunk_first, boxes = _chunks(lonlat, segment_vertex, segment_feature)
    area_feature = np.flatnonzero(is_area[: len(geometry)])
    blank = np.full(len(spans), "", dtype=object)
    planned_name = "planned line " + spans.line_id.astype(object)
    return (
        Obstacles(
            class_names=names,
            feature_id=np.concatenate((features["feature_id"].to_numpy(dtype=object), blank)),
            name=np.concatenate((features["name"].to_numpy(dtype=object), planned_name)),
            class_code=code,
            body_m=np.where(is_area, 0.0, body),
            keep_out_m=keep_out,
            stake=stake,
            crossing=np.array([_LEVEL[row.lead_crossing] for row in rows])[code],
            is_area=is_area,
            is_growth=np.array([row.growth for row in rows])[code],
            is_planned=planned,
            hangs=hangs,
            segment_feature=segment_feature,
            segment_vertex=segment_vertex,
            segment_begins=begins,
            segment_ends=ends,
            vertices_m=to_ecef(lonlat),
            chunk_first=chunk_first,
            chunks=STRtree(boxes),
            areas=STRtree(geometry[area_feature]),
            area_feature=area_feature,
            permitted_given=permitted_given or bool((code == names.index(PERMITTED)).any()),
        ),
        int(own.sum()),
    )


def _segments(
    geometry: NDArray[np.object_],
) -> tuple[FloatArray, IntArray, IntArray, NDArray[np.bool_], NDArray[np.bool_]]:
    """Vertices of all features, and for each segment its first vertex, its feature, and whether it is first or last.

    A point is one segment.
    """
    is_area = shapely.get_dimensions(geometry) == 2
    rings, ring_of = shapely.get_rings(geometry[is_area], return_index=True)
    lines = np.concatenate((geometry[~is_area], rings))
    feature = np.concatenate((np.flatnonzero(~is_area), np.flatnonzero(is_area)[ring_of]))
    parts, part_of = shapely.get_parts(lines, return_index=True)
    coords, owner = shapely.get_coordinates(parts, return_index=True)
    count = np.bincount(owner, minlength=len(parts))
    lone = count == 1
    coords = np.repeat(coords, np.where(lone, 2, 1)[owner], axis=0)
    count = np.where(lone, 2, count)
    part, number = expand(count - 1)
    first = np.cumsum(count) - count
    by_feature = np.argsort(feature[part_of][part], kind="stable")
    vertex, owner, last = (first[part] + number), feature[part_of][part], number == count[part] - 2
    return coords, vertex[by_feature], owner[by_feature], (number == 0)[by_feature], last[by_feature]


def _chunks(lonlat: FloatArray, vertex: IntArray, feature: IntArray) -> tuple[IntArray, NDArray[np.object_]]:
    """Cut each feature's segments into chunks and box them."""
    if len(vertex) == 0:
        return np.zeros(1, dtype=np.int64), np.empty(0, dtype=object)
    count = np.bincount(feature)
    _, number = expand(count[count > 0])
    first = np.flatnonzero(number % _CHUNK == 0)
    low = np.minimum(lonlat[vertex], lonlat[vertex + 1])
    high = np.maximum(lonlat[vertex], lonlat[vertex + 1])
    low, high = np.minimum.reduceat(low, first), np.maximum.reduceat(high, first)
    return np.append(first, len(vertex)), shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
