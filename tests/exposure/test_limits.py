"""Limits that exposures are held against.

Sources: IEEE Std 80, EN 50522:2010 (from memory), ICNIRP 2010 as in tests/electrical/test_limits.py.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from layoutplan.exposure.limits import Limit, fault_limit, service_limits, step_values, touch_values

from .worlds import Course, assessed, exposure, flat_line, straight, world

TOWERS = np.arange(5)
FAULT = {"current_ka": 5.0, "clearing_time_s": 0.5}


def line(**settings: Any) -> Course:
    return flat_line(straight(5), **({"fault": FAULT} | settings))


def at(network: Any, seconds: float, towers: Any = TOWERS) -> Limit:
    return fault_limit(network, touch_values(network, towers, seconds), np.full(len(towers), seconds))


def touch(clearing_time_s: float, **limits: Any) -> float:
    network = world(line(fault=FAULT | {"clearing_time_s": clearing_time_s}), limits=limits).network()
    found = exposure(assessed(network, TOWERS), "transferred from the tower by a fault").limit
    assert np.ptp(found.each) == 0
    assert (found.each_duration_s == clearing_time_s).all()
    return float(found.each[0, 0])


@pytest.mark.parametrize(
    ("seconds", "volts"),
    [(0.01, 716), (0.05, 716), (0.1, 654), (1.0, 117), (2.0, 96), (5.0, 86), (10.0, 85), (11.0, 80), (7200.0, 80)],
)
def test_en_50522_at_the_points_of_its_table(seconds, volts):
    """EN 50522:2010 Table B.3, values from memory as in the package: equality of two memories, not of the standard."""
    assert touch(seconds) == pytest.approx(volts, rel=1e-9)


def test_en_50522_between_its_points_is_straight_on_double_logarithmic_paper():
    assert touch(np.sqrt(2.0)) == pytest.approx(np.sqrt(117 * 96), rel=1e-9)


def test_ieee_80_with_a_surface_layer():
    """Worked example of IEEE Std 80 (values from memory): 838 V with Cs rounded to 0.74, for 70 kg and 0.5 s."""
    found = []
    for mass in (50, 70):
        limits = {"touch_standard": "IEEE Std 80", "body_mass_kg": mass}
        layer = {"surface_resistivity_ohm_m": 2500.0, "surface_thickness_m": 0.102}
        network = world(line(), limits=limits | layer, soil={"resistivity_ohm_m": 400.0}).network()
        limit = at(network, 0.5)
        assert "IEEE Std 80" in limit.basis
        assert f"{mass} kg" in limit.basis
        found.append(limit.value[0])
    assert found[1] == pytest.approx(838.2, rel=0.005)
    derating = 1 - 0.09 * (1 - 400 / 2500) / (2 * 0.102 + 0.09)
    assert found[0] == pytest.approx((1000 + 1.5 * derating * 2500) * 0.116 / np.sqrt(0.5), rel=1e-9)


def test_ieee_80_without_a_surface_layer_goes_by_the_soil_of_each_tower():
    towers = line()
    soil = np.array([50.0, 100.0, 200.0, 400.0, 800.0])
    columns = towers.columns | {"soil_resistivity_ohm_m": soil}
    course = Course(towers.towers_m, towers.settings, columns)
    network = world(course, limits={"touch_standard": "IEEE Std 80"}).network()
    assert at(network, 0.5).value == pytest.approx((1000 + 1.5 * soil) * 0.116 / np.sqrt(0.5), rel=1e-9)
    step = step_values(network, TOWERS, np.full((5, 2), 0.5))
    expected = (1000 + 6 * soil) * 0.116 / np.sqrt(0.5)
    assert step == pytest.approx(np.column_stack((expected, expected)), rel=1e-9)


@pytest.mark.parametrize("seconds", [3.01, 30.0, 7200.0])
def test_ieee_80_beyond_three_seconds_is_unknown_and_no_error(seconds):
    network = world(
        line(fault=FAULT | {"clearing_time_s": seconds}), limits={"touch_standard": "IEEE Std 80"}
    ).network()
    found = assessed(network, TOWERS)
    for item in found.leads.exposures:
        if item.state == "under a fault":
            assert np.isnan(item.limit.each).all()
            assert np.isnan(item.ratio).all()
            assert np.isfinite(item.value).all()
            assert (item.limit.each_duration_s == seconds).all()
    assert all(str(text).startswith("unknown") for text in found.leads.handling("under a fault").ravel())


def test_a_limit_that_is_unknown_does_not_let_a_fault_pass_for_a_small_one():
    """Two lines on the same towers: one keeps its limit by far, the other's limit nobody knows."""
    limits = {"touch_standard": "IEEE Std 80"}
    small = line(fault={"current_ka": 1e-3, "clearing_time_s": 0.2})
    long = line(fault={"current_ka": 0.5, "clearing_time_s": 30.0}, voltage_kv=110.0)
    for pair in ((small, long), (long, small)):
        found = assessed(world(*pair, limits=limits).network(), TOWERS)
        assert all(str(text).startswith("unknown") for text in found.leads.handling("under a fault").ravel())


