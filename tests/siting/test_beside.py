"""What leads pass that they must not cross, against shapely."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from shapely import LineString, Point, box

from .oracle import HANGS, Oracle, Points
from .scenes import Feature, Scene, north_line
from .strategies import examples, scenes

BEARING, DISTANCE = np.arange(0.5, 360, 24), np.linspace(60, 140, 15)
SEEN_M = 10.0  # features are near enough to be known to such a distance from a lead


@given(scenes())
@examples(40)
def test_leads_against_shapely(scene: Scene) -> None:
    ready, oracle = scene.ready(), Oracle(scene, 0, 1)
    found = ready.evaluate(1, BEARING, DISTANCE)
    points = Points(found.rays.bearing_deg, found.distance_m)
    leads = shapely.linestrings([[(0.0, 0.0), xy] for xy in shapely.get_coordinates(points.stakes)])
    barred = [
        body
        for body in oracle.bodies
        if not body.planned and ready.job.obstacle_classes[body.kind].lead_crossing == "no"
    ]
    gaps = [np.full(len(leads), np.inf)]
    for body in barred:
        edge = body.shape.boundary if body.is_area else body.shape
        if body.kind in HANGS and not body.is_area and edge.distance(Point(0, 0)) <= 10.0:
            return  # what ends at the tower is looked at below
        if (
            body.kind in HANGS
            and shapely.get_dimensions(edge) == 0
            and any(edge.distance(other.shape) <= 10.0 for other in oracle.bodies if other.planned)
        ):
            return  # a line mapped as a point upon the planned one is taken for that
        gaps.append(np.maximum(shapely.distance(leads, edge) - (0 if body.is_area else body.half_m), 0.0))
    want = np.min(gaps, axis=0)
    close = want < 5.0
    assert found.beside.edge_m[close] == pytest.approx(want[close], abs=1e-5)
    assert (found.beside.edge_m[~close] >= 5.0 - 1e-5).all()
    assert ((found.beside.feature >= 0) == np.isfinite(found.beside.edge_m)).all()


def test_the_nearest_is_named_and_what_may_be_crossed_is_not() -> None:
    ready = north_line(
        Feature("building", box(50, 3, 60, 20)),
        Feature("main_road", LineString([(20, -9), (90, -9)]), 10.0),
        Feature("minor_road", LineString([(20, 1), (90, 1)]), 1.0),
    ).ready()
    found = ready.evaluate(1, [90.0, 270.0], 120.0).beside
    assert ready.obstacles.feature_id[found.feature[0]] == "f 0"
    assert found.edge_m == pytest.approx([3.0, np.hypot(20, 9) - 5], abs=1e-3)  # to the west it is the road's end


def test_a_lead_that_crosses_passes_at_nothing() -> None:
    ready = north_line(Feature("main_road", LineString([(60, -200), (60, 200)]), 8.0)).ready()
    assert ready.evaluate(1, [90.0], 120.0).beside.edge_m.tolist() == [0.0]


def test_a_power_line_that_ends_at_the_tower_is_not_passed_there() -> None:
    line = Feature("power_line", LineString([(0.2, 0.0), (-150.0, 150.0), (-600.0, 150.0)]))
    found = north_line(line).ready().evaluate(1, [300.0], 140.0).beside
    lead = LineString([(0, 0), (140 * np.sin(np.radians(300)), 140 * np.cos(np.radians(300)))])
    beyond = LineString([(-150.0, 150.0), (-600.0, 150.0)])
    assert found.edge_m == pytest.approx([lead.distance(beyond)], abs=1e-3) or np.isinf(found.edge_m).all()
    near = north_line(Feature("power_line", LineString([(30.0, 30.0), (150.0, 30.0)]))).ready()
    assert near.evaluate(1, [90.0], 120.0).beside.edge_m == pytest.approx([30.0], abs=1e-3)
