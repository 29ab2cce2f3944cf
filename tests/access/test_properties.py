"""Properties that hold for any map, checked with shapely on the features as they were given."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import shapely.ops
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from layoutplan.access import to_point, to_tower
from layoutplan.job import shipped_classes
from layoutplan.job.access import Access

from ..effort import examples
from .scenes import EVERYWHERE, Feature, Road, Scene, line

CELL_M = 4.0
TARGET_M = (43.0, -51.0)
BLOCKED = tuple(name for name, factor in Access().factors(shipped_classes()).items() if np.isinf(factor))
NEAR_BY = {"first_window_m": 80.0, "radius_m": 80.0}  # small, for many examples
DIRECTIONS = 1 / np.cos(np.arctan(0.5) / 2)

metres = st.floats(-75, 75).map(lambda value: round(value, 2))
place = st.tuples(metres, metres)
aside = place.filter(lambda xy: np.hypot(*xy) > 10)


@st.composite
def buildings(draw):
    (east, north), (wide, high) = draw(aside), draw(st.tuples(st.floats(2, 40), st.floats(2, 40)))
    box = shapely.affinity.rotate(shapely.box(east, north, east + wide, north + high), draw(st.floats(0, 90)))
    return Feature("building", box.difference(shapely.Point(0, 0).buffer(5)), name="house")


@st.composite
def barriers(draw):
    kind, width = draw(st.sampled_from([("fence_wall", 0.3), ("river_canal", 12.0), ("cliff", 2.0), ("railway", 4.0)]))
    course = line(*draw(st.lists(place, min_size=2, max_size=5, unique=True)))
    assume(min(course.distance(shapely.Point(xy)) for xy in ((0, 0), TARGET_M)) > width / 2 + 1)
    return Feature(kind, course, width, "barrier")


@st.composite
def roads(draw):
    kind, vehicle = draw(st.sampled_from([("minor_road", "yes"), ("track_path", "no"), ("track_path", "permit")]))
    return Road(line(*draw(st.lists(place, min_size=2, max_size=4, unique=True))), kind, vehicle)


@st.composite
def scenes(draw):
    return Scene(
        tuple(draw(st.lists(st.one_of(buildings(), barriers()), max_size=8))),
        tuple(draw(st.lists(roads(), min_size=1, max_size=4))),
        tuple(draw(st.lists(place, max_size=3))),
        at=draw(st.sampled_from(EVERYWHERE)),
        settings=NEAR_BY,
    )


many = settings(max_examples=examples(60), deadline=None, suppress_health_check=list(HealthCheck))


def ways(scene):
    target = np.array(TARGET_M)
    walks = scene.walks([target])
    return [to_tower(walks), to_point(walks, target)]


def inner(shape):
    """A feature without its rim, which a way may touch within rounding."""
    if shape.geom_type == "LineString":
        return shapely.ops.substring(shape, 1e-6, shape.length - 1e-6)
    return shape.buffer(-1e-6)


def openings(scene, kind):
    """Where the map lets one through: along roads and paths, and at gates in fences."""
    gates = [shapely.Point(xy) for xy in scene.gates_m] if kind == "fence_wall" else []
    return shapely.union_all([*(road.shape for road in scene.roads), *gates])


@given(scenes())
@many
def test_no_way_meets_what_blocks_but_within_a_cell_of_an_opening(scene):
    for way in ways(scene):
        for feature in scene.features if way.line is not None else ():
            hit = shapely.intersection(way.line, inner(feature.shape))
            if not hit.is_empty:
                points = shapely.points(shapely.get_coordinates(shapely.segmentize(hit, 0.5)))
                # half a cell more for the straightening of the drawn line, a fence beside a road is not opened by it
                assert shapely.distance(points, openings(scene, feature.kind)).max() <= 1.5 * CELL_M + 0.01


@given(scenes())
@many
def test_a_fence_is_passed_only_where_something_passes_it(scene):
    for way in ways(scene):
        for feature in scene.features if way.line is not None else ():
            if feature.kind != "fence_wall":
                continue
            through = [shapely.intersection(feature.shape, road.shape) for road in scene.roads]
            gates = [shapely.Point(xy) for xy in scene.gates_m if feature.shape.distance(shapely.Point(xy)) < 4.01]
            hit = shapely.intersection(way.line, inner(feature.shape))
            if not hit.is_empty:
                # the opening reaches one cell, and no more, about the very point
                assert shapely.distance(hit, shapely.union_all([*through, *gates])) <= CELL_M + 0.01


@given(scenes())
@many
def test_ways_are_no_shorter_than_straight_and_name_a_reason_where_there_is_none(scene):
    for way in ways(scene):
        if way.line is None:
            assert np.isnan(way.walk_m)
            assert way.because or way.verdict.startswith("no road within")
            continue
        (x0, y0), (x1, y1) = way.line.coords[0], way.line.coords[-1]
        assert way.walk_m >= np.hypot(x1 - x0, y1 - y0) - 1e-6
        assert way.walk_m >= way.line.length - 1e-6
        assert way.verdict == ("needs permission" if way.because else "reachable")


@given(scenes(), st.one_of(buildings(), barriers()))
@many
def test_a_further_obstacle_never_shortens_a_way(scene, further):
    before, after = ways(scene), ways(scene.but(features=(*scene.features, further)))
    for old, new in zip(before, after, strict=True):
        if new.line is None or (old.line is None and not old.verdict.startswith("no road")):
            assert new.line is None or old.line is not None
            continue
        assert new.walk_min >= old.walk_min - 1e-6 or new.verdict != old.verdict


@given(scenes(), st.randoms(use_true_random=False))
@many
def test_the_order_of_the_rows_does_not_matter(scene, random):
    features, tracks = list(scene.features), list(scene.roads)
    random.shuffle(features)
    random.shuffle(tracks)
    shuffled = ways(scene.but(features=tuple(features), roads=tuple(tracks)))
    for one, other in zip(ways(scene), shuffled, strict=True):
        assert one.verdict == other.verdict
        assert one.walk_min == pytest.approx(other.walk_min, nan_ok=True)


@given(st.floats(10, 40), st.floats(20, 60), st.floats(0, 360))
@many
def test_the_way_round_a_wall_is_the_shortest(half_m, ahead_m, bearing_deg):
    """A straight wall across the way: round its end and on, in closed form."""

    def turned(*points):
        angle = np.radians(-bearing_deg)
        spin = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        return np.array(points, dtype=float) @ spin.T

    wall = Feature("fence_wall", line(*turned((-half_m, ahead_m / 2), (half_m, ahead_m / 2))), 0.3)
    target = turned((0, ahead_m))[0]
    way = to_point(Scene((wall,), settings=NEAR_BY).walks([target]), target)
    shortest = 2 * np.hypot(half_m, ahead_m / 2)
    assert shortest - 1e-6 <= way.walk_m <= shortest * DIRECTIONS + 3 * CELL_M