def test_where_a_value_is_from_memory_the_basis_or_edition_says_so():
    found = assessed(world(line()).network(), TOWERS)
    for item in found.leads.exposures:
        if item.state == "under a fault":
            assert "EN 50522" in item.limit.basis
            assert "memory" in item.limit.edition
            assert "superseded" in item.limit.edition
    step = exposure(found, "step of 1 m beside the stake").limit
    assert "gives none for steps" in step.basis
    assert step.each == pytest.approx(exposure(found, "from the stake to the ground 1 m away").limit.each)


@pytest.mark.parametrize(("public", "volts", "amperes", "field"), [(False, 50, 1e-3, 10e3), (True, 25, 0.5e-3, 5e3)])
def test_limits_in_service(public, volts, amperes, field):
    """IEC 60364-4-41; ICNIRP 2010 (500/f and 250/f kV/m): values as quoted in public sources."""
    network = world(line(), limits={"public_or_livestock": public}).network()
    found = service_limits(network, TOWERS)
    assert [found[name].value[0] for name in ("voltage", "current", "field")] == [volts, amperes, field]
    assert np.isinf([limit.duration_s for limit in found.values()]).all()


def test_limits_follow_the_fault_that_governs_and_the_frequency_the_line():
    slow = flat_line(straight(5, aside_m=20000.0), fault=FAULT | {"clearing_time_s": 1.0}, frequency_hz=60.0)
    network = world(line(), slow).network()
    every = np.arange(10)
    limit = exposure(assessed(network, every), "transferred from the tower by a fault").limit
    assert limit.each[:, 0] == pytest.approx([220.0] * 5 + [117.0] * 5)
    assert limit.each_duration_s[:, 1].tolist() == [0.5] * 5 + [1.0] * 5
    assert service_limits(network, every)["field"].value == pytest.approx([10e3] * 5 + [500e3 / 60] * 5)


def test_ratio_is_value_over_limit_and_what_counts_is_judged():
    found = assessed(world(line(load={"current_a": 800.0})).network(), TOWERS, 70.0, 260.0).leads
    for item in found.exposures:
        assert item.ratio == pytest.approx(item.value / item.limit.each, rel=1e-12)
    left = [item.name for item in found.exposures if not item.judged]
    assert left == [
        "electric field along the lead",
        "from the stake to the ground 1 m away",
        "step of 1 m beside the stake",
    ]
    judged = np.stack([i.ratio for i in found.exposures if i.state == "in service" and "field" not in i.name])
    assert found.worst_ratio("in service") == pytest.approx(judged.max(axis=0), rel=1e-12)
    assert set(found.handling("under a fault").ravel()) == {
        "above a limit: no bare contact; bond, earth or move the lead first"
    }


def test_the_field_of_two_frequencies_keeps_the_lower_limit_where_they_meet():
    """ICNIRP 2010, occupational, 500/f kV/m but 20 at most: 10 at 50 Hz. A field of both is judged by the lower one."""
    traction = flat_line(straight(5), frequency_hz=16.7)
    beside, far = (flat_line(straight(5, aside_m=aside_m)) for aside_m in (60.0, 40000.0))
    for courses in ((traction, beside), (beside, traction)):
        network = world(*courses).network()
        assert service_limits(network, np.arange(10))["field"].value == pytest.approx([10e3] * 10)
    network = world(traction, far).network()
    assert service_limits(network, np.arange(10))["field"].value == pytest.approx([20e3] * 5 + [10e3] * 5)
