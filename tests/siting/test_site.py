"""Whole sections: what is chosen, what is counted, and how pieces fit together."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from shapely import LineString, Point, box

from layoutplan.line import build_lines
from layoutplan.siting import collect, site_towers
from layoutplan.siting.own_lines import on_planned_line
from layoutplan.siting.rays import LEFT, RIGHT, circle

from .oracle import Oracle, Points
from .scenes import Course, Feature, Ready, Scene, north_line
from .strategies import examples, scenes

WORLD = (
    Feature("building", box(60, 20, 80, 40)),
    Feature("minor_road", LineString([(-70, -400), (-75, 400)]), 6.0),
    Feature("standing_water", box(-140, -350, -90, -200)),
    Feature("woodland", box(40, -400, 140, -250)),
)


def test_open_ground_gives_square_leads() -> None:
    sited = north_line().ready().site()
    assert np.bincount(sited.chosen.rays.tower).tolist() == [2, 2, 2]
    assert sited.chosen.rays.off_square_deg == pytest.approx(0, abs=1e-9)
    assert sorted(sited.role.tolist()) == ["H"] * 3 + ["S"] * 3
    assert sited.relaxations == {}
    assert not sited.same_side.any()


def test_h_is_the_farther_stake() -> None:
    """A building to the east pushes that stake out or aside."""
    ready = north_line(Feature("building", box(55, -30, 75, 30))).ready()
    sited = ready.site()
    mine = sited.chosen.rays.tower == 1
    distance, role = sited.chosen.distance_m[mine], sited.role[mine]
    assert distance[role == "H"][0] >= distance[role == "S"][0]


@pytest.mark.parametrize("sections", [(1, 2), (2, 1), (1, 1, 1)])
def test_sections_join_to_what_one_section_gives(sections: tuple[int, ...]) -> None:
    ready = north_line(*WORLD).ready()
    whole = ready.site()
    first = np.cumsum([0, *sections])
    towers = [ready.model.towers.rows(slice(a, b)) for a, b in pairwise(first)]
    joined = collect([site_towers(part, ready.obstacles, ready.job) for part in towers], [len(part) for part in towers])
    assert joined.chosen.rays.tower.tolist() == whole.chosen.rays.tower.tolist()
    assert joined.chosen.rays.bearing_deg.tolist() == whole.chosen.rays.bearing_deg.tolist()
    assert joined.chosen.distance_m.tolist() == whole.chosen.distance_m.tolist()
    assert joined.role.tolist() == whole.role.tolist()
    assert joined.chosen.touches.ray.tolist() == whole.chosen.touches.ray.tolist()
    assert joined.chosen.clear.position.tolist() == whole.chosen.clear.position.tolist()
    assert joined.alternatives.tower.tolist() == whole.alternatives.tower.tolist()
    assert joined.alternatives.distance_m.tolist() == whole.alternatives.distance_m.tolist()
    assert joined.same_side.tolist() == whole.same_side.tolist()


def test_relaxations_are_kept_by_tower() -> None:
    ready = north_line(Feature("no_entry", box(-400, 200, 400, 400))).ready()
    parts = [ready.model.towers.rows(slice(0, 2)), ready.model.towers.rows(slice(2, 3))]
    joined = collect([site_towers(part, ready.obstacles, ready.job) for part in parts], [2, 1])
    assert list(joined.relaxations) == [2]
    assert joined.chosen.rays.tower.tolist() == [0, 0, 1, 1]


def test_no_tower_of_a_section_has_a_layout() -> None:
    sited = north_line(Feature("no_entry", box(-900, -900, 900, 900))).ready().site()
    assert len(sited.chosen) == 0
    assert len(sited.role) == 0
    assert sorted(sited.relaxations) == [0, 1, 2]
    assert all(found for found in sited.relaxations.values())


def test_alternatives_stand_apart_and_are_not_the_chosen_ones() -> None:
    ready = north_line(*WORLD, settings={"search": {"alternatives": 5}}).ready()
    sited = ready.site()
    turn = np.radians(np.concatenate((sited.chosen.rays.bearing_deg, sited.alternatives.bearing_deg)))
    distance = np.concatenate((sited.chosen.distance_m, sited.alternatives.distance_m))
    tower = np.concatenate((sited.chosen.rays.tower, sited.alternatives.tower))
    xy = distance[:, None] * np.column_stack((np.sin(turn), np.cos(turn)))
    assert len(sited.alternatives.tower) > 10
    for number in range(3):
        mine = xy[tower == number]
        away = np.hypot(*(mine[:, None] - mine).transpose(2, 0, 1))
        assert away[~np.eye(len(mine), dtype=bool)].min() >= 15.0
    scores = sited.alternatives.score
    same = (np.diff(sited.alternatives.tower) == 0) & (np.diff(sited.alternatives.side) == 0)
    assert (np.diff(scores)[same] >= 0).all()


def test_distance_of_alternatives_to_the_axis() -> None:
    ready = north_line(*WORLD).ready()
    other = ready.site().alternatives
    away = ready.site().alternatives_axis_m
    for tower in range(3):
        mine = np.flatnonzero(other.tower == tower)
        mine = mine[np.argsort(other.bearing_deg[mine])]
        found = ready.evaluate(tower, other.bearing_deg[mine], other.distance_m[mine])
        assert away[mine] == pytest.approx(found.axis_m, abs=1e-9)


def counted(ready: Ready, tower: int, side: int) -> dict[str, tuple[int, int]]:
    found = ready.site().exclusions
    rows = np.flatnonzero((found.tower == tower) & (found.side == side))
    names = [f"{found.rule[i]}: {found.detail[i]}" if found.detail[i] else str(found.rule[i]) for i in rows]
    return {name: (int(found.candidates[i]), int(found.of[i])) for name, i in zip(names, rows, strict=True)}


def test_exclusions_of_open_ground() -> None:
    """To the right 180 bearings, 60 … 142 m: 83 distances; the angle takes the 59 bearings on either hand."""
    found = counted(north_line(settings={"rules": {"min_angle_deg": 29.9}}).ready(), 1, RIGHT)
    assert found["lead_angle: span to 1, span to 3"] == (59 * 83, 180 * 83)
    assert "reel" not in found
    assert "electrode_distance" not in found
    blocked = sum(max(int(np.ceil((58 - 1e-6) / np.cos(np.radians(t)))) - 60, 0) for t in range(-60, 61))
    assert found["line_clearance"] == (pytest.approx(blocked, abs=2), 180 * 83)


def test_exclusions_at_an_angle_tower_count_each_side_by_itself() -> None:
    """A right turn of a little more than 90 degrees: 89 bearings to the right, 271 to the left."""
    scene = Scene((Course([(0, -300), (0, 0), (300, -2)]),), settings={"rules": {"min_angle_deg": 29.5}})
    ready = scene.ready()
    around = circle(ready.model.towers.rows(np.array([1])), ready.job.rules, 1.0)
    assert np.bincount(around.side).tolist() == [271, 89]
    right, left = (counted(ready, 1, side)["lead_angle: span to 1, span to 3"] for side in (RIGHT, LEFT))
    assert right[1] / left[1] == pytest.approx(89 / 271)
    assert right[0] / right[1] == pytest.approx((89 - 31) / 89)
    assert left[0] / left[1] == pytest.approx((271 - 3 * 31) / 271)


@given(scenes(most=5, reel_m=95.0))
@examples(12)
def test_exclusions_against_brute_force(scene: Scene) -> None:
    """Candidates that break a keep-out or a crossing, of those that keep the angle, counted class by class."""
    ready, oracle = scene.ready(), Oracle(scene, 0, 1)
    towers = ready.model.towers.rows(np.array([1]))
    found = site_towers(towers, ready.obstacles, ready.job).exclusions
    if not len(found.of):
        return
    bearing = (towers.line_bearing_deg[0] + 90 + np.arange(360.0)) % 360
    bearing = bearing[oracle.angle_deg(Points(bearing, np.ones(360))) > 30 - 1e-6]
    circle_ = circle(towers, ready.job.rules, 1.0)
    per_side = np.bincount(circle_.side, minlength=2)
    steps = int(found.of[0] / per_side[found.side[0]])
    first = np.ceil(circle_.min_m.min() - 1e-6)
    distance = first + np.arange(steps)
    points = Points(np.repeat(bearing, steps), np.tile(distance, len(bearing)))
    right = oracle.is_right(points)
    for kind in {body.kind for body in oracle.bodies}:
        bodies = [body for body in oracle.bodies if body.kind == kind]
        if bodies[0].crossing == "no":
            slack = np.min([oracle.lead_slack(body, points) for body in bodies], axis=0)
            for side in (LEFT, RIGHT):
                mine = slack[right == side]
                row = (found.side == side) & (found.rule == f"lead_crossing:{kind}")
                count = int(found.candidates[row].sum())
                assert (mine < -1e-3).sum() <= count <= (mine < 1e-3).sum(), kind


def own(points: list[tuple[float, float]], scene: Scene | None = None) -> list[bool]:
    """Which pieces of a mapped power line are taken for the planned line to the north."""
    scene = scene or north_line()
    spans = scene.ready().model.spans
    vertex = np.arange(len(points) - 1)
    return on_planned_line(scene.place(points), vertex, np.ones(len(vertex), dtype=bool), spans).tolist()


@pytest.mark.parametrize(
    ("points", "expected"),
    [
        pytest.param([(0, -300), (0, 0), (0, 300)], [True, True], id="the line itself"),
        pytest.param([(3, -200), (-3, 200)], [True], id="mapped with other vertices"),
        pytest.param([(9.8, -200), (9.8, 200)], [True], id="just within 10 m"),
        pytest.param([(10.2, -200), (10.2, 200)], [False], id="just beyond 10 m"),
        pytest.param([(20, -300), (20, 300)], [False], id="second line beside it"),
        pytest.param([(-100, 50), (100, 50)], [False], id="line that crosses"),
        pytest.param([(0, 0), (200, 50)], [False], id="branch"),
        pytest.param([(0, 300), (0, 600)], [False], id="the line goes on where it is not planned"),
        pytest.param([(0, -300), (60, 0), (0, 300)], [False, False], id="detour from tower to tower"),
    ],
)
def test_mapped_pieces_of_the_planned_line(points: list, expected: list) -> None:
    assert own(points) == expected


def test_short_cut_between_two_planned_towers_is_another_line() -> None:
    """Both its ends lie on the planned line, which goes round the corner; its middle does not."""
    scene = Scene((Course([(0, -300), (0, 0), (300, 0)]),))
    assert own([(0, -300), (300, 0)], scene) == [False]
    assert own([(0, -300), (0, 0), (300, 0)], scene) == [True, True]


@pytest.mark.parametrize(("lon", "lat"), [(10.0, 0.0), (179.999, 60.0), (0.0, -79.0), (25.0, 83.0)])
@pytest.mark.parametrize("east", [9.8, 10.2])
def test_ten_metres_are_ten_metres_anywhere(lon: float, lat: float, east: float) -> None:
    """Also where another line of the job lies in quite another latitude."""
    scene, other = Scene((Course([(0, -300), (0, 300)]),), lon=lon, lat=lat), north_line(lat=-45.0)
    lines = build_lines([*scene.lines(), *other.lines()])
    points = scene.place([(east, -200), (east, 200)])
    found = on_planned_line(points, np.zeros(1, dtype=np.int64), np.ones(1, dtype=bool), lines.spans)
    assert found.tolist() == [east < 10]


def test_own_line_on_the_map_does_not_stand_in_its_own_way() -> None:
    bare = north_line().ready().site()
    mapped = north_line(Feature("power_line", LineString([(2, -300), (-2, 300)]), 16.0)).ready().site()
    assert mapped.chosen.distance_m.tolist() == bare.chosen.distance_m.tolist()


def test_parallel_line_keeps_stakes_away() -> None:
    ready = north_line(Feature("power_line", LineString([(40, -400), (40, 400)]), 16.0)).ready()
    sited, oracle = ready.site(), Oracle(ready.scene, 0, 1)
    mine = sited.chosen.rays.tower == 1
    points = Points(sited.chosen.rays.bearing_deg[mine], sited.chosen.distance_m[mine])
    assert oracle.slack(points).min() > -1e-4
    assert sited.same_side[1]


def test_points_without_width_keep_stakes_away() -> None:
    ready = north_line(Feature("building", Point(63, 0))).ready()
    found = ready.evaluate(1, [90.0, 90.0, 90.0], [63.0, 72.9, 73.1])
    assert found.allowed.tolist() == [False, False, True]


@pytest.mark.parametrize("bearing", [-270.0, 90.0, 450.0])
def test_positions_may_come_with_any_bearing(bearing: float) -> None:
    ready = north_line(Feature("building", box(60, -30, 120, 30))).ready()
    found = ready.evaluate(1, [200.0, bearing, 270.0], [70.0, 100.0, 80.0])
    assert found.rays.bearing_deg == pytest.approx([90, 200, 270])
    assert found.distance_m.tolist() == [100, 70, 80]
    assert found.allowed.tolist() == [False, False, True]


def test_no_positions_and_no_features() -> None:
    found = north_line().ready().evaluate(1, np.empty(0), np.empty(0))
    assert len(found) == 0
    assert len(found.clear.position) == 0


def test_lead_angle_names_the_branch_and_the_mapped_way_that_forbid_it() -> None:
    """A branch of another line leaves to the right, a mapped line ends at the tower from the left.

    A lead in the direction opposite to a span runs along its line as well, so each forbids on both sides.
    """
    branch = Course([(0, 0), (200, 60)])
    mapped = Feature("power_line", LineString([(0, 0), (-300, 50)]), 6.0, "Hill Line")
    ready = Scene((Course([(0, -300), (0, 0), (0, 300)]), branch), (mapped,)).ready()
    for side in (LEFT, RIGHT):
        (told,) = [name for name in counted(ready, 1, side) if name.startswith("lead_angle")]
        rule, _, causes = told.partition(": ")
        assert rule == "lead_angle"
        assert set(causes.split(", ")) == {
            "span to 1",
            "span to 3",
            "span to 2 of line 'line 1'",
            "mapped power line 'Hill Line' f 0",
        }
    assert ready.evaluate(1, [75.0, 270.0], 80.0).span.tolist() == [
        "span to 2 of line 'line 1'",
        "mapped power line 'Hill Line' f 0",
    ]
