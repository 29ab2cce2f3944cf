"""Which towers of several lines are one structure: by the node of the map first, by the place second."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from layoutplan.line import build_lines
from layoutplan.line.structures import UNKNOWN_NODE, names_of, structure_numbers

from .lines import line_input, place


def numbers(lines: str, places_m: Any, nodes: Any = None) -> list[int]:
    nodes = [UNKNOWN_NODE] * len(lines) if nodes is None else nodes
    return structure_numbers(np.array(list(lines)), place(places_m), np.array(nodes)).tolist()


@pytest.mark.parametrize(
    ("lines", "places_m", "nodes", "expected"),
    [
        pytest.param("ab", [(0, 0), (0, 0.9)], None, [0, 0], id="less than a metre apart"),
        pytest.param("ab", [(0, 0), (0, 1.1)], None, [0, 1], id="more than a metre apart"),
        pytest.param("aa", [(0, 0), (0, 0.7)], None, [0, 1], id="two towers of one line"),
        pytest.param("aab", [(0, 0), (0, 0.66), (0, 0.4)], None, [0, 1, 1], id="the nearer of two of one line"),
        pytest.param("aab", [(0, 0), (0, 0.66), (0, 0.4)], [7, 8, 7], [0, 1, 0], id="the same node before the nearer"),
        pytest.param("aabb", [(0, 0), (0, 0.66), (0, 0.1), (0, 0.5)], None, [0, 1, 0, 1], id="two and two"),
        pytest.param("ab", [(0, 0), (0, 0.5)], [7, 8], [0, 0], id="mapped twice"),
        pytest.param("ab", [(0, 0), (0, 3)], [7, 7], [0, 0], id="one node in two extracts of different age"),
        pytest.param("abc", [(0, 0), (0, 0.6), (0, 1.2)], None, [0, 0, 0], id="three lines"),
        pytest.param("aba", [(0, 0), (0, 0.6), (0, 1.2)], None, [0, 0, 2], id="never two of a line by way of a third"),
        pytest.param("", np.empty((0, 2)), None, [], id="none"),
    ],
)
def test_numbers(lines: str, places_m: Any, nodes: Any, expected: list[int]) -> None:
    if not lines:
        assert structure_numbers(np.empty(0, str), np.empty((0, 2)), np.empty(0, np.int64)).tolist() == []
        return
    assert numbers(lines, places_m, nodes) == expected


def test_two_towers_close_to_each_other_are_not_both_one_tower_of_another_line() -> None:
    """0.66 m apart on one line, the other line's tower between them: one of the two is shared, the other is planned."""
    main = line_input([(-300, 0), (0, 0), (0.66, 0), (300, 0)], ids=list("abcd"), settings={"id": "main"})
    branch = line_input([(0.4, 0.1), (0, 300), (0, 600)], ids=list("xyz"), settings={"id": "branch"})
    found = build_lines([main, branch])
    assert found.towers.tower_id.tolist() == ["a", "b", "c", "d", "y", "z"]
    (said,) = found.problems
    assert "tower x of line 'branch' is tower c of line 'main'" in said
    by_node = build_lines([replace(main, osm_node_ids=(1, 2, 3, 4)), replace(branch, osm_node_ids=(2, 5, 6))])
    assert "tower x of line 'branch' is tower b of line 'main'" in by_node.problems[0]


def test_spans_tell_the_structures_at_their_ends() -> None:
    main = line_input([(-300, 0), (0, 0), (300, 0)], [(-300, 0), (0, 0), (150, 60), (300, 0), (400, 0)],
                      ids=list("abc"), settings={"id": "main"})  # fmt: skip
    branch = line_input([(0.2, 0.1), (0, 300)], ids=list("xy"), settings={"id": "branch"})
    found = build_lines([main, branch])
    number = dict(zip(found.towers.tower_id.tolist(), found.towers.structure_no.tolist(), strict=True))
    a, b, c, y = (number[name] for name in "abcy")
    assert len({a, b, c, y}) == 4
    ends = list(zip(found.spans.from_structure.tolist(), found.spans.to_structure.tolist(), strict=True))
    assert ends == [(a, b), (b, -1), (-1, c), (c, -1), (b, y)]  # bent between b and c, and going on beyond c


def test_towers_are_named_with_their_lines_where_ids_repeat() -> None:
    names = names_of(np.array(["n", "n", "s"]), np.array(["1", "2", "1"]))
    assert names.tolist() == ["1 of line 'n'", "2", "1 of line 's'"]
