"""The sea, from coastlines: land lies to the left of each way and water to its right, as OpenStreetMap draws them.

Source: https://wiki.openstreetmap.org/wiki/Tag:natural=coastline ("land is on the left side and water on the right").

The coastlines cut the ground that matters into faces. What lies to the right of all coastlines on its edge is sea; what
lies to the left of all is land. Where a face has both, or a coastline ends within it (a way is missing or was cut), the
map does not show: such ground is neither.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from layoutplan.arrays import FloatArray
from layoutplan.inputs.geodetic import Geometries
from layoutplan.job.classes import the
from layoutplan.job.roles import Role

_SAME_DEG = 1e-8  # a millimetre: an edge this near to a coastline is part of it
_MEETS_DEG = 1e-7  # a centimetre: OpenStreetMap counts in these
_TO_EDGE_DEG = 0.005  # some 500 m: an end so near to where the extract ends was cut there (judgement)
_FAR_DEG = 0.05  # some 5 km: no line stands so far out, so ground without a coastline so near is land (judgement)
LAND, WATER, UNCLEAR = 0, 1, 2
SEA_CLASS = the(Role.SEA)


@dataclass(frozen=True, slots=True)
class Sea:
    """What coastlines make of the ground.

    Attributes
    ----------
    water, unclear : ndarray of Polygon
        Sea, and ground of which the coastlines do not tell whether it is; disjoint.
    loose_deg : ndarray, shape (n, 2)
        Ends of coastlines within the ground, where they should go on.
    """

    water: Geometries
    unclear: Geometries
    loose_deg: FloatArray


def sea(coastlines: Geometries, ground: Sequence[shapely.Polygon], extents: Sequence[shapely.Polygon]) -> Sea:
    """Make areas of coastlines.

    Parameters
    ----------
    coastlines : ndarray of LineString
        In the direction of their ways, land on their left; longitudes as those of ``ground``.
    ground : sequence of Polygon
        What matters; may overlap. [deg]
    extents : sequence of Polygon
        Where the map declares to reach; none if it declares nothing. Beyond, nothing is made of anything.

    Returns
    -------
    Sea
        Areas of water, areas that may be either, and ends of coastlines that should go on.

    Examples
    --------
    A coast that runs north has its land to the west and the sea to the east:

    >>> coast = np.array([shapely.LineString([(8.05, 46.0), (8.05, 48.0)])])
    >>> found = sea(coast, [shapely.box(8.0, 47.0, 8.1, 47.1)], [])
    >>> print(shapely.union_all(found.water).bounds, len(found.unclear))
    (8.05, 47.0, 8.1, 47.1) 0
    """
    lines = _distinct(coastlines)
    nothing = np.empty(0, dtype=object)
    if len(lines) == 0:
        return Sea(nothing, nothing, np.empty((0, 2)))
    area = shapely.union_all(np.array(ground, dtype=object))
    reach = shapely.union_all(np.array(extents, dtype=object)) if extents else None
    if reach is not None:
        area = shapely.intersection(area, reach)
    made = [_within(part, lines, reach) for part in shapely.get_parts(area) if shapely.get_dimensions(part) == 2]
    if not made:
        return Sea(nothing, nothing, np.empty((0, 2)))
    faces = np.concatenate([faces for faces, _, _ in made])
    verdict = np.concatenate([verdict for _, verdict, _ in made])
    loose = np.concatenate([ends for _, _, ends in made])
    return Sea(_merged(faces[verdict == WATER]), _merged(faces[verdict == UNCLEAR]), loose)


def _distinct(coastlines: Geometries) -> Geometries:
    """Coastlines with a length, each once: files put together hold some of them twice."""
    lines = coastlines[shapely.length(coastlines) > 0.0]
    if len(lines) == 0:
        return lines
    _, first = np.unique(shapely.to_wkb(lines), return_index=True)
    merged = shapely.line_merge(shapely.multilinestrings(list(lines[np.sort(first)])), directed=True)
    return np.asarray(shapely.get_parts(merged), dtype=object)


def _merged(faces: Geometries) -> Geometries:
    parts = shapely.get_parts(shapely.union_all(faces))
    return np.asarray(parts[shapely.get_dimensions(parts) == 2], dtype=object)


def _within(
    area: shapely.Polygon, coastlines: Geometries, reach: shapely.Geometry | None
) -> tuple[Geometries, NDArray[np.int64], FloatArray]:
    """Faces of one piece of ground, what each is, and the loose ends in it."""
    tree = STRtree(coastlines)
    near = np.unique(tree.query(area, predicate="intersects"))
    if len(near) == 0:
        side = _side_of_nearest(area, coastlines)
        return np.array([area], dtype=object), np.array([side]), np.empty((0, 2))
    lines = coastlines[near]
    loose, closing = _loose_ends(area, coastlines, reach)
    edges = [shapely.intersection(shapely.union_all(lines), area), shapely.boundary(area), *closing]
    faces = np.asarray(shapely.get_parts(shapely.polygonize(shapely.get_parts(shapely.union_all(edges)))), dtype=object)
    left, right = _sides(faces, lines)
    verdict = np.select([(left > 0) & (right > 0), right > 0, left > 0], [UNCLEAR, WATER, LAND], UNCLEAR)
    verdict = np.where(_holds(faces, loose), UNCLEAR, verdict)
    return faces, _lone_rings(faces, verdict, lines, left, right), loose


def _loose_ends(
    area: shapely.Polygon, coastlines: Geometries, reach: shapely.Geometry | None
) -> tuple[FloatArray, list[shapely.LineString]]:
    """Ends of coastlines that lie in the area and meet no other; and those near the extract's edge, drawn on to it."""
    ends = shapely.get_coordinates(coastlines)[_first_and_last(coastlines)]
    joined = np.bincount(_groups(ends)) == 1
    lone = ends[joined[_groups(ends)]]
    lone = lone[shapely.contains_xy(area, lone[:, 0], lone[:, 1])]
    if reach is None or len(lone) == 0:
        return lone, []
    edge: Any = shapely.boundary(reach)
    points = np.asarray(shapely.points(lone), dtype=object)
    cut = shapely.distance(points, edge) <= _TO_EDGE_DEG
    ends_on = [edge.interpolate(edge.project(point)) for point in points[cut]]
    drawn = [shapely.LineString([point, end]) for point, end in zip(points[cut], ends_on, strict=True)]
    return lone[~cut], drawn


