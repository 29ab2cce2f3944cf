from __future__ import annotations

from functools import partial

import numpy as np
import pyproj
import pytest
import shapely

from layoutplan.inputs.coverage import complete_within_m, octants_with_evidence, uncovered_reasons
from layoutplan.inputs.evidence import is_local, thin

GEOD = pyproj.Geod(ellps="WGS84")
HERE = np.array([[9.0, 49.0]])
EVERYWHERE = [shapely.box(8.5, 48.5, 9.5, 49.5)]


def at(bearing_deg: float, distance_m: float, lon: float = 9.0, lat: float = 49.0) -> list[float]:
    return list(GEOD.fwd(lon, lat, bearing_deg, distance_m)[:2])


def around(bearings_deg: list[float], distance_m: float = 500.0) -> np.ndarray:
    return np.array([at(bearing, distance_m) for bearing in bearings_deg])


def test_nothing_given_is_nothing_known() -> None:
    assert uncovered_reasons(HERE, 150, np.empty((0, 2)), [], [], 1000, 6) == [["no_map"]]
    assert uncovered_reasons(HERE, 150, np.empty((0, 2)), EVERYWHERE, [], 1000, 1) == [["no_map"]]


@pytest.mark.parametrize(("octants", "yes"), [(5, True), (6, False)])
def test_evidence_in_enough_directions(octants: int, yes: bool) -> None:
    evidence = around([0, 45, 90, 135, 180])
    assert uncovered_reasons(HERE, 150, evidence, [], [], 1000, octants) == [[] if yes else ["few_features"]]


def test_many_points_in_one_direction_are_one_direction() -> None:
    evidence = np.vstack(
        [around([bearing], distance) for bearing in np.linspace(-22, 22, 9) for distance in (100, 900)]
    )
    assert octants_with_evidence(HERE, evidence, 1000).tolist() == [1]


def test_directions_are_centred_on_the_compass_points() -> None:
    assert octants_with_evidence(HERE, around([-22, 22]), 1000).tolist() == [1]
    assert octants_with_evidence(HERE, around([20, 25], 990), 1000).tolist() == [2]


def test_evidence_counts_within_the_radius_only() -> None:
    assert octants_with_evidence(HERE, around([90], 999.0), 1000).tolist() == [1]
    assert octants_with_evidence(HERE, around([90], 1001.0), 1000).tolist() == [0]


@pytest.mark.parametrize(("distance_m", "inside"), [(151.0, True), (149.0, False)])
@pytest.mark.parametrize("lat", [0.0, 49.0, -70.0])
def test_disc_of_reach_inside_the_extent(distance_m: float, inside: bool, lat: float) -> None:
    edge = at(90, distance_m, 9.0, lat)[0]
    box = [shapely.box(8.0, lat - 1, edge, lat + 1)]
    evidence = np.array([at(bearing, 300, 9.0, lat) for bearing in range(0, 360, 45)])
    assert uncovered_reasons(np.array([[9.0, lat]]), 150, evidence, box, [], 1000, 6) == [
        [] if inside else ["outside_box"]
    ]


def test_extents_together_hold_a_disc_across_their_seam() -> None:
    evidence = around(list(range(0, 360, 45)))
    halves = [shapely.box(8.5, 48.5, 9.0, 49.5), shapely.box(9.0, 48.5, 9.5, 49.5)]
    assert uncovered_reasons(HERE, 150, evidence, halves, [], 1000, 8) == [[]]
    assert uncovered_reasons(HERE, 150, evidence, halves[:1], [], 1000, 8) == [["outside_box"]]


def test_coverage_polygon_alone_decides() -> None:
    nothing = np.empty((0, 2))
    assert uncovered_reasons(HERE, 150, nothing, [], EVERYWHERE, 1000, 8) == [[]]
    elsewhere = [shapely.box(0, 0, 1, 1)]
    found = uncovered_reasons(HERE, 150, around(list(range(0, 360, 45))), EVERYWHERE, elsewhere, 1000, 6)
    assert found == [["outside_polygon"]]
    ring = shapely.box(8.9, 48.9, 9.1, 49.1).difference(shapely.Point(9.0015, 49.0).buffer(0.0001))
    assert uncovered_reasons(HERE, 150, nothing, [], [ring], 1000, 6) == [["outside_polygon"]]  # a hole within reach


