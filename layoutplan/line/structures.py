"""Which towers of several lines are one structure. Everything that needs to know asks here."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree

from layoutplan.arrays import FloatArray, IntArray, StrArray
from layoutplan.line.geodesy import to_ecef

SAME_PLACE_M = 1.0  # towers of two lines nearer than this are one structure (judgement)
UNKNOWN_NODE = -1


def structure_numbers(line_id: StrArray, lonlat_deg: FloatArray, node_id: IntArray) -> IntArray:
    """Number the structures that carry lines: towers of two lines are one by their map node, else by their place.

    Parameters
    ----------
    line_id : ndarray of str, shape (n,)
        Line of each tower.
    lonlat_deg : ndarray, shape (n, 2)
        Longitude and latitude. [deg]
    node_id : ndarray of int, shape (n,)
        Node of the map that each tower is, ``UNKNOWN_NODE`` where it is from elsewhere.

    Returns
    -------
    ndarray of int, shape (n,)
        The row of the first tower of each tower's structure.

    Notes
    -----
    A structure has one tower of each line at most. Pairs of the same node come first; then the nearer ones. Two towers
    of one line, however near to each other, never become one by way of a third.

    Examples
    --------
    The second tower of line b stands half a metre from the first one of line a:

    >>> place = np.array([[8.0, 47.0], [8.004, 47.0], [7.996, 47.0], [8.000006, 47.0]])
    >>> structure_numbers(np.array(["a", "a", "b", "b"]), place, np.full(4, UNKNOWN_NODE))
    array([0, 1, 2, 0])
    """
    root = np.arange(len(line_id))
    lines = [{name} for name in line_id.tolist()]
    for i, j in _pairs(lonlat_deg, node_id):
        low, high = sorted((_find(root, i), _find(root, j)))
        if low != high and not lines[low] & lines[high]:
            root[high] = low
            lines[low] |= lines[high]
    return np.array([_find(root, i) for i in range(len(root))], dtype=np.int64)


def _pairs(lonlat_deg: FloatArray, node_id: IntArray) -> Sequence[tuple[int, int]]:
    """Pairs of towers that may be one, those of one node first, then the nearest."""
    place = to_ecef(lonlat_deg)
    near = cKDTree(place).query_pairs(SAME_PLACE_M, output_type="ndarray").reshape(-1, 2)
    by_node = np.argsort(node_id, kind="stable")
    twice = (np.diff(node_id[by_node]) == 0) & (node_id[by_node[1:]] != UNKNOWN_NODE)
    one = np.column_stack((by_node[:-1], by_node[1:]))[twice]  # wherever it lies: two extracts may differ in age
    pairs = np.concatenate((one, near))
    away = np.linalg.norm(place[pairs[:, 0]] - place[pairs[:, 1]], axis=1)
    first, second = np.sort(pairs, axis=1).T
    order = np.lexsort((second, first, away, np.arange(len(pairs)) >= len(one)))
    return list(zip(first[order].tolist(), second[order].tolist(), strict=True))


def _find(root: IntArray, row: int) -> int:
    while root[row] != row:
        row = int(root[row])
    return row


def names_of(line_id: StrArray, tower_id: StrArray) -> StrArray:
    """Words for towers: their ids, and their lines where an id is that of several.

    Parameters
    ----------
    line_id, tower_id : ndarray of str, shape (n,)
        Line and id of each tower.

    Returns
    -------
    ndarray of str, shape (n,)
        For people to read.

    Examples
    --------
    >>> names_of(np.array(["a", "a", "b"]), np.array(["1", "2", "2"])).tolist()
    ['1', "2 of line 'a'", "2 of line 'b'"]
    """
    _, place, count = np.unique(tower_id, return_inverse=True, return_counts=True)
    with_line = np.char.add(np.char.add(np.char.add(tower_id.astype(str), " of line '"), line_id.astype(str)), "'")
    return np.where(count[place] > 1, with_line, tower_id)
