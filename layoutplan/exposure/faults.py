"""Earth faults at every tower of every line and in the stations, as the job gives their currents."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from layoutplan.arrays import ComplexArray, FloatArray, IntArray
from layoutplan.electrical import decrement_factor
from layoutplan.errors import JobError
from layoutplan.exposure.earthing import EarthingSystem, units
from layoutplan.exposure.joints import StationNode
from layoutplan.exposure.sources import LineConductors
from layoutplan.inputs.model import FaultTable
from layoutplan.job import Job, Line


@dataclass(frozen=True, slots=True)
class LineFaults:
    """Faults at the towers of a line.

    Attributes
    ----------
    line : int
    vertex : ndarray of int, shape (k,)
        Where they are.
    feed_a : ndarray, shape (k, 2)
        What feeds them from the start and from the end; where that is unknown, the greatest of the line's others. [A]
    known : ndarray of bool, shape (k,)
    phase_place : ndarray of int, shape (phases, sections)
        Place of each phase that may be faulted.
    ends : tuple of int
        Nodes at which the currents are taken out of the ground again, -1 where they return through remote earth.
    own_ohm : ndarray of complex, shape (spans, phases)
        Mutual impedance of each phase and the earth wires. [Ω]
    across : dict of list of csr_array
        For each other line the voltage in its spans per ampere in the spans of each phase. [Ω]
    clearing_time_s : float
    """

    line: int
    vertex: IntArray
    feed_a: FloatArray
    known: np.ndarray
    phase_place: IntArray
    ends: tuple[int, int]
    own_ohm: ComplexArray
    across: dict[int, list[sparse.csr_array]]
    clearing_time_s: float


@dataclass(frozen=True, slots=True)
class StationFaults:
    """A fault in a station: the current that enters its node from outside."""

    station: StationNode
    injected_a: complex
    clearing_time_s: float


def line_faults(job: Job, system: EarthingSystem, line: int, table: FaultTable | None) -> LineFaults | None:
    """Faults at every tower of a line, as the job gives their currents; None if it gives none.

    Parameters
    ----------
    job : Job
        Its fault section and clearing times.
    system : EarthingSystem
        At the line's frequency.
    line : int
        Number of the line.
    table : FaultTable or None
        Currents by tower, if the job gives a table.

    Returns
    -------
    LineFaults or None
        Currents from either side. [A]

    Raises
    ------
    JobError
        If the faulted phase or circuit does not exist.
    """
    own = system.lines[line]
    course = own.course
    fault = course.line.fault
    if fault is None:
        return None
    vertex = course.towers
    feed = _feeding_currents(course.line, course.names, table)[vertex]
    known = np.asarray(~np.isnan(feed).any(axis=1))
    with np.errstate(all="ignore"):
        most = np.nanmax(feed, axis=0, initial=0.0, where=~np.isnan(feed))
    feed = np.where(np.isnan(feed), most, feed) * _offset_factor(job, course.line.frequency_hz, fault)
    place = _faulted_places(course)
    per_m = np.zeros((len(course.sections), len(place)), dtype=complex)
    for i, section in enumerate(course.sections):
        phases = np.flatnonzero(~section.is_earth_wire)
        per_m[i] = own.mutual_ohm_per_m(i)[[int(np.flatnonzero(phases == p)[0]) for p in place[:, i]]]
    across: dict[int, list[sparse.csr_array]] = {}
    for (driven, driving), made in system.transfers.items():
        if driving == line:
            weights = [one_place(course, phase) for phase in place]
            across[driven] = [made.by_span(weight, course.span_length_m) for weight in weights]
    stations = system.joints.ends(line)
    ends = [
        int(system.joints.node[line][at]) if number >= 0 else -1 for at, number in zip((0, -1), stations, strict=True)
    ]
    return LineFaults(
        line,
        vertex,
        feed,
        known,
        place,
        (ends[0], ends[1]),
        np.asarray(per_m[course.span_section] * course.span_length_m[:, None], dtype=complex),
        across,
        fault.clearing_time_s,
    )


def station_faults(job: Job, system: EarthingSystem, served: Collection[int]) -> list[StationFaults]:
    """Faults in the stations of which the job gives the current.

    Parameters
    ----------
    job : Job
        Its stations.
    system : EarthingSystem
        At one frequency.
    served : collection of int
        Numbers of the stations that have this frequency.

    Returns
    -------
    list of StationFaults
        Currents. [A]
    """
    found = []
    for i, station in enumerate(system.joints.stations):
        fault = station.fault
        if fault is None or i not in served:
            continue
        row = np.array([station.node])
        one = system.factors.solve(units(system.network.size, row).toarray())[:, 0]
        if fault.current_ka is not None and fault.earth_wire_share_pct is None:
            injected = complex(1e3 * fault.current_ka)
        else:
            grid_ka = fault.grid_current_ka or fault.current_ka * (1 - fault.earth_wire_share_pct / 100)  # type: ignore[operator]
            grid = system.footing_row(np.array([system.joints.structures + i]))[0]
            injected = complex(1e3 * grid_ka / one[grid])
        factor = _offset_factor(job, system.frequency_hz, fault)
        found.append(StationFaults(station, injected * factor, fault.clearing_time_s))
    return found


def _offset_factor(job: Job, frequency_hz: float, fault: object) -> float:
    """Factor for the d.c. offset of the current, where the standard asks for it and X/R is given."""
    ratio = getattr(fault, "x_over_r", None)
    if ratio is None or job.limits.touch_standard != "IEEE Std 80":
        return 1.0
    return float(decrement_factor(ratio, getattr(fault, "clearing_time_s"), frequency_hz=frequency_hz))  # noqa: B009


def one_place(course: LineConductors, place: IntArray) -> FloatArray:
    """Weights (spans, c) of an ampere in one conductor of each section, given by its place in it.

    Parameters
    ----------
    course : LineConductors
        The line as it hangs.
    place : ndarray of int
        Of the conductor, by section.

    Returns
    -------
    ndarray, shape (spans, c)
        0 or 1.

    Examples
    --------
    Two spans of one section, with the ampere in the second of its three conductors:

    >>> from types import SimpleNamespace
    >>> line = SimpleNamespace(span_section=np.array([0, 0]), hold_m=np.zeros((3, 2)), hold=(np.array([0, 1, 2]),))
    >>> one_place(line, np.array([1]))
    array([[0., 1., 0.],
           [0., 1., 0.]])
    """
    out = np.zeros((len(course.span_section), len(course.hold_m)))
    row = np.array([course.hold[i][p] for i, p in enumerate(place.tolist())])
    out[np.arange(len(out)), row[course.span_section]] = 1.0
    return out


def _faulted_places(course: LineConductors) -> IntArray:
    """Place among the conductors of each section of every phase that may be faulted, shape (phases, sections)."""
    fault = course.line.fault
    assert fault is not None, "asked only where there is a fault"
    first = course.sections[0].circuits().get(fault.circuit, "")
    letters = sorted(first) if fault.phase is None else [fault.phase]
    out = np.zeros((len(letters), len(course.sections)), dtype=np.int64)
    for i, section in enumerate(course.sections):
        places = {(c.phase, c.circuit): k for k, c in enumerate(section.conductors)}
        for row, letter in enumerate(letters):
            if (letter, fault.circuit) not in places:
                break
            out[row, i] = places[letter, fault.circuit]
        else:
            if letters:
                continue
        there = ", ".join(f"{number}: {found}" for number, found in section.circuits().items())
        asked = f"phase {fault.phase} in circuit {fault.circuit}" if fault.phase else f"circuit {fault.circuit}"
        raise JobError(f"line '{course.line.id}', fault: no {asked}; the circuits are {there}.")
    return out


def _feeding_currents(line: Line, names: list[str], table: FaultTable | None) -> FloatArray:
    """From the start and from the end to a fault at each vertex, shape (n, 2); NaN if unknown. [A]."""
    fault, count = line.fault, len(names)
    assert fault is not None, "asked only where there is a fault"
    if fault.current_ka is not None:
        return np.full((count, 2), fault.current_ka * 500.0)
    if fault.from_start_ka is not None and fault.from_end_ka is not None:
        return np.tile(1000.0 * np.array([fault.from_start_ka, fault.from_end_ka]), (count, 1))
    known: Mapping[str, tuple[float, float]] = {}
    if table is not None:
        sides = zip(table.from_start_a.tolist(), table.from_end_a.tolist(), strict=True)
        known = dict(zip(table.tower_id, sides, strict=True))
    return np.array([known.get(name, (np.nan, np.nan)) for name in names], dtype=float)
