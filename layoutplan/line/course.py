"""One line put in order: where each tower stands along the centreline, and the axis between neighbours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString

from layoutplan.arrays import FloatArray
from layoutplan.errors import LineError
from layoutplan.inputs.model import LineInput
from layoutplan.line.geodesy import GEOD, inverse
from layoutplan.line.order import order_problems, span_list

BEND_M = 5.0  # a centreline vertex further off the straight span than this is taken for a bend (judgement)
TAIL_M = 5.0  # a centreline going on further than this beyond the last tower is taken for a further span (judgement)
OWN_M = 15.0  # a vertex this near to a tower is the tower, drawn less well: no span bends so near to it (judgement)
_AT_TOWER = 1e-6  # fraction of a segment within which a tower stands at the vertex


@dataclass(frozen=True, slots=True)
class OrderedLine:
    """A line in order.

    Attributes
    ----------
    rows : ndarray of int
        Rows of the tower table in line order.
    chainage_m, offset_m : ndarray
        Along and off the centreline, in line order; offsets are 0 where the centreline runs through the towers.
    axes : list of ndarray, shape (k, 2)
        Longitude and latitude of the axis before the first tower, between neighbours, and behind the last one: one
        more than there are towers; the first and last may hold a single point (the line ends at the tower).
    problems : tuple of str
    """

    rows: np.ndarray
    chainage_m: FloatArray
    offset_m: FloatArray
    axes: list[FloatArray]
    problems: tuple[str, ...]


def order_line(source: LineInput) -> OrderedLine:
    """Put the towers of one line in order and lay its axis through them.

    Parameters
    ----------
    source : LineInput
        The line as it was read: towers, and a centreline if there is one.

    Returns
    -------
    OrderedLine
        Rows in line order, chainages and offsets [m], axes between the towers [deg].

    Raises
    ------
    LineError
        If there are fewer than two towers, the centreline is in pieces, a tower is too far off it, or rows are plainly
        out of order.
    """
    if len(source.towers) < 2:
        raise LineError(
            f"{source.source}: line '{source.line.id}' has {len(source.towers)} tower(s); a line needs two or more to "
            "have a direction. Check the file, its layer and its filter."
        )
    if source.course:
        return _along_centreline(source, _one_piece(source))
    return _through_towers(source)


def _lonlat(source: LineInput) -> FloatArray:
    return np.asarray(shapely.get_coordinates(source.towers.geometry.to_numpy()), dtype=float)


def _one_piece(source: LineInput) -> LineString:
    merged = shapely.line_merge(shapely.union_all(list(source.course))) if len(source.course) > 1 else source.course[0]
    if merged.geom_type != "LineString":
        raise LineError(
            f"{source.source}: the centreline of line '{source.line.id}' is in {len(shapely.get_parts(merged))} pieces "
            "that do not join end to end. Join them, or give each its own [[lines]]."
        )
    return merged


def _through_towers(source: LineInput) -> OrderedLine:
    lonlat = _lonlat(source)
    given = source.towers["order"].to_numpy(dtype=float)
    rows = np.arange(len(lonlat)) if np.isnan(given).all() else np.argsort(given, kind="stable")
    points = lonlat[rows]
    _, length = inverse(points[:-1], points[1:])
    problems = order_problems(source, rows, points)
    axes = [points[:1], *np.stack((points[:-1], points[1:]), axis=1), points[-1:]]
    chainage = np.concatenate(([0.0], np.cumsum(length)))
    return OrderedLine(rows, chainage, np.zeros(len(points)), axes, problems)


def _along_centreline(source: LineInput, line: LineString) -> OrderedLine:
    lonlat = _lonlat(source)
    vertices = shapely.get_coordinates(line)
    given = source.towers["order"].to_numpy(dtype=float)
    at, foot = _locate(vertices, lonlat)
    if not np.isnan(given).all() and _falls(at[np.argsort(given, kind="stable")]):
        vertices = vertices[::-1]
        at, foot = _locate(vertices, lonlat)
    _, offset = inverse(lonlat, foot)
    _check_offsets(source, offset)
    rows = np.argsort(at, kind="stable")
    points, at = lonlat[rows], at[rows]
    problems = [*_order_problems(source, rows, given), *order_problems(source, rows, points)]
    _, steps = inverse(vertices[:-1], vertices[1:])
    along = np.concatenate(([0.0], np.cumsum(steps)))
    chainage = np.interp(at, np.arange(len(vertices)), along)
    axes, bends = _axes(points, at, vertices, along, chainage, points - foot[rows])
    problems += _aside_problems(source, offset)
    if bends:
        names = source.towers["tower_id"].to_numpy()[rows]
        where = span_list(names, np.diff(chainage), bends)
        problems.append(
            f"line '{source.line.id}': the centreline bends between towers in {len(bends)} span(s), {where}: a tower "
            "may be missing there; the bent course is used"
        )
    return OrderedLine(rows, chainage, offset[rows], axes, tuple(problems))


def _locate(vertices: FloatArray, points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Place of each point along the vertices (vertex index with fraction), and the foot of its perpendicular."""
    lat = np.radians(points[:, 1].mean())
    # a degree of longitude in degrees of latitude, both as long as they are on the ellipsoid
    stretch = np.array([np.cos(lat) * (1 - GEOD.es * np.sin(lat) ** 2) / (1 - GEOD.es), 1.0])
    flat = LineString(vertices * stretch)
    along = shapely.line_locate_point(flat, shapely.points(points * stretch))
    foot = shapely.get_coordinates(shapely.line_interpolate_point(flat, along)) / stretch
    lengths = np.hypot(*np.diff(vertices * stretch, axis=0).T)
    knots = np.concatenate(([0.0], np.cumsum(lengths)))
    return np.interp(along, knots, np.arange(len(vertices), dtype=float)), foot


