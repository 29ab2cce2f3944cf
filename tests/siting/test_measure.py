from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from shapely import LineString, Point, box

from .oracle import Oracle, Points, inside
from .scenes import Course, Feature, Scene, north_line
from .strategies import examples, scenes

BEARING, DISTANCE = np.arange(0.5, 360, 24), np.linspace(60, 140, 15)


@given(scenes())
@examples(40)
def test_clearances_against_shapely(scene: Scene) -> None:
    """For every class near a stake the nearest feature's edge, as shapely measures it."""
    ready, oracle = scene.ready(), Oracle(scene, 0, 1)
    found = ready.evaluate(1, BEARING, DISTANCE)
    points = Points(found.rays.bearing_deg, found.distance_m)
    clear = found.clear
    for kind in {body.kind for body in oracle.bodies}:
        bodies = [body for body in oracle.bodies if body.kind == kind]
        edges = [
            np.where(inside(b.shape, points) > 0, 0.0, shapely.distance(points.stakes, b.shape))
            if b.is_area
            else np.maximum(shapely.distance(points.stakes, b.shape) - b.half_m, 0)
            for b in bodies
        ]
        want = np.min(edges, axis=0)
        mine = clear.class_code == ready.obstacles.code(kind)
        if kind == "power_line":  # of other power lines no more is known than that they keep their distance
            mine &= clear.edge_m < 50
        assert clear.edge_m[mine] == pytest.approx(want[clear.position[mine]], abs=1e-5)
        limit = ready.job.obstacle_classes[kind].keep_out_m if bodies[0].stake == "no" else 0
        near = np.flatnonzero(want < limit - 1e-6)
        assert set(near) <= set(clear.position[mine].tolist())


@given(scenes(most=0))
@examples(30)
def test_distance_to_the_axis_against_shapely(scene: Scene) -> None:
    found, oracle = scene.ready().evaluate(1, BEARING, DISTANCE), Oracle(scene, 0, 1)
    stakes = Points(found.rays.bearing_deg, found.distance_m).stakes
    want = np.min([shapely.distance(stakes, body.shape) for body in oracle.bodies if body.planned], axis=0)
    assert found.axis_m == pytest.approx(want, abs=1e-5)


def test_what_is_further_away_than_the_map_was_read_has_no_entry() -> None:
    """A building 110 m to the west is near the tower; one 60 m beyond the stake to the east may not be known."""
    ready = north_line(Feature("building", Point(-110, 0)), Feature("building", Point(200, 0))).ready()
    clear = ready.evaluate(1, [90.0], 140.0).clear
    assert not (clear.class_code == ready.obstacles.code("building")).any()
    assert (clear.class_code == ready.obstacles.code("power_line")).any()


def test_nearest_feature_of_a_class_is_named() -> None:
    ready = north_line(Feature("building", Point(100, 14)), Feature("building", Point(100, -12))).ready()
    clear = ready.evaluate(1, [90.0], 100.0).clear
    row = np.flatnonzero(clear.class_code == ready.obstacles.code("building"))
    assert ready.obstacles.feature_id[clear.feature[row]].tolist() == ["f 1"]
    assert clear.edge_m[row] == pytest.approx([12.0], abs=1e-3)


def test_area_that_holds_a_position_counts_as_nought() -> None:
    ready = north_line(Feature("wetland", box(50, -50, 150, 50))).ready()
    found = ready.evaluate(1, [90.0], 100.0)
    assert found.held_feature.tolist() == [0]
    row = found.clear.class_code == ready.obstacles.code("wetland")
    assert found.clear.edge_m[row].tolist() == [0.0]


def test_land_beyond_what_is_permitted_holds_a_position() -> None:
    ready = north_line(Feature("permitted_land", box(-50, -50, 80, 50))).ready()
    assert ready.evaluate(1, [90.0], 100.0).held_feature.tolist() == [-1]
    assert ready.evaluate(1, [90.0], 70.0).held_feature.tolist() == [0]


def test_axis_of_the_nearest_of_all_planned_lines() -> None:
    scene = Scene((Course([(0, -300), (0, 0), (0, 300)]), Course([(130, -300), (130, 300)])))
    assert scene.ready().evaluate(1, [90.0, 270.0], 100.0).axis_m == pytest.approx([30, 100], abs=1e-3)


def test_width_counts_for_the_distance() -> None:
    ready = north_line(Feature("river_canal", LineString([(120, -99), (120, 99)]), 24.0)).ready()
    clear = ready.evaluate(1, [90.0], 95.0).clear
    row = clear.class_code == ready.obstacles.code("river_canal")
    assert clear.edge_m[row] == pytest.approx([13.0], abs=1e-3)
