"""Mutual impedances between the earth wires of different lines, and what the lines' phases drive in them."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from scipy import sparse

from layoutplan.exposure.impedances import ComplexArray, Impedances
from layoutplan.exposure.mutual import Transfer, transfer
from layoutplan.line.model import IntArray

_SMALL = 0.05  # mutual impedances of wires below this part of the greatest in their row go with it


def transfers_between(
    lines: Sequence[Impedances], soil_ohm_m: float, frequency_hz: float, *, wires_only: bool
) -> dict[tuple[int, int], Transfer]:
    """What the currents of each line drive in the earth wires of each other one near it, by (driven, driving)."""
    found = {}
    for i, j in combinations(range(len(lines)), 2):
        ways = ((i, j),) if wires_only else ((i, j), (j, i))
        for driven, driving in ways:
            other = lines[driving].has_wire.any() or not wires_only
            if lines[driven].has_wire.any() and other:
                made = transfer(lines[driven], lines[driving], soil_ohm_m, frequency_hz, wires_only=wires_only)
                if len(made.row):
                    found[driven, driving] = made
    return found


def pairs_of_wires(
    lines: Sequence[Impedances], branch: Sequence[IntArray], transfers: dict[tuple[int, int], Transfer]
) -> tuple[IntArray, ComplexArray]:
    """Mutual impedances between the earth wires of different lines: pairs of branches, and their impedance. [Ω]."""
    pairs, values = [np.zeros((0, 2), dtype=np.int64)], [np.zeros(0, dtype=complex)]
    for (driven, driving), made in transfers.items():
        if driven > driving and (driving, driven) in transfers:
            continue  # the same by reciprocity
        other = lines[driving]
        weight = other.shares()[other.course.span_section]
        ohm = -made.by_span(weight, other.course.span_length_m)
        table = _strongest(ohm)
        both = np.column_stack((branch[driven][table.row], branch[driving][table.col]))
        mine = (both >= 0).all(axis=1)
        pairs.append(both[mine])
        values.append(table.data[mine])
    return np.concatenate(pairs), np.concatenate(values)


def _strongest(ohm: sparse.csr_array) -> sparse.coo_array:
    """Leave out small values, which then count with the greatest of their row: long currents see the same in all."""
    ohm.sum_duplicates()
    if not ohm.nnz:
        return ohm.tocoo()
    size = np.abs(ohm.data)
    row = np.repeat(np.arange(ohm.shape[0]), np.diff(ohm.indptr))
    greatest = np.zeros(ohm.shape[0])
    np.maximum.at(greatest, row, size)
    small = size < _SMALL * greatest[row]
    left = np.zeros(ohm.shape[0], dtype=complex)
    np.add.at(left, row[small], ohm.data[small])
    top = np.flatnonzero(size == greatest[row])
    at = top[np.unique(row[top], return_index=True)[1]]
    data = np.where(small, 0.0, ohm.data)
    data[at] += left[row[at]]
    kept = ~small
    return sparse.coo_array((data[kept], (row[kept], ohm.indices[kept])), shape=ohm.shape)
