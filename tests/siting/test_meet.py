from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.siting.capsule import ray_interval
from layoutplan.siting.meet import Stretches, capsule_stretches, crossings, joined_stretches, meet

from .scenes import Feature, near_and_rays, north_line
from .strategies import examples, tenths


def stretches(*rows: tuple[int, int, float, float]) -> Stretches:
    ray, feature, enter, leave = np.array(rows, dtype=float).reshape(-1, 4).T
    return Stretches(ray.astype(np.int64), feature.astype(np.int64), enter, leave)


def rows(found: Stretches) -> list[tuple[Any, ...]]:
    return list(zip(*(getattr(found, name).tolist() for name in Stretches.__slots__), strict=True))


def test_stretches_are_cut_to_the_reach() -> None:
    some = stretches((0, 1, -5, 3), (0, 2, 10, 9000), (1, 3, 150, 160), (1, 4, -9, -1))
    assert rows(some.within(100)) == [(0, 1, 0, 3), (0, 2, 10, 100)]
    assert rows(stretches((0, 0, 100, 101)).within(100)) == [(0, 0, 100, 100)]


def test_shrinking_drops_what_vanishes() -> None:
    assert rows(stretches((0, 1, 0, 3), (0, 2, 5, 6), (0, 3, 7, 9)).shrunk(1)) == [(0, 1, 1, 2), (0, 3, 8, 8)]


def test_join_keeps_the_order_of_its_parts() -> None:
    assert rows(joined_stretches(stretches((1, 1, 0, 1)), stretches(), stretches((0, 2, 3, 4)))) == [
        (1, 1, 0, 1),
        (0, 2, 3, 4),
    ]


@given(st.lists(st.tuples(*[tenths(-120, 120)] * 4), min_size=1, max_size=12), tenths(0, 60), tenths(-179, 179))
@examples(60)
def test_meet_pairs_every_ray_once_with_every_capsule_ahead(ends: list, radius: float, first: float) -> None:
    features = [Feature("fence_wall", shapely.LineString([end[:2], end[2:]])) for end in ends]
    ready = north_line(*features).ready()
    bearings = np.sort((first + np.arange(0, 360, 3.0)) % 360)
    near, rays = near_and_rays(ready, bearings, 400.0)
    pairs = meet(rays, near, np.full(len(near.tower), radius))
    found = list(zip(pairs.ray.tolist(), pairs.near.tolist(), strict=True))
    assert len(set(found)) == len(found)
    ray, segment = (part.ravel() for part in np.meshgrid(range(len(rays)), range(len(near.tower)), indexing="ij"))
    direction, start, end = rays.direction[ray], near.start_m[segment], near.end_m[segment]
    _, leave = ray_interval(direction, start, end, np.full(len(ray), radius))
    must = set(zip(ray[leave > 0].tolist(), segment[leave > 0].tolist(), strict=True))
    assert must <= set(found)


@pytest.mark.parametrize("bearing", [0.0, 1e-9, 90.0, 180.0, 359.999999999])
def test_ray_to_a_segment_that_lies_across_it(bearing: float) -> None:
    """Also where the range of bearings runs over north."""
    turn = np.radians(bearing)
    middle, across = np.array([np.sin(turn), np.cos(turn)]) * 60, np.array([np.cos(turn), -np.sin(turn)]) * 10
    wall = Feature("fence_wall", shapely.LineString([middle - across, middle + across]))
    near, rays = near_and_rays(north_line(wall).ready(), [bearing])
    pairs = meet(rays, near, np.full(len(near.tower), 0.0))
    hit, at = crossings(pairs)
    assert at[pairs.feature[hit] == 0] == pytest.approx([60.0], abs=1e-6)
    (found,) = capsule_stretches(pairs, np.where(pairs.feature == 0, 2.0, np.nan))
    assert rows(found) == [(0, 0, pytest.approx(58, abs=1e-6), pytest.approx(62, abs=1e-6))]


def test_tower_within_the_capsule_is_met_by_all_rays() -> None:
    near, rays = near_and_rays(north_line().ready(), np.arange(0, 360, 1.0))
    pairs = meet(rays, near, np.full(len(near.tower), 58.0))
    assert np.bincount(pairs.near).tolist() == [360] * len(near.tower)


def test_capsules_without_radius_are_not_met() -> None:
    near, rays = near_and_rays(north_line().ready(), [45.0, 90.0])
    pairs = meet(rays, near, np.full(len(near.tower), 58.0))
    for radius in (np.nan, 0.0, -1.0):
        assert len(capsule_stretches(pairs, np.full(len(pairs.ray), radius))[0]) == 0


def test_nothing_near_and_no_rays() -> None:
    ready = north_line().ready()
    near, rays = near_and_rays(ready, np.empty(0))
    assert len(meet(rays, near, np.full(len(near.tower), 9.0)).ray) == 0
    far, some = near_and_rays(ready, [10.0], tower=1)
    nothing = replace(far, tower=far.tower[:0], feature=far.feature[:0], start_m=far.start_m[:0], end_m=far.end_m[:0])
    assert len(meet(some, nothing, np.empty(0)).ray) == 0
