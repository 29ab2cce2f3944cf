"""All lines of the job with their structures and stations as one earthing network, at one frequency."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.spatial import cKDTree

from layoutplan.arrays import ComplexArray, FloatArray, IntArray
from layoutplan.electrical import EarthingNetwork, SolvedNetwork
from layoutplan.exposure.footings import Footings
from layoutplan.exposure.impedances import Impedances, impedances_of
from layoutplan.exposure.joints import Joints
from layoutplan.exposure.mutual import Transfer
from layoutplan.exposure.sources import LineConductors
from layoutplan.exposure.wire_pairs import pairs_of_wires, transfers_between

_BLOCK = 64  # towers worked on together
_AROUND_M = (
    12_000.0  # of the network are looked at about them to begin with, half as much more until the rim is at rest
)
_AT_REST = 1e-3  # of the potential at the tower itself; more, and potentials would be wrong by more than 0.1 %


@dataclass(frozen=True, slots=True)
class EarthingSystem:
    """The network at one frequency.

    Attributes
    ----------
    frequency_hz : float
    lines : tuple of Impedances
    joints : Joints
    footings : Footings
    network : EarthingNetwork
    factors : SolvedNetwork
    branch : tuple of ndarray of int
        Branch of every span of each line, -1 where it has no earth wire.
    transfers : dict of Transfer
        What the currents of a line drive in the earth wires of another, by (driven, driving).
    place_m : ndarray, shape (nodes, 3)
        Geocentric.
    tree : cKDTree
        Of the same.
    around_m : dict of float
        How far excerpts had to reach, by their first node.
    """

    frequency_hz: float
    lines: tuple[Impedances, ...]
    joints: Joints
    footings: Footings
    network: EarthingNetwork
    factors: SolvedNetwork
    branch: tuple[IntArray, ...]
    transfers: dict[tuple[int, int], Transfer]
    place_m: FloatArray
    tree: cKDTree
    around_m: dict[int, float]

    def footing_row(self, footing: IntArray) -> IntArray:
        """Place of footings among the unknowns.

        Parameters
        ----------
        footing : ndarray of int, shape (n,)
            Rows of the footings.

        Returns
        -------
        ndarray of int, shape (n,)
            After the potentials of the nodes and the currents of the branches.
        """
        return self.network.nodes + len(self.network.branch) + footing

    def branch_row(self, line: int) -> tuple[IntArray, IntArray]:
        """Spans of a line with earth wire, and their places among the unknowns.

        Parameters
        ----------
        line : int
            Number of the line.

        Returns
        -------
        span, row : ndarray of int, shape (n,)
            Without the spans that have no earth wire.
        """
        span = np.flatnonzero(self.branch[line] >= 0)
        return span, self.network.nodes + self.branch[line][span]

    def excerpts(self, node: IntArray, tower: IntArray) -> Iterator[tuple[IntArray, Excerpt]]:
        """Go through some towers a block at a time.

        Parameters
        ----------
        node : ndarray of int, shape (towers,)
            Of every tower of the network, -1 where it has none.
        tower : ndarray of int, shape (t,)
            Those that are asked for.

        Yields
        ------
        rows : ndarray of int
            Of ``tower``.
        excerpt : Excerpt
            The network about their block; the same whichever of its towers are asked for.
        """
        block = np.where(node[tower] < 0, -1, tower // _BLOCK)
        for number in np.unique(block[block >= 0]).tolist():
            every = node[number * _BLOCK : (number + 1) * _BLOCK]
            yield np.flatnonzero(block == number), self._excerpt(every[every >= 0])

    def _excerpt(self, node: IntArray) -> Excerpt:
        first = int(node.min())
        around_m = self.around_m.get(first, _AROUND_M)
        while True:
            keep = np.zeros(self.network.nodes, dtype=bool)
            for near in self.tree.query_ball_point(self.place_m[np.unique(node)], around_m):
                keep[near] = True
            if keep.all():
                return Excerpt(self, keep, self.factors, np.arange(self.network.size))
            part, unknown = self.network.part(keep)
            found = Excerpt(self, keep, SolvedNetwork(part), unknown)
            if first in self.around_m or found.at_rest(node):
                self.around_m[first] = around_m
                return found
            around_m *= 1.5


class Excerpt:
    """The network about some nodes, solved for quantities at them; the whole network is an excerpt, too.

    Attributes
    ----------
    keep : ndarray of bool, shape (nodes,)
        Which nodes it holds.
    place : ndarray of int, shape (size,)
        Row of each unknown of the whole network in what `solve` gives, -1 for those it does not hold.
    """

    def __init__(self, system: EarthingSystem, keep: np.ndarray, factors: SolvedNetwork, unknown: IntArray) -> None:
        self.system, self.keep = system, keep
        self._factors, self._unknown = factors, unknown
        here = np.arange(len(unknown))
        # a part has one node and one footing more: those of all that is left out
        self._here = here if factors is system.factors else here + (here >= int(keep.sum()))
        self.place = np.full(system.network.size, -1)
        self.place[unknown] = self._here

    def solve(self, right: sparse.csr_array) -> ComplexArray:
        """Solve for right-hand sides of the whole network; what lies outside the excerpt counts as 0.

        Parameters
        ----------
        right : csr_array, shape (size, k)
            Currents put into nodes [A], voltages in branches and footings [V].

        Returns
        -------
        ndarray of complex, shape (unknowns + 1, k)
            See ``place``; the last row is 0.
        """
        size = self._factors.network.size
        local = np.zeros((size, right.shape[1]), dtype=complex)
        local[self._here] = right[self._unknown].toarray()
        return np.vstack((self._factors.solve(local), np.zeros((1, right.shape[1]))))

    def product(self, left: sparse.csr_array, solved: ComplexArray) -> ComplexArray:
        """Values of quantities in solved states.

        Parameters
        ----------
        left : csr_array, shape (size, q)
            Each quantity as weights of the unknowns.
        solved : ndarray of complex, shape (unknowns + 1, k)
            From `solve`.

        Returns
        -------
        ndarray of complex, shape (q, k)
            In the units of the unknowns. [V], [A]
        """
        return np.asarray(left[self._unknown].T @ solved[self._here])

    def at_rest(self, node: IntArray) -> bool:
        """Whether 1 A put into any of some nodes, five of them tried, leaves the rim of the excerpt alone.

        Parameters
        ----------
        node : ndarray of int
            Nodes of the excerpt.

        Returns
        -------
        bool
            True where no node of the rim rises by more than a small part of the rise at the node itself.
        """
        branch = self.system.network.branch
        cut = branch[self.keep[branch].sum(axis=1) == 1].ravel()
        rim = np.unique(cut[self.keep[cut]])
        ends = np.unique(node[np.linspace(0, len(node) - 1, 5).astype(np.int64)])
        found = np.abs(self.solve(units(self.system.network.size, ends)))
        return bool((found[self.place[rim]] <= _AT_REST * found[self.place[ends]].max(axis=0)).all())


def units(size: int, row: IntArray, value: ComplexArray | float = 1.0) -> sparse.csr_array:
    """Columns (size, k) with one value each, in these rows.

    Parameters
    ----------
    size : int
        Rows.
    row : ndarray of int, shape (k,)
        Where each column's value stands.
    value : ndarray, shape (k,), or float
        What stands there.

    Returns
    -------
    sparse array, shape (size, k)

    Examples
    --------
    >>> units(3, np.array([2, 0])).toarray()
    array([[0.+0.j, 1.+0.j],
           [0.+0.j, 0.+0.j],
           [1.+0.j, 0.+0.j]])
    """
    filled = np.broadcast_to(np.asarray(value, dtype=complex), row.shape)
    return sparse.csr_array((filled, (row, np.arange(len(row)))), shape=(size, len(row)))


def earthing_system(
    courses: Sequence[LineConductors],
    joints: Joints,
    footings: Footings,
    pairs: tuple[IntArray, FloatArray],
    soil_ohm_m: float,
    frequency_hz: float,
    *,
    wires_only: bool = False,
) -> EarthingSystem:
    """Join the earth wires of all lines at one frequency.

    Parameters
    ----------
    courses : sequence of LineConductors
        Lines as they hang.
    joints : Joints
        Nodes of their towers and stations.
    footings : Footings
        Where current enters the ground.
    pairs : tuple
        From `Footings.pairs`.
    soil_ohm_m : float
        Resistivity of uniform soil, for currents that return in the earth. [Ω·m]
    frequency_hz : float
        Of the currents. [Hz]
    wires_only : bool
        Whether only the earth wires matter, and nothing that phase currents drive.

    Returns
    -------
    EarthingSystem
        Ready to be solved.
    """
    lines = tuple(impedances_of(course, frequency_hz, soil_ohm_m) for course in courses)
    branch, first = [], 0
    for line in lines:
        has = line.has_wire
        branch.append(np.where(has, first + np.cumsum(has) - 1, -1))
        first += int(has.sum())
    transfers = transfers_between(lines, soil_ohm_m, frequency_hz, wires_only=wires_only)
    wires, wires_ohm = pairs_of_wires(lines, branch, transfers)
    ends = [
        np.column_stack((node[:-1], node[1:]))[line.has_wire] for line, node in zip(lines, joints.node, strict=True)
    ]
    network = EarthingNetwork(
        joints.nodes,
        np.concatenate(ends),
        np.concatenate([line.span_ohm[line.has_wire] for line in lines]),
        footings.node,
        footings.ohm,
        wires,
        wires_ohm,
        *pairs,
    )
    place = np.zeros((joints.nodes, 3))
    for course, node in zip(courses, joints.node, strict=True):
        place[node] = course.axis.place_m
    return EarthingSystem(
        frequency_hz,
        lines,
        joints,
        footings,
        network,
        SolvedNetwork(network),
        tuple(branch),
        transfers,
        place,
        cKDTree(place),
        {},
    )
