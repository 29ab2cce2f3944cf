"""How often the outline of an area crosses itself: what repairing it costs, known before it is tried."""

from __future__ import annotations

import numpy as np
import shapely

from layoutplan.arrays import FloatArray
from layoutplan.inputs.door import limits_now, require_at_most
from layoutplan.inputs.geodetic import Geometries

_PAIRS_TOGETHER = 200_000  # of segments looked at in one go
_MOST_PAIRS_EACH = 5_000  # looked at for one crossing that is allowed; then it is as bad as too many crossings


def require_few_crossings(geometry: shapely.Geometry, where: str) -> None:
    """Refuse an outline that crosses itself more often than the job allows.

    Parameters
    ----------
    geometry : Geometry
        With lines or areas.
    where : str
        File, layer and feature, for the message.

    Raises
    ------
    InputError
        If there are more crossings than ``reading.max_crossings``.
    """
    found = count_crossings(geometry, limits_now().limits.max_crossings)
    what = "places where one outline crosses itself, or more"
    require_at_most(found, "max_crossings", what, where, "Redraw it")


def count_crossings(geometry: shapely.Geometry, most: int) -> int:
    """Count the places where segments of a geometry meet other than end to end, as far as ``most`` and a bit.

    Parameters
    ----------
    geometry : Geometry
        With lines or areas; two-dimensional, finite.
    most : int
        Counting stops soon beyond; few more than that mean nothing.

    Returns
    -------
    int
        0 where there are too few segments for more than ``most``.

    Examples
    --------
    >>> count_crossings(shapely.from_wkt("LINESTRING (0 0, 2 2, 2 0, 0 2)"), 2)
    1
    """
    start, end = _segments(geometry)
    number = len(start)
    if number * (number - 1) // 2 <= most:
        return 0
    lines: Geometries = np.asarray(shapely.linestrings(np.stack((start, end), axis=1)))
    tree = shapely.STRtree(lines)
    found = looked_at = 0
    together = max(1, _PAIRS_TOGETHER // number)
    for first in range(0, number, together):
        one, other = tree.query(lines[first : first + together])
        one += first
        later = other > one
        one, other = one[later], other[later]
        looked_at += len(one)
        apart = ~((start[one] == end[other]).all(axis=1) | (end[one] == start[other]).all(axis=1))
        found += int(shapely.intersects(lines[one[apart]], lines[other[apart]]).sum())
        if found > most or looked_at > _MOST_PAIRS_EACH * most:
            return max(found, most + 1)
    return found


def _segments(geometry: shapely.Geometry) -> tuple[FloatArray, FloatArray]:
    parts: Geometries = shapely.get_parts(shapely.get_parts(geometry))
    areas = shapely.get_dimensions(parts) == 2
    lines = np.concatenate((shapely.get_rings(parts[areas]), parts[shapely.get_dimensions(parts) == 1]))
    xy, line = shapely.get_coordinates(lines, return_index=True)
    same = (line[1:] == line[:-1]) & (xy[1:] != xy[:-1]).any(axis=1)
    return xy[:-1][same], xy[1:][same]
