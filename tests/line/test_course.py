from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from layoutplan.errors import LineError
from layoutplan.line.course import order_line
from layoutplan.line.order import natural_order

from .lines import line_input, place

STRAIGHT = [(0, 0), (300, 0), (600, 0), (900, 0)]


def names(source: Any) -> list[str]:
    return source.towers["tower_id"].to_numpy()[order_line(source).rows].tolist()


def axis_m(axis: np.ndarray) -> list[tuple[int, int]]:
    """Vertices of an axis in whole metres from the place of the tests."""
    from layoutplan.line.geodesy import inverse

    bearing, distance = inverse(np.broadcast_to([10.0, 48.0], axis.shape), axis)
    xy = np.column_stack((distance * np.sin(np.radians(bearing)), distance * np.cos(np.radians(bearing))))
    return [(int(x), int(y)) for x, y in np.round(xy)]


@pytest.mark.parametrize(
    ("towers", "centreline", "columns", "expected"),
    [
        pytest.param(STRAIGHT, None, {}, "1 2 3 4", id="rows as they are"),
        pytest.param(STRAIGHT, None, {"order": [4.0, 3.0, 2.0, 1.0]}, "4 3 2 1", id="order column"),
        pytest.param(
            [STRAIGHT[i] for i in (0, 2, 1, 3)],
            None,
            {"order": [10.0, 20.5, 20.25, 40.0]},
            "1 3 2 4",
            id="order column with fractions",
        ),
        pytest.param(STRAIGHT[::-1], STRAIGHT, {}, "4 3 2 1", id="rows against the centreline"),
        pytest.param([STRAIGHT[i] for i in (2, 0, 3, 1)], STRAIGHT, {}, "2 4 1 3", id="unordered rows"),
        pytest.param(STRAIGHT, STRAIGHT[::-1], {}, "4 3 2 1", id="reversed centreline"),
        pytest.param(
            STRAIGHT, STRAIGHT[::-1], {"order": [1.0, 2.0, 3.0, 4.0]}, "1 2 3 4", id="order column turns the centreline"
        ),
        pytest.param(
            [STRAIGHT[i] for i in (2, 0, 3, 1)],
            [(900, 0), (-10, 0)],
            {"order": [3.0, 1.0, 4.0, 2.0]},
            "2 4 1 3",
            id="order column, unordered rows, reversed centreline",
        ),
        pytest.param([(0, 12), (300, -7), (600, 29)], [(0, 0), (600, 0)], {}, "1 2 3", id="beside the centreline"),
    ],
)
def test_order(towers: Any, centreline: Any, columns: dict[str, Any], expected: str) -> None:
    assert names(line_input(towers, centreline, **columns)) == expected.split()


def test_centreline_in_parts_that_join() -> None:
    """Which way the joined parts run is nobody's choice, but the towers follow each other."""
    parts = [[(600, 0), (900, 0)], [(600, 0), (0, 0)]]
    assert names(line_input(STRAIGHT, parts)) in (["1", "2", "3", "4"], ["4", "3", "2", "1"])
    assert names(line_input(STRAIGHT, parts, order=[4.0, 3.0, 2.0, 1.0])) == ["4", "3", "2", "1"]


def test_chainage_runs_along_the_line() -> None:
    course = order_line(line_input([(0, 0), (300, 0), (300, 400)]))
    assert course.chainage_m == pytest.approx([0, 300, 700], abs=1e-3)
    assert course.offset_m == pytest.approx(0.0)


def test_chainage_counts_from_the_start_of_the_centreline() -> None:
    course = order_line(line_input([(0, 20), (300, -10)], [(-100, 0), (500, 0)]))
    assert course.chainage_m == pytest.approx([100, 400], abs=0.01)
    assert course.offset_m == pytest.approx([20, 10], abs=0.01)


