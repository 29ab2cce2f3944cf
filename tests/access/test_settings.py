"""The job's section on access."""

import numpy as np
import pytest
from pydantic import ValidationError

from layoutplan.job import shipped_classes
from layoutplan.job.access import ASK, ROADS_BY_VEHICLE, Access


def test_every_class_has_a_factor_and_every_name_a_class():
    factors = Access().factors(shipped_classes())
    assert list(factors) == list(shipped_classes())
    assert set(ASK) <= set(factors)
    assert factors["woodland"] == 1.5
    assert np.isinf(factors["river_canal"])
    assert factors["power_line"] == 1.0


def test_the_job_lays_its_own_factors_over_the_table():
    factors = Access(walking={"woodland": "blocked", "railway": 2}).factors(shipped_classes())
    assert np.isinf(factors["woodland"])
    assert factors["railway"] == 2
    assert factors["crops"] == 1.5


def test_roads_by_vehicle():
    assert Access().usable_classes == ROADS_BY_VEHICLE["four_wheel_drive"]
    assert Access(vehicle="car").usable_classes == ("minor_road",)
    assert Access(vehicle="car", road_classes={"car": ["main_road"]}).usable_classes == ("main_road",)
    assert Access(road_classes={"car": ["main_road"]}).usable_classes == ("minor_road", "track_path")


@pytest.mark.parametrize(
    ("first_m", "radius_m", "expected"),
    [(300, 1500, (300, 700, 1500)), (300, 700, (300, 700)), (300, 200, (200,)), (800, 1500, (800, 1500))],
)
def test_windows_grow_up_to_the_radius(first_m, radius_m, expected):
    assert Access(first_window_m=first_m, radius_m=radius_m).windows_m == expected


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ({"walking": {"swamp": 2}}, "no obstacle class 'swamp'"),
        ({"ask": ["parks"]}, "no obstacle class 'parks'"),
        ({"walking": {"crops": 0.5}}, "greater than or equal to 1"),
        ({"walking": {"crops": "slow"}}, "blocked"),
        ({"vehicle": "boat"}, "four_wheel_drive"),
        ({"cell_m": 0}, "greater than or equal to 1"),
        ({"max_walk_slope_deg": 90}, "less than 90"),
        ({"speed": 3}, "Extra inputs are not permitted"),
    ],
)
def test_what_is_refused(keys, message):
    with pytest.raises(ValidationError, match=message):
        Access(**keys)
