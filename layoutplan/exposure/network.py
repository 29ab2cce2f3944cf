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
from layoutplan.line.geodesy import FloatArray, to_ecef
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
        Vertex at which this line hangs on each planned tower, one of its own or one that it shares, else -1.
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
    dark_too : ndarray of bool, shape (towers,)
        Whether a tower carries a further line, too, of which nothing electrical, or no tower, is known.
    assumptions : tuple of str
    """

    job: Job
    towers: Towers
    ground: Ground
    sources: tuple[Source, ...]
    dark: tuple[Axis, ...]
    owner: IntArray
    dark_too: NDArray[np.bool_]
    assumptions: tuple[str, ...]

    @property
    def known(self) -> NDArray[np.bool_]:
        """Whether something electrical is known of every line that each tower carries."""
        return (self.owner >= 0) & ~self.dark_too

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
        owner[model.towers.line_id == source.line.id] = number
        texts += _unknowns(source.line)
    texts += [
        "power lines on the map that are not in the job add nothing to the voltages: their currents are not known",
        "the earth wires of a line end with its first and last tower or bend; a branch is not joined to its line",
    ]
    if len(sources) + len(dark) > 1:
        texts.append(
            "what a fault of a line does to leads at towers beside it, which do not carry it, is the exposure 'by a "
            "fault of a line beside': it counts for the handling and is in no other figure"
        )
    shared = np.count_nonzero([source.vertex >= 0 for source in sources], axis=0) > 1
    if shared.any():
        texts.append(_shared_text(model.towers.tower_id[shared].tolist()))
    unknown = [*(axis.place_m for axis in dark), *(course.axis.place_m[course.bends] for course in courses)]
    dark_too = _dark_too(model.towers, owner, unknown)
    found = (*ground.assumptions, *texts)
    return Network(job, model.towers, ground, tuple(sources), tuple(dark), owner, dark_too, found)


def _shared_text(names: list[str]) -> str:
    some = ", ".join(names[:5]) + (", …" if len(names) > 5 else "")
    return (
        f"{len(names)} tower(s) carry more than one line of the job ({some}): what their loads make of a tower's "
        "potential is added up, of faults the worst is taken, and each line's potential is worked out as if its earth "
        "wires were the only ones; circuits that share towers and earth wires for long belong into one line of the job"
    )


def _dark_too(towers: Towers, owner: IntArray, places_m: Sequence[FloatArray]) -> NDArray[np.bool_]:
    """Mark towers of known lines at which another line bends, or stands of which nothing electrical is known."""
    here = to_ecef(towers.lonlat_deg)
    found = np.zeros(len(towers), dtype=bool)
    for place_m in places_m:
        found |= cKDTree(place_m).query(here)[0] <= SAME_PLACE_M
    return found & (owner >= 0)


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
    # towers of which nobody measures the footing
    footing[[i for i, name in enumerate(course.names) if name]] = float(np.median(ground.footing_ohm))
    footing[vertex[vertex >= 0]] = ground.footing_ohm[vertex >= 0]
    try:
        chain = build_chain(course, earthed(course, footing), course.line.frequency_hz, ground.deep_ohm_m)
    except InputRangeError as err:
        raise JobError(f"line '{course.line.id}', sections: {err}") from err
    return Source(chain, vertex, load_state(chain, course.line.load), solve_faults(chain, table))
