"""What one lead meets, in cases that can be drawn on a napkin: a line to the north, a lead to the east."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from shapely import LineString, Point, Polygon, box

from layoutplan.siting.trace import OUTSIDE_PERMITTED, Trace

from .scenes import Course, Feature, Scene, north_line, trace

HOLE = Polygon(box(-80, -80, 80, 80).exterior.coords, [box(-40, -40, 40, 40).exterior.coords])
HOLE_AHEAD = Polygon(box(20, -80, 200, 80).exterior.coords, [box(60, -9, 90, 9).exterior.coords])


def to_the(bearing: float, *features: Feature, **changes: Any) -> Trace:
    return trace(north_line(*features, **changes).ready(), [bearing])


def parts(found: Trace, name: str, feature: int = 0) -> list[tuple[float, float]]:
    stretches = getattr(found, name)
    rows = np.flatnonzero(stretches.feature == feature)
    return sorted((round(float(stretches.enter_m[i]), 3), round(float(stretches.leave_m[i]), 3)) for i in rows)


def touched(found: Trace, feature: int = 0) -> list[float]:
    return [round(float(at), 3) for at in found.touches.at_m[found.touches.feature == feature]]


@pytest.mark.parametrize(
    ("shape", "inside"),
    [
        pytest.param(box(70, -10, 90, 10), [(70, 90)], id="square ahead"),
        pytest.param(box(-90, -10, -70, 10), [], id="square behind"),
        pytest.param(box(70, 5, 90, 10), [], id="square beside"),
        pytest.param(box(-10, -10, 30, 10), [(0, 30)], id="tower inside"),
        pytest.param(HOLE, [(40, 80)], id="tower in a hole"),
        pytest.param(HOLE_AHEAD, [(20, 60), (90, 9000)], id="hole on the way, no end"),
        pytest.param(Polygon([(70, 0), (90, 10), (90, -10)]), [(70, 90)], id="in at a corner"),
        pytest.param(Polygon([(70, -10), (90, 0), (70, 10)]), [(70, 90)], id="out at a corner"),
        pytest.param(Polygon([(60, 5), (70, -5), (80, 5), (90, -5), (100, 5)]), [(65, 75), (85, 95)], id="zigzag"),
        pytest.param(box(0, -50, 60, 50), [(0, 60)], id="tower on its edge, inwards"),
        pytest.param(box(-60, -50, 0, 50), [], id="tower on its edge, outwards"),
        pytest.param(Polygon([(0, 0), (60, 40), (60, -40)]), [(0, 60)], id="tower at its corner, inwards"),
        pytest.param(Polygon([(0, 0), (-60, 40), (-60, -40)]), [], id="tower at its corner, outwards"),
        pytest.param(Polygon([(0, 0), (60, -20), (60, -60)]), [], id="tower at its corner, past it"),
        pytest.param(Polygon([(0, -4000), (0, 4000), (90, 4000), (90, -4000)]), [(0, 90)], id="on a very long edge"),
        pytest.param(Polygon([(-3000, 900), (3000, -900), (3000, 3000)]), [(0, 3000)], id="long and slanted"),
        pytest.param(Polygon([(-3000, -900), (3000, 900), (-3000, 3000)]), [], id="long, the other way"),
    ],
)
def test_inside_of_areas(shape: Polygon, inside: list) -> None:
    assert parts(to_the(90.0, Feature("woodland", shape)), "inside") == inside


@pytest.mark.parametrize("kind", ["standing_water", "protected_area", "woodland"])
@pytest.mark.parametrize("bearing", [40.0, 80.0, 100.0, 140.0, 220.0, 260.0, 280.0, 320.0])
@pytest.mark.parametrize(
    "shape",
    [
        Polygon([(0, 0), (100, 300), (300, 100)]),
        Polygon([(0, 0), (300, 100), (300, -100)]),
        Polygon([(0, 0), (-300, -100), (-100, -300)]),
        Polygon([(0, 0), (300, -100), (0, -300), (-300, -100), (-300, 300), (0, 100)]),
        Polygon([(-100, 50), (100, -50), (300, 300)]),
    ],
)
def test_tower_tied_to_the_edge_of_an_area(shape: Polygon, bearing: float, kind: str) -> None:
    """Land is often drawn from tower to tower: what counts is where the lead goes."""
    turn = np.radians(bearing)
    middle = Point(50 * np.sin(turn), 50 * np.cos(turn))
    found = to_the(bearing, Feature(kind, shape))
    holds = any(low < 50 < high for low, high in parts(found, "inside"))
    assert holds == shape.contains(middle)
    if kind != "woodland":
        assert bool(touched(found)) == shape.intersects(LineString([(np.sin(turn), np.cos(turn)), middle.coords[0]]))


@pytest.mark.parametrize(
    ("kind", "shape", "width", "blocked"),
    [
        # keep-outs of the shipped table, engineering judgement: main road 10 m, building 10 m, wetland 0 m, fence 3 m
        pytest.param("main_road", LineString([(80, -99), (80, 99)]), 12.0, [(64, 96)], id="road: half width and 10 m"),
        pytest.param("fence_wall", LineString([(80, -99), (80, 99)]), 0.0, [(77, 83)], id="line without width"),
        pytest.param("fence_wall", LineString([(80, 4), (80, 99)]), 0.0, [], id="line that ends beside the lead"),
        pytest.param("pipeline", LineString([(70, 8), (90, 8)]), 2.0, [(62.45, 97.55)], id="line along the lead"),
        pytest.param("fence_wall", Point(80, 0), 2.0, [(76, 84)], id="point with a width"),
        pytest.param("wetland", box(70, -9, 90, 9), 0.0, [(70, 90)], id="area without keep-out"),
        pytest.param("cemetery", box(70, -99, 90, 99), 0.0, [(65, 75), (70, 90), (85, 95)], id="area with keep-out"),
        pytest.param("cemetery", box(70, 3, 90, 99), 0.0, [(66, 94)], id="keep-out of an area beside the lead"),
        pytest.param("woodland", box(70, -9, 90, 9), 0.0, [], id="free ground"),
        pytest.param("protected_area", box(70, -9, 90, 9), 0.0, [], id="ground to be agreed"),
    ],
)
def test_where_no_stake_may_stand(kind: str, shape: Any, width: float, blocked: list) -> None:
    found = parts(to_the(90.0, Feature(kind, shape, width)), "blocked")
    merged = [
        (low, high)
        for low, high in found
        if not any(a <= low and high <= b and (a, b) != (low, high) for a, b in found)
    ]
    assert merged == [(pytest.approx(low, abs=2e-3), pytest.approx(high, abs=2e-3)) for low, high in blocked]


@pytest.mark.parametrize(
    ("kind", "shape", "width", "at"),
    [
        pytest.param("minor_road", LineString([(80, -99), (80, 99)]), 6.0, [77], id="road at its edge"),
        pytest.param("fence_wall", LineString([(80, -99), (80, 99)]), 0.0, [80], id="line without width at its axis"),
        pytest.param("minor_road", LineString([(80, 2), (80, 99)]), 6.0, [80 - 5**0.5], id="rounded end of a road"),
        pytest.param("minor_road", LineString([(80, 4), (80, 99)]), 6.0, [], id="road that ends beside the lead"),
        pytest.param("minor_road", LineString([(80, 9), (60, -9), (40, 9)]), 0.0, [50], id="twice: the first"),
        pytest.param("minor_road", LineString([(-80, -99), (-80, 99)]), 6.0, [], id="road on the other side"),
        pytest.param("minor_road", LineString([(2, -99), (2, 99)]), 6.0, [2], id="tower on the verge: at the axis"),
        pytest.param("minor_road", LineString([(-2, -99), (-2, 99)]), 6.0, [], id="tower on the verge: away from it"),
        pytest.param("minor_road", LineString([(0, -99), (0, 99)]), 6.0, [], id="tower in the middle of the road"),
        pytest.param("underground_cable", LineString([(0, 0), (0, 50)]), 1.0, [], id="cable to the north"),
        pytest.param("underground_cable", LineString([(0, 0), (0, -50)]), 1.0, [], id="cable to the south"),
        pytest.param("underground_cable", LineString([(0, 0), (20, 20), (20, -20)]), 1.0, [20], id="cable comes back"),
        pytest.param(
            "fence_wall", LineString([(-50, -50), (0, 0), (-50, 50)]), 0.5, [], id="fence's corner at the tower"
        ),
        pytest.param("protected_area", box(70, -9, 90, 9), 0.0, [70], id="area at its edge"),
        pytest.param("protected_area", box(-9, -9, 90, 9), 0.0, [0], id="tower inside the area"),
        pytest.param("woodland", box(70, -9, 90, 9), 0.0, [], id="free to cross"),
        pytest.param("power_line", LineString([(80, -99), (80, 99)]), 16.0, [72], id="other line at its conductor"),
        pytest.param("power_line", LineString([(0.5, 0), (80, 40)]), 16.0, [], id="power line that ends at the tower"),
        pytest.param("power_line", LineString([(0.5, 0), (80, 40), (80, -40)]), 16.0, [80], id="and comes back"),
        pytest.param("power_line", LineString([(0, -300), (4, 300)]), 16.0, [], id="the planned line itself"),
    ],
)
def test_what_a_lead_touches(kind: str, shape: Any, width: float, at: list) -> None:
    assert touched(to_the(90.0, Feature(kind, shape, width))) == [pytest.approx(place, abs=2e-3) for place in at]


def test_touch_beyond_the_reach_is_none() -> None:
    found = to_the(90.0, Feature("minor_road", LineString([(170, -9), (170, 9)]), 6.0))
    assert touched(found) in ([], [167])


def test_planned_line_is_met_at_its_axis_and_not_at_the_tower() -> None:
    """A second planned line 90 m to the east: 8 m half width, 50 m clearance; a lead may come under its conductors."""
    scene = Scene((Course([(0, -300), (0, 0), (0, 300)]), Course([(90, -300), (90, 300)])))
    found = trace(scene.ready(), [90.0])
    second = 2  # spans follow the map features, line by line
    assert touched(found, second) == [pytest.approx(90, abs=1e-3)]
    assert parts(found, "blocked", second) == [(pytest.approx(32, abs=2e-3), pytest.approx(148, abs=2e-3))]
    assert touched(found, 0) == []
    assert touched(found, 1) == []


@pytest.mark.parametrize(
    ("pieces", "outside", "at"),
    [
        pytest.param([box(-50, -50, 200, 50)], [], [], id="all permitted"),
        pytest.param([box(-50, -50, 70, 50)], [(70, 150)], [70], id="permitted at first"),
        pytest.param([box(60, -50, 90, 50)], [(0, 60), (90, 150)], [0], id="permitted in the middle"),
        pytest.param([box(-50, -50, 60, 50), box(60, -50, 200, 50)], [], [], id="two parcels that share an edge"),
        pytest.param([box(-50, -50, 60, 50), box(60.5, -50, 200, 50)], [(60, 60.5)], [60], id="strip between parcels"),
        pytest.param([box(-50, -50, 80, 50), box(60, -50, 200, 50)], [], [], id="overlapping parcels"),
        pytest.param([box(0, -50, 200, 50)], [], [], id="tower on the edge of the parcel"),
        pytest.param([box(-200, -50, 0, 50)], [(0, 150)], [0], id="tower on the edge, lead outwards"),
        pytest.param([box(-50, 60, 50, 90)], [(0, 150)], [0], id="parcel elsewhere"),
    ],
)
def test_permitted_land(pieces: list, outside: list, at: list) -> None:
    found = to_the(90.0, *(Feature("permitted_land", piece) for piece in pieces))
    assert parts(found, "blocked", OUTSIDE_PERMITTED) == [
        (pytest.approx(low, abs=2e-3), pytest.approx(high, abs=2e-3)) for low, high in outside
    ]
    assert touched(found, OUTSIDE_PERMITTED) == [pytest.approx(place, abs=2e-3) for place in at]


def test_close_is_the_keep_out_with_its_margin() -> None:
    """Fence with 3 m keep-out, margin 5 m."""
    found = to_the(90.0, Feature("fence_wall", LineString([(100, -99), (100, 99)])))
    assert parts(found, "close") == [(92, 108)]


def test_soft_ground_is_merged() -> None:
    wood, crops = Feature("woodland", box(20, -9, 60, 9)), Feature("crops", box(50, -9, 80, 9))
    found = to_the(90.0, wood, crops, Feature("woodland", box(90, -9, 99, 9)))
    assert parts(found, "soft") == [(20, 80), (90, 99)]


@pytest.mark.parametrize("north", [-0.4, 0.4, 1.2])
@pytest.mark.parametrize("lat", [48.0, -48.0])
def test_long_edge_beside_the_tower(north: float, lat: float) -> None:
    """Six kilometres to the east and west: straight in degrees the edge passes 0.8 m from where it is on the ground."""
    field = Polygon([(-3000, north), (3000, north), (3000, 3000), (-3000, 3000)])
    ready = north_line(Feature("woodland", field), lat=lat).ready()
    found = trace(ready, [45.0, 135.0])
    inside = found.inside.within(150.0)
    rows = sorted(zip(inside.ray.tolist(), inside.enter_m.tolist(), inside.leave_m.tolist(), strict=True))
    edge = pytest.approx(abs(north) * 2**0.5, abs=1e-3)
    assert rows == ([(0, edge, 150.0)] if north > 0 else [(0, 0.0, 150.0), (1, 0.0, edge)])


def test_tower_on_the_edge_of_a_vast_forest() -> None:
    """All of its edges are looked at, some of them beyond any reel; other rays must not be confused by that."""
    forest = Polygon([(0, -9000), (0, 9000), (25_000, 30_000), (25_000, -30_000)])
    ready = north_line(Feature("woodland", forest), Feature("crops", box(-90, -20, -60, 20))).ready()
    found = trace(ready, [80.0, 90.0, 100.0, 270.0])
    rows = sorted(zip(found.soft.ray.tolist(), found.soft.enter_m.round(3), found.soft.leave_m.round(3), strict=True))
    assert rows == [(0, 0, 150), (1, 0, 150), (2, 0, 150), (3, 60, 90)]


def test_ground_to_be_agreed() -> None:
    found = to_the(90.0, Feature("protected_area", box(70, -9, 300, 9)))
    assert parts(found, "agreed_ground") == [(70, 150)]


def test_many_rays_meet_what_each_alone_meets() -> None:
    scene = north_line(
        Feature("standing_water", box(60, -30, 100, 40)),
        Feature("minor_road", LineString([(-90, -200), (-70, 200)]), 6.0),
        Feature("permitted_land", box(-120, -120, 120, 120)),
    )
    bearings = np.arange(0.25, 360, 5.0)
    together = trace(scene.ready(), bearings)
    for number, bearing in enumerate(bearings):
        alone = trace(scene.ready(), [bearing])
        for name in ("blocked", "close", "inside", "agreed_ground", "soft"):
            stretches = getattr(together, name)
            mine = stretches.take(stretches.ray == number)
            for feature in (OUTSIDE_PERMITTED, 0, 1, 2, 3, 4):
                rows = mine.take(mine.feature == feature)
                ends = sorted(zip(rows.enter_m.round(3), rows.leave_m.round(3), strict=True))
                assert ends == parts(alone, name, feature)
        mine = together.touches.ray == number
        assert sorted(together.touches.feature[mine]) == sorted(alone.touches.feature)


def test_no_rays() -> None:
    found = trace(north_line(Feature("standing_water", box(60, -30, 100, 40))).ready(), np.empty(0))
    assert len(found.blocked) == len(found.inside) == len(found.touches.ray) == 0