@pytest.mark.parametrize(
    ("lon", "lat"), [(10.0, 48.0), (179.999, 66.0), (-180.0, -55.0), (5.999, 60.0), (140.0, -79.0), (0.0, 0.0)]
)
def test_order_and_chainage_anywhere(lon: float, lat: float) -> None:
    towers = [(600, 630), (0, 0), (300, 310), (900, 900)]
    course = order_line(line_input(towers, [(-1, -1), (300, 300), (900, 900)], lon=lon, lat=lat))
    assert course.rows.tolist() == [1, 2, 0, 3]
    along = [2**0.5 * s for s in (1, 306, 616, 901)]
    assert course.chainage_m == pytest.approx(along, abs=0.1)
    assert course.offset_m == pytest.approx([0, 10 / 2**0.5, 30 / 2**0.5, 0], abs=0.1)


def test_towers_off_the_line_are_named_with_the_worst() -> None:
    source = line_input([(0, 0), (300, 45), (600, -5000), (900, 0)], [(0, 0), (900, 0)], ids=["a", "b", "c", "d"])
    message = r"towers\.gpkg.*2 tower\(s\) of line 'line'.*offset_tolerance_m = 30 m.*tower c.*5,000 m"
    with pytest.raises(LineError, match=message):
        order_line(source)


def test_tolerance_can_be_raised() -> None:
    towers, centreline = [(0, 0), (300, 45), (900, 0)], [(0, 0), (900, 0)]
    with pytest.raises(LineError):
        order_line(line_input(towers, centreline))
    assert names(line_input(towers, centreline, settings={"offset_tolerance_m": 46})) == ["1", "2", "3"]


@pytest.mark.parametrize("towers", [[], [(0, 0)]], ids=["none", "one"])
@pytest.mark.parametrize("centreline", [None, [(0, 0), (300, 0)]], ids=["no centreline", "centreline"])
def test_a_line_needs_two_towers(towers: Any, centreline: Any) -> None:
    with pytest.raises(LineError, match=rf"has {len(towers)} tower\(s\); a line needs two"):
        order_line(line_input(towers, centreline))


def test_centreline_in_pieces_is_refused() -> None:
    source = line_input(STRAIGHT, [[(0, 0), (300, 0)], [(310, 0), (900, 0)]])
    with pytest.raises(LineError, match="2 pieces"):
        order_line(source)


def test_rows_out_of_order_without_a_centreline_are_refused() -> None:
    source = line_input([(0, 0), (600, 0), (300, 0), (900, 0)], ids=["a", "b", "c", "d"])
    with pytest.raises(LineError, match=r"turns back by 180 degrees at tower [bc].*order_column"):
        order_line(source)


BACK_AND_FORTH = [(0, 0), (600, 0), (300, 0), (900, 0), (1200, 40), (1500, 0)]


@pytest.mark.parametrize("columns", [{}, {"order": np.arange(6.0)}], ids=["rows", "order column"])
def test_the_natural_order_is_told_where_towers_go_back_and_forth(columns: dict[str, Any]) -> None:
    """Stated or not: with bisectors of such an order every lead would be wrong."""
    source = line_input(BACK_AND_FORTH, ids=list("abcdef"), in_order=bool(columns), **columns)
    with pytest.raises(LineError, match=r"line 'line' turns back by 180 degrees.*as a, c, b, d …\..*turns_back = true"):
        order_line(source)


def test_a_job_may_say_that_a_line_turns_back() -> None:
    source = line_input(BACK_AND_FORTH, ids=list("abcdef"), settings={"turns_back": True})
    course = order_line(source)
    assert course.rows.tolist() == [0, 1, 2, 3, 4, 5]
    assert "turns back by 180 degrees" in course.problems[0]


def test_a_line_that_turns_back_in_its_natural_order_is_named_and_planned() -> None:
    """A short last span beside the line, as into a station: no other order would be shorter."""
    sharp = [(0, 0), (400, 0), (800, 0), (703, -26)]
    (said,) = order_line(line_input(sharp, in_order=True, order=np.arange(4.0))).problems
    assert "turns back by 165 degrees at tower 3 (between 2 and 4)" in said


def test_a_sharp_turn_with_a_shorter_order_is_named() -> None:
    """The last two towers swapped behind a bend: 140 degrees, which a line might do."""
    (said,) = order_line(line_input([(0, 0), (300, 0), (652, 295), (600, 0)], ids=list("abcd"), in_order=True)).problems
    assert "by 140 degrees at tower c" in said
    assert "as … b, d, c: check the order" in said