def _falls(at: FloatArray) -> bool:
    return bool(np.sum(np.sign(np.diff(at))) < 0)


def _check_offsets(source: LineInput, offset_m: FloatArray) -> None:
    far = np.flatnonzero(offset_m > source.line.offset_tolerance_m)
    if len(far):
        worst = far[np.argmax(offset_m[far])]
        name = source.towers["tower_id"].iloc[int(worst)]
        raise LineError(
            f"{source.source}: {len(far)} tower(s) of line '{source.line.id}' stand off the centreline by more than "
            f"offset_tolerance_m = {source.line.offset_tolerance_m:g} m, worst is tower {name} with "
            f"{offset_m[worst]:,.0f} m. Check that towers and centreline belong together and that longitude and "
            "latitude are not swapped; or raise the tolerance."
        )


def _order_problems(source: LineInput, rows: np.ndarray, given: FloatArray) -> list[str]:
    stated = np.argsort(given, kind="stable") if not np.isnan(given).all() else None
    if stated is not None and not np.array_equal(stated, rows):
        return [f"line '{source.line.id}': order_column disagrees with the centreline; the centreline's order is used"]
    if stated is None and not source.in_order and not np.array_equal(rows, np.arange(len(rows))):
        return [f"line '{source.line.id}': the rows were not in line order; they were sorted along the centreline"]
    return []


def _aside_problems(source: LineInput, offset_m: FloatArray) -> list[str]:
    if (far := float(offset_m.max())) <= BEND_M:
        return []
    name = source.towers["tower_id"].iloc[int(np.argmax(offset_m))]
    return [
        f"line '{source.line.id}': towers stand up to {far:.0f} m off the centreline (tower {name}); spans run through "
        "the towers. Check that towers and centreline are of one line and one datum"
    ]


def _axes(
    points: FloatArray,
    at: FloatArray,
    vertices: FloatArray,
    along_m: FloatArray,
    chainage_m: FloatArray,
    aside: FloatArray,
) -> tuple[list[FloatArray], list[int]]:
    """Axis before, between and behind the towers; and the spans (by their first tower) that bend on the way.

    The centreline is moved to the towers first, so that one that runs beside them does not zigzag between both.

    Parameters
    ----------
    points, at, chainage_m, aside
        Of the towers in order: places, places along the vertices, distances along the line, and how far they are from
        their feet. [deg, -, m, deg]
    vertices, along_m
        Of the centreline, and how far along it they are. [deg, m]
    """
    # a vertex that is the tower itself belongs neither before nor behind it
    first = np.ceil(at - _AT_TOWER).astype(int)
    after = np.floor(at + _AT_TOWER).astype(int) + 1
    _, aside_m = inverse(points, points - aside)
    head = np.vstack((vertices[: first[0]] + aside[0], points[:1]))
    tail = np.vstack((points[-1:], vertices[after[-1] :] + aside[-1]))
    axes, bends = [_tail(head[::-1], aside_m[0])[::-1]], []
    for i in range(len(points) - 1):
        rows = np.arange(after[i], first[i + 1])
        share = ((along_m[rows] - chainage_m[i]) / (chainage_m[i + 1] - chainage_m[i]))[:, None]
        between = vertices[rows] + aside[i] * (1 - share) + aside[i + 1] * share
        own = _beside(between, points[i], aside_m[i]) | _beside(between, points[i + 1], aside_m[i + 1])
        bend = between[~own & (_off_chord_m(between, points[i], points[i + 1]) > BEND_M)]
        if len(bend):
            bends.append(i)
        axes.append(np.vstack((points[i], bend, points[i + 1])))
    axes.append(_tail(tail, aside_m[-1]))
    return axes, bends


def _beside(vertices: FloatArray, tower: FloatArray, aside_m: float) -> np.ndarray:
    """Vertices that stand for a tower: near to it, or not much farther than it stands aside."""
    _, away = inverse(vertices, np.broadcast_to(tower, vertices.shape))
    return np.asarray(away <= max(OWN_M, 2 * aside_m))


def _tail(axis: FloatArray, aside_m: float) -> FloatArray:
    """Keep what goes on beyond the tower only if it goes on far enough; vertices beside the tower are dropped."""
    _, away = inverse(np.broadcast_to(axis[0], axis.shape), axis)
    keep = away > max(TAIL_M, 2 * aside_m)
    keep[0] = True
    return axis[keep]


def _off_chord_m(points: FloatArray, start: FloatArray, end: FloatArray) -> FloatArray:
    """Distance of points from the straight span, in metres, flat about its start."""
    if len(points) == 0:
        return np.zeros(0)
    to_m = np.array([111_320.0 * np.cos(np.radians(start[1])), 111_320.0])
    chord = LineString(np.array([start, end]) * to_m)
    return np.asarray(shapely.distance(chord, shapely.points(points * to_m)))
