"""Open roads that one only gets to over roads that need a permission: the yard road behind the locked gate."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from shapely import STRtree

from layoutplan.job.access import NO_STOPPING, OPEN
from layoutplan.job.classes import ROADS
from layoutplan.job.roles import Road

_JOINED_DEG = 1e-6  # about a decimetre: ends of roads that are drawn to meet
_SHORT_M = 2000.0  # a net of open roads longer than this is taken to lead somewhere (judgement)
_METRES_PER_DEGREE = 111_200.0


def enclosed(
    roads: NDArray[np.object_], vehicle: NDArray[np.object_], road_class: NDArray[np.object_]
) -> NDArray[np.bool_]:
    """Mark open roads of small nets that are joined to the other roads only by such as need a permission.

    Parameters
    ----------
    roads : ndarray of LineString, shape (n,)
        EPSG:4326.
    vehicle : ndarray of str, shape (n,)
        ``"yes"`` marks the open ones; those where one may only not stop are open, too.
    road_class : ndarray of str, shape (n,)
        As in the obstacle classes.

    Returns
    -------
    ndarray of bool, shape (n,)
        A net is two kilometres long at most, holds no main road, and joins a road that is not open. One that joins
        nothing at all may be cut off by the map's edge or drawn carelessly: it stays open.

    Examples
    --------
    A lane of 220 m behind a gated one, and a lane that nothing joins:

    >>> import shapely
    >>> ends = [[[8.0, 47.0], [8.0, 47.002]], [[8.0, 47.002], [8.0, 47.004]], [[8.1, 47.0], [8.1, 47.01]]]
    >>> enclosed(shapely.linestrings(ends), np.array(["permit", "yes", "yes"]), np.array(["minor_road"] * 3))
    array([False,  True, False])
    """
    count = len(roads)
    is_open = np.isin(vehicle, [OPEN, NO_STOPPING])
    if not is_open.any() or is_open.all():
        return np.zeros(count, dtype=bool)
    one, other = _joints(roads)
    both = is_open[one] & is_open[other]
    links = coo_array((np.ones(int(both.sum())), (one[both], other[both])), shape=(count, count))
    number, net = connected_components(links, directed=False)
    length_m = np.bincount(net, np.where(is_open, _lengths_m(roads), 0.0), minlength=number)
    is_main = np.array([ROADS.get(name) == Road.MAIN for name in road_class], dtype=bool)
    has_main = np.bincount(net, is_open & is_main, minlength=number) > 0
    shut = is_open[one] != is_open[other]
    hangs = np.bincount(net[np.where(is_open[one], one, other)[shut]], minlength=number) > 0
    return np.asarray(is_open & (hangs & ~has_main & (length_m <= _SHORT_M))[net])


def _joints(roads: NDArray[np.object_]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Pairs of roads of which one ends on the other; a bridge does not join the road below it."""
    ends = np.concatenate((shapely.get_point(roads, 0), shapely.get_point(roads, -1)))
    end, other = STRtree(roads).query(ends, predicate="dwithin", distance=_JOINED_DEG)
    one = end % len(roads)
    apart = one != other
    return one[apart], other[apart]


def _lengths_m(roads: NDArray[np.object_]) -> NDArray[np.float64]:
    """Lengths to a per cent or two, which is enough for a limit that is judgement. [m]."""
    points, row = shapely.get_coordinates(roads, return_index=True)
    step = np.diff(points, axis=0) * np.column_stack((np.cos(np.radians(points[1:, 1])), np.ones(len(points) - 1)))
    same = row[1:] == row[:-1]
    length = np.bincount(row[1:][same], np.hypot(*step[same].T), minlength=len(roads))
    return np.asarray(length * _METRES_PER_DEGREE, dtype=np.float64)
