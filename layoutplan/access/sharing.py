"""Stops that need a permission, asked for once and used by neighbouring towers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from layoutplan.access.lattice import Geometries
from layoutplan.arrays import BoolArray, FloatArray, IntArray

FREE = -1  # stands for a track: nobody has to be asked
_NO_STOP_S = 1e9  # of a tower without a free stop: any other is better
_LEAST_GAIN_S = 1e-6


@dataclass(frozen=True, slots=True)
class Stops:
    """Places to stop, one entry each; several of one tower.

    Attributes
    ----------
    tower : ndarray of int
    track : ndarray of int
        Tracks for which one asks once have one number; ``FREE`` where nobody has to be asked.
    seconds : ndarray
        On foot from the stop to the tower.
    """

    tower: IntArray
    track: IntArray
    seconds: FloatArray


def tracks_asked_for(roads: Geometries, name: NDArray[np.object_], asks: BoolArray) -> IntArray:
    """Number the roads that need one permission each: pieces of one name that meet, and unnamed ones that go on as one.

    Parameters
    ----------
    roads : ndarray of LineString, shape (r,)
        EPSG:4326.
    name : ndarray of str, shape (r,)
        Empty for unnamed ones.
    asks : ndarray of bool, shape (r,)
        Roads on which stopping or driving needs a permission.

    Returns
    -------
    ndarray of int, shape (r,)
        A number of its own for every road that needs none.

    Notes
    -----
    Where three unnamed tracks meet, each may be somebody else's (judgement).

    Examples
    --------
    Two unnamed tracks end to end are one, a third that starts elsewhere is another:

    >>> ends = [[[8.0, 47.0], [8.0, 47.1]], [[8.0, 47.1], [8.0, 47.2]], [[9.0, 47.0], [9.0, 47.1]]]
    >>> tracks_asked_for(shapely.linestrings(ends), np.full(3, ""), np.ones(3, dtype=bool))
    array([0, 0, 1])
    """
    row = np.flatnonzero(asks)
    if len(row) == 0:
        return np.arange(len(roads))
    end = np.concatenate((shapely.get_coordinates(shapely.get_point(roads[row], 0)),
                          shapely.get_coordinates(shapely.get_point(roads[row], -1))))  # fmt: skip
    owner = np.tile(row, 2)
    _, names = np.unique(name[owner].astype(str), return_inverse=True)
    _, joint, count = np.unique(
        np.column_stack((np.round(end, 7), names)), axis=0, return_inverse=True, return_counts=True
    )
    joint = joint.reshape(-1)
    meets = (count > 1) & ((count == 2) | (np.bincount(joint, name[owner] != "") > 0))
    at = meets[joint]
    first = np.full(len(count), -1)
    first[joint[::-1]] = owner[::-1]  # the first road at each joint
    links = coo_array((np.ones(int(at.sum())), (owner[at], first[joint[at]])), shape=(len(roads), len(roads)))
    return np.asarray(connected_components(links, directed=False)[1], dtype=np.int64)


def choose_stops(stops: Stops, ask_once_s: float, ask_each_s: float) -> IntArray:
    """Choose a stop for every tower so that walking and asking together take least.

    Parameters
    ----------
    stops : Stops
        Of all towers.
    ask_once_s : float
        What asking counts for a track, however many towers use it. [s]
    ask_each_s : float
        What it counts on top for every tower that uses it. [s]

    Returns
    -------
    ndarray of int
        Rows of ``stops``, one for each tower that has any, in the order of the towers.

    Notes
    -----
    Tracks are added one after the other, the one that saves most first, and given up again if others have made them
    useless, until no change saves anything. For a tower alone, a stop that needs a permission is taken if it saves more
    than both counts together. The result rests on all towers at once, not on how they are cut into sections.

    Examples
    --------
    Each tower has a free stop 900 s away and one 200 s away on a common track that needs a permission. Asking counts
    1,000 s, and 100 s for each tower: too much for one tower, but not for two.

    >>> two = Stops(np.array([0, 0, 1, 1]), np.array([FREE, 7, FREE, 7]), np.array([900.0, 200.0, 900.0, 200.0]))
    >>> one = Stops(two.tower[:2], two.track[:2], two.seconds[:2])
    >>> choose_stops(one, 1000.0, 100.0), choose_stops(two, 1000.0, 100.0)
    (array([0]), array([1, 3]))
    """
    if len(stops.tower) == 0:
        return np.zeros(0, dtype=np.int64)
    _, tower = np.unique(stops.tower, return_inverse=True)
    asks = stops.track != FREE
    cost = stops.seconds + ask_each_s * asks
    row = _soonest(stops, np.flatnonzero(asks))
    tracks, track = np.unique(stops.track[row], return_inverse=True)
    asked = np.zeros(len(tracks), dtype=bool)

    def best() -> FloatArray:
        least = np.full(int(tower.max()) + 1, _NO_STOP_S)
        on = ~asks
        on[row] = asked[track]
        np.minimum.at(least, tower[on], cost[on])
        return least

    def gain_s() -> FloatArray:
        spare = np.maximum(best()[tower[row]] - cost[row], 0.0)
        return np.where(asked, -np.inf, np.bincount(track, spare, minlength=len(tracks)) - ask_once_s)

    for _ in range(len(tracks) + 1):  # it ends much sooner; every round takes less than the one before
        while len(tracks) and (gain := gain_s()).max() > _LEAST_GAIN_S:
            asked[np.argmax(gain)] = True
        if not _give_up(asked, best, ask_once_s):
            break
    on = ~asks
    on[row] = asked[track]
    on |= ~np.isin(tower, tower[on])  # a tower without a free stop asks for what it needs
    kept = np.flatnonzero(on)
    order = kept[np.lexsort((stops.track[kept], cost[kept], tower[kept]))]
    return np.asarray(order[np.r_[True, np.diff(tower[order]) > 0]])


def _soonest(stops: Stops, rows: IntArray) -> IntArray:
    """Of some stops the soonest of each tower on each track: what the others would save is not saved twice."""
    order = rows[np.lexsort((rows, stops.seconds[rows], stops.track[rows], stops.tower[rows]))]
    key = np.column_stack((stops.tower[order], stops.track[order]))
    return np.asarray(order[np.r_[True, (np.diff(key, axis=0) != 0).any(axis=1)][: len(order)]])


def _give_up(asked: BoolArray, best: Callable[[], FloatArray], ask_once_s: float) -> bool:
    """Give up tracks that others have made useless, in place; return whether there were any."""
    before = asked.copy()
    for one in np.flatnonzero(asked).tolist():
        with_it = best()
        asked[one] = False
        if (best() - with_it).sum() >= ask_once_s - _LEAST_GAIN_S:
            asked[one] = True
    return bool((asked != before).any())


def shared_words(towers: Sequence[tuple[str, str]]) -> str:
    """Name the towers, given by line and id, that a permission serves; the lines are named where there are several.

    Parameters
    ----------
    towers : sequence of (str, str)
        Line and id of each.

    Returns
    -------
    str
        For people to read.

    Examples
    --------
    >>> shared_words([("a", "1"), ("a", "2")])
    'asked once for towers 1, 2'
    >>> shared_words([("a", "1"), ("b", "2")])
    "asked once for towers 1 of line 'a', 2 of line 'b'"
    """
    one_line = len({line for line, _ in towers}) == 1
    names = [tower if one_line else f"{tower} of line '{line}'" for line, tower in towers]
    shown = ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")
    return f"asked once for towers {shown}"
