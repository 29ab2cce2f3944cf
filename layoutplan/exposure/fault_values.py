"""What any quantity is for a fault at each tower of a line, and for one in a station.

Whatever is asked for, a tower's potential or the voltage along a lead, depends on the currents of a fault linearly.
So one solution of the network with the quantity on the right-hand side (see `layoutplan.electrical.earthing_network`)
tells what it is for a fault anywhere: the phase currents reach from the line's ends to the fault, their effect is a sum
over the spans up to there, and all faults of a line follow from one running sum.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy import sparse

from layoutplan.arrays import ComplexArray, IntArray
from layoutplan.exposure.earthing import Excerpt
from layoutplan.exposure.faults import LineFaults, StationFaults

_FEW = 8  # different pairs of currents that are looked at one by one


@dataclass(frozen=True, slots=True)
class Values:
    """Quantities for the faults of one line, or of one station, that may be the worst.

    Attributes
    ----------
    value : ndarray of complex, shape (q, k, phases)
    vertex : ndarray of int, shape (k,)
        Where on the line.
    known : ndarray of bool, shape (k,)
        Whether the currents are known.
    """

    value: ComplexArray
    vertex: IntArray
    known: np.ndarray


def values_on_line(
    excerpt: Excerpt, faults: LineFaults, solved: ComplexArray, direct: Sequence[sparse.csr_array] | None
) -> Values:
    """Quantities for a fault at each tower of a line that may be the worst.

    Parameters
    ----------
    excerpt : Excerpt
        The network about a block of towers.
    faults : LineFaults
        Of one line.
    solved : ndarray of complex, shape (unknowns + 1, q)
        The excerpt solved for the quantities.
    direct : sequence of csr_array, shape (q, spans), or None
        What an ampere in each span of each phase adds without the network. [Ω]

    Returns
    -------
    Values
        By quantity, tower and phase. [V]

    Notes
    -----
    Beyond the excerpt a fault acts by the currents alone that pass it: there only those faults are looked at whose
    currents are not surpassed by others' (corners of the convex hull).
    """
    system, line = excerpt.system, faults.line
    begin, end = _range(excerpt, faults, direct)
    weight = _per_span(excerpt, faults, solved, direct, begin, end)
    node = system.joints.node[line]
    inside = np.flatnonzero((faults.vertex >= begin) & (faults.vertex <= end))
    far = [_extreme(faults, faults.vertex < begin), _extreme(faults, faults.vertex > end)]
    number = np.concatenate((far[0], inside, far[1])).astype(np.int64)
    vertex = faults.vertex[number]
    to_fault = np.clip(vertex, begin, end) - begin
    at_fault = solved[excerpt.place[node[vertex]]].T[..., None]
    at_start, at_end = (solved[excerpt.place[e] if e >= 0 else -1][:, None, None] for e in faults.ends)
    running = np.zeros((weight.shape[0], weight.shape[1] + 1, weight.shape[2]), dtype=complex)
    np.cumsum(weight, axis=1, out=running[:, 1:])
    from_start = at_fault - at_start + running[:, to_fault]
    from_end = at_fault - at_end - (running[:, -1:] - running[:, to_fault])
    feed = faults.feed_a[number, :, None]
    return Values(from_start * feed[:, 0] + from_end * feed[:, 1], vertex, faults.known[number])


def values_in_station(excerpt: Excerpt, faults: StationFaults, solved: ComplexArray) -> ComplexArray:
    """Quantities for a fault in a station.

    Parameters
    ----------
    excerpt : Excerpt
        The network about a block of towers.
    faults : StationFaults
        Currents of the station. [A]
    solved : ndarray of complex, shape (unknowns + 1, q)
        The excerpt solved for q quantities.

    Returns
    -------
    ndarray of complex, shape (q, 1, 1)
        One place, one phase. [V]
    """
    return np.asarray(solved[excerpt.place[faults.station.node]][:, None, None] * faults.injected_a)


def _range(excerpt: Excerpt, faults: LineFaults, direct: Sequence[sparse.csr_array] | None) -> tuple[int, int]:
    """First and last vertex of the line between which spans and nodes count."""
    here = np.flatnonzero(excerpt.place[excerpt.system.joints.node[faults.line]] >= 0)
    spans = [] if direct is None else [part.indices for part in direct]
    spans += [
        table.indices[_rows_of(table, excerpt, other)] for other, tables in faults.across.items() for table in tables
    ]
    every = np.concatenate([here, *spans, *(part + 1 for part in spans)])
    if not len(every):
        return 0, 0
    return int(every.min()), int(every.max())


def _rows_of(table: sparse.csr_array, excerpt: Excerpt, line: int) -> np.ndarray:
    """Mark the values of a table of which the driven span is in the excerpt."""
    span, unknown = excerpt.system.branch_row(line)
    held = np.zeros(table.shape[0], dtype=bool)
    held[span] = excerpt.place[unknown] >= 0
    return np.repeat(held, np.diff(table.indptr))


def _per_span(
    excerpt: Excerpt,
    faults: LineFaults,
    solved: ComplexArray,
    direct: Sequence[sparse.csr_array] | None,
    begin: int,
    end: int,
) -> ComplexArray:
    """What an ampere in each span of each phase, in line order, makes of the quantities, shape (q, spans, phases)."""
    system, line = excerpt.system, faults.line
    branch = system.branch[line][begin:end]
    row = np.where(branch >= 0, excerpt.place[np.where(branch >= 0, system.network.nodes + branch, 0)], -1)
    out: ComplexArray = solved[row].T[..., None] * faults.own_ohm[begin:end]
    for other, tables in faults.across.items():
        span, unknown = system.branch_row(other)
        held = excerpt.place[unknown] >= 0
        driven = solved[excerpt.place[unknown[held]]]
        if len(driven):
            for phase, table in enumerate(tables):
                out[..., phase] -= (table[span[held]][:, begin:end].T @ driven).T
    for phase, part in enumerate(direct or ()):
        out[..., phase] += part[:, begin:end].toarray()
    return out


def _extreme(faults: LineFaults, mine: np.ndarray) -> IntArray:
    """Of some faults those of which no mixture of the others has the currents."""
    rows = np.flatnonzero(mine)
    pairs, first = np.unique(faults.feed_a[rows], axis=0, return_index=True)
    if len(pairs) > _FEW:
        corners = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(pairs)))
        first = first[(pairs[:, None] == corners).all(axis=-1).any(axis=1)]
    return np.asarray(rows[np.sort(first)], dtype=np.int64)
