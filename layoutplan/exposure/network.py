"""All lines of the corridor with their currents: set up once, asked for any leads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from layoutplan.errors import InputRangeError, JobError
from layoutplan.exposure.axis import Axis
from layoutplan.exposure.chain import Chain, LoadState, build_chain, earthed, load_state
from layoutplan.exposure.faults import Faults, solve_faults
from layoutplan.exposure.ground import Ground, ground_at
from layoutplan.exposure.sources import Course, build_courses, vertex_of_towers
from layoutplan.inputs.model import FaultTable
from layoutplan.job import Job, Line
from layoutplan.line.build import SAME_PLACE_M
from layoutplan.line.geodesy import to_ecef
from layoutplan.line.model import IntArray, LineModel, Towers

# farther off a line adds at most 0.5 V to a lead along it (380 kV, 2.5 kA, 100 ohm m); 2 V (800 kV, 4 kA, 1 kohm m)
UNKNOWN_MATTERS_M = 1000.0


@dataclass(frozen=True, slots=True)
class Source:
    """One line at its own frequency.

    Attributes
    ----------
    chain : Chain
    vertex : ndarray of int, shape (towers,)
        Vertex of each planned tower that belongs to this line, else -1.
    load : LoadState
    faults : Faults or None
        None where the job tells no fault current.
    """

    chain: Chain
    vertex: IntArray
    load: LoadState
    faults: Faults | None

    @property
    def course(self) -> Course:
        """Where the line hangs."""
        return self.chain.course

    @property
    def line(self) -> Line:
        """The line's part of the job."""
        return self.chain.course.line


@dataclass(frozen=True, slots=True)
class Network:
    """All sources of the corridor, with soil and footings at the towers.

    Attributes
    ----------
    job : Job
    towers : Towers
    ground : Ground
    sources : tuple of Source
    dark : tuple of Axis
        Where lines run of which nothing electrical is known.
    owner : ndarray of int, shape (towers,)
        Number of the source whose line each tower belongs to, -1 if nothing electrical is known of it.
    shared : ndarray of bool, shape (towers,)
        Whether a tower carries another line of the job, too, whose currents are not counted in its own potential.
    assumptions : tuple of str
    """

    job: Job
    towers: Towers
    ground: Ground
    sources: tuple[Source, ...]
    dark: tuple[Axis, ...]
    owner: IntArray
    shared: NDArray[np.bool_]
    assumptions: tuple[str, ...]

    def in_the_dark(self, tower: IntArray) -> NDArray[np.bool_]:
        """Whether nothing electrical is known of the line of some towers, or of another one near them."""
        out = np.asarray(self.owner[tower] < 0)
        for axis in self.dark:
            out |= axis.nearest(self.towers.lonlat_deg[tower])[0] <= UNKNOWN_MATTERS_M
        return out


def build_network(job: Job, model: LineModel, lines: Sequence[tuple[Line, FaultTable | None]]) -> Network:
    """Set up the sources of a job.

    Parameters
    ----------
    job : Job
    model : LineModel
    lines : sequence of (Line, FaultTable or None)
        As they were read, branches included; with the fault currents by tower where the job names a table.

    Raises
    ------
    JobError
        Conductors, phases or tower ranges that cannot be.
    """
    ground = ground_at(model.towers, job)
    courses, dark, texts = build_courses([line for line, _ in lines], model.spans)
    tables = {line.id: table for line, table in lines}
    sources = [_source(course, model.towers, ground, tables[course.line.id]) for course in courses]
    owner = np.full(len(model.towers), -1)
    for number, source in enumerate(sources):
        owner[source.vertex >= 0] = number
        texts += _unknowns(source.line)
    texts += [
        "power lines on the map that are not in the job add nothing to the voltages: their currents are not known",
        "the earth wires of a line end with its first and last tower or bend; a branch is not joined to its line",
    ]
    if len(sources) > 1:
        texts.append("a fault is looked at for the towers of its own line only: what it induces beside it is not")
    shared = _shared(model.towers, owner, courses, dark)
    if shared.any():
        names = model.towers.tower_id[shared].tolist()
        some = ", ".join(names[:5]) + (", …" if len(names) > 5 else "")
        texts.append(
            f"{len(names)} tower(s) carry another line of the job, too ({some}): what its load and its faults "
            "make of their potential is not counted; voltages of the tower in service and under a fault may be too low"
        )
    found = (*ground.assumptions, *texts)
    return Network(job, model.towers, ground, tuple(sources), tuple(dark), owner, shared, found)