def test_against_brute_force() -> None:
    rng = np.random.default_rng(5)
    towers = np.array([9.0, 49.0]) + rng.uniform(-0.02, 0.02, (40, 2))
    evidence = np.array([9.0, 49.0]) + rng.uniform(-0.03, 0.03, (60, 2))
    expected = []
    for lon, lat in towers:
        bearing, _, away = GEOD.inv(np.full(60, lon), np.full(60, lat), *evidence.T)
        expected.append(len({int(((value + 22.5) % 360) // 45) for value in np.array(bearing)[np.array(away) <= 1000]}))
    assert octants_with_evidence(towers, evidence, 1000).tolist() == expected


def test_order_of_evidence_does_not_matter() -> None:
    rng = np.random.default_rng(6)
    evidence = np.array([9.0, 49.0]) + rng.uniform(-0.015, 0.015, (500, 2))
    towers = np.array([9.0, 49.0]) + rng.uniform(-0.02, 0.02, (50, 2))
    one = octants_with_evidence(towers, evidence, 600)
    assert (one == octants_with_evidence(towers, evidence[::-1], 600)).all()


def test_across_the_antimeridian_with_continuous_longitudes() -> None:
    towers = np.array([[180.0, -16.5]])
    evidence = np.array([[180.0 + x, -16.5 + y] for x in (-0.004, 0, 0.004) for y in (-0.004, 0, 0.004) if x or y])
    assert octants_with_evidence(towers, evidence, 1000).tolist() == [8]


@pytest.mark.long
def test_thin_keeps_one_point_for_each_cell() -> None:
    points = np.array([[9.0, 49.0], [9.0001, 49.0001], [9.01, 49.0], [np.nan, 49.0], [np.inf, 1.0]])
    assert thin(points).tolist() == [[9.0, 49.0], [9.01, 49.0]]
    many = np.random.default_rng(7).uniform(0, 0.02, (2_500_000, 2))
    few = thin(many)
    assert len(few) == len(np.unique(np.floor(many / 0.0005), axis=0))
    wide = np.random.default_rng(8).uniform(0, 20, (1_200_000, 2))  # hardly two in a cell
    assert len(thin(wide)) == len(np.unique(np.floor(wide / 0.0005), axis=0))


def test_large_things_are_no_evidence() -> None:
    shapes = np.array([shapely.LineString([(9, 49), at(45, length)]) for length in (900.0, 1100.0)], dtype=object)
    assert is_local(shapes).tolist() == [True, False]


def test_more_towers_than_are_looked_at_together() -> None:
    steps = np.arange(2_500)
    towers = np.column_stack((9.0 + 0.003 * steps, np.full(len(steps), 49.0)))
    evidence = np.repeat(towers, 4, axis=0) + np.tile(
        [[0, 0.005], [0, -0.005], [0.002, 0.002], [-0.002, -0.002]], (len(steps), 1)
    )
    assert (octants_with_evidence(towers, evidence, 1000) >= 4).all()


def test_how_far_the_map_is_complete() -> None:
    """Boxes and polygons tell; without either it is known no farther than evidence was looked for."""
    towers, covers = np.array([[10.0, 48.0], [10.0, 48.0]]), np.array([True, False])
    small, large = (shapely.Point(10.0, 48.0).buffer(radius / 111_000) for radius in (600, 2000))
    ask = partial(complete_within_m, towers, covers, (150.0, 300.0, 700.0, 1500.0))
    assert ask([], [], 1000.0).tolist() == [1000.0, 0.0]
    assert ask([], [], 5000.0).tolist() == [1500.0, 0.0]
    assert ask([small], [], 1000.0).tolist() == [300.0, 0.0]  # 0.67 of it from west to east
    assert ask([small], [large], 1000.0).tolist() == [700.0, 0.0], "the user's own polygon decides"
