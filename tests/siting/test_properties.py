"""Properties that hold for any line, any map and any place on Earth, against :mod:`oracle`."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.siting import Sited
from layoutplan.siting.judge import TERMS

from .oracle import UNSURE, Oracle, Points
from .scenes import Ready, Scene
from .strategies import examples, scenes, turned

TOWER = 1  # the tower at the scene's place


def stakes(sited: Sited, tower: int = TOWER) -> Points:
    mine = sited.chosen.rays.tower == tower
    return Points(sited.chosen.rays.bearing_deg[mine], sited.chosen.distance_m[mine])


def alternatives(sited: Sited, tower: int = TOWER) -> Points:
    mine = sited.alternatives.tower == tower
    return Points(sited.alternatives.bearing_deg[mine], sited.alternatives.distance_m[mine])


def side_of_candidates(ready: Ready, right: bool) -> Points:
    """All candidates on one side: whole degrees from the perpendicular, whole metres."""
    oracle = Oracle(ready.scene, 0, TOWER)
    bearing = (ready.model.towers.line_bearing_deg[TOWER] + 90 + np.arange(360.0)) % 360
    distance = np.arange(1.0, ready.job.rules.reel_m + 1)
    every = Points(np.repeat(bearing, len(distance)), np.tile(distance, 360))
    keep = oracle.is_right(every) == right
    keep &= oracle.angle_deg(every) > ready.job.rules.min_angle_deg - 1
    keep &= every.distance_m > oracle.least_m - 1
    return Points(every.bearing_deg[keep], every.distance_m[keep])


@given(scenes())
@examples(120)
def test_every_proposed_position_keeps_every_rule(scene: Scene) -> None:
    sited, oracle = scene.ready().site(), Oracle(scene, 0, TOWER)
    for points in (stakes(sited), alternatives(sited)):
        if len(points):
            assert oracle.slack(points).min() > -UNSURE
    chosen = stakes(sited)
    assert len(chosen) in (0, 2)
    if len(chosen) == 2:
        sides = oracle.is_right(chosen)
        assert sited.same_side[TOWER] == (sides[0] == sides[1])
        if sited.same_side[TOWER]:
            between = abs((chosen.bearing_deg[0] - chosen.bearing_deg[1] + 180) % 360 - 180)
            assert between >= scene.job.rules.same_side_min_angle_deg - 1e-6


@given(scenes(most=6, reel_m=95.0), st.booleans())
@examples(20)
def test_no_candidate_is_better(scene: Scene, right: bool) -> None:
    ready = scene.ready()
    sited, oracle = ready.site(), Oracle(scene, 0, TOWER)
    candidates = side_of_candidates(ready, right)
    sure = oracle.slack(candidates) > UNSURE
    open_ones = Points(candidates.bearing_deg[sure], candidates.distance_m[sure])
    mine = (sited.chosen.rays.tower == TOWER) & (sited.chosen.rays.side == right)
    if sited.same_side[TOWER] or not (sited.chosen.rays.tower == TOWER).any():
        other = side_of_candidates(ready, not right)
        either = [len(open_ones) > 0, (oracle.slack(other) > UNSURE).any()]
        assert not all(either), "a layout on both sides exists"
        return
    assert mine.sum() == 1
    if len(open_ones):
        assert sited.chosen.score[mine][0] <= oracle.score(open_ones)[1].min()


@given(scenes(), st.integers(0, 2**32))
@examples(80)
def test_evaluation_agrees_with_brute_force(scene: Scene, seed: int) -> None:
    rng = np.random.default_rng(seed)
    bearing, distance = rng.uniform(0, 360, 300), rng.uniform(1, 150, 300)
    ready, oracle = scene.ready(), Oracle(scene, 0, TOWER)
    found = ready.evaluate(TOWER, bearing, distance)
    points = Points(found.rays.bearing_deg, found.distance_m)
    assert sorted(zip(points.bearing_deg, points.distance_m, strict=True)) == sorted(
        zip(bearing, distance, strict=True)
    )
    slack = oracle.slack(points)
    sure = np.abs(slack) > UNSURE
    assert found.allowed[sure].tolist() == (slack[sure] > 0).tolist()
    for name, (low, high) in oracle.terms(points).items():
        assert (found.terms[name] >= low - 1e-6).all(), name
        assert (found.terms[name] <= high + 1e-6).all(), name


@given(scenes())
@examples(60)
def test_evaluation_gives_the_verdict_and_score_of_the_fan(scene: Scene) -> None:
    ready = scene.ready()
    sited = ready.site()
    for tower in np.unique(sited.chosen.rays.tower):
        mine = sited.chosen.rays.tower == tower
        again = ready.evaluate(int(tower), sited.chosen.rays.bearing_deg[mine], sited.chosen.distance_m[mine])
        assert again.allowed.all()
        assert again.score == pytest.approx(sited.chosen.score[mine], abs=1e-6)
        for name in TERMS:
            assert again.terms[name] == pytest.approx(sited.chosen.terms[name][mine], abs=1e-6, nan_ok=True)
        other = sited.alternatives.tower == tower
        if other.any():
            bearing, distance = sited.alternatives.bearing_deg[other], sited.alternatives.distance_m[other]
            order = np.argsort(bearing, kind="stable")
            again = ready.evaluate(int(tower), bearing, distance)
            assert again.allowed.all()
            assert again.score == pytest.approx(sited.alternatives.score[other][order], abs=1e-5)


@given(scenes(), st.randoms(use_true_random=False))
@examples(40)
def test_order_of_features_does_not_matter(scene: Scene, random: object) -> None:
    shuffled = list(scene.features)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    one, two = scene.ready().site(), scene.but(features=tuple(shuffled)).ready().site()
    assert one.chosen.rays.bearing_deg.tolist() == two.chosen.rays.bearing_deg.tolist()
    assert one.chosen.distance_m.tolist() == two.chosen.distance_m.tolist()
    assert one.role.tolist() == two.role.tolist()
    assert one.chosen.score == pytest.approx(two.chosen.score, abs=1e-9)
    assert one.alternatives.distance_m.tolist() == two.alternatives.distance_m.tolist()
    assert one.exclusions.candidates.tolist() == two.exclusions.candidates.tolist()
    assert [len(found) for found in one.relaxations.values()] == [len(found) for found in two.relaxations.values()]


@given(scenes(), st.integers(1, 359), st.tuples(st.integers(-160, 160), st.integers(-70, 80)))
@examples(40)
def test_turning_and_moving_the_scene_leaves_the_verdicts(scene: Scene, turn: int, there: tuple[int, int]) -> None:
    """Positions near a limit may fall either way; all others keep verdict and score."""
    moved = turned(scene, turn).but(lon=float(there[0]), lat=float(there[1]))
    bearing, distance = np.meshgrid(np.arange(0.5, 360, 7), np.arange(40.5, 145, 13))
    bearing, distance = bearing.ravel(), distance.ravel()
    here = scene.ready().evaluate(TOWER, bearing, distance)
    away = moved.ready().evaluate(TOWER, (bearing + turn) % 360, distance)
    order = np.lexsort((away.distance_m, (away.rays.bearing_deg - turn) % 360))
    same = np.lexsort((here.distance_m, here.rays.bearing_deg))
    points = Points(here.rays.bearing_deg[same], here.distance_m[same])
    oracle = Oracle(scene, 0, TOWER)
    sure = np.abs(oracle.slack(points)) > 1e-3
    assert here.allowed[same][sure].tolist() == away.allowed[order][sure].tolist()
    low, high = oracle.score(points)
    sure &= high - low < 1
    assert here.score[same][sure] == pytest.approx(away.score[order][sure], abs=0.01)
    assert here.axis_m[same] == pytest.approx(away.axis_m[order], abs=1e-3)
