"""Joining pieces of a line end to end: the longest run first, branches after it. Pure functions on node numbers."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from pyproj import Geod

_GEOD = Geod(ellps="WGS84")
LonLat = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Edge:
    """A piece of line between two ends or forks.

    Attributes
    ----------
    nodes : tuple of int
    piece : int
        Place of the piece in the input that it was cut from.
    length_m : float
    """

    nodes: tuple[int, ...]
    piece: int
    length_m: float


@dataclass(frozen=True, slots=True)
class Chain:
    """A run of nodes, and the pieces it came from in the order they are passed."""

    nodes: tuple[int, ...]
    pieces: tuple[int, ...]
    length_m: float


def join_pieces(pieces: Sequence[Sequence[int]], places: Mapping[int, LonLat]) -> list[Chain]:
    """Join pieces at shared nodes.

    Parameters
    ----------
    pieces : sequence of sequence of int
        Node ids along each piece.
    places : mapping of int to (float, float)
        Longitude and latitude of each node. [deg]

    Returns
    -------
    list of Chain
        The longest run first; then what is left, longest first. A run follows the first of its pieces; a branch starts
        where it leaves an earlier run.

    Examples
    --------
    Three ways at one node: the longest run, then the branch, which starts where it leaves:

    >>> places = {1: (8.0, 47.0), 2: (8.01, 47.0), 3: (8.02, 47.0), 4: (8.01, 47.002)}
    >>> [chain.nodes for chain in join_pieces([(1, 2), (2, 3), (4, 2)], places)]
    [(1, 2, 3), (2, 4)]
    """
    edges = _cut_at_forks(pieces, places)
    chains: list[Chain] = []
    seen: set[int] = set()
    while edges:
        runs = [_longest_run(group) for group in _groups(edges)]
        used = {id(edge) for run in runs for edge in run}
        edges = [edge for edge in edges if id(edge) not in used]
        for run in sorted(runs, key=lambda run: (-sum(edge.length_m for edge in run), run[0].piece)):
            chains.append(_chain(run, seen))
        seen.update(node for chain in chains for node in chain.nodes)
    return chains


def _cut_at_forks(pieces: Sequence[Sequence[int]], places: Mapping[int, LonLat]) -> list[Edge]:
    met = Counter(node for piece in pieces for node in piece)
    ends = {node for piece in pieces if len(piece) for node in (piece[0], piece[-1])}
    edges = []
    for number, piece in enumerate(pieces):
        cuts = [i for i, node in enumerate(piece) if node in ends or met[node] > 1]
        for start, stop in pairwise(cuts):
            nodes = tuple(piece[start : stop + 1])
            edges.append(Edge(nodes, number, _length_m(nodes, places)))
    return edges


def _length_m(nodes: Sequence[int], places: Mapping[int, LonLat]) -> float:
    lon, lat = np.array([places[node] for node in nodes]).T
    return float(_GEOD.line_length(lon, lat))


class _Parts:
    """Which nodes hang together (union-find)."""

    def __init__(self) -> None:
        self._root: dict[int, int] = {}

    def find(self, node: int) -> int:
        """Return the node that stands for the part."""
        while self._root.setdefault(node, node) != node:
            self._root[node] = self._root[self._root[node]]
            node = self._root[node]
        return node

    def join(self, one: int, other: int) -> bool:
        """Join two parts; False if they were one already."""
        root_one, root_other = self.find(one), self.find(other)
        self._root[root_one] = root_other
        return root_one != root_other


def _groups(edges: Sequence[Edge]) -> list[list[Edge]]:
    """Edges that hang together, each group in input order."""
    parts = _Parts()
    for edge in edges:
        parts.join(edge.nodes[0], edge.nodes[-1])
    groups: dict[int, list[Edge]] = defaultdict(list)
    for edge in edges:
        groups[parts.find(edge.nodes[0])].append(edge)
    return list(groups.values())


def _longest_run(group: Sequence[Edge]) -> list[Edge]:
    """Longest way through a group without passing a node twice; where lines form loops, through its longest tree."""
    tree = _longest_tree(group)
    if not tree:
        return [max(group, key=lambda edge: edge.length_m)]  # nothing but a loop
    start, _ = _farthest(tree, min(tree))
    _, run = _farthest(tree, start)
    return run


_Tree = dict[int, list[tuple[int, Edge]]]


def _longest_tree(group: Sequence[Edge]) -> _Tree:
    """Take edges from the longest on unless they close a loop."""
    tree: _Tree = defaultdict(list)
    parts = _Parts()
    for edge in sorted(group, key=lambda edge: -edge.length_m):
        start, end = edge.nodes[0], edge.nodes[-1]
        if parts.join(start, end):
            tree[start].append((end, edge))
            tree[end].append((start, edge))
    return dict(tree)


def _farthest(tree: _Tree, start: int) -> tuple[int, list[Edge]]:
    """Return the node farthest from ``start`` along the tree, and the edges to it."""
    reached: dict[int, tuple[float, int, Edge | None]] = {start: (0.0, start, None)}
    waiting = [start]
    while waiting:
        node = waiting.pop()
        for far, edge in tree[node]:
            if far not in reached:
                reached[far] = (reached[node][0] + edge.length_m, node, edge)
                waiting.append(far)
    end = min(reached, key=lambda node: (-reached[node][0], node))
    edges, node = [], end
    while (step := reached[node][2]) is not None:
        edges.append(step)
        node = reached[node][1]
    return end, edges[::-1]


def _chain(run: Sequence[Edge], seen: set[int]) -> Chain:
    nodes = list(run[0].nodes)
    if len(run) > 1 and nodes[-1] not in (run[1].nodes[0], run[1].nodes[-1]):
        nodes.reverse()
    for edge in run[1:]:
        nodes += edge.nodes[1:] if edge.nodes[0] == nodes[-1] else edge.nodes[-2::-1]
    pieces = list(dict.fromkeys(edge.piece for edge in run))
    if _runs_backwards(nodes, run, seen):
        nodes.reverse()
        pieces.reverse()
    return Chain(tuple(nodes), tuple(pieces), sum(edge.length_m for edge in run))


def _runs_backwards(nodes: Sequence[int], run: Sequence[Edge], seen: set[int]) -> bool:
    if (nodes[0] in seen) != (nodes[-1] in seen):
        return nodes[-1] in seen
    first = min(run, key=lambda edge: edge.piece)
    return nodes.index(first.nodes[0]) > nodes.index(first.nodes[1])
