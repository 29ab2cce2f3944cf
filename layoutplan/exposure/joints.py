"""Which vertices of all lines are one structure, and which line ends meet in one station: the nodes of the network."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.exposure.sources import LineConductors
from layoutplan.job import Job
from layoutplan.job.stations import Station, StationFault

ONE_STATION_M = 300.0  # line ends with a grid each that lie nearer are probably in one station (judgement)


@dataclass(frozen=True, slots=True)
class StationNode:
    """A station of the network.

    Attributes
    ----------
    name : str
        As messages call it.
    node : int
        Number of its node.
    grid_ohm : float
        Resistance of its earth grid. [Ω]
    place_m : ndarray, shape (k, 3)
        Where its lines end, geocentric. [m]
    fault : StationFault or None
        Current of a fault in the station, if given.
    """

    name: str
    node: int
    grid_ohm: float
    place_m: FloatArray
    fault: StationFault | None


@dataclass(frozen=True, slots=True)
class Joints:
    """Nodes of the network of some courses.

    Attributes
    ----------
    nodes : int
    node : tuple of ndarray of int
        Node of every vertex of each course.
    structure : tuple of ndarray of int
        Structure of every vertex of each course that is a tower, -1 where it is none.
    structures : int
    structure_node : ndarray of int, shape (structures,)
    stations : tuple of StationNode
    """

    nodes: int
    node: tuple[IntArray, ...]
    structure: tuple[IntArray, ...]
    structures: int
    structure_node: IntArray
    stations: tuple[StationNode, ...]

    def ends(self, course: int) -> tuple[int, int]:
        """Stations at the start and at the end of a course.

        Parameters
        ----------
        course : int
            Number of the course.

        Returns
        -------
        start, end : int
            Numbers of the stations, -1 where there is none.

        Examples
        --------
        A line that ends in the first station; where it starts there is none:

        >>> grid = StationNode("north", 2, 0.5, np.zeros((1, 3)), None)
        >>> one = np.array([0, 1, 2])
        >>> Joints(3, (one,), (one,), 3, one, (grid,)).ends(0)
        (-1, 0)
        """
        nodes = {station.node: i for i, station in enumerate(self.stations)}
        return nodes.get(int(self.node[course][0]), -1), nodes.get(int(self.node[course][-1]), -1)


def numbered_nodes(job: Job, courses: Sequence[LineConductors]) -> Joints:
    """Number the nodes of the network.

    Towers of different lines that are one structure are one node; so are line ends in one station, with the tower that
    stands there.

    Parameters
    ----------
    job : Job
        Its stations.
    courses : sequence of LineConductors
        Lines as they hang.

    Returns
    -------
    Joints
        Nodes of all vertices, structures and stations.
    """
    first = np.cumsum([0, *(len(course.names) for course in courses)])
    place = np.concatenate([course.axis.place_m for course in courses]) if courses else np.zeros((0, 3))
    number = np.concatenate([course.structure_no for course in courses]) if courses else np.zeros(0, dtype=np.int64)
    tower = number >= 0
    one = np.arange(len(place))
    one[tower] = np.flatnonzero(tower)[_first_of(number[tower])]
    one = np.unique(one, return_inverse=True)[1]
    stands = np.unique(one[tower], return_inverse=True)[1]
    structure = np.full(len(place), -1)
    structure[tower] = stands
    found = _stations(job, courses, first)
    together = [(one[vertices[0]], one[v]) for _, vertices in found for v in vertices]
    node = _merged(int(one.max(initial=-1)) + 1, np.array(together, dtype=np.int64).reshape(-1, 2))[one]
    structure_node = np.zeros(int(stands.max(initial=-1)) + 1, dtype=np.int64)
    structure_node[stands] = node[tower]
    return Joints(
        int(node.max(initial=-1)) + 1,
        tuple(np.split(node, first[1:-1])) if courses else (),
        tuple(np.split(structure, first[1:-1])) if courses else (),
        len(structure_node),
        structure_node,
        tuple(
            StationNode(station.id, int(node[v[0]]), station.grid_ohm, place[v], station.fault) for station, v in found
        ),
    )


def _first_of(number: IntArray) -> IntArray:
    """Row of the first occurrence of each number."""
    _, first, place = np.unique(number, return_index=True, return_inverse=True)
    return np.asarray(first[place], dtype=np.int64)


def _merged(count: int, pairs: IntArray) -> IntArray:
    """Number the groups that pairs of things make of them."""
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def _stations(job: Job, courses: Sequence[LineConductors], first: IntArray) -> list[tuple[Station, list[int]]]:
    """Every station with the vertices that lie in it; one without a name for each line end with a grid of its own."""
    named = {station.id: station for station in job.stations}
    vertices: dict[str, list[int]] = {}
    single = []
    for i, course in enumerate(courses):
        line = course.line
        for end, at in (("start", int(first[i])), ("end", int(first[i + 1]) - 1)):
            name, grid = getattr(line, f"{end}_station"), getattr(line, f"{end}_grid_ohm")
            if name is not None:
                vertices.setdefault(name, []).append(at)
            elif grid is not None:
                single.append((Station(id=f"the {end} of line '{line.id}'", grid_ohm=grid), [at]))
    return [(named[name], at) for name, at in vertices.items()] + single


def twice_given(stations: Sequence[StationNode]) -> list[str]:
    """Line ends with a grid each that lie so near that they are probably one station.

    Parameters
    ----------
    stations : sequence of StationNode
        All of the network.

    Returns
    -------
    list of str
        A warning for each such pair.

    Examples
    --------
    Two lines that end 120 m from each other:

    >>> at = np.array([[4.3e6, 6e5, 4.6e6]])
    >>> one = StationNode("line 'A', its end", 0, 0.5, at, None)
    >>> other = StationNode("line 'B', its start", 9, 0.5, at + [[0, 120, 0]], None)
    >>> print(twice_given([one, other])[0].partition(":")[0])
    line 'A', its end and line 'B', its start lie 120 m from each other with an earth grid each
    """
    texts = []
    for i, one in enumerate(stations):
        for other in stations[i + 1 :]:
            away = float(np.linalg.norm(one.place_m[:, None] - other.place_m, axis=-1).min())
            if away <= ONE_STATION_M:
                texts.append(
                    f"{one.name} and {other.name} lie {away:.0f} m from each other with an earth grid each: if they "
                    "are one station, name it in [[stations]] and in the start_station or end_station of both lines; "
                    "as they are, its grid counts twice"
                )
    return texts
