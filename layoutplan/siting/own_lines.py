"""Mapped power lines that are the planned lines themselves must not stand in their own way."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.line.model import Spans
from layoutplan.siting.capsule import segment_distance

SAME_LINE_M = 10.0  # a mapped segment that keeps this close to a planned span is the planned line (judgement)


def on_planned_line(
    lonlat_deg: FloatArray, vertex: IntArray, candidate: NDArray[np.bool_], spans: Spans
) -> NDArray[np.bool_]:
    """Mark the candidate segments of which both ends and the middle lie on a planned span.

    Parameters
    ----------
    lonlat_deg : ndarray, shape (n, 2)
        Vertices. [deg]
    vertex : ndarray of int, shape (m,)
        First vertex of each segment.
    candidate : ndarray of bool, shape (m,)
        Segments of mapped power lines.
    spans : Spans
        Of the planned lines.

    Returns
    -------
    ndarray of bool, shape (m,)
        True where the segment keeps within 10 m of one span, or of several.
    """
    own = np.zeros(len(vertex), dtype=bool)
    rows = np.flatnonzero(candidate)
    if len(rows) == 0 or len(spans) == 0:
        return own
    begin, finish = spans.start_deg, spans.end_deg
    tree = STRtree(np.asarray(shapely.linestrings(np.stack((begin, finish), axis=1)), dtype=object))
    start, end = lonlat_deg[vertex[rows]], lonlat_deg[vertex[rows] + 1]
    hit = np.ones(len(rows), dtype=bool)
    for points in (start, end, (start + end) / 2):
        shrink = np.cos(np.radians(points[:, 1]))
        around_deg = SAME_LINE_M / 110_000.0 / shrink
        index, span = tree.query(shapely.points(points), predicate="dwithin", distance=around_deg)
        to_m = np.column_stack((111_320.0 * shrink, np.full(len(points), 110_574.0)))[index]
        away = segment_distance(points[index] * to_m, begin[span] * to_m, finish[span] * to_m)
        hit &= np.isin(np.arange(len(rows)), index[away <= SAME_LINE_M])
    own[rows] = hit
    return own
