from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, box

from layoutplan.siting import find_near
from layoutplan.siting.near import in_sight

from .oracle import Oracle
from .scenes import Feature, Scene, north_line
from .strategies import examples, scenes


@given(scenes(), st.sampled_from([20.0, 60.0, 150.0]))
@examples(50)
def test_every_segment_within_reach_is_there(scene: Scene, reach: float) -> None:
    """And where it belongs: against the tower's own projection."""
    ready, oracle = scene.ready(), Oracle(scene, 0, 1)
    near = find_near(ready.obstacles, ready.model.towers.rows(np.array([1])), reach)
    ends = np.hstack((near.start_m, near.end_m))
    for number, feature in enumerate(scene.features):
        if feature.kind == "power_line":
            continue
        shape = shapely.transform(shapely.transform(feature.shape, scene.place), oracle.local)
        row = ready.job.obstacle_classes[feature.kind]
        beyond = 0.0 if shape.geom_type == "Polygon" else feature.width_m / 2
        if row.stake == "no":
            beyond += row.keep_out_m
        mine = ends[near.feature == number]
        for start, end in segments(shape):
            away = shapely.LineString([start, end]).distance(shapely.Point(0, 0))
            found = len(mine) and np.abs(mine - [*start, *end]).max(axis=1).min() < 1e-4
            if away < reach + beyond - 1e-3:
                assert found
            elif away > reach + beyond + 1e-3 and shape.distance(shapely.Point(0, 0)) > 1:
                assert not found


def segments(shape: shapely.Geometry) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    rings = [shape.exterior, *shape.interiors] if shape.geom_type == "Polygon" else [shape]
    out = []
    for ring in rings:
        xy = [*ring.coords]
        out += list(pairwise(xy)) if len(xy) > 1 else [(xy[0], xy[0])]
    return out


@pytest.mark.parametrize("lat", [0.0, 48.0, -79.0, 83.0])
@pytest.mark.parametrize("heading", range(0, 360, 45))
def test_windows_are_wide_enough_in_every_direction(lat: float, heading: int) -> None:
    turn = np.radians(heading)
    ahead, across = np.array([np.sin(turn), np.cos(turn)]), np.array([np.cos(turn), -np.sin(turn)])
    wall = Feature("woodland", LineString([499.9 * ahead - 0.1 * across, 499.9 * ahead + 0.1 * across]))
    scene = north_line(wall, lat=lat, settings={"rules": {"line_clearance_m": 0}})
    ready = scene.ready()
    towers = ready.model.towers.rows(np.array([1]))
    assert (find_near(ready.obstacles, towers, 500.0).feature == 0).any()
    assert not (find_near(ready.obstacles, towers, 499.0).feature == 0).any()
    assert len(in_sight(scene.map(), towers, 500.0)) == 1


def test_features_out_of_sight_are_left_out() -> None:
    scene = north_line(Feature("woodland", box(900, -9, 950, 9)), Feature("woodland", box(-200, -9, 950, 9)))
    towers = scene.ready().model.towers
    assert in_sight(scene.map(), towers, 800.0)["feature_id"].tolist() == ["f 1"]
    assert in_sight(scene.map().iloc[:0], towers, 800.0).empty


def test_rows_are_sorted_by_tower() -> None:
    ready = north_line(
        Feature("woodland", box(0, -250, 60, 250)), Feature("minor_road", LineString([(5, -400), (5, 400)]))
    ).ready()
    near = find_near(ready.obstacles, ready.model.towers, 150.0)
    assert (np.diff(near.tower) >= 0).all()
    assert set(near.tower) == {0, 1, 2}
    assert near.on_edge[near.feature == 0].any()


def test_no_towers() -> None:
    ready = north_line(Feature("woodland", box(0, -250, 60, 250))).ready()
    near = find_near(ready.obstacles, ready.model.towers.rows(np.empty(0, dtype=np.int64)), 150.0)
    assert len(near.tower) == len(near.inside_tower) == 0
