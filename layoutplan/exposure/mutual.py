"""What currents of one line drive in the earth wires of another, span by span."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from layoutplan.arrays import ComplexArray, FloatArray, IntArray
from layoutplan.electrical import span_transfer_impedance
from layoutplan.exposure.impedances import Impedances
from layoutplan.exposure.windows import see
from layoutplan.line.geodesy import local_axes, to_ecef

_AT_ONCE = 500  # spans whose windows are held at the same time


@dataclass(frozen=True, slots=True)
class Transfer:
    """Voltage along the earth wires of a line per ampere in the spans of another.

    Attributes
    ----------
    spans : tuple of int
        Spans of the line that is driven, and of the one that drives.
    row : ndarray of int, shape (t,)
        Spans, or leads, that are driven: those near the other line.
    vertex : ndarray of int, shape (t, w + 1)
        Vertices of the other line between which each chord runs.
    ohm : ndarray of complex, shape (t, w, c)
        By place that may hold a conductor of the other line. [Ω]
    """

    spans: tuple[int, int]
    row: IntArray
    vertex: IntArray
    ohm: ComplexArray

    @classmethod
    def of_parts(
        cls,
        spans: tuple[int, int],
        row: Sequence[IntArray],
        vertex: Sequence[IntArray],
        ohm: Sequence[ComplexArray],
        places: int,
    ) -> Transfer:
        """Put tables of several widths together: vertices that repeat the last make spans of no length.

        Parameters
        ----------
        spans : tuple of int
            Spans of the line that is driven, and of the one that drives.
        row : sequence of ndarray of int, shape (t,)
            What is driven, part by part.
        vertex : sequence of ndarray of int, shape (t, w + 1)
            Vertices of the driving line.
        ohm : sequence of ndarray of complex, shape (t, w, c)
            Voltage per ampere. [Ω]
        places : int
            c, the width of an empty table.

        Returns
        -------
        Transfer
            All parts in one table.

        Examples
        --------
        One span that sees two chords of the other line, and one that sees a single chord:

        >>> row, vertex = [np.array([0]), np.array([1])], [np.array([[0, 1, 2]]), np.array([[1, 2]])]
        >>> both = Transfer.of_parts((2, 2), row, vertex, [np.ones((1, 2, 1)) + 0j, np.ones((1, 1, 1)) + 0j], 1)
        >>> both.vertex.tolist(), both.ohm.shape
        ([[0, 1, 2], [1, 2, 2]], (2, 2, 1))
        """
        if not row:
            empty = np.zeros((0, 1, places), dtype=complex)
            return cls(spans, np.zeros(0, dtype=np.int64), np.zeros((0, 2), dtype=np.int64), empty)
        width = max(part.shape[1] for part in vertex)
        wide = [np.pad(part, ((0, 0), (0, width - part.shape[1])), mode="edge") for part in vertex]
        filled = [np.pad(part, ((0, 0), (0, width - 1 - part.shape[1]), (0, 0))) for part in ohm]
        return cls(spans, np.concatenate(row), np.concatenate(wide), np.concatenate(filled))

    def renumbered(self, number: IntArray, count: int) -> Transfer:
        """Give what is driven other numbers.

        Parameters
        ----------
        number : ndarray of int, shape (spans,)
            New number of each, -1 to leave it out.
        count : int
            How many there are then.

        Returns
        -------
        Transfer
        """
        row = number[self.row]
        mine = row >= 0
        return Transfer((count, self.spans[1]), row[mine], self.vertex[mine], self.ohm[mine])

    def driven_v(self, current_a: ComplexArray) -> ComplexArray:
        """Voltage in every span by the currents of the other line.

        Parameters
        ----------
        current_a : ndarray of complex, shape (spans, c, k)
            In the other line's spans, k states. [A]

        Returns
        -------
        ndarray of complex, shape (spans, k)
            0 in spans far from the other line. [V]

        Examples
        --------
        0.02 Ω between a span and one conductor of the other line, which carries 500 A; the second span is far away:

        >>> near = Transfer((2, 1), np.array([0]), np.array([[0, 1]]), np.array([[[0.02 + 0j]]]))
        >>> print(near.driven_v(np.array([[[500.0 + 0j]]])).real.ravel(), "V")
        [10.  0.] V
        """
        out = np.zeros((self.spans[0], current_a.shape[-1]), dtype=complex)
        first = np.minimum(self.vertex[:, :-1], self.spans[1] - 1)
        out[self.row] = np.einsum("twc,twck->tk", self.ohm, current_a[first])
        return out

    def by_span(self, weight: FloatArray, length_m: FloatArray) -> sparse.csr_array:
        """Voltage in every span per ampere in every span of the other line.

        Parameters
        ----------
        weight : ndarray, shape (spans, c)
            How the ampere is shared out among the places of the other line's spans. [-]
        length_m : ndarray, shape (spans,)
            Of the other line's spans: far off, where one chord stands for several, each has its part of it. [m]

        Returns
        -------
        csr_array of complex, shape ``spans``
            Voltage per ampere. [Ω]

        Examples
        --------
        One chord of 0.04 Ω stands for two spans of 300 m and 100 m:

        >>> near = Transfer((1, 2), np.array([0]), np.array([[0, 2]]), np.array([[[0.04 + 0j]]]))
        >>> print(near.by_span(np.ones((2, 1)), np.array([300.0, 100.0])).toarray().real, "Ω")
        [[0.03 0.01]] Ω
        """
        count = np.diff(self.vertex, axis=1)
        t, w = np.nonzero(count)
        repeat = count[t, w]
        row, start = np.repeat(self.row[t], repeat), np.repeat(self.vertex[t, w], repeat)
        column = start + np.arange(len(start)) - np.repeat(np.cumsum(repeat) - repeat, repeat)
        chainage = np.concatenate(([0.0], np.cumsum(length_m)))
        chord = chainage[self.vertex[t, w + 1]] - chainage[self.vertex[t, w]]
        share = length_m[column] / np.repeat(chord, repeat)
        value = np.einsum("nc,nc->n", np.repeat(self.ohm[t, w], repeat, axis=0), weight[column])
        return sparse.csr_array((value * share, (row, column)), shape=self.spans)


def transfer(
    driven: Impedances, driving: Impedances, soil_ohm_m: float, frequency_hz: float, *, wires_only: bool = False
) -> Transfer:
    """Work out what one line drives in the earth wires of another.

    Parameters
    ----------
    driven, driving : Impedances
        Of two lines.
    soil_ohm_m : float
        Resistivity of uniform soil. [Ω·m]
    frequency_hz : float
        Of the currents. [Hz]
    wires_only : bool
        Whether only currents in the other line's earth wires matter; its phases then count as 0.

    Returns
    -------
    Transfer
        Volts per ampere, span by span. [Ω]

    Notes
    -----
    What is driven in the earth wires of a span together is the mean of what is driven in each, weighted with the parts
    of a current that they carry.
    """
    course, other = driven.course, driving.course
    places = _places(driving) if wires_only else np.arange(len(other.hold_m))
    shares = driven.shares()
    spans = (len(course.span_section), len(other.span_section))
    row: list[IntArray] = []
    vertex: list[IntArray] = []
    found: list[ComplexArray] = []
    for section in np.unique(course.span_section[driven.has_wire]):
        mine = np.flatnonzero(driven.has_wire & (course.span_section == section))
        for begin in range(0, len(mine), _AT_ONCE):
            part = mine[begin : begin + _AT_ONCE]
            middle = _middle_deg(course.axis.lonlat_deg, part)
            window = see(other, middle, soil_ohm_m)
            if not len(window.row):
                continue
            rows = part[window.row]
            ohm = np.zeros((*window.span.shape, len(other.hold_m)), dtype=complex)
            for wire in np.flatnonzero(shares[section]):
                offset_m, height_m = course.hold_m[wire]
                ohm[..., places] += (
                    shares[section, wire]
                    * span_transfer_impedance(
                        _wire_xy_m(driven, offset_m, rows, middle[window.row])[:, None],
                        window.points_m[:, :, places],
                        soil_resistivity_ohm_m=soil_ohm_m,
                        frequency_hz=frequency_hz,
                        lead_height_m=height_m,
                    )[:, 0]
                )
            row.append(rows)
            vertex.append(window.vertex)
            found.append(ohm)
    return Transfer.of_parts(spans, row, vertex, found, len(other.hold_m))


def _places(line: Impedances) -> IntArray:
    return np.flatnonzero(line.shares().any(axis=0))


def _middle_deg(lonlat_deg: FloatArray, span: IntArray) -> FloatArray:
    start, end = lonlat_deg[span], lonlat_deg[span + 1]
    return np.asarray(start + ((end - start + 180.0) % 360.0 - 180.0) / 2)  # right across the antimeridian, too


def _wire_xy_m(line: Impedances, offset_m: float, span: IntArray, middle_deg: FloatArray) -> FloatArray:
    """Both ends of a wire of some spans in flat frames about ``middle_deg``, shape (t, 2, 2). [m]."""
    course = line.course
    ends = np.stack([course.axis.place_m[v] + offset_m * course.right[v] for v in (span, span + 1)], axis=1)
    axes = np.stack(local_axes(middle_deg), axis=1)
    return np.einsum("tei,tki->tek", ends - to_ecef(middle_deg)[:, None], axes)
