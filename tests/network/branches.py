"""Places, nodes and branches of a world: every wire of every span by itself, as straight pieces in the plane."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from .data import Line, Vertex, Wire, World

SAME_PLACE_M = 1.0


@dataclass(frozen=True)
class Branch:
    """One wire between two structures; ``pieces`` (k, 2, 2) are its straight parts from ``a`` to ``b``."""

    line: str
    span: int  # counted over the line's structures
    places: tuple[int, int]
    nodes: tuple[int, int]
    wire: Wire
    pieces: np.ndarray
    length_m: float  # of the span, along the axis
    soil_ohm_m: float


@dataclass(frozen=True)
class Electrode:
    """A footing or a station's grid; ``xy_m`` (k, 2) are its places."""

    node: int
    ohm: float
    xy_m: np.ndarray
    soil_ohm_m: float

    def nearest_m(self, xy_m: np.ndarray) -> np.ndarray:
        """Which of its places is nearest to a point (2,)."""
        return self.xy_m[np.hypot(*(self.xy_m - xy_m).T).argmin()]

    def away_m(self, xy_m: np.ndarray) -> float:
        """Distance from its nearest place to the nearest of some (m, 2)."""
        return float(np.hypot(*(self.xy_m[:, None] - xy_m).transpose(2, 0, 1)).min())


class Topology:
    """Which structures are one, which nodes stations join, and all branches."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.lines = {line.name: line for line in world.lines}
        self.place_xy: list[np.ndarray] = []
        self.place_vertex: list[Vertex] = []
        self.places = {line.name: [self._place(line.vertices[i]) for i in line.structures()] for line in world.lines}
        self.node_of_place = self._nodes()
        self.electrodes = self._electrodes()
        self.nodes = max(self.node_of_place) + 1
        branches = [branch for line in world.lines for branch in self._branches(line)]
        self.earth = [branch for branch in branches if branch.wire.phase == "E"]
        self.phases = [branch for branch in branches if branch.wire.phase != "E"]

    def node(self, line: str, structure: int | str) -> int:
        """Node of a line's structure, by its place in the line or its name."""
        return self.node_of_place[self.places[line][self.order(line, structure)]]

    def order(self, line: str, structure: int | str) -> int:
        """Place of a structure in its line, from 0."""
        if isinstance(structure, str):
            of = self.lines[line]
            return [of.vertices[i].name for i in of.structures()].index(structure)
        return structure % len(self.places[line])

    def station_node(self, name: str) -> int:
        """Node on which a station's grid hangs."""
        for line in self.world.lines:
            for end, structure in ((line.start, 0), (line.end, -1)):
                if end == name:
                    return self.node(line.name, structure)
        raise KeyError(name)

    def _place(self, vertex: Vertex) -> int:
        xy = np.array([vertex.x_m, vertex.y_m])
        for i, known in enumerate(self.place_xy):
            if np.hypot(*(known - xy)) < SAME_PLACE_M:
                return i
        self.place_xy.append(xy)
        self.place_vertex.append(vertex)
        return len(self.place_xy) - 1

    def _nodes(self) -> list[int]:
        joined = list(range(len(self.place_xy)))
        for station in self.world.stations:
            ends = [self.places[line.name][0] for line in self.world.lines if line.start == station.name]
            ends += [self.places[line.name][-1] for line in self.world.lines if line.end == station.name]
            groups = {joined[end] for end in ends}
            joined = [min(groups) if group in groups else group for group in joined]
        renumbered = {group: i for i, group in enumerate(dict.fromkeys(joined))}
        return [renumbered[group] for group in joined]

    def _electrodes(self) -> list[Electrode]:
        footings = [
            Electrode(node, vertex.footing_ohm, xy[None], vertex.soil_ohm_m)
            for node, vertex, xy in zip(self.node_of_place, self.place_vertex, self.place_xy, strict=True)
            if vertex.footing_ohm is not None
        ]
        grids = [
            Electrode(self.station_node(s.name), s.grid_ohm, np.array([(s.x_m, s.y_m), *s.further_m]), s.soil_ohm_m)
            for s in self.world.stations
        ]
        return footings + grids

    def _branches(self, line: Line) -> list[Branch]:
        xy = np.array([(vertex.x_m, vertex.y_m) for vertex in line.vertices])
        right = _crossarms(xy)
        stops, found = line.structures(), []
        for span, (first, last) in enumerate(pairwise(stops)):
            places = self.places[line.name][span], self.places[line.name][span + 1]
            ends = line.vertices[first], line.vertices[last]
            length = float(np.hypot(*np.diff(xy[first : last + 1], axis=0).T).sum())
            soil = self.world.soil_ohm_m or float(np.sqrt(ends[0].soil_ohm_m * ends[1].soil_ohm_m))
            for wire in line.spans[first]:
                course = xy[first : last + 1] + wire.offset_m * right[first : last + 1]
                pieces = np.stack([course[:-1], course[1:]], axis=1)
                nodes = self.node_of_place[places[0]], self.node_of_place[places[1]]
                found.append(Branch(line.name, span, places, nodes, wire, pieces, length, soil))
        return found


def _crossarms(xy: np.ndarray) -> np.ndarray:
    """Unit vectors to the right along the bisector at every vertex."""
    way = np.diff(xy, axis=0)
    way /= np.hypot(*way.T)[:, None]
    mean = np.vstack([way[:1], way[:-1] + way[1:], way[-1:]])
    mean /= np.hypot(*mean.T)[:, None]
    return np.stack([mean[:, 1], -mean[:, 0]], axis=1)
