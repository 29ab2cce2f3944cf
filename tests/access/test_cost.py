"""What walking costs, against the published function and by hand.

Sources: Tobler 1993, named below; what crossing a feature costs: the job's own figures, no source.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from layoutplan.access import Relief, TangentFrame, open_window, pace_s_per_m
from layoutplan.access.cost import move_times_s
from layoutplan.access.lattice import MOVES

from .scenes import Feature, Road, Scene, line


def tobler_km_h(gradient):
    """W. Tobler, NCGIA Technical Report 93-1, 1993: walking velocity on paths."""
    return 6 * np.exp(-3.5 * abs(gradient + 0.05))


def window(scene, half_m=40.0, relief=None):
    return open_window(scene.ground(), scene.frame, half_m, relief or Relief())


@pytest.mark.parametrize("gradient", [0.0, 0.01, 0.05, 0.0501, 0.2, 0.6, 1.0])
def test_pace_is_the_mean_of_walking_up_and_down(gradient):
    expected = (3.6 / tobler_km_h(gradient) + 3.6 / tobler_km_h(-gradient)) / 2
    assert pace_s_per_m(gradient) == pytest.approx(expected, rel=1e-12)
    assert pace_s_per_m(-gradient) == pace_s_per_m(gradient)


def test_pace_on_the_level():
    # the function gives 6 exp(-0.175) = 5.04 km/h on the level
    assert 3.6 / pace_s_per_m(0.0) == pytest.approx(5.04, abs=0.005)


def test_pace_where_the_gradient_is_unknown_or_beyond_any_ground():
    assert pace_s_per_m(np.nan) == pace_s_per_m(0.0)
    assert np.isfinite(pace_s_per_m(1e6))


def test_the_tower_stands_on_the_middle_place():
    made = window(Scene())
    middle = made.size**2 // 2
    np.testing.assert_array_equal(made.places_m(middle), [[0.0, 0.0]])
    assert made.half_m == 40.0


def test_open_ground_takes_longer_than_paths_and_slow_ground_longer_still():
    scene = Scene(
        (Feature("crops", shapely.box(-42, -42, 42, -18)), Feature("stream_ditch", line((-50, 30), (50, 30)), 2.0)),
        (Road(line((-50, 0), (50, 0)), "track_path"),),
    )
    effort = window(scene).effort
    assert effort[10, 3] == 1.0  # along the track
    assert effort[15, 3] == pytest.approx(1 / 0.6)
    assert effort[2, 3] == pytest.approx(1.5 / 0.6)
    assert effort[17:19, 3].max() == pytest.approx(5 / 0.6)


def test_the_job_changes_what_walking_costs():
    scene = Scene((Feature("crops", shapely.box(-30, -30, 30, 30)),), settings={"walking": {"crops": "blocked"}})
    assert np.isinf(window(scene).effort[10, 10])


@pytest.mark.parametrize("kind", ["river_canal", "standing_water", "building", "cliff", "railway", "main_road"])
def test_blocked_areas(kind):
    made = window(Scene((Feature(kind, shapely.box(-21, -21, -9, -9)),)))
    inside = np.isinf(made.effort)
    assert inside[5:8, 5:8].all()
    assert inside.sum() == 9
    assert made.shut.any()


def test_a_point_blocks_as_wide_as_it_is():
    made = window(Scene((Feature("building", shapely.Point(2.0, 2.0), 2.0),)))
    start = made.size // 2
    assert made.shut[2, start, start]  # the diagonal through it
    assert not made.shut[0, start, start]


def test_time_of_a_move_up_a_slope_and_along_it():
    scene = Scene(at=(179.9999, -44.0))
    made = window(scene, relief=scene.relief(lambda _east, north: 0.3 * north))
    times, middle = move_times_s(made), made.size // 2
    off_path = 1 / 0.6
    for number, (east, north) in enumerate(MOVES):
        length = 4.0 * np.hypot(east, north)
        expected = length * off_path * pace_s_per_m(0.3 * 4 * north / length)
        assert times[middle, middle, number] == pytest.approx(expected, rel=1e-5)
    assert times[middle, middle, 1] > 2 * times[middle, middle, 0]


def test_moves_that_leave_the_lattice_take_for_ever():
    times = move_times_s(window(Scene()))
    for number, (east, north) in enumerate(MOVES):
        assert np.isinf(times[-1, :, number]).all() == (north > 0)
        assert np.isinf(times[:, -1, number]).all() == (east > 0)


def test_ground_that_is_too_steep_is_blocked_but_roads_are_not():
    scene = Scene(roads=(Road(line((-50, 30), (50, 30)), "track_path"),))
    slope = Relief(slope_deg=lambda lonlat: np.where(scene.frame.to_xy(lonlat)[:, 1] > 21, 50.0, 20.0))
    made = window(scene, relief=slope)
    assert np.isinf(made.effort[16, 5])
    assert np.isfinite(made.effort[17:19, 5]).any()
    # only the slope is known: the steepest way up is assumed
    assert made.effort[5, 5] == pytest.approx(pace_s_per_m(np.tan(np.radians(20))) / pace_s_per_m(0) / 0.6)


def test_slope_comes_from_heights_where_only_they_are_known():
    scene = Scene()
    made = window(scene, relief=scene.relief(lambda east, _north: np.where(east > 0, 1.2 * east, 0.0)))
    assert made.steep[5, 15]
    assert not made.steep[5, 5]


def test_unknown_heights_count_as_level():
    scene = Scene()
    made = window(scene, relief=scene.relief(lambda east, _north: np.where(east > 0, np.nan, 5.0)))
    np.testing.assert_array_equal(move_times_s(made), move_times_s(window(scene)))


def test_land_to_ask_for_but_not_on_public_ways():
    scene = Scene(
        (Feature("yard", shapely.box(-30, -30, 30, 30)), Feature("no_entry", shapely.box(10, -30, 30, 30))),
        (Road(line((-50, 0), (50, 0)), "track_path", "no"), Road(line((0, -50), (0, 50)), "track_path", "permit")),
    )
    ask = window(scene).ask
    assert ask[5, 5]
    assert not ask[10, 5]  # the public path
    assert ask[5, 10]  # the private track
    assert ask[10, 15]  # no-entry land, path or not
    assert not ask[1, 1]


@pytest.mark.parametrize(("vehicle", "asked"), [("no", False), ("private path", True)])
def test_a_private_path_takes_no_permission_away_and_nobody_drives_there(vehicle, asked):
    yard = Feature("yard", shapely.box(-30, -30, 30, 30))
    made = window(Scene((yard,), (Road(line((-50, 0), (50, 0)), "track_path", vehicle),)))
    assert made.ask[10, 10] == asked
    assert not made.stop.any()


def test_beyond_permitted_land_one_must_ask():
    scene = Scene((Feature("permitted_land", shapely.box(-10, -10, 10, 10)),))
    ask = window(scene).ask
    assert not ask[10, 10]
    assert ask[2, 2]
    assert window(Scene(permitted_given=True)).ask.all()


def test_far_away_features_are_left_out():
    scene = Scene((Feature("building", shapely.box(900, 900, 910, 910)),))
    made = window(scene)
    assert len(made.features.row) == 0
    assert isinstance(made.frame, TangentFrame)
