"""What a way on foot meets, in order, in words."""

from __future__ import annotations

import numpy as np
import shapely

from layoutplan.access.cost import CostWindow
from layoutplan.access.drop_off import met
from layoutplan.access.ground import FENCE, NO_ENTRY
from layoutplan.access.placed import CutShapes, bodies, placed
from layoutplan.arrays import FloatArray, IntArray
from layoutplan.job.classes import ROADS

STEEP = "ground too steep to walk"
LOCKED_GATE = "a locked or private gate"
OUT_OF_BOUNDS = "ground outside the permitted land"
_TOUCH_M = 1e-3  # a barrier met at its very end is met, too


def way_crossings(window: CostWindow, line: shapely.LineString) -> tuple[str, ...]:
    """Return what a way crosses in order, by class and name, without the road it begins on.

    Woods, crops, cables and what hangs overhead are left out, and land on which one must ask: see :func:`to_ask`.

    Parameters
    ----------
    window : CostWindow
        The lattice about a tower and what walking costs there.
    line : LineString
        The way, in the tower's frame. [m]

    Returns
    -------
    tuple of str
        For people to read.
    """
    rows = window.features.row
    width_m = window.ground.width_m
    seen = window.features.where(window.ground.listed[rows] & ~window.ground.ask[rows])
    near = shapely.distance(seen.shape, line) <= np.fmax(width_m[seen.row], 0.0) / 2 + window.cell_m
    seen = seen.where(near)  # bodies are dear
    body = CutShapes(seen.row, bodies(seen.shape, width_m[seen.row], 0.0))
    row, first_m = _in_order(body, line)
    at_road = np.isin(window.ground.feature_class[row], list(ROADS)) & (first_m <= window.cell_m)
    return _names(window, row[~at_road])


def barring(window: CostWindow, line: shapely.LineString) -> tuple[str, ...]:
    """Name what a forced way breaks through, in order; if it only squeezes past, what leaves it less than a cell.

    Parameters
    ----------
    window : CostWindow
        The lattice about a tower and what walking costs there.
    line : LineString
        The forced way, in the tower's frame. [m]

    Returns
    -------
    tuple of str
        For people to read.
    """
    steep = (STEEP,) if window.steep[_cells_along(window, line)].any() else ()
    for within_m in (_TOUCH_M, window.cell_m):
        row, _ = _in_order(window.barriers, line, within_m)
        if len(row) or steep:
            break
    return _names(window, row) + steep


def to_ask(window: CostWindow, places: IntArray, line: shapely.LineString) -> tuple[str, ...]:
    """Name the land that a way, a line through some places, must not cross without a permission.

    Parameters
    ----------
    window : CostWindow
        The lattice about a tower and what walking costs there.
    places : ndarray of int
        Cells of the way.
    line : LineString
        The same way, in the tower's frame. [m]

    Returns
    -------
    tuple of str
        For people to read.
    """
    land = _asked_at(window, places), _names(window, _strips(window, line))
    return tuple(dict.fromkeys((*land[0], *land[1], *_locked(window, line))))


def _asked_at(window: CostWindow, places: IntArray) -> tuple[str, ...]:
    ask = window.ask.reshape(-1)[places]
    if not ask.any():
        return ()
    rows = window.features.row
    land = window.features.where(window.ground.ask[rows])
    drawn_m = np.maximum(window.ground.width_m[land.row], 1.5 * window.cell_m)  # lines mark the places beside them
    point = np.asarray(shapely.points(window.places_m(places[ask])))
    pair_point, pair_land = met(point, bodies(land.shape, drawn_m, 0.0))
    order = np.argsort(pair_point, kind="stable")
    outside = () if len(np.unique(pair_point)) == len(point) else (OUT_OF_BOUNDS,)
    return _names(window, land.row[pair_land[order]]) + outside


def _locked(window: CostWindow, line: shapely.LineString) -> tuple[str, ...]:
    """Name a locked gate through which a way passes a fence."""
    ground, cell_m = window.ground, window.cell_m
    fences = window.features.where(ground.feature_class[window.features.row] == FENCE)
    passed = fences.where(shapely.intersects(fences.shape, line)).shape
    if len(passed) == 0:
        return ()
    gates = placed(ground.gate_tree, window.frame, window.half_m)
    gate = shapely.union_all(gates.shape[ground.is_locked[gates.row]])
    at = shapely.intersection(passed[shapely.dwithin(passed, gate, cell_m)], line)
    return (LOCKED_GATE,) if shapely.dwithin(at, gate, 1.5 * cell_m).any() else ()


def _strips(window: CostWindow, line: shapely.LineString) -> IntArray:
    """Rows of areas to ask about that a way cuts through, although they may lie between its places.

    What a way only clips, as it keeps along the edge, is less than a cell and left out.
    """
    ground, rows = window.ground, window.features.row
    land = window.features.where(ground.ask[rows] & (shapely.get_dimensions(window.features.shape) == 2))
    land = land.where(shapely.intersects(land.shape, line))
    if len(land.row) == 0:
        return land.row
    public = window.roads.where(ground.is_open[window.roads.row] & ~ground.is_private[window.roads.row])
    near = public.shape[shapely.dwithin(public.shape, line, window.cell_m)]
    off_road = shapely.difference(line, shapely.buffer(shapely.union_all(near), window.cell_m))
    cut = [
        _is_cut(shape, line if kind == NO_ENTRY else off_road, window.cell_m)
        for shape, kind in zip(land.shape, ground.feature_class[land.row], strict=True)
    ]
    return land.row[np.array(cut, dtype=bool)]


def _is_cut(area: shapely.Geometry, line: shapely.Geometry, cell_m: float) -> bool:
    """Whether a line cuts an area into more parts larger than a cell than it had."""
    edges = shapely.node(shapely.union_all([shapely.boundary(area), line]))
    parts = shapely.get_parts(shapely.polygonize(shapely.get_parts(edges)))
    inner = parts[shapely.contains(area, shapely.point_on_surface(parts))]
    large = [int((shapely.area(found) > cell_m**2).sum()) for found in (shapely.get_parts(area), inner)]
    return large[1] > large[0]


def _cells_along(window: CostWindow, line: shapely.LineString) -> tuple[IntArray, IntArray]:
    """Rows and columns of the cells that a line passes through."""
    points = shapely.get_coordinates(shapely.segmentize(line, window.cell_m / 4))
    col, row = np.clip(np.rint((points + window.half_m) / window.cell_m).astype(np.int64), 0, window.size - 1).T
    return row, col


def _in_order(shapes: CutShapes, line: shapely.LineString, within_m: float = _TOUCH_M) -> tuple[IntArray, FloatArray]:
    """Rows of the shapes that a line meets or comes near, and where it first does so, in this order. [m]."""
    way = shapely.buffer(line, within_m, quad_segs=1)
    hit = shapely.intersects(shapes.shape, way)
    pieces = shapely.intersection(shapes.shape[hit], way)
    coords, owner = shapely.get_coordinates(pieces, return_index=True)
    first_m = np.full(len(pieces), np.inf)
    np.minimum.at(first_m, owner, shapely.line_locate_point(line, shapely.points(coords)))
    order = np.argsort(first_m, kind="stable")
    return shapes.row[hit][order], first_m[order]


def _names(window: CostWindow, rows: IntArray) -> tuple[str, ...]:
    """Words for features, each once."""
    return tuple(dict.fromkeys(window.ground.label[rows].tolist()))