def _first_and_last(lines: Geometries) -> NDArray[np.int64]:
    count = shapely.get_num_coordinates(lines)
    last = np.cumsum(count) - 1
    return np.concatenate((last - count + 1, last))


def _groups(places: FloatArray) -> NDArray[np.int64]:
    """Number of the place each point is at, those within a few centimetres together."""
    _, group = np.unique(np.round(places / _MEETS_DEG).astype(np.int64), axis=0, return_inverse=True)
    return np.asarray(group.reshape(-1))


def _holds(faces: Geometries, points_deg: FloatArray) -> NDArray[np.bool_]:
    found = np.zeros(len(faces), dtype=bool)
    if len(points_deg):
        found[STRtree(faces).query(shapely.points(points_deg), predicate="intersects")[1]] = True
    return found


def _sides(faces: Geometries, coastlines: Geometries) -> tuple[FloatArray, FloatArray]:
    """Length of the coastline on each face's edge that has the face to its left, and to its right. [deg]."""
    rings, owner = shapely.get_rings(shapely.orient_polygons(faces), return_index=True)  # a face lies left of its rings
    coords, ring = shapely.get_coordinates(rings, return_index=True)
    first = np.flatnonzero(ring[1:] == ring[:-1])
    start, end, face = coords[first], coords[first + 1], owner[ring[first]]
    pieces, piece_start, piece_end = _segments(coastlines)
    middle = shapely.points((start + end) / 2.0)
    pair, segment = STRtree(pieces).query(middle, predicate="dwithin", distance=_SAME_DEG)
    along = end[pair] - start[pair]
    agrees = np.einsum("ij,ij->i", along, piece_end[segment] - piece_start[segment]) > 0.0
    length = np.hypot(*along.T)
    count = len(faces)
    left = np.bincount(face[pair], np.where(agrees, length, 0.0), minlength=count)
    right = np.bincount(face[pair], np.where(agrees, 0.0, length), minlength=count)
    return np.asarray(left, dtype=float), np.asarray(right, dtype=float)


def _segments(lines: Geometries) -> tuple[Geometries, FloatArray, FloatArray]:
    coords, line = shapely.get_coordinates(lines, return_index=True)
    first = np.flatnonzero((line[1:] == line[:-1]) & (coords[1:] != coords[:-1]).any(axis=1))
    start, end = coords[first], coords[first + 1]
    return np.asarray(shapely.linestrings(np.stack((start, end), axis=1)), dtype=object), start, end


def _lone_rings(
    faces: Geometries, verdict: NDArray[np.int64], coastlines: Geometries, left: FloatArray, right: FloatArray
) -> NDArray[np.int64]:
    """Doubt a closed coastline with water inside that no other coastline speaks for.

    It may be a lagoon, or an island that is drawn the wrong way round.
    """
    closed = coastlines[shapely.is_closed(coastlines)]
    inwards = closed[~shapely.is_ccw(closed)] if len(closed) else closed
    if len(inwards) == 0:
        return verdict
    out = verdict.copy()
    tree = STRtree(faces)
    for line, length in zip(inwards, shapely.length(inwards), strict=True):
        ring = shapely.Polygon(line)
        beside = np.unique(tree.query(shapely.boundary(ring), predicate="intersects"))
        outer = [face for face in beside if not shapely.covers(ring, faces[face])]
        others = sum(left[face] + right[face] for face in outer) - length
        if others <= _SAME_DEG:
            out[beside] = UNCLEAR
    return out


def _side_of_nearest(area: shapely.Polygon, coastlines: Geometries) -> int:
    """Land or water, by the coastline nearest to an area that none crosses."""
    pieces, start, end = _segments(coastlines)
    point = shapely.point_on_surface(area)
    near = STRtree(pieces).query_nearest(point, max_distance=_FAR_DEG, all_matches=True)
    if len(near) == 0:
        return LAND
    place = shapely.get_coordinates(point)[0]
    squeeze = np.array([np.cos(np.radians(place[1])), 1.0])
    along, towards = (end[near] - start[near]) * squeeze, (place - start[near]) * squeeze
    size = np.einsum("ij,ij->i", along, along)
    share = np.einsum("ij,ij->i", towards, along) / size
    if len(near) == 1 and not 0.0 < share[0] < 1.0:
        return UNCLEAR  # nearest is where a coastline ends
    off = towards - np.clip(share, 0.0, 1.0)[:, None] * along
    turn = (along[:, 0] * off[:, 1] - along[:, 1] * off[:, 0]) / np.sqrt(size)  # at a bend both its sides count
    return LAND if turn.sum() > 0.0 else WATER