def test_natural_order_of_a_crooked_line_from_any_rows() -> None:
    """Points of a walk that never comes back near itself, shuffled: the walk again."""
    turns = np.cumsum(np.random.default_rng(3).uniform(-0.5, 0.5, 60))
    walk = np.cumsum(300 * np.column_stack((np.cos(turns / 3), np.sin(turns / 3))), axis=0)
    lonlat = place(walk)
    assert natural_order(lonlat).tolist() == list(range(60))
    shuffled = np.random.default_rng(4).permutation(60)
    found = shuffled[natural_order(lonlat[shuffled])].tolist()
    assert found in (list(range(60)), list(range(60))[::-1])


def test_lines_that_fork_have_no_natural_order() -> None:
    assert natural_order(place([(0, 0), (300, 0), (600, 0), (300, 300), (300, -300)])) is None


def test_gaps_of_a_line_with_a_centreline_are_given_by_their_length() -> None:
    towers = [(0, 0), (300, 0), (3400, 0), (3700, 0)]
    said = order_line(line_input(towers, [(0, 0), (3700, 0)], ids=list("abcd"))).problems
    assert "line 'line': 1 span(s) longer than 2,000 m: b-c (3,100 m)" in said[0]


def test_a_span_that_no_line_has_is_mentioned() -> None:
    assert order_line(line_input([(0, 0), (300, 0), (2200, 0)], None)).problems == ()
    (said,) = order_line(line_input([(0, 0), (300, 0), (2400, 0), (2700, 0)], None, ids=["a", "b", "c", "d"])).problems
    assert "1 span(s) longer than 2,000 m: b-c (2,100 m)" in said


def test_rows_known_to_be_in_order_may_turn_back_if_the_job_says_so() -> None:
    rows = {"in_order": True, "settings": {"turns_back": True}}
    assert names(line_input([(0, 0), (600, 0), (300, 1)], **rows)) == ["1", "2", "3"]


def test_sorted_rows_are_mentioned() -> None:
    said = order_line(line_input([STRAIGHT[i] for i in (2, 0, 3, 1)], STRAIGHT)).problems
    assert len(said) == 1
    assert "were not in line order" in said[0]


def test_order_column_against_the_centreline_is_mentioned() -> None:
    course = order_line(line_input(STRAIGHT, STRAIGHT, order=[1.0, 3.0, 2.0, 4.0]))
    assert course.rows.tolist() == [0, 1, 2, 3]
    assert "order_column disagrees" in course.problems[0]


def test_nothing_is_mentioned_of_a_plain_line() -> None:
    assert order_line(line_input(STRAIGHT, STRAIGHT)).problems == ()


def test_axes_without_a_centreline() -> None:
    axes = order_line(line_input(STRAIGHT)).axes
    assert [axis_m(axis) for axis in axes] == [
        [(0, 0)],
        [(0, 0), (300, 0)],
        [(300, 0), (600, 0)],
        [(600, 0), (900, 0)],
        [(900, 0)],
    ]


def test_spans_run_from_tower_to_tower_also_beside_the_centreline() -> None:
    axes = order_line(line_input([(0, 20), (300, -10)], [(0, 0), (300, 0)])).axes
    assert axis_m(axes[1]) == [(0, 20), (300, -10)]


def test_bend_between_towers_is_kept_and_mentioned() -> None:
    course = order_line(line_input([(0, 0), (600, 0)], [(0, 0), (300, 40), (600, 0)]))
    assert axis_m(course.axes[1]) == [(0, 0), (300, 40), (600, 0)]
    assert "bends between towers in 1 span(s), 1-2 (605 m)" in course.problems[0]


def test_vertices_on_the_straight_span_are_no_bends() -> None:
    course = order_line(line_input([(0, 0), (600, 0)], [(0, 0), (100, 2), (300, -4.9), (600, 0)]))
    assert axis_m(course.axes[1]) == [(0, 0), (600, 0)]
    assert course.problems == ()


