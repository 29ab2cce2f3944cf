"""Impedances of a line's spans at one frequency: of its earth wires together, and to its own phase conductors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from layoutplan.arrays import ComplexArray, FloatArray
from layoutplan.electrical import equivalent_earth_wire, split_earth_wire_current
from layoutplan.exposure.sources import LineConductors


@dataclass(frozen=True, slots=True)
class Impedances:
    """A line's spans at one frequency.

    Attributes
    ----------
    course : LineConductors
    matrix : list of ndarray
        Series impedance of each section, all conductors. [Ω/m]
    span_ohm : ndarray of complex, shape (n - 1,)
        Of the earth wires together; infinite where there is none. [Ω]
    """

    course: LineConductors
    matrix: list[np.ndarray]
    span_ohm: ComplexArray

    @property
    def has_wire(self) -> np.ndarray:
        """Whether each span has an earth wire."""
        return np.isfinite(self.span_ohm)

    def mutual_ohm_per_m(self, section: int) -> ComplexArray:
        """Mutual impedance of the earth wires together and each phase conductor.

        Parameters
        ----------
        section : int
            Number of the cross-section.

        Returns
        -------
        ndarray of complex, shape (phases,)
            0 without earth wire. [Ω/m]
        """
        earth = self.course.sections[section].is_earth_wire
        if not earth.any():
            return np.zeros(len(earth), dtype=complex)
        return equivalent_earth_wire(self.matrix[section], earth).mutual_impedance_ohm_per_m

    def shares(self) -> FloatArray:
        """Part of the earth-wire current that each place of the course carries.

        Returns
        -------
        ndarray, shape (sections, c)
            Real part; 0 where no earth wire hangs. [-]
        """
        out = np.zeros((len(self.matrix), len(self.course.hold_m)))
        for i, section in enumerate(self.course.sections):
            if section.is_earth_wire.any():
                nothing = np.zeros(int((~section.is_earth_wire).sum()))
                split = split_earth_wire_current(self.matrix[i], section.is_earth_wire, 1.0, nothing)
                out[i, self.course.hold[i][section.is_earth_wire]] = np.real(split)
        return out

    def with_earth_wires(self, section: int, total_a: ComplexArray, conductor_a: ComplexArray) -> ComplexArray:
        """Share the earth-wire current out among the earth wires of a section.

        Parameters
        ----------
        section : int
            Number of the cross-section.
        total_a : ndarray of complex, shape (r, ...)
            In all earth wires together. [A]
        conductor_a : ndarray of complex, shape (r, c, ...)
            In all conductors, earth wires 0. [A]

        Returns
        -------
        ndarray of complex, shape (r, c, ...)
            ``conductor_a`` with the earth wires' currents. [A]
        """
        earth = self.course.sections[section].is_earth_wire
        if not earth.any():
            return conductor_a
        out = conductor_a.copy()
        phases = np.moveaxis(conductor_a[:, ~earth], 1, -1)
        out[:, earth] = np.moveaxis(split_earth_wire_current(self.matrix[section], earth, total_a, phases), -1, 1)
        return out


def impedances_of(course: LineConductors, frequency_hz: float, soil_ohm_m: float) -> Impedances:
    """Impedances of a course's spans, after Carson.

    Parameters
    ----------
    course : LineConductors
        The line as it hangs.
    frequency_hz : float
        Frequency. [Hz]
    soil_ohm_m : float
        Resistivity of uniform soil. [Ω·m]

    Returns
    -------
    Impedances
        [Ω]

    References
    ----------
    .. [1] J. R. Carson, "Wave propagation in overhead wires with ground return," Bell Syst. Tech. J., vol. 5, pp.
       539-554, 1926.
    """
    matrix = course.impedances(frequency_hz, soil_ohm_m)
    per_m = [
        equivalent_earth_wire(z, s.is_earth_wire).self_impedance_ohm_per_m if s.is_earth_wire.any() else np.inf
        for z, s in zip(matrix, course.sections, strict=True)
    ]
    along = np.array(per_m)[course.span_section]
    none = np.isinf(along)  # a complex infinity times a length is no number
    span = np.where(none, np.inf, np.where(none, 0.0, along) * course.span_length_m)
    return Impedances(course, matrix, span)
