from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.siting.ragged import expand, first_of_each, group_starts, union_of_stretches

from .strategies import examples


@pytest.mark.parametrize(
    ("count", "row", "number"),
    [
        ([], [], []),
        ([0], [], []),
        ([2], [0, 0], [0, 1]),
        ([2, 0, 3], [0, 0, 2, 2, 2], [0, 1, 0, 1, 2]),
        ([0, 0, 1], [2], [0]),
    ],
)
def test_expand(count: list, row: list, number: list) -> None:
    rows, numbers = expand(np.array(count, dtype=np.int64))
    assert rows.tolist() == row
    assert numbers.tolist() == number


@pytest.mark.parametrize(
    ("key", "starts"), [([], []), ([5], [True]), ([1, 1, 2, 2, 2, 7], [True, False, True, False, False, True])]
)
def test_group_starts(key: list, starts: list) -> None:
    assert group_starts(np.array(key, dtype=np.int64)).tolist() == starts


@pytest.mark.parametrize(
    ("stretches", "merged"),
    [
        pytest.param([], [], id="none"),
        pytest.param([(0, 1, 2)], [(0, 1, 2)], id="one"),
        pytest.param([(0, 1, 3), (0, 2, 5)], [(0, 1, 5)], id="overlapping"),
        pytest.param([(0, 4, 5), (0, 1, 2)], [(0, 1, 2), (0, 4, 5)], id="apart, unsorted"),
        pytest.param([(0, 1, 9), (0, 2, 3), (0, 4, 5)], [(0, 1, 9)], id="one holds the others"),
        pytest.param([(0, 1, 2), (0, 2, 3)], [(0, 1, 3)], id="touching"),
        pytest.param([(0, 1, 3), (1, 2, 5)], [(0, 1, 3), (1, 2, 5)], id="two keys"),
        pytest.param([(3, 0, 9000), (7, 0, 1), (7, 5, 9000)], [(3, 0, 9000), (7, 0, 1), (7, 5, 9000)], id="endless"),
        pytest.param([(0, 1, 1), (0, 5, 5)], [(0, 1, 1), (0, 5, 5)], id="no length"),
    ],
)
def test_union_of_stretches(stretches: list, merged: list) -> None:
    key, enter, leave = np.array(stretches, dtype=float).reshape(-1, 3).T
    found = union_of_stretches(key.astype(np.int64), enter, leave)
    assert list(zip(*(part.tolist() for part in found), strict=True)) == merged


@given(st.lists(st.tuples(st.integers(0, 4), st.integers(0, 100), st.integers(0, 30)), max_size=40))
@examples(100)
def test_union_against_shapely(stretches: list[tuple[int, int, int]]) -> None:
    key, enter, length = np.array(stretches, dtype=float).reshape(-1, 3).T
    found = list(zip(*union_of_stretches(key.astype(np.int64), enter, enter + length + 0.5), strict=True))
    for number in range(5):
        boxes = [shapely.box(a, 0, a + n + 0.5, 1) for k, a, n in stretches if k == number]
        parts = shapely.get_parts(shapely.union_all(boxes)) if boxes else []
        want = sorted((part.bounds[0], part.bounds[2]) for part in parts)
        assert [(a, b) for k, a, b in found if k == number] == [pytest.approx(pair) for pair in want]


def test_union_keeps_its_precision_over_many_keys() -> None:
    """A section of towers has some ten thousand rays; limits are kept to a micrometre."""
    key = np.arange(20_000)
    _, enter, leave = union_of_stretches(key, np.full(20_000, 57.999999), np.full(20_000, 60.0000015))
    assert enter == pytest.approx(57.999999, abs=1e-12)
    assert leave == pytest.approx(60.0000015, abs=2e-7)


def test_first_of_each() -> None:
    key, value = first_of_each(np.array([4, 2, 4, 2, 9]), np.array([5.0, 1.0, 3.0, 2.0, 0.0]))
    assert key.tolist() == [2, 4, 9]
    assert value.tolist() == [1, 3, 0]
    assert [len(part) for part in first_of_each(np.empty(0, dtype=np.int64), np.empty(0))] == [0, 0]