def _shared(towers: Towers, owner: IntArray, courses: Sequence[Course], dark: Sequence[Axis]) -> NDArray[np.bool_]:
    """Mark towers at whose places another line has a tower, or a vertex where nothing electrical is known of it."""
    here = to_ecef(towers.lonlat_deg)
    shared = np.zeros(len(towers), dtype=bool)
    others = [(course.axis.place_m[course.towers], owner != number) for number, course in enumerate(courses)]
    for place_m, not_its_own in [*others, *((axis.place_m, owner >= 0) for axis in dark)]:
        shared |= (cKDTree(place_m).query(here)[0] <= SAME_PLACE_M) & not_its_own
    return shared


def require_figures(network: Network) -> None:
    """Raise a JobError if the job limits figures that are unknown: an unknown one cannot be held against a limit."""
    rules = network.job.rules
    known = {source.line.id: source.line for source in network.sources}
    planned = dict.fromkeys(network.towers.line_id.tolist())
    every = dict.fromkeys([*planned, *(line.id for line in network.job.lines)])  # those beside induce, too
    for key, lines in (("max_induced_v", every), ("max_bias_pct", planned), ("max_coupling_pct", planned)):
        for line_id in lines:
            if getattr(rules, key) is not None and line_id not in known:
                raise JobError(
                    f"rules.{key} is set, but line '{line_id}' has no voltage_kv: give it, or drop the rule."
                )
    for line in known.values():
        if rules.max_induced_v is not None and line.load is None:
            raise JobError(
                f"rules.max_induced_v is set, but line '{line.id}' has no [lines.load]: give its current, or drop "
                "max_induced_v."
            )


def _unknowns(line: Line) -> list[str]:
    """What the job does not say of a line's load and fault, and what is taken instead."""
    texts = []
    if line.load is None:
        texts.append(f"line '{line.id}': no load current given; everything that depends on it is unknown")
    elif line.load.maximum_a is None:
        texts.append(f"line '{line.id}': greatest load not given, the usual {line.load.current_a:g} A taken for it")
    if line.load is not None and not line.load.phase_currents_a:
        texts += [
            f"line '{line.id}': {name} sequence not given, {getattr(line.load, key):g} % taken (judgement)"
            for name, key in (("negative", "negative_sequence_pct"), ("zero", "zero_sequence_pct"))
            if key not in line.load.model_fields_set
        ]
    if line.fault is not None:
        texts += [
            f"line '{line.id}': no station grid given at its {end}; a fault current from there is taken to return "
            "through remote earth"
            for end, grid in (("start", line.start_grid_ohm), ("end", line.end_grid_ohm))
            if grid is None
        ]
    else:
        texts.append(f"line '{line.id}': no fault current given; everything that depends on it is unknown")
    return texts


def _source(course: Course, towers: Towers, ground: Ground, table: FaultTable | None) -> Source:
    vertex = vertex_of_towers(course, towers)
    footing = np.full(len(course.names), np.inf)
    # a branch's first tower is planned under the line it branches from and found by its name only
    footing[[i for i, name in enumerate(course.names) if name]] = float(np.median(ground.footing_ohm))
    footing[vertex[vertex >= 0]] = ground.footing_ohm[vertex >= 0]
    try:
        chain = build_chain(course, earthed(course, footing), course.line.frequency_hz, ground.deep_ohm_m)
    except InputRangeError as err:
        raise JobError(f"line '{course.line.id}', sections: {err}") from err
    return Source(chain, vertex, load_state(chain, course.line.load), solve_faults(chain, table))
