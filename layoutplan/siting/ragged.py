"""Small tools for ragged tables kept as flat arrays: groups of unequal length, and stretches along rays."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray, IntArray

_FAR_M = 1e4  # longer than any stretch of a ray; keeps the groups apart in one running maximum


def expand(count: IntArray) -> tuple[IntArray, IntArray]:
    """Row number of each member, and its number within its row, for rows of ``count`` members each.

    Parameters
    ----------
    count : ndarray of int, shape (n,)
        Members of each row.

    Returns
    -------
    row, number : ndarray of int, shape (sum of count,)

    Examples
    --------
    >>> row, number = expand(np.array([2, 0, 3]))
    >>> row.tolist(), number.tolist()
    ([0, 0, 2, 2, 2], [0, 1, 0, 1, 2])
    """
    row = np.repeat(np.arange(len(count)), count)
    start = np.cumsum(count) - count
    return row, np.arange(len(row)) - start[row]


def group_starts(key: IntArray) -> NDArray[np.bool_]:
    """Mark where a sorted key changes; the first entry is marked.

    Parameters
    ----------
    key : ndarray, shape (n,)
        Sorted.

    Returns
    -------
    ndarray of bool, shape (n,)

    Examples
    --------
    >>> group_starts(np.array([3, 3, 5, 7, 7])).tolist()
    [True, False, True, True, False]
    """
    first = np.empty(len(key), dtype=bool)
    first[:1] = True
    np.not_equal(key[1:], key[:-1], out=first[1:])
    return first


def union_of_stretches(
    key: IntArray, enter_m: FloatArray, leave_m: FloatArray
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Merge overlapping stretches of one key into disjoint ones, sorted by key and place.

    Parameters
    ----------
    key : ndarray of int, shape (n,)
        What the stretches belong to, for instance the ray; small numbers keep the result exact to 1e-6 m.
    enter_m, leave_m : ndarray, shape (n,)
        Ends, ``enter_m <= leave_m``, cut to less than 1e4. [m]

    Returns
    -------
    key, enter_m, leave_m : ndarray, shape (m,), m <= n

    Examples
    --------
    Two stretches of ray 0 overlap, one of ray 1 lies apart:

    >>> union_of_stretches(np.array([0, 0, 1]), np.array([10.0, 15, 2]), np.array([20.0, 30, 5]))
    (array([0, 1]), array([10.,  2.]), array([30.,  5.]))
    """
    if len(key) == 0:
        return key, enter_m, leave_m
    place = key * _FAR_M + enter_m
    order = np.argsort(place)
    place, key, enter_m, leave_m = place[order], key[order], enter_m[order], leave_m[order]
    reach = np.maximum.accumulate(key * _FAR_M + leave_m)
    fresh = np.ones(len(key), dtype=bool)
    np.greater(place[1:], reach[:-1], out=fresh[1:])
    begin = np.flatnonzero(fresh)
    last = np.append(begin[1:], len(key)) - 1
    return key[begin], enter_m[begin], reach[last] - key[last] * _FAR_M


def first_of_each(key: IntArray, value: FloatArray) -> tuple[IntArray, FloatArray]:
    """Return the distinct keys, sorted, with the least value of each.

    Parameters
    ----------
    key : ndarray of int, shape (n,)
        In any order.
    value : ndarray, shape (n,)

    Returns
    -------
    key, value : ndarray, shape (m,), m <= n

    Examples
    --------
    >>> first_of_each(np.array([7, 3, 7]), np.array([4.0, 1.0, 2.5]))
    (array([3, 7]), array([1. , 2.5]))
    """
    order = np.lexsort((value, key))
    first = group_starts(key[order])
    return key[order][first], value[order][first]
