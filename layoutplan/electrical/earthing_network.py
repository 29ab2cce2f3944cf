"""Earthed structures and stations joined by earth wires: any number of lines as one network at one frequency.

Nodes are structures and stations. A branch is a span of earth wire between two of them, a footing the way from a node
into the ground: a tower's own earth electrode or a station's grid. Branches act on each other by induction, footings
through the ground. With V the potentials of the nodes, I the currents in the branches, F those that the footings send
into the ground:

    g V + A I + F = J        currents J put into the nodes
    A' V - Z I    = -E       voltages E driven in the branches
    V    - R F    = u        potentials u that others give the ground at the footings

The matrix is symmetric. What one quantity is for every possible cause follows from a single solution with the quantity
on the right-hand side (reciprocity), and one cause from a single solution with the cause there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import sparse
from scipy.sparse import linalg

from layoutplan.arrays import ComplexArray, FloatArray, IntArray
from layoutplan.electrical._arrays import positive
from layoutplan.errors import InputRangeError

_COLUMNS = 8  # solved at once: more, and the matrix library spreads tiny pieces over threads, which costs tenfold
LEAK_S = 1e-9  # from every node to remote earth: keeps nodes solvable to which nothing leads


@dataclass(frozen=True, slots=True)
class EarthingNetwork:
    """Nodes, branches and footings.

    Attributes
    ----------
    nodes : int
    branch : ndarray of int, shape (b, 2)
        Node at which each branch begins and ends.
    branch_ohm : ndarray of complex, shape (b,)
        Series impedance with earth return, not 0. [Ω]
    footing : ndarray of int, shape (f,)
        Node of each footing.
    footing_ohm : ndarray, shape (f,)
        Resistance to remote earth, > 0. [Ω]
    branch_pair, footing_pair : ndarray of int, shape (p, 2)
        Branches that induce in each other, footings that lift each other; each pair once.
    branch_pair_ohm : ndarray of complex, shape (p,)
        Voltage per ampere. [Ω]
    footing_pair_ohm : ndarray, shape (p,)
        Below both resistances. [Ω]

    References
    ----------
    .. [1] C.-W. Ho, A. E. Ruehli, P. A. Brennan, "The modified nodal approach to network analysis," IEEE Trans.
       Circuits Syst., vol. CAS-22, pp. 504-509, 1975.

    Examples
    --------
    Three towers of 10 Ω with spans of 0.5j Ω:

    >>> none = np.zeros((0, 2), dtype=int), np.zeros(0)
    >>> ends, footings = np.array([[0, 1], [1, 2]]), np.arange(3)
    >>> network = EarthingNetwork(3, ends, np.full(2, 0.5j), footings, np.full(3, 10.0), *none, *none)
    >>> network.size
    8
    """

    nodes: int
    branch: IntArray
    branch_ohm: ComplexArray
    footing: IntArray
    footing_ohm: FloatArray
    branch_pair: IntArray
    branch_pair_ohm: ComplexArray
    footing_pair: IntArray
    footing_pair_ohm: FloatArray

    @property
    def size(self) -> int:
        """How many unknowns: nodes, then branches, then footings.

        References
        ----------
        Bookkeeping, no source.
        """
        return self.nodes + len(self.branch) + len(self.footing)

    def matrix(self) -> sparse.csc_array:
        """Symmetric matrix of the equations above.

        Returns
        -------
        scipy.sparse.csc_array, shape (size, size)
            Unknowns are potentials [V], currents of the branches [A], currents of the footings [A].

        References
        ----------
        .. [1] C.-W. Ho, A. E. Ruehli, P. A. Brennan, "The modified nodal approach to network analysis," IEEE Trans.
           Circuits Syst., vol. CAS-22, pp. 504-509, 1975.

        Examples
        --------
        One footing of 10 Ω at the only node: 1 A put in lifts it to 10 V.

        >>> none = np.zeros((0, 2), dtype=int), np.zeros(0)
        >>> network = EarthingNetwork(1, none[0], none[1] + 0j, np.array([0]), np.array([10.0]), *none, *none)
        >>> print(np.linalg.solve(network.matrix().toarray(), [1.0, 0.0]).real.round(6))
        [10.  1.]
        """
        n, b, f = self.nodes, len(self.branch), len(self.footing)
        node, branch, footing = np.arange(n), n + np.arange(b), n + b + np.arange(f)
        row = [self.branch[:, 0], self.branch[:, 1], self.footing, n + self.branch_pair[:, 0]]
        column = [branch, branch, footing, n + self.branch_pair[:, 1]]
        value: list[ComplexArray | FloatArray] = [np.ones(b), -np.ones(b), np.ones(f), -self.branch_pair_ohm]
        row.append(n + b + self.footing_pair[:, 0])
        column.append(n + b + self.footing_pair[:, 1])
        value.append(-self.footing_pair_ohm)
        upper = np.concatenate(row), np.concatenate(column), np.concatenate(value).astype(complex)
        diagonal = np.concatenate((np.full(n, LEAK_S), -self.branch_ohm, -self.footing_ohm))
        every = np.concatenate((node, branch, footing))
        return sparse.csc_array(
            (
                np.concatenate((upper[2], upper[2], diagonal)),
                (np.concatenate((upper[0], upper[1], every)), np.concatenate((upper[1], upper[0], every))),
            ),
            shape=(self.size, self.size),
        )

    def part(self, keep: np.ndarray) -> tuple[EarthingNetwork, IntArray]:
        """Cut some nodes out of the network; the others are held at remote earth's potential.

        Parameters
        ----------
        keep : ndarray of bool, shape (nodes,)
            Nodes that stay.

        Returns
        -------
        network : EarthingNetwork
            One further node, the last, stands for all that are left out.
        unknown : ndarray of int
            Place in the whole of every unknown of the part, that last node apart.

        Notes
        -----
        Right as far as the state of interest has died away at the nodes left out.

        References
        ----------
        Derived here, no source: nodes held at no potential drop out of the equations.

        Examples
        --------
        What is left of three towers when the last is held at remote earth; a further node stands for it:

        >>> none = np.zeros((0, 2), dtype=int), np.zeros(0)
        >>> ends, footings = np.array([[0, 1], [1, 2]]), np.arange(3)
        >>> network = EarthingNetwork(3, ends, np.full(2, 0.5j), footings, np.full(3, 10.0), *none, *none)
        >>> part, unknown = network.part(np.array([True, True, False]))
        >>> part.nodes, len(part.branch)
        (3, 2)
        """
        inside = np.flatnonzero(keep)
        number = np.full(self.nodes, len(inside))
        number[inside] = np.arange(len(inside))
        branch = np.flatnonzero(keep[self.branch].any(axis=1))
        footing = np.flatnonzero(keep[self.footing])
        wires, wires_ohm = _pairs_within(self.branch_pair, self.branch_pair_ohm, branch, len(self.branch))
        soils, soils_ohm = _pairs_within(self.footing_pair, self.footing_pair_ohm, footing, len(self.footing))
        cut = EarthingNetwork(
            len(inside) + 1,
            number[self.branch[branch]],
            self.branch_ohm[branch],
            np.append(number[self.footing[footing]], len(inside)),
            np.append(self.footing_ohm[footing], 1e-6),
            wires,
            wires_ohm,
            soils,
            soils_ohm.astype(float),
        )
        return cut, np.concatenate((inside, self.nodes + branch, self.nodes + len(self.branch) + footing))


def _pairs_within(pair: IntArray, ohm: np.ndarray, kept: IntArray, count: int) -> tuple[IntArray, np.ndarray]:
    number = np.full(count, -1)
    number[kept] = np.arange(len(kept))
    mine = (number[pair] >= 0).all(axis=1)
    return number[pair[mine]], ohm[mine]


@dataclass(frozen=True, slots=True)
class Solved:
    """State of a network, or several side by side: shapes (nodes, …), (branches, …), (footings, …)."""

    potential_v: ComplexArray
    branch_a: ComplexArray
    footing_a: ComplexArray


class SolvedNetwork:
    """A network's matrix, factorised once and solved for any number of causes."""

    def __init__(self, network: EarthingNetwork) -> None:
        positive("footing_ohm", network.footing_ohm)
        if np.any(~np.isfinite(network.branch_ohm) | (network.branch_ohm == 0)):
            raise InputRangeError("branch_ohm holds a 0 or a value that is no number; leave a missing earth wire out.")
        self.network = network
        self._lu = linalg.splu(network.matrix())

    def solve(self, right: ArrayLike) -> ComplexArray:
        """Unknowns for right-hand sides.

        Parameters
        ----------
        right : array_like of complex, shape (size, k)
            Currents put into nodes [A], minus the voltages driven in branches [V], potentials of the ground at
            footings [V].

        Returns
        -------
        numpy.ndarray of complex, shape (size, k)
            Potentials [V], currents of the branches [A], currents of the footings [A].

        References
        ----------
        .. [1] C.-W. Ho, A. E. Ruehli, P. A. Brennan, "The modified nodal approach to network analysis," IEEE Trans.
           Circuits Syst., vol. CAS-22, pp. 504-509, 1975.

        Examples
        --------
        By reciprocity 1 A into one tower lifts another as 1 A there lifts the first:

        >>> none = np.zeros((0, 2), dtype=int), np.zeros(0)
        >>> ends, footings = np.array([[0, 1], [1, 2]]), np.arange(3)
        >>> network = EarthingNetwork(3, ends, np.full(2, 0.5j), footings, np.full(3, 10.0), *none, *none)
        >>> found = SolvedNetwork(network).solve(np.eye(network.size)[:, :3])
        >>> print(abs(found[[0, 2], [2, 0]]).round(3), "V")
        [3.329 3.329] V
        """
        given = np.asarray(right, dtype=complex)
        out = np.empty(given.shape, dtype=complex)
        for begin in range(0, given.shape[1], _COLUMNS):
            part = slice(begin, begin + _COLUMNS)
            out[:, part] = self._lu.solve(np.ascontiguousarray(given[:, part]))
        return out

    def state(
        self, injected_a: ArrayLike = 0.0, branch_v: ArrayLike = 0.0, ground_v: ArrayLike = 0.0, states: int = 1
    ) -> Solved:
        """State for given causes.

        Parameters
        ----------
        injected_a : array_like of complex, shape (nodes, states) or ()
            Currents put into the nodes from outside. [A]
        branch_v : array_like of complex, shape (branches, states) or ()
            Voltages driven in the branches from their first to their second node. [V]
        ground_v : array_like of complex, shape (footings, states) or ()
            Potentials that others give the ground at the footings. [V]
        states : int
            How many states stand side by side.

        Returns
        -------
        Solved
            Potentials [V] and currents [A], a column for each state.

        References
        ----------
        .. [1] C.-W. Ho, A. E. Ruehli, P. A. Brennan, "The modified nodal approach to network analysis," IEEE Trans.
           Circuits Syst., vol. CAS-22, pp. 504-509, 1975.

        Examples
        --------
        1 kA into the middle one, as with `chain_state`:

        >>> none = np.zeros((0, 2), dtype=int), np.zeros(0)
        >>> ends, footings = np.array([[0, 1], [1, 2]]), np.arange(3)
        >>> network = EarthingNetwork(3, ends, np.full(2, 0.5j), footings, np.full(3, 10.0), *none, *none)
        >>> state = SolvedNetwork(network).state([[0], [1000], [0]])
        >>> print(abs(state.potential_v[:, 0]).round(), "V", abs(state.footing_a[:, 0]).round(1), "A")
        [3333. 3337. 3333.] V [333.3 333.7 333.3] A
        """
        net = self.network
        sizes = (net.nodes, len(net.branch), len(net.footing))
        causes = (injected_a, -np.asarray(branch_v), ground_v)
        right = [
            np.broadcast_to(np.asarray(part, dtype=complex), (size, states))
            for part, size in zip(causes, sizes, strict=True)
        ]
        found = self.solve(np.concatenate(right))
        return Solved(*np.split(found, np.cumsum(sizes)[:-1]))
