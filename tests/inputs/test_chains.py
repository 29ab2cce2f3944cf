from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.inputs.chains import join_pieces


def along(*nodes: int) -> dict[int, tuple[float, float]]:
    """Places on a straight line, 0.01° of latitude for each number."""
    return {node: (8.0, 49.0 + 0.01 * node) for node in nodes}


def test_pieces_join_whatever_their_order_and_direction() -> None:
    (chain,) = join_pieces([(3, 2, 1), (5, 6), (3, 4, 5)], along(*range(7)))
    assert chain.nodes == (6, 5, 4, 3, 2, 1)  # the direction of the first piece
    assert chain.pieces == (1, 2, 0)
    # 0.05° of latitude at 49° N is 5,560 m on the ellipsoid (111,200 m a degree)
    assert chain.length_m == pytest.approx(5 * 1112.0, rel=1e-3)


def test_branch_starts_at_the_fork_inside_a_piece() -> None:
    places = along(1, 2, 3, 4) | {7: (8.01, 49.02), 8: (8.005, 49.02)}
    trunk, branch = join_pieces([(1, 2, 3, 4), (7, 8, 2)], places)
    assert trunk.nodes == (1, 2, 3, 4)
    assert branch.nodes == (2, 8, 7)
    assert branch.pieces == (1,)


def test_longest_run_turns_off_at_the_fork() -> None:
    places = along(0, 1, 2) | {9: (8.2, 49.01), 5: (8.001, 49.01)}
    trunk, branch = join_pieces([(0, 1, 2), (1, 9)], places)
    assert {trunk.nodes[0], trunk.nodes[-1]} <= {0, 2, 9}
    assert 9 in trunk.nodes
    assert branch.nodes[0] == 1


def test_separate_lines_come_longest_first() -> None:
    chains = join_pieces([(1, 2), (5, 6, 7)], along(1, 2, 5, 6, 7))
    assert [chain.nodes for chain in chains] == [(5, 6, 7), (1, 2)]


def test_double_connection_leaves_the_second_as_a_branch() -> None:
    places = along(1, 2, 3) | {4: (8.001, 49.02)}
    trunk, branch = join_pieces([(1, 2, 3), (1, 4, 3)], places)
    assert {trunk.nodes[0], trunk.nodes[-1]} == {1, 3} == {branch.nodes[0], branch.nodes[-1]}


def test_loop_alone_is_one_run() -> None:
    places = along(1, 2) | {3: (8.01, 49.01)}
    (chain,) = join_pieces([(1, 2, 3, 1)], places)
    assert chain.nodes == (1, 2, 3, 1)


def test_three_ways_at_one_node() -> None:
    places = {0: (8.0, 49.0), 1: (8.0, 49.03), 2: (8.04, 49.0), 3: (8.0, 48.99)}
    chains = join_pieces([(0, 1), (0, 2), (0, 3)], places)
    assert [set(chain.nodes) for chain in chains] == [{0, 1, 2}, {0, 3}]
    assert chains[1].nodes[0] == 0


@given(st.permutations(range(9)), st.lists(st.booleans(), min_size=9, max_size=9), st.sets(st.integers(1, 8)))
def test_order_and_direction_of_pieces_do_not_change_the_line(
    order: list[int], flipped: list[bool], cuts: set[int]
) -> None:
    nodes = list(range(10))
    edges = sorted({0, 9} | cuts)
    pieces = [nodes[a : b + 1] for a, b in pairwise(edges)]
    shuffled = [pieces[i][::-1] if flipped[i] else pieces[i] for i in order if i < len(pieces)]
    (chain,) = join_pieces(shuffled, along(*nodes))
    assert chain.nodes in (tuple(nodes), tuple(nodes[::-1]))
    first = shuffled[0]
    assert chain.nodes.index(first[0]) < chain.nodes.index(first[-1])
