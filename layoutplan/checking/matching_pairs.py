"""Pairing named points with named places: names first, then the nearest; plain arrays."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.layout.set_out import marked_names
from layoutplan.text import clean

ONE_PLACE_M = 0.5  # points of one name no farther from the first are one stake, marked again (judgement)
_PARTS = re.compile(r"[\s_\-\u2010-\u2015]+")


@dataclass(frozen=True, slots=True)
class Found:
    """What became of each point.

    Attributes
    ----------
    claim : ndarray of int
        Planned stake that its name means, -1 if none.
    stake : ndarray of int
        Planned stake it is paired with, -1 if none.
    repeat_of : ndarray of int
        Point of the same name and place that counts instead of it, -1 if none.
    ambiguous : ndarray of bool
        Whether it shares its name with a point that lies apart.
    """

    claim: IntArray
    stake: IntArray
    repeat_of: IntArray
    ambiguous: NDArray[np.bool_]


def pair_up(
    names: Sequence[str], here_m: FloatArray, waypoints: Sequence[str], there_m: FloatArray, tolerance_m: float
) -> Found:
    """Pair points with planned stakes, by name and then by place.

    Parameters
    ----------
    names : sequence of str
        Of the points, the one that counts first coming first.
    here_m, there_m : ndarray, shape (n, 3) and (m, 3)
        Points and planned stakes, geocentric. [m]
    waypoints : sequence of str
        Names of the planned stakes.
    tolerance_m : float
        For pairing by place. [m]

    Returns
    -------
    Found
        The stake of each point, by number.

    Examples
    --------
    A point named as a stake goes to it, however far; one without a name of the plan to the nearest within 10 m:

    >>> there = np.array([[0.0, 0.0, 0.0], [200.0, 0.0, 0.0]])
    >>> here = np.array([[197.0, 0.0, 0.0], [30.0, 0.0, 0.0]])
    >>> pair_up(["P2", "t1 h"], here, ["T1-H", "T1-S"], there, 10.0).stake
    array([1, 0])
    """
    claim = claims(names, waypoints)
    ambiguous, repeat_of = _shared_names(_groups(names, claim), here_m)
    stake = np.where(ambiguous | (repeat_of >= 0), -1, claim)
    free = np.flatnonzero((claim < 0) & ~ambiguous & (repeat_of < 0))
    free_stakes = np.setdiff1d(np.arange(len(there_m)), claim)
    pairs = _nearest_pairs(here_m[free], there_m[free_stakes], tolerance_m)
    stake[free[pairs[:, 0]]] = free_stakes[pairs[:, 1]]
    return Found(claim, stake, repeat_of, ambiguous)


def claims(names: Sequence[str], waypoints: Sequence[str]) -> IntArray:
    """Return for each name which of the waypoints it means, -1 if none or more than one.

    A receiver may have been given the name with the mark of a stake that must not be staked yet.

    Parameters
    ----------
    names : sequence of str
        Of the points.
    waypoints : sequence of str
        Names of the planned stakes.

    Returns
    -------
    ndarray of int, shape (names,)
        Places among ``waypoints``.

    Examples
    --------
    >>> claims(["t1 h", "T1-S-NO", "hut"], ["T1-H", "T1-S"])
    array([ 0,  1, -1])
    """
    marked = [form for name in waypoints for form in marked_names(name)]
    ways = [
        (reading, _only_one([reading(form) for form in forms]), len(forms) // max(len(waypoints), 1))
        for reading in (_plain, _key)
        for forms in (waypoints, marked)
    ]

    def meant(name: str) -> int:
        """Stake meant, by the first way of reading that finds the name; -1 where it finds two."""
        found = ((known[reading(name)], each) for reading, known, each in ways if reading(name) in known)
        place, each = next(found, (-1, 1))
        return place // each

    return np.array([meant(name) for name in names], dtype=np.int64)


def _plain(name: object) -> str:
    return clean(name).casefold()


def _key(name: object) -> str:
    return _PARTS.sub("", clean(name).casefold())


def _only_one(keys: Sequence[str]) -> dict[str, int]:
    """Return the place of each key, -1 for those that are there more than once; the empty one is left out."""
    found: dict[str, int] = {}
    for i, key in enumerate(keys):
        found[key] = -1 if key in found else i
    return {key: i for key, i in found.items() if key}


def _groups(names: Sequence[str], claim: IntArray) -> IntArray:
    """Number the names: those that claim one stake are one, every point without a name is by itself."""
    numbers: dict[object, int] = {}
    keys = [
        stake if stake >= 0 else _key(name) or (i,)
        for i, (name, stake) in enumerate(zip(names, claim.tolist(), strict=True))
    ]
    return np.array([numbers.setdefault(key, len(numbers)) for key in keys], dtype=np.int64)


def _shared_names(group: IntArray, ecef_m: FloatArray) -> tuple[NDArray[np.bool_], IntArray]:
    """Whether a point shares its name with one that lies apart, and which point it merely repeats (-1 if none)."""
    _, first = np.unique(group, return_index=True)
    apart_m = np.linalg.norm(ecef_m - ecef_m[first[group]], axis=1)
    widest_m = np.zeros(len(first))
    np.maximum.at(widest_m, group, apart_m)
    ambiguous = widest_m[group] > ONE_PLACE_M
    repeats = ~ambiguous & (first[group] != np.arange(len(group)))
    return ambiguous, np.where(repeats, first[group], -1)


def _nearest_pairs(points_m: FloatArray, stakes_m: FloatArray, tolerance_m: float) -> IntArray:
    """Pair what is nearest, then what is nearest of the rest; shape (n, 2). Of equal distances the first counts."""
    if len(points_m) == 0 or len(stakes_m) == 0:
        return np.empty((0, 2), dtype=np.int64)
    near = cKDTree(points_m).sparse_distance_matrix(cKDTree(stakes_m), tolerance_m, output_type="ndarray")
    order = np.lexsort((near["j"], near["i"], near["v"]))
    pairs: dict[int, int] = {}
    used: set[int] = set()
    for point, stake in zip(near["i"][order].tolist(), near["j"][order].tolist(), strict=True):
        if point not in pairs and stake not in used:
            pairs[point] = stake
            used.add(stake)
    return np.array(list(pairs.items()), dtype=np.int64).reshape(-1, 2)
