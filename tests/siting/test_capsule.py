"""Rays against segments and capsules: readable cases, then shapely as judge."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.siting.capsule import bearing_span, ray_crossing, ray_interval, segment_distance

from .strategies import examples

INF = np.inf
RNG = np.random.default_rng(7)


def pair(bearing: float, start: tuple[float, float], end: tuple[float, float]) -> tuple[np.ndarray, ...]:
    turn = np.radians(bearing)
    return np.array([[np.sin(turn), np.cos(turn)]]), np.array([start], float), np.array([end], float)


@pytest.mark.parametrize(
    ("point", "start", "end", "distance"),
    [
        pytest.param((0, 0), (3, -1), (3, 1), 3, id="beside"),
        pytest.param((0, 0), (3, 4), (6, 8), 5, id="before the start"),
        pytest.param((0, 0), (6, 8), (3, 4), 5, id="behind the end"),
        pytest.param((0, 0), (-1, 0), (1, 0), 0, id="on the segment"),
        pytest.param((0, 0), (0, 0), (1, 0), 0, id="on its start"),
        pytest.param((0, 0), (3, 4), (3, 4), 5, id="segment of no length"),
        pytest.param((0, 0), (0, 0), (0, 0), 0, id="the same point"),
        pytest.param((1, 1), (0, 0), (1e-12, 0), 2**0.5, id="hardly any length"),
    ],
)
def test_segment_distance(point: tuple, start: tuple, end: tuple, distance: float) -> None:
    found = segment_distance(np.array([point], float), np.array([start], float), np.array([end], float))
    assert found[0] == pytest.approx(distance, abs=1e-12)


def test_segment_distance_against_shapely() -> None:
    points, start, end = RNG.uniform(-200, 200, (3, 500, 2))
    segments = shapely.linestrings(np.stack((start, end), axis=1))
    assert segment_distance(points, start, end) == pytest.approx(shapely.distance(shapely.points(points), segments))


@pytest.mark.parametrize(
    ("bearing", "start", "end", "radius", "enter", "leave"),
    [
        pytest.param(90, (10, -5), (10, 5), 2, 8, 12, id="square through the middle"),
        pytest.param(0, (10, -5), (10, 5), 2, None, None, id="past it"),
        pytest.param(270, (10, -5), (10, 5), 2, -12, -8, id="behind the tower"),
        pytest.param(90, (10, 0), (20, 0), 2, 8, 22, id="along it"),
        pytest.param(90, (-10, 0), (10, 0), 2, -12, 12, id="tower on its axis, along it"),
        pytest.param(0, (-10, 0), (10, 0), 2, -2, 2, id="tower on its axis, across it"),
        pytest.param(90, (10, 1), (20, 1), 2, 10 - 3**0.5, 20 + 3**0.5, id="along it, off the axis"),
        pytest.param(90, (10, 2), (20, 2), 2, 10, 20, id="tangent to its side"),
        pytest.param(90, (10, 2.0001), (20, 2.0001), 2, None, None, id="just past its side"),
        pytest.param(90, (10, 0), (10, 0), 3, 7, 13, id="point"),
        pytest.param(90, (10, 3), (10, 3), 3, 10, 10, id="tangent to a point's disc"),
        pytest.param(90, (0, 0), (0, 0), 3, -3, 3, id="point at the tower"),
        pytest.param(45, (10, 10), (10, 30), 0, 200**0.5, 200**0.5, id="no radius, through the end"),
        pytest.param(90, (10, -5), (10, 5), 0, 10, 10, id="no radius"),
        pytest.param(90, (10, -5), (10, 5), -1, None, None, id="negative radius"),
        pytest.param(90, (10, -5), (10, 5), np.nan, None, None, id="unknown radius"),
        pytest.param(90, (10, 1), (10 + 1e-12, 1), 2, 10 - 3**0.5, 10 + 3**0.5, id="hardly any length"),
    ],
)
def test_ray_interval(
    bearing: float, start: tuple, end: tuple, radius: float, enter: float | None, leave: float | None
) -> None:
    first, last = ray_interval(*pair(bearing, start, end), np.array([radius], float))
    if enter is None:
        assert np.isnan(first[0])
        assert np.isnan(last[0])
    else:
        assert (first[0], last[0]) == (pytest.approx(enter, abs=1e-7), pytest.approx(leave, abs=1e-7))


def test_ray_interval_with_several_radii() -> None:
    direction, start, end = pair(90, (10, -5), (10, 5))
    enter, leave = ray_interval(direction, start, end, np.array([[1.0], [4.0], [np.nan]]))
    assert enter[:, 0] == pytest.approx([9, 6, np.nan], nan_ok=True)
    assert leave[:, 0] == pytest.approx([11, 14, np.nan], nan_ok=True)


def test_ray_interval_against_points_on_the_ray() -> None:
    """Inside the stretch the distance to the segment is below the radius, outside above it."""
    count = 2000
    bearing = RNG.uniform(0, 2 * np.pi, count)
    direction = np.column_stack((np.sin(bearing), np.cos(bearing)))
    start, end = RNG.uniform(-150, 150, (2, count, 2))
    end[::7] = start[::7]
    radius = RNG.uniform(0.1, 80, count)
    enter, leave = ray_interval(direction, start, end, radius)
    segments = shapely.linestrings(np.stack((start, end), axis=1))
    for t in RNG.uniform(-200, 200, (40, count)):
        away = shapely.distance(shapely.points(direction * t[:, None]), segments)
        within = (enter <= t) & (t <= leave)
        assert within[np.abs(away - radius) > 1e-7].tolist() == (away < radius)[np.abs(away - radius) > 1e-7].tolist()


@pytest.mark.parametrize(
    ("bearing", "start", "end", "at"),
    [
        pytest.param(90, (10, -5), (10, 5), 10, id="square"),
        pytest.param(45, (10, -5), (10, 25), 200**0.5, id="slanted"),
        pytest.param(270, (10, -5), (10, 5), None, id="behind"),
        pytest.param(0, (10, -5), (10, 5), None, id="beside"),
        pytest.param(90, (10, 0), (20, 0), None, id="along"),
        pytest.param(90, (10, 5), (10, 5), None, id="no length"),
        pytest.param(90, (10, 0), (10, 0), None, id="no length, on the ray"),
    ],
)
def test_ray_crossing(bearing: float, start: tuple, end: tuple, at: float | None) -> None:
    direction, first, last = pair(90, start, end) if bearing == 90 else pair(bearing, start, end)
    direction = np.round(direction, 15)
    found = ray_crossing(direction, first, last)[0]
    assert np.isnan(found) if at is None else found == pytest.approx(at)
    turned_round = ray_crossing(direction, last, first)[0]
    assert turned_round == pytest.approx(found, nan_ok=True)


@pytest.mark.parametrize(
    ("ring", "crossings", "proper"),
    [
        pytest.param([(10, 0), (20, 10), (20, -10)], [10, 20], True, id="in at a corner, out through an edge"),
        pytest.param([(10, 10), (20, 0), (10, -10)], [10, 20], True, id="in through an edge, out at a corner"),
        pytest.param([(10, 0), (20, 10), (30, 0), (20, -10)], [10, 30], True, id="from corner to corner"),
        pytest.param([(10, 0), (20, 10), (5, 10)], [10, 10], False, id="touching a corner"),
        pytest.param([(10, 0), (20, 0), (20, 10), (10, 10)], [10, 20], False, id="along an edge"),
    ],
)
def test_corners_keep_the_parity(ring: list, crossings: list, proper: bool) -> None:
    """A ray through corners goes in as often as it comes out; one that only touches does both there, or neither."""
    xy = np.array([*ring, ring[0]], float)
    direction = np.broadcast_to([[1.0, 0.0]], (len(ring), 2))
    for mirror in (1.0, -1.0):
        at = ray_crossing(direction, xy[:-1] * [1, mirror], xy[1:] * [1, mirror])
        found = np.sort(at[~np.isnan(at)])
        assert len(found) % 2 == 0
        assert found.tolist() in ([crossings] if proper else [[], crossings])


@given(st.integers(3, 9), st.integers(0, 10**6))
@examples(60)
def test_parity_of_crossings_tells_inside(corners: int, seed: int) -> None:
    """Rays through every corner of a ring, with corners on whole metres: an even number ahead means outside."""
    rng = np.random.default_rng(seed)
    ring = shapely.Polygon(rng.integers(-20, 21, (corners, 2)).astype(float))
    if not ring.is_valid or ring.area < 1 or ring.boundary.distance(shapely.Point(0, 0)) < 0.1:
        return
    xy = shapely.get_coordinates(ring)
    bearings = np.arctan2(*xy[:-1].T)
    for bearing in bearings:
        direction = np.broadcast_to([[np.sin(bearing), np.cos(bearing)]], (len(xy) - 1, 2))
        ahead = int((~np.isnan(ray_crossing(direction, xy[:-1], xy[1:]))).sum())
        assert (ahead % 2 == 1) == ring.contains(shapely.Point(0, 0))


@pytest.mark.parametrize(
    ("start", "end", "radius", "first", "width"),
    [
        pytest.param((10, 10), (10, -10), 0, 45, 90, id="east"),
        pytest.param((10, -10), (10, 10), 0, 45, 90, id="east, other way round"),
        pytest.param((-10, 10), (10, 10), 0, 315, 90, id="over north"),
        pytest.param((10, 10), (-10, 10), 0, 315, 90, id="over north, other way round"),
        pytest.param((10, 0), (10, 0), 5, 60, 60, id="point with a disc"),
        pytest.param((0, 10), (0, 10), 5, 330, 60, id="point to the north"),
        pytest.param((10, 0), (20, 0), 5, 60, 60, id="seen end on"),
        pytest.param((10, 0), (20, 0), 10, None, 360, id="tower on the edge"),
        pytest.param((-10, 0), (10, 0), 1, None, 360, id="tower inside"),
        pytest.param((0, 0), (10, 0), 0, None, 360, id="tower at its end"),
    ],
)
def test_bearing_span(start: tuple, end: tuple, radius: float, first: float | None, width: float) -> None:
    low, wide = bearing_span(np.array([start], float), np.array([end], float), np.array([radius], float))
    assert wide[0] == pytest.approx(width)
    if first is not None:
        assert low[0] % 360 == pytest.approx(first)


def test_bearing_span_holds_every_ray_that_meets_the_capsule() -> None:
    count = 3000
    start, end = RNG.uniform(-100, 100, (2, count, 2))
    radius = RNG.uniform(0, 70, count)
    bearing = RNG.uniform(0, 360, count)
    turn = np.radians(bearing)
    first, width = bearing_span(start, end, radius)
    _, leave = ray_interval(np.column_stack((np.sin(turn), np.cos(turn))), start, end, radius)
    meets = leave >= 0
    assert 0.2 < meets.mean() < 0.9
    assert ((bearing - first) % 360 <= width + 1e-9)[meets].all()
    assert (width <= 360).all()
    free = (bearing - first) % 360 > width + 1e-9
    assert not meets[free].any()


def test_no_pairs() -> None:
    none = np.empty((0, 2))
    assert len(segment_distance(none, none, none)) == 0
    assert [len(part) for part in ray_interval(none, none, none, np.empty(0))] == [0, 0]
    assert len(ray_crossing(none, none, none)) == 0
    assert [len(part) for part in bearing_span(none, none, np.empty(0))] == [0, 0]
