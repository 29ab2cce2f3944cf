"""The whole line as a chain of footings and earth wires, and what a load does to it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from layoutplan.electrical import (
    SEQUENCES,
    chain_state,
    conductor_currents,
    driving_point_impedance,
    equivalent_earth_wire,
    sequence_currents,
    split_earth_wire_current,
)
from layoutplan.errors import JobError
from layoutplan.exposure.sources import Course
from layoutplan.job.electrical import Load
from layoutplan.line.geodesy import FloatArray

ComplexArray = np.ndarray
SEQUENCE_COUNT = 3
NOWHERE_OHM = 1e9  # "footing" of a vertex that is no tower: keeps the chain solvable where no earth wire leads on


@dataclass(frozen=True, slots=True)
class Chain:
    """A course with its footings, at one frequency.

    Attributes
    ----------
    course : Course
    footing_ohm : ndarray, shape (n,)
    impedance : list of ndarray
        Series impedance matrix of each section. [Ω/m]
    span_ohm : ndarray of complex, shape (n - 1,)
        Of the earth wires together; infinite where there is none. [Ω]
    """

    course: Course
    footing_ohm: FloatArray
    impedance: list[np.ndarray]
    span_ohm: ComplexArray

    def driving_point_ohm(self) -> ComplexArray:
        """Impedance to earth of every vertex with all that hangs on it. [Ω]."""
        return driving_point_impedance(self.footing_ohm, self.span_ohm)

    def mutual_ohm_per_m(self, section: int) -> ComplexArray:
        """Mutual impedance of the earth wires together and each phase conductor, 0 without earth wire. [Ω/m]."""
        earth = self.course.sections[section].is_earth_wire
        if not earth.any():
            return np.zeros(len(earth), dtype=complex)
        return equivalent_earth_wire(self.impedance[section], earth).mutual_impedance_ohm_per_m

    def with_earth_wires(self, section: int, total_a: ComplexArray, conductor_a: ComplexArray) -> ComplexArray:
        """Share the earth-wire current out among the earth wires of a section.

        Parameters
        ----------
        section : int
        total_a : ndarray of complex, shape (r, ...)
            In all earth wires together. [A]
        conductor_a : ndarray of complex, shape (r, c, ...)
            In all conductors, earth wires 0. [A]
        """
        earth = self.course.sections[section].is_earth_wire
        if not earth.any():
            return conductor_a
        out = conductor_a.copy()
        phases = np.moveaxis(conductor_a[:, ~earth], 1, -1)
        out[:, earth] = np.moveaxis(split_earth_wire_current(self.impedance[section], earth, total_a, phases), -1, 1)
        return out


@dataclass(frozen=True, slots=True)
class LoadState:
    """What the greatest load does, by positive, negative and zero sequence; NaN if the load is unknown.

    Attributes
    ----------
    current_a : ndarray of complex, shape (n - 1, c, 3)
        In every conductor of every span, earth wires included. [A]
    potential_v : ndarray of complex, shape (n, 3)
        Of each vertex. [V]
    usual : float
        Usual over greatest load; 1 if the load is unknown. [-]
    known : bool
    """

    current_a: ComplexArray
    potential_v: ComplexArray
    usual: float
    known: bool


def build_chain(course: Course, footing_ohm: FloatArray, frequency_hz: float, soil_ohm_m: float) -> Chain:
    """Chain of a course at one frequency.

    Parameters
    ----------
    course : Course
    footing_ohm : ndarray, shape (n,)
        Of every vertex, see `earthed`; infinite where there is no tower. [Ω]
    frequency_hz, soil_ohm_m : float
    """
    impedance = course.impedances(frequency_hz, soil_ohm_m)
    per_m = [
        equivalent_earth_wire(z, s.is_earth_wire).self_impedance_ohm_per_m if s.is_earth_wire.any() else np.inf
        for z, s in zip(impedance, course.sections, strict=True)
    ]
    footing = np.minimum(footing_ohm, NOWHERE_OHM)
    along = np.array(per_m)[course.span_section]
    none = np.isinf(along)  # a complex infinity times a length is no number
    return Chain(course, footing, impedance, np.where(none, np.inf, np.where(none, 0.0, along) * course.span_length_m))


def earthed(course: Course, footing_ohm: FloatArray) -> FloatArray:
    """Footings with the grids of the stations at the line's ends; a tower may stand at the station. [Ω]."""
    footing = footing_ohm.copy()
    for end, grid in ((0, course.line.start_grid_ohm), (-1, course.line.end_grid_ohm)):
        if grid is not None:
            footing[end] = 1 / (1 / footing[end] + 1 / grid)
    return footing


