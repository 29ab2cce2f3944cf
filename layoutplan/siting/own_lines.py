"""Mapped power lines that are the planned lines themselves must not stand in their own way."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from layoutplan.line.geodesy import FloatArray
from layoutplan.line.model import Spans
from layoutplan.siting.ragged import IntArray

SAME_LINE_M = 10.0  # a mapped segment that keeps this close to a planned span is the planned line (judgement)


def on_planned_line(
    lonlat_deg: FloatArray, vertex: IntArray, candidate: NDArray[np.bool_], spans: Spans
) -> NDArray[np.bool_]:
    """Mark the candidate segments of which both ends and the middle lie on a planned span.

    Parameters
    ----------
    lonlat_deg : ndarray, shape (n, 2)
    vertex : ndarray of int, shape (m,)
        First vertex of each segment.
    candidate : ndarray of bool, shape (m,)
        Segments of mapped power lines.
    spans : Spans
    """
    own = np.zeros(len(vertex), dtype=bool)
    rows = np.flatnonzero(candidate)
    if len(rows) == 0 or len(spans) == 0:
        return own
    to_m = np.array([111_320.0 * np.cos(np.radians(spans.start_deg[:, 1].mean())), 110_574.0])
    axes = shapely.linestrings(np.stack((spans.start_deg, spans.end_deg), axis=1) * to_m)
    start, end = lonlat_deg[vertex[rows]] * to_m, lonlat_deg[vertex[rows] + 1] * to_m
    tree = STRtree(axes)
    hit = np.ones(len(rows), dtype=bool)
    for points in (start, end, (start + end) / 2):
        index, _ = tree.query(shapely.points(points), predicate="dwithin", distance=SAME_LINE_M)
        hit &= np.isin(np.arange(len(rows)), index)
    own[rows] = hit
    return own
