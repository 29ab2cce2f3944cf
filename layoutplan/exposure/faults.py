"""A single-phase fault at each tower of a line in turn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from layoutplan.electrical import earth_wire_currents_near_fault, fault_at_each_tower
from layoutplan.errors import JobError
from layoutplan.exposure.chain import Chain, ComplexArray
from layoutplan.inputs.model import FaultTable
from layoutplan.job import Line
from layoutplan.line.geodesy import FloatArray
from layoutplan.line.model import IntArray

# Spans each way of a fault with their own earth-wire currents; those further out are taken to be steady. Induced
# voltages keep within 1 % of a full solve at 100 ohm m, 3 % at 1,000 ohm m with footings of 30 ohm.
NEAR_SPANS = 30


@dataclass(frozen=True, slots=True)
class Faults:
    """Faults at every vertex of a chain.

    Attributes
    ----------
    chain : Chain
    potential_v : ndarray of complex, shape (n,)
        Of each vertex when the fault is there. [V]
    from_start_a, from_end_a : ndarray, shape (n,)
        What feeds it; NaN if unknown. [A]
    near_a : ndarray of complex, shape (n, 2 * NEAR_SPANS)
        Earth-wire currents of the spans next to it. [A]
    steady : ndarray of complex, shape (n - 1,)
        Earth-wire current per ampere in the phase, far from the fault.
    phase : list of int
        Place of the faulted phase among the conductors of each section.
    """

    chain: Chain
    potential_v: ComplexArray
    from_start_a: FloatArray
    from_end_a: FloatArray
    near_a: ComplexArray
    steady: ComplexArray
    phase: list[int]

    @property
    def fed_a(self) -> tuple[FloatArray, FloatArray]:
        """Return what feeds a fault at each vertex, from the start and from the end. [A]."""
        return self.from_start_a, self.from_end_a

    def currents(self, vertex: IntArray, span: IntArray) -> ComplexArray:
        """Currents in some spans for a fault at some vertices.

        Parameters
        ----------
        vertex : ndarray of int, shape (t,)
            Faulted vertex for each row.
        span : ndarray of int, shape (t, w)
            Spans wanted in each row.

        Returns
        -------
        ndarray of complex, shape (t, w, c)
            In every conductor. [A]
        """
        relative = span - vertex[:, None]  # 0 is the span ahead of the fault, -1 the one behind it
        feed = np.where(relative < 0, self.from_start_a[vertex][:, None], -self.from_end_a[vertex][:, None])
        inside = np.abs(relative + 0.5) < NEAR_SPANS
        column = np.clip(relative + NEAR_SPANS, 0, 2 * NEAR_SPANS - 1)
        total = np.where(inside, self.near_a[vertex[:, None], column], self.steady[span] * feed)
        course = self.chain.course
        out = np.zeros((*span.shape, len(course.hold_m)), dtype=complex)
        for i, phase in enumerate(self.phase):
            row, place = np.nonzero(course.span_section[span] == i)
            own = np.zeros((len(row), len(course.sections[i].conductors)), dtype=complex)
            own[:, phase] = feed[row, place]
            out[row[:, None], place[:, None], course.hold[i]] = self.chain.with_earth_wires(i, total[row, place], own)
        return out


def solve_faults(chain: Chain, table: FaultTable | None) -> Faults | None:
    """Faults at every vertex of a chain, as the job tells their currents; None if it tells none.

    Parameters
    ----------
    chain : Chain
    table : FaultTable or None
        Currents by tower, where the job names a table; vertices that are no towers take those of the tower before.

    Raises
    ------
    JobError
        The faulted phase or circuit does not exist.
    """
    course = chain.course
    line = course.line
    if line.fault is None:
        return None
    start, end = _feeding_currents(line, course.names, table)
    phase = [_faulted_conductor(chain, i) for i in range(len(course.sections))]
    per_m = []
    for i, section in enumerate(course.sections):
        own = np.flatnonzero(~section.is_earth_wire).tolist().index(phase[i])
        per_m.append(chain.mutual_ohm_per_m(i)[own])
    mutual = np.array(per_m)[course.span_section] * course.span_length_m
    # a station's neutral takes the current back at the end of the chain where its grid is given
    returns = {"returns_left": line.start_grid_ohm is not None, "returns_right": line.end_grid_ohm is not None}
    network = (chain.footing_ohm, chain.span_ohm, mutual, start, end)
    return Faults(
        chain,
        fault_at_each_tower(*network, **returns).potential_v,
        start,
        end,
        earth_wire_currents_near_fault(*network, reach=NEAR_SPANS, **returns),
        np.where(np.isinf(chain.span_ohm), 0, -mutual / np.where(np.isinf(chain.span_ohm), 1, chain.span_ohm)),
        phase,
    )


def _faulted_conductor(chain: Chain, section: int) -> int:
    line, found = chain.course.line, chain.course.sections[section]
    assert line.fault is not None, "asked only where there is a fault"
    for place, conductor in enumerate(found.conductors):
        if (conductor.phase, conductor.circuit) == (line.fault.phase, line.fault.circuit):
            return place
    there = ", ".join(f"{number}: {letters}" for number, letters in found.circuits().items())
    raise JobError(
        f"line '{line.id}', fault: no phase {line.fault.phase} in circuit {line.fault.circuit}; the circuits are "
        f"{there}."
    )


def _feeding_currents(line: Line, names: list[str], table: FaultTable | None) -> tuple[FloatArray, FloatArray]:
    fault, count = line.fault, len(names)
    assert fault is not None, "asked only where there is a fault"
    if fault.current_ka is not None:
        half = np.full(count, fault.current_ka * 500.0)
        return half, half.copy()
    if fault.from_start_ka is not None and fault.from_end_ka is not None:
        return np.full(count, fault.from_start_ka * 1000.0), np.full(count, fault.from_end_ka * 1000.0)
    known = {}
    if table is not None:
        sides = zip(table.from_start_a.tolist(), table.from_end_a.tolist(), strict=True)
        known = dict(zip(table.tower_id, sides, strict=True))
    rows, last = [], (np.nan, np.nan)
    for name in names:
        last = known.get(name, (np.nan, np.nan)) if name else last
        rows.append(last)
    start, end = np.array(rows, dtype=float).T
    return start, end
