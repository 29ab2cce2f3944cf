"""All lines of the corridor as one earthing network with their currents: set up once, asked for any leads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.electrical import equivalent_hemisphere_radius
from layoutplan.errors import InputRangeError, JobError
from layoutplan.exposure.axis import Axis
from layoutplan.exposure.earthing import EarthingSystem, earthing_system
from layoutplan.exposure.faults import LineFaults, StationFaults, line_faults, station_faults
from layoutplan.exposure.footings import Footings, NearFootings, footings_of, near_footings
from layoutplan.exposure.ground import SoilAndFootings, ground_at
from layoutplan.exposure.joints import Joints, StationNode, numbered_nodes
from layoutplan.exposure.loads import Loads, solve_loads
from layoutplan.exposure.network_notes import gaps_of_faults, left_out, unknowns
from layoutplan.exposure.sources import LineConductors, build_courses, vertex_of_towers
from layoutplan.inputs.model import FaultTable
from layoutplan.job import Job, Line
from layoutplan.line.geodesy import to_ecef
from layoutplan.line.model import LineModel, Towers
from layoutplan.line.structures import SAME_PLACE_M

# farther off a line adds at most 0.5 V to a lead along it (380 kV, 2.5 kA, 100 ohm m); 2 V (800 kV, 4 kA, 1 kohm m)
UNKNOWN_MATTERS_M = 1000.0


@dataclass(frozen=True, slots=True)
class Source:
    """One line of which at least the voltage is known.

    Attributes
    ----------
    course : LineConductors
        Where it hangs.
    vertex : ndarray of int, shape (towers,)
        Vertex at which this line hangs on each planned tower, one of its own or one that it shares, else -1.
    faults : LineFaults or None
        None where the job gives no fault current.
    """

    course: LineConductors
    vertex: IntArray
    faults: LineFaults | None

    @property
    def line(self) -> Line:
        """The line's part of the job."""
        return self.course.line


@dataclass(frozen=True, slots=True)
class Network:
    """All sources of the corridor, joined by structures and stations.

    Attributes
    ----------
    job : Job
    towers : Towers
    ground : SoilAndFootings
    sources : tuple of Source
    joints : Joints
    footings : Footings
    pairs : tuple
        Footings that lift each other, from `Footings.pairs`.
    near : NearFootings
        What lifts the ground about each tower.
    systems : dict of EarthingSystem
        By supply frequency.
    loads : Loads
    station_faults : tuple of (float, StationFaults)
        With the supply frequency.
    dark : tuple of Axis
        Where lines run of which nothing electrical is known.
    owner : ndarray of int, shape (towers,)
        Number of the source whose line each tower belongs to, -1 if nothing electrical is known of it.
    unknown_too : ndarray of bool, shape (towers,)
        Whether a tower carries a further line, too, of which nothing electrical, or no tower, is known.
    assumptions : tuple of str
    """

    job: Job
    towers: Towers
    ground: SoilAndFootings
    sources: tuple[Source, ...]
    joints: Joints
    footings: Footings
    pairs: tuple[IntArray, FloatArray]
    near: NearFootings
    systems: dict[float, EarthingSystem]
    loads: Loads
    station_faults: tuple[tuple[float, StationFaults], ...]
    unknown_axes: tuple[Axis, ...]
    owner: IntArray
    unknown_too: NDArray[np.bool_]
    assumptions: tuple[str, ...]

    @property
    def known(self) -> NDArray[np.bool_]:
        """Whether something electrical is known of every line that each tower carries."""
        return (self.owner >= 0) & ~self.unknown_too

    @property
    def node(self) -> IntArray:
        """Node of each tower, -1 where nothing electrical is known of its line."""
        of_tower = self.footings.of_tower
        return (
            np.where(of_tower < 0, -1, self.joints.structure_node[np.maximum(of_tower, 0)])
            if len(self.sources)
            else of_tower
        )

    @property
    def in_a_grid(self) -> NDArray[np.bool_]:
        """Whether each tower stands in a station's earth grid, taken as a hemisphere of its resistance."""
        return in_a_grid(self.towers, self.joints.stations, self.ground.deep_ohm_m)

    def by_unknown_lines(self, tower: IntArray) -> NDArray[np.bool_]:
        """Whether nothing electrical is known of the line of some towers, or of another one near them.

        Parameters
        ----------
        tower : ndarray of int, shape (t,)
            Rows of the towers.

        Returns
        -------
        ndarray of bool, shape (t,)
        """
        out = np.asarray(self.owner[tower] < 0)
        for axis in self.unknown_axes:
            out |= axis.nearest(self.towers.lonlat_deg[tower])[0] <= UNKNOWN_MATTERS_M
        return out


