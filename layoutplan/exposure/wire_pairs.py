"""Mutual impedances between the earth wires of different lines, and what the lines' phases drive in them."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from scipy import sparse

from layoutplan.arrays import ComplexArray, IntArray
from layoutplan.exposure.impedances import Impedances
from layoutplan.exposure.mutual import Transfer, transfer

_SMALL = 0.005  # mutual impedances below this part of the greatest that either span has are left out: 1 % of a rise


def transfers_between(
    lines: Sequence[Impedances], soil_ohm_m: float, frequency_hz: float, *, wires_only: bool
) -> dict[tuple[int, int], Transfer]:
    """What the currents of each line drive in the earth wires of each other one near it.

    Parameters
    ----------
    lines : sequence of Impedances
        All lines at one frequency.
    soil_ohm_m : float
        Resistivity of uniform soil. [Ω·m]
    frequency_hz : float
        Of the currents. [Hz]
    wires_only : bool
        Whether only currents in earth wires matter.

    Returns
    -------
    dict of (int, int) to Transfer
        By (driven, driving) line; pairs that are far from each other are left out. [Ω]
    """
    found = {}
    for i, j in combinations(range(len(lines)), 2):
        for driven, driving in ((i, j), (j, i)):
            other = lines[driving].has_wire.any() or not wires_only
            if lines[driven].has_wire.any() and other:
                made = transfer(lines[driven], lines[driving], soil_ohm_m, frequency_hz, wires_only=wires_only)
                if len(made.row):
                    found[driven, driving] = made
    return found


def pairs_of_wires(
    lines: Sequence[Impedances], branch: Sequence[IntArray], transfers: dict[tuple[int, int], Transfer]
) -> tuple[IntArray, ComplexArray]:
    """Mutual impedances between the earth wires of different lines.

    Parameters
    ----------
    lines : sequence of Impedances
        All lines at one frequency.
    branch : sequence of ndarray of int, shape (spans,)
        Branch of each span of each line, -1 without earth wire.
    transfers : dict
        From `transfers_between`.

    Returns
    -------
    pairs : ndarray of int, shape (p, 2)
        Branches, each pair once.
    ohm : ndarray of complex, shape (p,)
        Impedance; weak ones are left out. [Ω]
    """
    pairs, values = [np.zeros((0, 2), dtype=np.int64)], [np.zeros(0, dtype=complex)]
    for one, other in combinations(range(len(lines)), 2):
        ways = [(one, other), (other, one)]
        found = [_by_span(lines, transfers[way], way[1]) if way in transfers else None for way in ways]
        there, back = found[0], None if found[1] is None else found[1].T
        if there is None and back is None:
            continue
        # worked out from either line's spans it is the same but for the quadrature
        ohm = there if back is None else back if there is None else (there + back) / 2
        table = _strongest(sparse.coo_array(ohm))
        both = np.column_stack((branch[one][table.row], branch[other][table.col]))
        mine = (both >= 0).all(axis=1)
        pairs.append(both[mine])
        values.append(table.data[mine])
    return np.concatenate(pairs), np.concatenate(values)


def _by_span(lines: Sequence[Impedances], made: Transfer, driving: int) -> sparse.csr_array:
    other = lines[driving]
    weight = other.shares()[other.course.span_section]
    return sparse.csr_array(-made.by_span(weight, other.course.span_length_m))


def _strongest(ohm: sparse.coo_array) -> sparse.coo_array:
    """Leave out what is small against the greatest values of both spans."""
    if not ohm.nnz:
        return ohm
    size = np.abs(ohm.data)
    greatest = [np.zeros(count) for count in ohm.shape]
    np.maximum.at(greatest[0], ohm.row, size)
    np.maximum.at(greatest[1], ohm.col, size)
    kept = size >= _SMALL * np.minimum(greatest[0][ohm.row], greatest[1][ohm.col])
    return sparse.coo_array((ohm.data[kept], (ohm.row[kept], ohm.col[kept])), shape=ohm.shape)