def test_vertices_at_towers_are_no_bends() -> None:
    course = order_line(line_input([(0, 0), (300, 200), (600, 0)], [(0, 0), (300, 200), (600, 0)]))
    assert [axis_m(axis) for axis in course.axes[1:3]] == [[(0, 0), (300, 200)], [(300, 200), (600, 0)]]
    assert course.problems == ()


@pytest.mark.parametrize("ahead_m", [-6.0, -0.5, 0.0, 0.5, 6.0])
@pytest.mark.parametrize("aside_m", [-25.0, -8.0, 3.0, 8.0, 15.0])
def test_a_centreline_that_runs_beside_the_towers_does_not_zigzag(aside_m: float, ahead_m: float) -> None:
    """A line drawn from another survey has its vertices beside the towers: they are no bends, no spans of their own."""
    beside = [(x + ahead_m, aside_m) for x in (-300, 0, 150, 300, 600, 900, 1200)]
    found = order_line(line_input(STRAIGHT, beside))
    spans = [axis_m(axis) for axis in found.axes]
    assert spans[1:-1] == [list(pair) for pair in pairwise(STRAIGHT)]
    assert min(len(spans[0]), len(spans[-1])) >= 2
    assert {y for axis in spans for _, y in axis} == {0}
    told = [text for text in found.problems if "off the centreline" in text]
    assert len(told) == (abs(aside_m) > 5)
    assert len(found.problems) == len(told)


def test_a_bend_of_a_centreline_beside_the_towers_stays_a_bend() -> None:
    towers, beside = [(0, 0), (600, 0)], [(0.5, 8), (300, 48), (599, 8)]
    found = order_line(line_input(towers, beside))
    assert axis_m(found.axes[1]) == [(0, 0), (300, 40), (600, 0)]
    assert any("bends between towers in 1 span(s)" in text for text in found.problems)


@pytest.mark.parametrize("turn_deg", [20, 60, 90])
@pytest.mark.parametrize("aside", [(7.0, 7.0), (-7.0, -7.0), (7.0, -7.0)])
def test_an_angle_tower_beside_the_vertex_of_the_centreline(turn_deg: float, aside: Any) -> None:
    end = (300 + 300 * np.cos(np.radians(turn_deg)), 300 * np.sin(np.radians(turn_deg)))
    corner = (300 + aside[0], aside[1])
    found = order_line(line_input([(0, 0), corner, end], [(0, 0), (300, 0), end]))
    assert [len(axis) for axis in found.axes] == [1, 2, 2, 1]


def test_line_that_goes_on_beyond_its_towers() -> None:
    axes = order_line(line_input([(0, 0), (300, 0)], [(-200, 50), (0, 0), (300, 0), (350, 100), (350, 400)])).axes
    assert axis_m(axes[0]) == [(-200, 50), (0, 0)]
    assert axis_m(axes[-1]) == [(300, 0), (350, 100), (350, 400)]


def test_short_overhang_is_no_span() -> None:
    axes = order_line(line_input([(0, 0), (300, 0)], [(-4, 0), (304.9, 0)])).axes
    assert axis_m(axes[0]) == [(0, 0)]
    assert axis_m(axes[-1]) == [(300, 0)]


def test_terminal_tower_beyond_the_end_of_the_centreline() -> None:
    course = order_line(line_input([(-20, 0), (300, 0), (620, 0)], [(0, 0), (600, 0)]))
    assert course.rows.tolist() == [0, 1, 2]
    assert axis_m(course.axes[1]) == [(-20, 0), (300, 0)]
    assert axis_m(course.axes[2]) == [(300, 0), (620, 0)]


def test_centreline_across_the_antimeridian() -> None:
    source = line_input([(600, 0), (0, 0), (300, 0)], [(0, 0), (600, 0)], lon=179.997, lat=-17.0)
    course = order_line(source)
    assert course.rows.tolist() == [1, 2, 0]
    assert course.chainage_m == pytest.approx([0, 300, 600], abs=0.01)
    assert np.ptp(place([(0, 0), (600, 0)], 179.997, -17.0)[:, 0]) < 0.01