def load_state(chain: Chain, load: Load | None) -> LoadState:
    """Standing state of a chain under its line's load.

    Each sequence is solved on its own: the angles between them are seldom known.
    """
    course = chain.course
    spans, vertices = len(course.span_section), len(course.names)
    if load is None:
        unknown = np.full((vertices, SEQUENCE_COUNT), np.nan, dtype=complex)
        current = np.full((spans, len(course.hold_m), SEQUENCE_COUNT), np.nan, dtype=complex)
        return LoadState(current, unknown, 1.0, False)
    _check(course, load)
    most = load.current_a if load.maximum_a is None else load.maximum_a
    by_section = [
        conductor_currents(section, _circuit_currents(section.circuits(), load, most)) for section in course.sections
    ]
    drive = np.stack(
        [
            -chain.mutual_ohm_per_m(i) @ current[~section.is_earth_wire]
            if section.is_earth_wire.any()
            else np.zeros(SEQUENCE_COUNT)
            for i, (section, current) in enumerate(zip(course.sections, by_section, strict=True))
        ]
    )
    voltage = drive[course.span_section] * course.span_length_m[:, None]
    states = [chain_state(chain.footing_ohm, chain.span_ohm, voltage[:, k]) for k in range(SEQUENCE_COUNT)]
    potential, wire = (np.stack([getattr(s, n) for s in states], axis=-1) for n in ("potential_v", "span_current_a"))
    current = np.zeros((spans, len(course.hold_m), SEQUENCE_COUNT), dtype=complex)
    for i, own in enumerate(by_section):
        mine = np.flatnonzero(course.span_section == i)
        phases = np.broadcast_to(own, (len(mine), *own.shape))
        current[mine[:, None], course.hold[i]] = chain.with_earth_wires(i, wire[mine], phases)
    return LoadState(current, potential, load.current_a / most if most else 1.0, True)


def _check(course: Course, load: Load) -> None:
    if load.phase_currents_a and not load.current_a:
        raise JobError(f"line '{course.line.id}', load: phase_currents_a are those at current_a, which is 0; give it.")
    known = {number for section in course.sections for number in section.circuits()}
    for number in load.circuit_factor:
        if number not in known:
            raise JobError(
                f"line '{course.line.id}', load.circuit_factor: no circuit {number}; there are "
                f"{', '.join(map(str, sorted(known)))}."
            )


def _circuit_currents(circuits: dict[int, str], load: Load, positive_a: float) -> dict[int, ComplexArray]:
    """Phase currents of each circuit at some load, shape (phases, 3 sequences). [A]."""
    if load.phase_currents_a:
        size, angle = np.array(load.phase_currents_a).T
        phasors = size * np.exp(1j * np.radians(angle)) * positive_a / load.current_a
        three = SEQUENCES * np.linalg.solve(SEQUENCES, phasors)
    else:
        shares = {"negative_share": load.negative_sequence_pct / 100, "zero_share": load.zero_sequence_pct / 100}
        three = sequence_currents(positive_a, **shares)
    # two poles of a traction supply: the load there and back, and a share that returns through the earth
    two = np.array([[1, 0, 0], [-1, 0, 0]]) * positive_a + np.array([[0, 0, 1]]) * three[:1, 2]
    return {
        number: (three if len(letters) == 3 else two) * load.circuit_factor.get(number, 1.0)
        for number, letters in circuits.items()
    }
