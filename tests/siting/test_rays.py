from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given

from layoutplan.job import Rules
from layoutplan.siting.rays import (
    LEFT,
    RIGHT,
    circle,
    keeping_angle,
    lead_length_m,
    least_distance_m,
    make_rays,
    reel_distance_m,
)

from .oracle import Oracle, Points
from .scenes import Course, Scene, north_line
from .strategies import examples, scenes

RULES = Rules()


def around(scene: Scene, tower: int = 1, step: float = 1.0, rules: Rules = RULES):
    return circle(scene.ready().model.towers.rows(np.array([tower])), rules, step)


@pytest.mark.parametrize(
    ("towers_m", "angle", "left", "right"),
    [
        pytest.param([(0, -300), (0, 0), (0, 300)], 30, 121, 121, id="straight"),
        pytest.param([(0, -300), (0, 0), (0, 300)], 90, 1, 1, id="square only"),
        pytest.param([(0, -300), (0, 0), (0, 300)], 0, 180, 180, id="any angle"),
        pytest.param([(-300, 0), (0, 0)], 30, 121, 121, id="terminal"),
        # spans at bearings 180 and 90: 30 … 60, 120 … 150, 210 … 240, 300 … 330 keep 30 degrees to both
        pytest.param([(0, -300), (0, 0), (300, 0)], 30, 3 * 31, 31, id="right angle"),
    ],
)
def test_number_of_rays(towers_m: list, angle: float, left: int, right: int) -> None:
    # a hair less than the limit: bearings of real lines are never whole numbers
    rules = Rules(min_angle_deg=max(angle - 0.05, 0))
    rays = keeping_angle(around(Scene((Course(towers_m),))), rules)
    assert np.bincount(rays.side, minlength=2).tolist() == [left, right]


def test_bearings_count_from_the_perpendicular() -> None:
    rays = around(north_line(), step=7.0)
    assert len(rays) == 51
    direction = north_line().ready().model.towers.line_bearing_deg[1]
    turns = (rays.bearing_deg - direction - 90) % 360
    assert np.abs(turns / 7 - np.round(turns / 7)) == pytest.approx(0, abs=1e-9)
    assert (np.diff(rays.bearing_deg) > 0).all()
    assert 0 <= rays.bearing_deg.min() <= rays.bearing_deg.max() < 360


@pytest.mark.parametrize(
    ("bearing", "side", "off_square"),
    [
        (1, RIGHT, 89),
        (90, RIGHT, 0),
        (120, RIGHT, 30),
        (179, RIGHT, 89),
        (181, LEFT, 89),
        (270, LEFT, 0),
        (359, LEFT, 89),
    ],
)
def test_sides_of_a_line_to_the_north(bearing: float, side: int, off_square: float) -> None:
    towers = north_line().ready().model.towers.rows(np.array([1]))
    rays = make_rays(towers, np.zeros(1, dtype=np.int64), np.array([float(bearing)]), RULES)
    assert rays.side[0] == side
    assert rays.off_square_deg[0] == pytest.approx(off_square, abs=1e-3)
    assert rays.angle_deg[0] == pytest.approx(90 - off_square, abs=1e-3)


@pytest.mark.parametrize(
    ("bearing", "side", "off_square", "angle"),
    [
        # a line that comes from the south and leaves to the east: the bisector runs to the north-east
        (135, RIGHT, 0, 45),
        (100, RIGHT, 35, 10),
        (315, LEFT, 0, 45),
        (45, LEFT, 90, 45),
        (200, LEFT, 115, 20),
        (0, LEFT, 45, 0),
    ],
)
def test_sides_of_an_angle_tower(bearing: float, side: int, off_square: float, angle: float) -> None:
    scene = Scene((Course([(0, -300), (0, 0), (300, 0)]),))
    towers = scene.ready().model.towers.rows(np.array([1]))
    rays = make_rays(towers, np.zeros(1, dtype=np.int64), np.array([float(bearing)]), RULES)
    assert (rays.side[0], rays.off_square_deg[0], rays.angle_deg[0]) == (
        side,
        pytest.approx(off_square, abs=0.01),
        pytest.approx(angle, abs=0.01),
    )


@given(scenes(most=0))
@examples(60)
def test_angles_and_sides_against_brute_force(scene: Scene) -> None:
    rays, oracle = around(scene, step=1.3), Oracle(scene, 0, 1)
    points = Points(rays.bearing_deg, np.ones(len(rays)))
    assert rays.angle_deg == pytest.approx(oracle.angle_deg(points), abs=1e-5)
    assert (rays.side == RIGHT).tolist() == oracle.is_right(points).tolist()
    low, _ = oracle.terms(points)["off_square_deg"]
    assert rays.off_square_deg == pytest.approx(low, abs=1e-5)


def test_branch_counts_for_the_angle() -> None:
    scene = Scene((Course([(0, -300), (0, 0), (0, 300)]), Course([(0, 0), (300, 0)])))
    rays = keeping_angle(around(scene), Rules(min_angle_deg=29.9))
    assert np.bincount(rays.side).tolist() == [62, 62]
    free = [(30, 60), (120, 150), (210, 240), (300, 330)]
    assert all(any(low - 0.2 <= b <= high + 0.2 for low, high in free) for b in rays.bearing_deg)


@pytest.mark.parametrize(
    ("rules", "settings", "least"),
    [
        ({}, {}, 60.0),  # five times the 12 m that are assumed
        ({"electrode_size_multiple": 0}, {}, 58.0),  # 50 m to the conductor, 8 m from it to the axis
        ({"min_distance_m": 77}, {}, 77.0),
        ({}, {"earth_electrode_size_m": 20}, 100.0),
        ({}, {"base_width_m": 10}, 50 * 2**0.5),
        ({"line_clearance_m": 0, "electrode_size_multiple": 0}, {"half_width_m": 0}, 0.0),
    ],
)
def test_least_distance(rules: dict, settings: dict, least: float) -> None:
    towers = Scene((Course([(0, -300), (0, 0)], settings),)).ready().model.towers
    assert least_distance_m(towers, Rules(**rules)) == pytest.approx([least, least])


@pytest.mark.parametrize("leg", [(0, 0), (4, 4), (-4, 4), (5, 0), (0, -5)])
@pytest.mark.parametrize("slack", [0.0, 5.0, 20.0])
def test_reel_distance_is_where_the_lead_ends(leg: tuple, slack: float) -> None:
    bearing = np.radians(np.arange(0, 360, 7.0))
    direction = np.column_stack((np.sin(bearing), np.cos(bearing)))
    legs = np.broadcast_to(np.array(leg, dtype=float), direction.shape)
    reach = 150 / (1 + slack / 100)
    distance = reel_distance_m(direction, legs, reach)
    assert lead_length_m(direction * distance[:, None], legs, slack) == pytest.approx(150, abs=1e-5)


def test_no_towers() -> None:
    towers = north_line().ready().model.towers.rows(np.empty(0, dtype=np.int64))
    assert len(circle(towers, RULES, 1.0)) == 0
