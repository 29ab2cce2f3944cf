"""The whole earthing network as one full system: every wire of every span, every footing, nothing reduced.

Branches from a to b: V_a - V_b = Z I + Z_p I_p, with the phase currents I_p given. Electrodes: V = R I with the full
matrix of their mutual resistances. Kirchhoff's law at every node closes it.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

import numpy as np

from .branches import Branch, Topology
from .data import Excitation, Options, State, World
from .earth_return import carson, field_integral, locally_infinite, neumann


class Network(Topology):
    """A world at one frequency."""

    def __init__(self, world: World, hz: float = 50.0, options: Options | None = None) -> None:
        super().__init__(world)
        self.hz, self.options = hz, options or Options()
        self.sources = _Pieces(self.earth + self.phases)
        self.on_span: dict[frozenset[int], set[str]] = {}
        for branch in self.earth + self.phases:
            self.on_span.setdefault(frozenset(branch.places), set()).add(branch.line)
        rows = np.array([self._row(i, branch) for i, branch in enumerate(self.earth)])
        rows = rows.reshape(len(self.earth), len(self.earth) + len(self.phases))
        self.asymmetry = _asymmetry(rows[:, : len(self.earth)])
        z = rows[:, : len(self.earth)]
        self.branch_ohm = (z + z.T) / 2
        self.phase_ohm = rows[:, len(self.earth) :]
        self.incidence = np.zeros((len(self.earth), self.nodes))
        for i, branch in enumerate(self.earth):
            self.incidence[i, branch.nodes[0]] += 1
            self.incidence[i, branch.nodes[1]] -= 1
        self.electrode_ohm = self._electrode_matrix()
        self.at_node = np.array([[e.node == n for n in range(self.nodes)] for e in self.electrodes], float)
        earth = self.at_node.T @ np.linalg.solve(self.electrode_ohm, self.at_node)
        self.wire_siemens = np.linalg.inv(self.branch_ohm)
        self.node_ohm = np.linalg.inv(earth + self.incidence.T @ self.wire_siemens @ self.incidence)

    # ---- matrices

    def _row(self, i: int, branch: Branch) -> np.ndarray:
        """Impedance of one earth-wire branch to every branch, its own included."""
        pieces, options = self.sources, self.options
        every = self.earth + self.phases
        same = np.array([set(other.places) == set(branch.places) for other in every])
        if options.own_line == "neumann":
            wanted = np.array([other.line == branch.line for other in every]) | same | options.mutual_lines
        else:
            beside, together = options.mutual_lines, self.on_span
            wanted = np.array(
                [
                    beside
                    and branch.line not in together[frozenset(other.places)]
                    and other.line not in together[frozenset(branch.places)]
                    for other in every
                ]
            )
        row, taken = np.zeros(len(every), complex), wanted[pieces.of]
        soil = np.sqrt(branch.soil_ohm_m * pieces.soil_ohm_m[taken])
        least = np.where(pieces.of[taken] == i, branch.wire.gmr_m, 1e-4)
        for piece in branch.pieces:
            others = (*pieces.ends[taken].transpose(1, 0, 2), pieces.height_m[taken], soil, self.hz)
            if options.beside == "carson":
                z = locally_infinite(piece, branch.wire.height_m, *others)
            else:
                z = neumann(piece, branch.wire.height_m, *others, options.kernel, least)
            np.add.at(row, pieces.of[taken], z)
        if options.own_line != "neumann":
            for j in np.flatnonzero(same):
                row[j] = self._infinite(branch, every[j])
        row[i] += branch.wire.ohm_per_m * branch.length_m
        return row

    def _infinite(self, one: Branch, other: Branch) -> complex:
        """Carson's impedance for the length of the span, with the sign of the directions in which the two count."""
        soil, (a, b) = float(np.sqrt(one.soil_ohm_m * other.soil_ohm_m)), (one.wire, other.wire)
        if one is other:
            return carson(a.height_m, a.height_m, 0.0, soil, self.hz, a.gmr_m) * one.length_m
        sign = 1 if one.places == other.places else -1
        apart = abs(a.offset_m - sign * b.offset_m)
        return sign * carson(a.height_m, b.height_m, apart, soil, self.hz) * (one.length_m + other.length_m) / 2

    def _electrode_matrix(self) -> np.ndarray:
        own = np.array([e.ohm for e in self.electrodes])
        if not self.options.mutual_footings:
            return np.diag(own)
        soil = np.array([e.soil_ohm_m for e in self.electrodes])
        apart = np.array([[e.away_m(other.xy_m) for other in self.electrodes] for e in self.electrodes])
        np.fill_diagonal(apart, 1.0)
        mutual = np.sqrt(np.outer(soil, soil)) / (2 * np.pi * np.maximum(apart, 1e-6))
        matrix = np.minimum(mutual, np.minimum.outer(own, own))  # a footing within a grid lies on the grid's potential
        np.fill_diagonal(matrix, own)
        return matrix

    # ---- excitations

    def none(self) -> Excitation:
        """No current anywhere."""
        return Excitation(np.zeros(len(self.phases), complex), np.zeros(self.nodes, complex))

    def flow(self, to: Excitation, line: str, first: int, last: int, phase: str, circuit: int, amps: complex) -> None:
        """Put a phase current on a line between two of its structures, counted from the first to the last."""
        way = 1 if last >= first else -1
        for j, branch in enumerate(self.phases):
            if branch.line == line and (branch.wire.phase, branch.wire.circuit) == (phase, circuit):
                to.phase_a[j] += amps * way * (min(first, last) <= branch.span < max(first, last))

    def load(self, line: str, amps: Mapping[str, complex], circuit: int = 1, *, by_grids: bool = True) -> Excitation:
        """Phase currents along the whole line; their sum leaves the station at the start and enters that at the end."""
        to, last = self.none(), len(self.places[line]) - 1
        for phase, current in amps.items():
            self.flow(to, line, 0, last, phase, circuit, current)
        if by_grids:
            self._exchange(to, line, sum(amps.values()), -sum(amps.values()))
        return to

    def fault(
        self, line: str, at: int | str, start_a: complex, end_a: complex, phase: str = "A", circuit: int = 1
    ) -> Excitation:
        """Single-phase fault at a structure, fed from both ends; a station gives what its end feeds out of its grid."""
        to, k = self.none(), self.order(line, at)
        self.flow(to, line, 0, k, phase, circuit, start_a)
        self.flow(to, line, len(self.places[line]) - 1, k, phase, circuit, end_a)
        to.injected_a[self.node(line, k)] += start_a + end_a
        self._exchange(to, line, start_a, end_a)
        return to

    def station_fault(self, station: str, amps: complex, fed: Mapping[str, tuple[str, int, complex]]) -> Excitation:
        """Current into a station's grid; ``fed`` says what comes by the phases of lines: line -> phase, circuit, A."""
        to = self.none()
        to.injected_a[self.station_node(station)] += amps
        for name, (phase, circuit, current) in fed.items():
            line, last = self.lines[name], len(self.places[name]) - 1
            ends = (last, 0) if line.start == station else (0, last)
            self.flow(to, name, *ends, phase, circuit, current)
            far = line.end if line.start == station else line.start
            if far:
                to.injected_a[self.station_node(far)] -= current
        return to

    def unit(self, node: int) -> Excitation:
        """One ampere into a node, back from far away."""
        to = self.none()
        to.injected_a[node] = 1.0
        return to

    def _exchange(self, to: Excitation, line: str, start_a: complex, end_a: complex) -> None:
        for station, amps in ((self.lines[line].start, start_a), (self.lines[line].end, end_a)):
            if station:
                to.injected_a[self.station_node(station)] -= amps

    # ---- results

    def solve(self, excitation: Excitation) -> State:
        """Potentials, currents in the wires from a to b, currents out of the electrodes."""
        driven = self.phase_ohm @ excitation.phase_a
        potential = self.node_ohm @ (excitation.injected_a + self.incidence.T @ self.wire_siemens @ driven)
        branch = self.wire_siemens @ (self.incidence @ potential - driven)
        electrode = np.linalg.solve(self.electrode_ohm, self.at_node @ potential)
        return State(potential, branch, electrode, excitation)

    def lead_emf(self, state: State, course: np.ndarray, height_m: float = 0.0) -> complex:
        """Voltage that every span of every wire induces along a lead (k, 2), in its direction, in volts."""
        return self.lead_ohm(course, height_m) @ np.concatenate([state.branch_a, state.excitation.phase_a])

    def lead_ohm(self, course: np.ndarray, height_m: float = 0.0) -> np.ndarray:
        """The same per ampere in every earth-wire branch, then in every phase branch."""
        pieces, total = self.sources, np.zeros(len(self.earth) + len(self.phases), complex)
        gauss, weight = np.polynomial.legendre.leggauss(24)
        ends = pieces.ends.transpose(1, 0, 2)
        spans = ends[1] - ends[0]
        for a, b in pairwise(course):
            points = a + (gauss[:, None] + 1) / 2 * (b - a)
            field = field_integral(
                points, height_m, *ends, pieces.height_m, pieces.soil_ohm_m, self.hz, self.options.kernel
            )
            np.add.at(total, pieces.of, -(weight / 2 @ field) * (spans @ (b - a)) / np.hypot(*spans.T))
        return total

    def ground_v(self, state: State, xy: np.ndarray, only_node: int | None = None) -> complex:
        """Potential of the ground by all footings and grids, or by those of one node, hemispheres in uniform soil."""
        mine = np.array([only_node is None or electrode.node == only_node for electrode in self.electrodes])
        return (self.ground_ohm(xy) * mine) @ state.electrode_a

    def ground_ohm(
        self, xy: np.ndarray, soil_ohm_m: float | None = None, seen_from: np.ndarray | None = None
    ) -> np.ndarray:
        """The same per ampere out of every electrode.

        With the soil there, it is its geometric mean with each electrode's that counts. A grid with several places is
        about the one that is nearest to where it is seen from, else to the point itself.
        """
        here = xy if seen_from is None else seen_from
        away = np.hypot(*(np.array([electrode.nearest_m(here) for electrode in self.electrodes]) - xy).T)
        soil, own = np.array([(electrode.soil_ohm_m, electrode.ohm) for electrode in self.electrodes]).T
        soil = np.sqrt(soil * (soil if soil_ohm_m is None else soil_ohm_m))
        return np.minimum(soil / (2 * np.pi * np.maximum(away, 1e-6)), own)

    def reading(
        self, node: int, h_xy: np.ndarray, s_xy: np.ndarray, tower_xy: np.ndarray | None = None
    ) -> tuple[complex, complex]:
        """Voltage between a tower and S, and current in its own footing, for 1 A put into the tower and taken out at H.

        H is a point in the tower's soil. It acts on the tower's own footing, with mutual footings on all of them.
        """
        soil = next(e.soil_ohm_m for e in self.electrodes if e.node == node)
        own = np.array([e.node == node for e in self.electrodes])
        acting = own | self.options.mutual_footings
        lowered = -self.ground_ohm(h_xy, soil, tower_xy) * acting
        through = np.linalg.solve(self.electrode_ohm, np.column_stack([self.at_node, lowered]))
        injected = self.unit(node).injected_a + self.at_node.T @ through[:, -1]
        potential = self.node_ohm @ injected
        electrode = through[:, :-1] @ potential - through[:, -1]
        ground = (self.ground_ohm(s_xy, soil, tower_xy) * acting) @ electrode - soil / (
            2 * np.pi * np.hypot(*(h_xy - s_xy))
        )
        return potential[node] - ground, electrode[own][0]


class _Pieces:
    """The straight pieces of many branches, side by side."""

    def __init__(self, branches: list[Branch]) -> None:
        counts = [len(branch.pieces) for branch in branches]
        self.of = np.repeat(np.arange(len(branches)), np.array(counts, int))
        self.ends = np.concatenate([np.empty((0, 2, 2)), *(branch.pieces for branch in branches)])
        self.height_m = np.array([b.wire.height_m for b in branches])[self.of]
        self.soil_ohm_m = np.array([b.soil_ohm_m for b in branches])[self.of]


def _asymmetry(matrix: np.ndarray) -> float:
    return float(np.abs(matrix - matrix.T).max() / np.abs(matrix).max()) if matrix.size else 0.0
