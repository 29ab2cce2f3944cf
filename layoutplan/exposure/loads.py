"""What the greatest load of each line does to the whole network: potentials, and currents in all earth wires."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from layoutplan.arrays import ComplexArray, FloatArray
from layoutplan.electrical import SEQUENCES, conductor_currents, sequence_currents
from layoutplan.errors import JobError
from layoutplan.exposure.earthing import EarthingSystem
from layoutplan.exposure.impedances import Impedances
from layoutplan.exposure.sources import LineConductors
from layoutplan.exposure.windows import FAR_M
from layoutplan.job.electrical import Load

SEQUENCE_COUNT = 3
_FEELS = 1e-4  # a line of which the earth wires carry less of another's load current is not driven by it
_ANY_LOAD = Load(current_a=1000.0)  # of a line whose load is not given
_MATTERS_V = 0.1  # such a load is taken to matter where it would lift a tower by more


@dataclass(frozen=True, slots=True)
class Driven:
    """Currents in the conductors of one line by the loads of some lines at one frequency.

    Attributes
    ----------
    frequency_hz : float
    by : ndarray of int, shape (d,)
        Lines whose loads they are.
    current_a : ndarray of complex, shape (spans, c, d, 3)
        By sequence. [A]
    """

    frequency_hz: float
    by: np.ndarray
    current_a: ComplexArray


@dataclass(frozen=True, slots=True)
class Loads:
    """Standing state of the network at the greatest loads, by line and sequence.

    Attributes
    ----------
    known : ndarray of bool, shape (lines,)
    usual : ndarray, shape (lines,)
        Usual over greatest load; 1 if the load is unknown. [-]
    potential_v : ndarray of complex, shape (nodes, lines, 3)
    footing_a : ndarray of complex, shape (footings, lines, 3)
    matters : ndarray of bool, shape (nodes, lines)
        Whether an unknown load of a line matters to a node.
    driven : tuple of tuple of Driven
        For each line what flows in its conductors.
    """

    known: np.ndarray
    usual: np.ndarray
    potential_v: ComplexArray
    footing_a: ComplexArray
    matters: np.ndarray
    driven: tuple[tuple[Driven, ...], ...]


def solve_loads(courses: Sequence[LineConductors], systems: Mapping[float, EarthingSystem]) -> Loads:
    """Work out the standing state under the greatest load of every line.

    Parameters
    ----------
    courses : sequence of LineConductors
        Lines as they hang.
    systems : mapping of float to EarthingSystem
        By supply frequency.

    Returns
    -------
    Loads
        Potentials [V] and currents [A] by line and sequence; what an unknown load leaves open is marked.

    Notes
    -----
    Each line and each sequence is solved on its own: the angles between them are seldom known.
    """
    count = len(courses)
    any_system = next(iter(systems.values()), None)
    nodes, footings = (0, 0) if any_system is None else (any_system.network.nodes, len(any_system.network.footing))
    known = np.array([course.line.load is not None for course in courses], dtype=bool)
    usual = np.ones(count)
    potential = np.zeros((nodes, count, SEQUENCE_COUNT), dtype=complex)
    footing = np.zeros((footings, count, SEQUENCE_COUNT), dtype=complex)
    matters = np.zeros((nodes, count), dtype=bool)
    driven: list[list[Driven]] = [[] for _ in courses]
    for hz, system in systems.items():
        mine = [i for i, course in enumerate(courses) if course.line.frequency_hz == hz]
        phases = [_phase_currents(courses[i]) for i in mine]
        state = system.factors.state(
            injected_a=np.concatenate([_exchanged_a(system, i, p) for i, p in zip(mine, phases, strict=True)], axis=1),
            branch_v=np.concatenate([_driven_v(system, i, p) for i, p in zip(mine, phases, strict=True)], axis=1),
            states=SEQUENCE_COUNT * len(mine),
        )
        shape = (-1, len(mine), SEQUENCE_COUNT)
        potential[:, mine] = state.potential_v.reshape(shape)
        footing[:, mine] = state.footing_a.reshape(shape)
        matters[:, mine] = _matters(system, np.abs(state.potential_v.reshape(shape)).sum(axis=-1))
        for x in range(count):
            found = _in_conductors(system, x, mine, phases, state.branch_a.reshape(shape))
            driven[x] += [found] if len(found.by) else []
    for i, course in enumerate(courses):
        load = course.line.load
        if load is not None and (most := _greatest_a(load)):
            usual[i] = load.current_a / most
    return Loads(known, usual, potential, footing, matters & ~known, tuple(tuple(parts) for parts in driven))


def _matters(system: EarthingSystem, raised_v: FloatArray) -> np.ndarray:
    """Whether loads of 1,000 A matter to the nodes, shape (nodes, lines).

    Between two towers of a line to which one matters, not far from each other, it matters to all: where its potential
    passes through zero is not known so well.
    """
    out = np.asarray(raised_v > _MATTERS_V)
    for node, own in zip(system.joints.node, system.lines, strict=True):
        chainage = own.course.axis.chainage_m
        for line in range(out.shape[1]):
            at = np.flatnonzero(out[node, line])
            for gap in np.flatnonzero(np.diff(at) > 1).tolist():
                before, after = at[gap], at[gap + 1]
                if chainage[after] - chainage[before] <= FAR_M:
                    out[node[before:after], line] = True
    return out


def _greatest_a(load: Load) -> float:
    return load.current_a if load.maximum_a is None else load.maximum_a


def _phase_currents(course: LineConductors) -> ComplexArray:
    """Currents in all spans' phase conductors at the greatest load, earth wires 0, shape (spans, c, 3). [A]."""
    load = course.line.load
    if load is not None:
        _check(course, load)
    load = load or _ANY_LOAD
    out = np.zeros((len(course.span_section), len(course.hold_m), SEQUENCE_COUNT), dtype=complex)
    for i, section in enumerate(course.sections):
        mine = np.flatnonzero(course.span_section == i)
        own = conductor_currents(section, _circuit_currents(section.circuits(), load, _greatest_a(load)))
        out[mine[:, None], course.hold[i]] = own
    return out


