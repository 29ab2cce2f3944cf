"""Shapes of the map brought into the frame of a tower."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import STRtree

from layoutplan.access.frame import TangentFrame
from layoutplan.access.lattice import Geometries
from layoutplan.arrays import BoolArray, FloatArray, IntArray
from layoutplan.windows import margins_deg

_TURNS = np.array([-360.0, 0.0, 360.0])  # longitudes may be counted in any of these ways
_LEAST_POINT_M = 0.5


@dataclass(frozen=True, slots=True)
class CutShapes:
    """Shapes about a tower, in its frame and cut to a square.

    Attributes
    ----------
    row : ndarray of int, shape (n,)
        Their places in the job's table.
    shape : ndarray of Geometry, shape (n,)
        [m]
    """

    row: IntArray
    shape: Geometries

    def where(self, mask: BoolArray) -> CutShapes:
        """Return some of the shapes.

        Parameters
        ----------
        mask : ndarray of bool, shape (n,)
            Those to keep.

        Returns
        -------
        CutShapes
        """
        return CutShapes(self.row[mask], self.shape[mask])


def placed(tree: STRtree, frame: TangentFrame, half_m: float) -> CutShapes:
    """Bring what lies within a square about a tower into its frame, in the table's order.

    Parameters
    ----------
    tree : STRtree
        Of geometries in EPSG:4326.
    frame : TangentFrame
        Of the tower.
    half_m : float
        Half the side of the square. [m]

    Returns
    -------
    CutShapes
        Geometries in the tower's frame [m] and their rows.

    Examples
    --------
    Of two poles 76 m and 760 m to the east, one lies within 100 m:

    >>> poles = STRtree([shapely.Point(8.001, 47.0), shapely.Point(8.01, 47.0)])
    >>> found = placed(poles, TangentFrame.at([8.0, 47.0]), 100.0)
    >>> print(found.row, shapely.get_x(found.shape).round(1), "m")
    [0] [76.1] m
    """
    lon, lat = frame.lonlat_deg
    east, north = margins_deg(lat, half_m)
    boxes = shapely.box(lon - east + _TURNS, lat - north, lon + east + _TURNS, lat + north)
    row = np.unique(tree.query(boxes)[1])
    shapes = shapely.transform(tree.geometries[row], frame.to_xy)
    shapes = _valid(shapely.clip_by_rect(_valid(shapes), -half_m, -half_m, half_m, half_m))
    there = ~shapely.is_empty(shapes)
    return CutShapes(row[there], shapes[there])


def bodies(shapes: Geometries, width_m: FloatArray, least_m: float) -> Geometries:
    """Give points, and lines wider than ``least_m``, their width on the ground; areas and thin lines stay.

    Parameters
    ----------
    shapes : array of geometries
        In a frame of metres.
    width_m : ndarray
        Of each. [m]
    least_m : float
        Lines no wider than this stay lines. [m]

    Returns
    -------
    array of geometries

    Examples
    --------
    >>> import shapely
    >>> road = np.array([shapely.LineString([(0, 0), (100, 0)])])
    >>> print(shapely.area(bodies(road, np.array([6.0]), 1.0)).round(), "m²")
    [600.] m²
    """
    dimension = shapely.get_dimensions(shapes)
    body = shapes.copy()
    line = (dimension == 1) & (width_m > least_m)
    body[line] = shapely.buffer(shapes[line], width_m[line] / 2, quad_segs=2, cap_style="flat")
    point = dimension == 0
    body[point] = shapely.buffer(shapes[point], np.maximum(width_m[point] / 2, _LEAST_POINT_M), quad_segs=2)
    return body


def opened(blocked: Geometries, openings: Geometries, which: IntArray) -> Geometries:
    """Cut openings out of blocked shapes.

    Parameters
    ----------
    blocked : ndarray of Geometry, shape (n,)
        What nobody passes.
    openings : ndarray of Polygon, shape (m,)
        Where it can be passed.
    which : ndarray of int, shape (m,)
        The blocked shape that each opening is cut out of.

    Returns
    -------
    ndarray of Geometry, shape (n,)
        In the order of ``blocked``.

    Examples
    --------
    Two gates of 4 m in 100 m of fence:

    >>> fence, gates = shapely.linestrings([[[0, 0], [100, 0]]]), shapely.box([20, 60], -1, [24, 64], 1)
    >>> print(opened(fence, gates, np.array([0, 0]))[0].length, "m")
    92.0 m
    """
    cut = blocked.copy()
    order = np.argsort(which, kind="stable")
    which, openings = which[order], openings[order]
    rank = np.arange(len(which)) - np.searchsorted(which, which)
    for number in range(int(rank.max(initial=-1)) + 1):  # one opening of each shape at a time
        now = rank == number
        cut[which[now]] = shapely.difference(cut[which[now]], openings[now])
    return cut


def _valid(shapes: Geometries) -> Geometries:
    """Correct what became invalid by rounding or cutting."""
    bad = ~shapely.is_valid(shapes)
    if bad.any():
        shapes = shapes.copy()
        shapes[bad] = shapely.make_valid(shapes[bad], method="structure", keep_collapsed=False)
    return shapes