def build_network(job: Job, model: LineModel, lines: Sequence[tuple[Line, FaultTable | None]]) -> Network:
    """Set up the network of a job.

    Parameters
    ----------
    job : Job
        Soil, method, limits, stations.
    model : LineModel
        Towers and spans of the planned lines.
    lines : sequence of (Line, FaultTable or None)
        As they were read, branches included; with the fault currents by tower where the job names a table.

    Returns
    -------
    Network
        Solved for the greatest loads.

    Raises
    ------
    JobError
        If conductors, phases or tower ranges do not fit the lines.
    """
    ground = ground_at(model.towers, job)
    courses, unknown_axes, texts = build_courses([line for line, _ in lines], model.spans)
    vertex = [vertex_of_towers(course, model.towers) for course in courses]
    joints = numbered_nodes(job, courses)
    footings = footings_of(courses, vertex, joints, model.towers, ground)
    pairs = footings.pairs()
    systems = _systems(courses, joints, footings, pairs, ground)
    tables = {line.id: table for line, table in lines}
    sources = []
    for number, (course, at) in enumerate(zip(courses, vertex, strict=True)):
        system = systems[course.line.frequency_hz]
        sources.append(Source(course, at, line_faults(job, system, number, tables[course.line.id])))
    at_stations = [
        (hz, found)
        for hz, served in _stations_served(joints, courses).items()
        for found in station_faults(job, systems[hz], served)
    ]
    owner = np.full(len(model.towers), -1)
    for number, source in enumerate(sources):
        owner[model.towers.line_id == source.line.id] = number
        texts += unknowns(source.line)
        if source.faults is not None:
            gaps = source.faults.vertex[~source.faults.known]
            texts += gaps_of_faults(source.line, [source.course.names[i] for i in gaps.tolist()])
    texts += left_out(job, joints, len(courses) + len(unknown_axes))
    standing = model.towers.tower_id[in_a_grid(model.towers, joints.stations, ground.deep_ohm_m)].tolist()
    if standing:
        texts.append(
            f"{', '.join(standing)}: within a station's earth grid; what of a current enters the ground by the tower's "
            "own legs, and so what a reading is worth there, is unknown"
        )
    unknown_ids = [line.id for line, _ in lines if line.voltage_kv is None]
    unknown = [*(axis.place_m for axis in unknown_axes), *(course.axis.place_m[course.bends] for course in courses)]
    return Network(
        job=job,
        towers=model.towers,
        ground=ground,
        sources=tuple(sources),
        joints=joints,
        footings=footings,
        pairs=pairs,
        near=near_footings(footings, pairs, model.towers, ground),
        systems=systems,
        loads=solve_loads(courses, systems),
        station_faults=tuple(at_stations),
        unknown_axes=tuple(unknown_axes),
        owner=owner,
        unknown_too=_unknown_too(model, owner, unknown_ids, unknown),
        assumptions=(*ground.assumptions, *texts),
    )


def _systems(
    courses: Sequence[LineConductors],
    joints: Joints,
    footings: Footings,
    pairs: tuple[IntArray, FloatArray],
    ground: SoilAndFootings,
) -> dict[float, EarthingSystem]:
    for course in courses:
        try:
            course.impedances(course.line.frequency_hz, ground.deep_ohm_m)
        except InputRangeError as err:
            raise JobError(f"line '{course.line.id}', sections: {err}") from err
    return {
        hz: earthing_system(courses, joints, footings, pairs, ground.deep_ohm_m, hz)
        for hz in dict.fromkeys(course.line.frequency_hz for course in courses)
    }


def _stations_served(joints: Joints, courses: Sequence[LineConductors]) -> dict[float, frozenset[int]]:
    """Numbers of the stations by the frequencies of the lines that end there: of all lines where none does."""
    ends = [(course.line.frequency_hz, joints.ends(number)) for number, course in enumerate(courses)]
    served = {number for _, both in ends for number in both}
    alone = set(range(len(joints.stations))) - served
    return {
        hz: frozenset(alone.union(*(both for own, both in ends if own == hz)) - {-1})
        for hz in dict.fromkeys(own for own, _ in ends)
    }


def in_a_grid(towers: Towers, stations: Sequence[StationNode], soil_ohm_m: float) -> NDArray[np.bool_]:
    """Mark towers that stand nearer to a station than the radius of a hemisphere of its grid's resistance.

    Parameters
    ----------
    towers : Towers
        The planned ones.
    stations : sequence of StationNode
        All of the network.
    soil_ohm_m : float
        Resistivity of the soil about the grids. [Ω·m]

    Returns
    -------
    ndarray of bool, shape (towers,)
        True where the tower stands within a grid.
    """
    here = to_ecef(towers.lonlat_deg)
    found = np.zeros(len(towers), dtype=bool)
    for station in stations:
        radius_m = float(equivalent_hemisphere_radius(station.grid_ohm, soil_resistivity_ohm_m=soil_ohm_m))
        found |= cKDTree(station.place_m).query(here)[0] <= radius_m
    return found


def _unknown_too(
    model: LineModel, owner: IntArray, unknown_axes: Sequence[str], bends_m: Sequence[FloatArray]
) -> NDArray[np.bool_]:
    """Mark towers of known lines that carry a line of which nothing electrical is known, or at which a line bends."""
    towers, spans = model.towers, model.spans
    mine = np.isin(spans.line_id, unknown_axes)
    carried = np.concatenate((spans.from_structure[mine], spans.to_structure[mine]))
    found = np.isin(towers.structure_no, carried[carried >= 0])
    here = to_ecef(towers.lonlat_deg)
    for place_m in bends_m:
        found |= cKDTree(place_m).query(here)[0] <= SAME_PLACE_M
    return np.asarray(found & (owner >= 0))


def require_figures(network: Network) -> None:
    """Hold the job's limits on figures against what is known: an unknown figure cannot be held against a limit.

    Parameters
    ----------
    network : Network
        Of the job.

    Raises
    ------
    JobError
        If the job limits a figure that is unknown.
    """
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