def _exchanged_a(system: EarthingSystem, line: int, phase_a: ComplexArray) -> ComplexArray:
    """What the phases' residual current takes out of the stations at the line's ends and puts back, (nodes, 3). [A].

    It flows through earthed neutrals; at an end without a station it returns through remote earth.
    """
    out = np.zeros((system.network.nodes, SEQUENCE_COUNT), dtype=complex)
    for at, number, sign in zip((0, -1), system.joints.ends(line), (-1.0, 1.0), strict=True):
        if number >= 0:
            out[system.joints.node[line][at]] += sign * phase_a[at].sum(axis=0)
    return out


def _driven_v(system: EarthingSystem, line: int, phase_a: ComplexArray) -> ComplexArray:
    """Voltages in all branches by the phase currents of a line, shape (branches, 3). [V]."""
    out = np.zeros((len(system.network.branch), SEQUENCE_COUNT), dtype=complex)
    own = system.lines[line]
    course = own.course
    for i, section in enumerate(course.sections):
        mine = np.flatnonzero((course.span_section == i) & own.has_wire)
        phases = course.hold[i][~section.is_earth_wire]
        drive = -np.einsum("p,spk->sk", own.mutual_ohm_per_m(i), phase_a[mine[:, None], phases])
        out[system.branch[line][mine]] += drive * course.span_length_m[mine, None]
    every = phase_a + _circulating_a(own, phase_a)
    for (driven, driving), made in system.transfers.items():
        if driving == line:
            span = np.flatnonzero(system.branch[driven] >= 0)
            out[system.branch[driven][span]] += made.driven_v(every)[span]
    return out


def _circulating_a(own: Impedances, phase_a: ComplexArray) -> ComplexArray:
    """What the phases drive round a line's own earth wires, together nothing, shape (spans, c, 3). [A]."""
    course = own.course
    out = np.zeros_like(phase_a)
    for i in range(len(course.sections)):
        mine = np.flatnonzero(course.span_section == i)
        flat = phase_a[mine[:, None], course.hold[i]]
        nothing = np.zeros((len(mine), SEQUENCE_COUNT), dtype=complex)
        out[mine[:, None], course.hold[i]] = own.with_earth_wires(i, nothing, flat) - flat
    return out


def _in_conductors(
    system: EarthingSystem, line: int, by: Sequence[int], phases: Sequence[ComplexArray], branch_a: ComplexArray
) -> Driven:
    """Currents in the conductors of one line by the loads of others, its own first among them."""
    own = system.lines[line]
    course, branch = own.course, system.branch[line]
    wire = np.zeros((len(branch), *branch_a.shape[1:]), dtype=complex)
    wire[branch >= 0] = branch_a[branch[branch >= 0]]
    felt = [
        k
        for k, i in enumerate(by)
        if i == line or np.abs(wire[:, k]).max(initial=0.0) > _FEELS * np.abs(phases[k]).max(initial=0.0)
    ]
    current = np.zeros((len(branch), len(course.hold_m), len(felt), SEQUENCE_COUNT), dtype=complex)
    for column, k in enumerate(felt):
        for i, section in enumerate(course.sections):
            mine = np.flatnonzero(course.span_section == i)
            flat = np.zeros((len(mine), len(section.conductors), SEQUENCE_COUNT), dtype=complex)
            if by[k] == line:
                flat = phases[k][mine[:, None], course.hold[i]]
            current[mine[:, None], course.hold[i], column] = own.with_earth_wires(i, wire[mine, k], flat)
    return Driven(system.frequency_hz, np.array(by, dtype=np.int64)[felt], current)


def _check(course: LineConductors, load: Load) -> None:
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
        number: np.asarray((three if len(letters) == 3 else two) * load.circuit_factor.get(number, 1.0), dtype=complex)
        for number, letters in circuits.items()
    }
