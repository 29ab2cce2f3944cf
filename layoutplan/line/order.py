"""Whether towers in their order go along a line: turning back, gaps, and the order that would be natural."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import breadth_first_order, minimum_spanning_tree
from scipy.spatial import cKDTree

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.errors import LineError
from layoutplan.inputs.model import LineInput
from layoutplan.line.geodesy import inverse, to_ecef, turn_deg

LONG_SPAN_M = 2000.0  # hardly any span is longer; towers that are missing make one (judgement)
REVERSAL_DEG = 150.0  # no transmission line turns back like this; rows out of order do (judgement)
SHARP_DEG = 90.0  # hardly any line turns like this but at its ends (judgement)
_SAVED_SPANS = 0.5  # swapped towers cost a span or more (judgement)
_NEIGHBOURS = 8
_SHOWN = 12


def natural_order(lonlat_deg: FloatArray) -> IntArray | None:
    """Return the order of points along the chain that joins neighbours, None where no single chain does.

    Parameters
    ----------
    lonlat_deg : ndarray, shape (n, 2)
        Longitude and latitude in the order given: the chain runs the way that agrees better with it. [deg]

    Returns
    -------
    ndarray of int, shape (n,), or None
        Rows along the chain.

    Notes
    -----
    The chain is the shortest tree over the points, if that does not fork.

    Examples
    --------
    Towers two and three were listed the wrong way round:

    >>> natural_order(np.array([[8.0, 47.0], [8.008, 47.0], [8.004, 47.0], [8.012, 47.0]]))
    array([0, 2, 1, 3])
    """
    count = len(lonlat_deg)
    place = to_ecef(lonlat_deg)
    away, other = cKDTree(place).query(place, k=min(_NEIGHBOURS + 1, count))
    here = np.repeat(np.arange(count), other.shape[1] - 1)
    along = np.arange(count - 1)  # so that all hangs together
    rows, columns = np.concatenate((here, along)), np.concatenate((other[:, 1:].ravel(), along + 1))
    step = np.linalg.norm(np.diff(place, axis=0), axis=1)
    low, high = np.minimum(rows, columns), np.maximum(rows, columns)
    pair, first = np.unique(low * count + high, return_index=True)
    length = np.concatenate((away[:, 1:].ravel(), step))[first]
    tree = minimum_spanning_tree(coo_array((length, (pair // count, pair % count)), shape=(count, count)).tocsr())
    joined = tree.tocoo()
    degree = np.bincount(np.concatenate((joined.row, joined.col)), minlength=count)
    if (degree > 2).any():
        return None
    order = breadth_first_order(tree, int(np.flatnonzero(degree == 1)[0]), directed=False, return_predecessors=False)
    order = np.asarray(order, dtype=np.int64)
    return order[::-1] if np.sum(np.sign(np.diff(order))) < 0 else order


def order_problems(source: LineInput, rows: IntArray, lonlat_deg: FloatArray) -> tuple[str, ...]:
    """Report where the towers of a line, in their order, turn back or leave gaps.

    Parameters
    ----------
    source : LineInput
        The line as it was read.
    rows : ndarray of int
        Rows of its tower table in line order.
    lonlat_deg : ndarray, shape (n, 2)
        Of the towers in that order. [deg]

    Returns
    -------
    tuple of str
        Warnings; empty if there is nothing to look into.

    Raises
    ------
    LineError
        If the towers turn back, another order is natural or the given one is nobody's word, and neither a centreline
        nor the job confirms it.
    """
    bearing, length = inverse(lonlat_deg[:-1], lonlat_deg[1:])
    names = source.towers["tower_id"].to_numpy()[rows]
    return (*_turns(source, names, lonlat_deg, np.abs(turn_deg(np.diff(bearing)))), *_gaps(source, names, length))


def _turns(source: LineInput, names: np.ndarray, lonlat_deg: FloatArray, turn: FloatArray) -> list[str]:
    if not (turn > SHARP_DEG).any():
        return []
    at = int(np.argmax(turn)) + 1
    natural = natural_order(lonlat_deg)
    differs = natural is not None and _is_shorter(lonlat_deg, natural)
    where = (
        f"line '{source.line.id}' turns back by {turn.max():.0f} degrees at tower {names[at]} (between "
        f"{names[at - 1]} and {names[at + 1]})"
    )
    other = f"; by their places they follow each other as {_shown(names, natural)}" if differs else ""
    if turn.max() <= REVERSAL_DEG:
        return [f"{where}{other}: check the order of its towers"] if differs else []
    stated = source.in_order or natural is not None  # nobody's word, and no chain to follow
    if source.line.turns_back or source.course or (stated and not differs):
        return [f"{where}{other}: bisectors, and with them all leads, are wrong there if it does not"]
    fix = "Correct its order_column" if source.in_order else "Set order_column"
    raise LineError(
        f"{source.source}: {where}: the rows seem out of order{other}. {fix} or give a centreline; if the table holds "
        "several lines, pick one with where. If the line does run so, set turns_back = true."
    )


def _is_shorter(lonlat_deg: FloatArray, natural: IntArray) -> bool:
    """Whether another order saves a good part of a span; a last span may well turn back beside the one before it."""
    (_, given), (_, other) = (inverse(place[:-1], place[1:]) for place in (lonlat_deg, lonlat_deg[natural]))
    return bool(given.sum() - other.sum() > _SAVED_SPANS * np.median(other))


def _shown(names: np.ndarray, natural: IntArray | None) -> str:
    """Towers in their natural order, from where it leaves the given one to where they are together again."""
    assert natural is not None, "asked only where another order is natural"
    moved = np.flatnonzero(natural != np.arange(len(natural)))
    first, last = max(int(moved[0]) - 1, 0), min(int(moved[-1]) + 2, len(names))
    shown = [str(name) for name in names[natural[first:last]]]
    ends = "… " if first else "", " …" if last < len(names) or len(shown) > _SHOWN else ""
    return f"{ends[0]}{', '.join(shown[:_SHOWN])}{ends[1]}"


def _gaps(source: LineInput, names: np.ndarray, length_m: FloatArray) -> list[str]:
    long = np.flatnonzero(length_m > LONG_SPAN_M).tolist()
    if not long:
        return []
    return [
        f"line '{source.line.id}': {len(long)} span(s) longer than {LONG_SPAN_M:,.0f} m: "
        f"{span_list(names, length_m, long)}: towers may be missing there, or those of two lines mixed"
    ]


def span_list(names: np.ndarray, length_m: FloatArray, spans: list[int]) -> str:
    """Name spans by their towers, with their lengths, at most five of them.

    Parameters
    ----------
    names : ndarray of str, shape (n,)
        Towers in line order.
    length_m : ndarray, shape (n - 1,)
        Lengths of the spans. [m]
    spans : list of int
        Which of them.

    Returns
    -------
    str
        For people to read.

    Examples
    --------
    >>> span_list(np.array(["1", "2", "3"]), np.array([300.0, 2500.0]), [1])
    '2-3 (2,500 m)'
    """
    shown = ", ".join(f"{names[i]}-{names[i + 1]} ({length_m[i]:,.0f} m)" for i in spans[:5])
    return shown + (", …" if len(spans) > 5 else "")
