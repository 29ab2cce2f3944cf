"""Crossarms on the bisector, straight stretches within a tolerance, windows that reach far enough."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.electrical import conductor_vertices, span_windows, straight_stretches
from layoutplan.errors import InputRangeError


def test_crossarms_stand_on_the_bisector_with_their_length():
    # Source: crossarms on the bisector: common practice, no source; figures by trigonometry.
    towers = [[0, -300], [0, 0], [300 * np.sin(0.6), 300 * np.cos(0.6)]]
    vertices = conductor_vertices(towers, [-8, 0, 8], [15, 15, 15])
    assert vertices.shape == (3, 3, 3)
    assert vertices[0, 2] == pytest.approx([8, -300, 15])
    assert vertices[1, 2] == pytest.approx([8 * np.cos(0.3), -8 * np.sin(0.3), 15])
    assert np.hypot(*(vertices[1, 0] - vertices[1, 2])[:2]) == pytest.approx(16)


def test_offsets_and_heights_may_differ_from_tower_to_tower():
    # No source: this package's own bookkeeping.
    vertices = conductor_vertices([[0, 0], [0, 100]], [[1, 2], [3, 4]], [[10, 11], [12, 13]])
    assert vertices[1] == pytest.approx(np.array([[3, 100, 12], [4, 100, 13]]))


@pytest.mark.parametrize(
    ("towers", "height", "message"),
    [
        ([[0, 0], [0, 0]], [10], "at one place"),
        ([[0, 0], [0, 100]], [-1], "height_m is -1"),
        ([[0, 0], [0, 100], [0, 0]], [10], "turns back"),
        ([[0, 0], [0, np.nan]], [10], "nan"),
    ],
)
def test_impossible_lines_are_refused(towers, height, message):
    # No source: this package's own check of what it is given.
    with pytest.raises(InputRangeError, match=message):
        conductor_vertices(towers, [0], height)


def largest_shift(towers, kept):
    """Largest distance of a tower left out from the chord of its keepers."""
    worst = 0.0
    for start, end in pairwise(kept):
        chord = (towers[end] - towers[start]) / np.hypot(*(towers[end] - towers[start]))
        worst = max(worst, np.abs((towers[start : end + 1] - towers[start]) @ [chord[1], -chord[0]]).max())
    return worst


@pytest.mark.parametrize("widest_turn", [0.02, 0.5, 40.0])
@given(st.lists(st.tuples(st.floats(50, 400), st.floats(-1, 1)), min_size=2, max_size=40), st.floats(0.05, 5))
def test_towers_left_out_lie_within_the_tolerance(widest_turn, spans, tolerance):
    # Derived here: distances of the towers left out from their chord, by the cross product.
    length, turn = np.array(spans).T
    heading = np.radians(np.cumsum(widest_turn * turn))
    ends = np.cumsum(length[:, None] * np.column_stack([np.sin(heading), np.cos(heading)]), axis=0)
    towers = np.vstack([[0, 0], ends])
    kept = straight_stretches(towers, tolerance_m=tolerance)
    assert kept[0] == 0
    assert kept[-1] == len(towers) - 1
    assert largest_shift(towers, kept) <= tolerance * (1 + 1e-9)


def test_a_wide_arc_is_cut_into_chords_that_use_the_tolerance():
    # Derived here: sagitta of an arc, r - sqrt(r² - c²/4), nearly c²/8r.
    angle = np.arange(61) * 300 / 50_000
    towers = 50_000 * np.column_stack([1 - np.cos(angle), np.sin(angle)])
    kept = straight_stretches(towers, tolerance_m=5.0)
    # a chord of 1.4 km has a sagitta of 5 m on this arc; the cone test is cautious by up to two
    assert 1 + 60 / 9 < len(kept) < 1 + 60 / 3
    assert 1.0 < largest_shift(towers, kept) <= 5.0


def test_a_straight_line_is_one_stretch_unless_told_otherwise():
    # Derived here: towers on a straight line lie on the chord of its ends.
    towers = np.column_stack([np.zeros(10), 300.0 * np.arange(10)])
    keep = np.zeros(10, dtype=bool)
    keep[4] = True
    assert straight_stretches(towers).tolist() == [0, 9]
    assert straight_stretches(towers, keep=keep).tolist() == [0, 4, 9]


def test_windows_enclose_and_pad_with_the_last_vertex():
    # No source: this package's own bookkeeping.
    windows = span_windows(300.0 * np.arange(20), [0, 3000], near_m=700)
    assert windows.vertex[1].tolist() == [7, 8, 9, 10, 11, 12, 13]
    assert windows.vertex[0].tolist() == [0, 1, 2, 3, 3, 3, 3]
    assert windows.span.max() <= 18


def test_windows_go_on_far_with_doubling_steps():
    # No source: this package's own bookkeeping.
    windows = span_windows(300.0 * np.arange(200), [30_000], near_m=600, reach_m=4000)
    distance = 300 * windows.vertex[0] - 30_000
    assert distance.min() <= -4000
    assert distance.max() >= 4000
    assert windows.vertex.shape[1] <= 5 + 2 * 3


def test_windows_need_ascending_chainage():
    # No source: this package's own check of what it is given.
    with pytest.raises(InputRangeError, match="ascend"):
        span_windows([0, 300, 300], [0])
