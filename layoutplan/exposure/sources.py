"""Each line of the corridor as it hangs: its course, its cross-sections, the points that hold its conductors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.electrical import Conductor, CrossSection, generic_cross_section, impedance_matrix
from layoutplan.errors import InputRangeError, JobError
from layoutplan.exposure.axis import Axis, build_axis
from layoutplan.job import Line
from layoutplan.job.electrical import ConductorItem, CrossSectionItem
from layoutplan.line.geodesy import local_axes, turn_deg
from layoutplan.line.model import Spans, Towers


@dataclass(frozen=True, slots=True)
class LineConductors:
    """The structures of a line in order, with everything that hangs between them.

    Attributes
    ----------
    line : Line
        Its part of the job.
    axis : Axis
        Towers, and bends and ends of the axis.
    names : list of str
        Tower ids; empty where a vertex is no tower.
    structure_no : ndarray of int, shape (n,)
        Structure of each vertex (:mod:`layoutplan.line.structures`), -1 where it is no tower.
    right : ndarray, shape (n, 3)
        Unit vector to the right end of each vertex's crossarms, geocentric: perpendicular to the bisector.
    sections : tuple of CrossSection
    span_section : ndarray of int, shape (n - 1,)
        Which cross-section each span has.
    hold_m : ndarray, shape (c, 2)
        Offset and effective height of every place where any section has a conductor: each span keeps its own section's
        at both its ends, in whatever order a section lists them.
    hold : tuple of ndarray of int
        For each section the row of ``hold_m`` of each conductor.
    """

    line: Line
    axis: Axis
    names: list[str]
    structure_no: IntArray
    right: FloatArray
    sections: tuple[CrossSection, ...]
    span_section: IntArray
    hold_m: FloatArray
    hold: tuple[IntArray, ...]

    @property
    def span_length_m(self) -> FloatArray:
        """Length of each span, shape (n - 1,). [m]."""
        return np.diff(self.axis.chainage_m)

    @property
    def towers(self) -> IntArray:
        """Vertices that are towers."""
        return np.flatnonzero([bool(name) for name in self.names])

    @property
    def bends(self) -> IntArray:
        """Vertices that are no towers."""
        return np.flatnonzero([not name for name in self.names])

    def conductor_points(self, vertex: IntArray) -> tuple[FloatArray, FloatArray]:
        """Places that may hold a conductor.

        Parameters
        ----------
        vertex : ndarray of int, shape (...)
            Numbers of vertices.

        Returns
        -------
        place_m : ndarray, shape (..., c, 3)
            Geocentric, on the ground. [m]
        height_m : ndarray, shape (..., c)
            Above the ground. [m]
        """
        offset, height = self.hold_m.T
        across = offset[:, None] * self.right[vertex][..., None, :]
        return self.axis.place_m[vertex][..., None, :] + across, np.broadcast_to(height, across.shape[:-1])

    def impedances(self, frequency_hz: float, soil_resistivity_ohm_m: float) -> list[np.ndarray]:
        """Series impedance matrix of each section, see `impedance_matrix`.

        Parameters
        ----------
        frequency_hz : float
            Frequency. [Hz]
        soil_resistivity_ohm_m : float
            Resistivity of uniform soil. [Ω·m]

        Returns
        -------
        list of ndarray of complex, shape (c, c)
            One for each section. [Ω/m]
        """
        return [
            impedance_matrix(
                section.array("offset_m"),
                section.array("effective_height_m"),
                section.array("equivalent_gmr_m"),
                section.array("resistance_ohm_per_m"),
                soil_resistivity_ohm_m=soil_resistivity_ohm_m,
                frequency_hz=frequency_hz,
            )
            for section in self.sections
        ]


def build_courses(lines: Sequence[Line], spans: Spans) -> tuple[list[LineConductors], list[Axis], list[str]]:
    """Lay out every line.

    Parameters
    ----------
    lines : sequence of Line
        Of the job, branches included.
    spans : Spans
        Of the planned lines.

    Returns
    -------
    courses : list of LineConductors
        Lines of which at least the voltage is known.
    dark : list of Axis
        Those of which nothing electrical is known.
    assumptions : list of str
        What was taken for what the job does not give.

    Raises
    ------
    JobError
        If conductors, phase orders or tower ranges do not fit a line.
    """
    courses, unknown_axes, assumptions = [], [], []
    for line in lines:
        if line.voltage_kv is None:
            assumptions.append(
                f"line '{line.id}': no voltage_kv given; its voltages and currents are unknown, and so is what they "
                "do to towers near it"
            )
            unknown_axes.append(_axis(line, spans)[0])
            continue
        course = _course(line, spans)
        courses.append(course)
        generic = [section.note for section in course.sections if section.generic]
        if generic:
            assumptions.append(f"line '{line.id}': conductors not given everywhere; {generic[0]}")
        if "frequency_hz" not in line.model_fields_set:
            assumptions.append(f"line '{line.id}': frequency not given, {line.frequency_hz:g} Hz taken")
    return courses, unknown_axes, assumptions


def vertex_of_towers(course: LineConductors, towers: Towers) -> IntArray:
    """Vertex of the course at each tower that carries the line.

    A tower that two lines share is planned under one of them; the other finds it by its structure.

    Parameters
    ----------
    course : LineConductors
        One line as it hangs.
    towers : Towers
        The planned ones.

    Returns
    -------
    ndarray of int, shape (towers,)
        -1 at towers of other lines.

    Examples
    --------
    The line hangs on structures 4 and 5, with a bend between them; another line's tower is structure 6:

    >>> from types import SimpleNamespace
    >>> line = SimpleNamespace(structure_no=np.array([4, -1, 5]), towers=np.array([0, 2]))
    >>> vertex_of_towers(line, SimpleNamespace(structure_no=np.array([4, 5, 6])))
    array([ 0,  2, -1])
    """
    vertex = np.full(max(towers.structure_no.max(initial=-1), course.structure_no.max(initial=-1)) + 1, -1)
    vertex[course.structure_no[course.towers]] = course.towers
    return np.asarray(vertex[towers.structure_no])


def _axis(line: Line, spans: Spans) -> tuple[Axis, list[str], IntArray]:
    mine = np.flatnonzero(spans.line_id == line.id)
    pairs = list(zip(spans.from_tower[mine].tolist(), spans.to_tower[mine].tolist(), strict=True))
    # the pieces of one bent span carry the same two names: only the first of them starts at a tower
    names = [start if i == 0 or pairs[i - 1] != (start, end) else "" for i, (start, end) in enumerate(pairs)]
    axis = build_axis(np.vstack((spans.start_deg[mine], spans.end_deg[mine[-1:]])))
    structure_no = np.append(spans.from_structure[mine], spans.to_structure[mine[-1]])
    return axis, [*names, pairs[-1][1]], structure_no


def _course(line: Line, spans: Spans) -> LineConductors:
    axis, names, structure_no = _axis(line, spans)
    bearing = axis.bearing_deg
    before, after = np.concatenate((bearing[:1], bearing)), np.concatenate((bearing, bearing[-1:]))
    right_rad = np.radians(before + turn_deg(after - before) / 2 + 90.0)[:, None]
    east, north = local_axes(axis.lonlat_deg)
    sections, span_section = _sections(line, names)
    hold_m, hold = _holds(sections)
    right = east * np.sin(right_rad) + north * np.cos(right_rad)
    return LineConductors(line, axis, names, structure_no, right, sections, span_section, hold_m, hold)


def _holds(sections: Sequence[CrossSection]) -> tuple[FloatArray, tuple[IntArray, ...]]:
    places = [np.column_stack((s.array("offset_m"), s.array("effective_height_m"))) for s in sections]
    hold_m, row = np.unique(np.concatenate(places), axis=0, return_inverse=True)
    return hold_m, tuple(np.split(row.ravel(), np.cumsum([len(part) for part in places])[:-1]))


def _sections(line: Line, names: list[str]) -> tuple[tuple[CrossSection, ...], IntArray]:
    span_section = np.full(len(names) - 1, -1)
    made = []
    for number, item in enumerate(line.sections):
        where = f"line '{line.id}', sections[{number}]"
        first, last = _place(item.from_tower, names, 0, where), _place(item.to_tower, names, len(names) - 1, where)
        if last <= first:
            raise JobError(f"{where}: to_tower must come after from_tower along the line.")
        if (span_section[first:last] >= 0).any():
            raise JobError(f"{where}: overlaps an earlier section; let each begin where the one before ends.")
        made.append(_cross_section(line, item, where))
        span_section[first:last] = number
    if (span_section < 0).any():
        made.append(_generic(line, f"line '{line.id}'"))
        span_section[span_section < 0] = len(made) - 1
    return tuple(made), span_section


def _place(tower: str | None, names: Sequence[str], default: int, where: str) -> int:
    if tower is None:
        return default
    if tower not in names:
        known = ", ".join([name for name in names if name][:5])
        raise JobError(f"{where}: the line has no tower '{tower}'; there are for instance {known}.")
    return list(names).index(tower)


def _cross_section(line: Line, item: CrossSectionItem, where: str) -> CrossSection:
    if not item.conductors:
        section = _generic(line, where)
    try:
        if item.conductors:
            section = CrossSection(tuple(_conductor(c) for c in item.conductors), line.voltage_kv or 0.0)
        return section.with_phase_order(item.phase_order) if item.phase_order else section
    except InputRangeError as err:
        raise JobError(f"{where}: {err}") from err


def _generic(line: Line, where: str) -> CrossSection:
    try:
        return generic_cross_section(line.voltage_kv or 0.0)
    except InputRangeError as err:
        raise JobError(f"{where}: {err}") from err


def _conductor(item: ConductorItem) -> Conductor:
    return Conductor(
        phase=item.phase,
        offset_m=item.offset_m,
        attachment_height_m=item.attachment_height_m,
        sag_m=item.sag_m,
        radius_m=item.diameter_mm / 2000,
        resistance_ohm_per_m=item.resistance_ohm_per_km / 1000,
        circuit=item.circuit,
        sub_conductors=item.sub_conductors,
        bundle_spacing_m=item.bundle_spacing_m,
        gmr_m=None if item.gmr_mm is None else item.gmr_mm / 1000,
    )
