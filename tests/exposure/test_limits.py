"""Limits that exposures are held against."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from layoutplan.errors import JobError
from layoutplan.exposure.limits import fault_limit, service_limits

from .worlds import Course, assessed, flat_line, straight, world

TOWERS = np.arange(5)
FAULT = {"current_ka": 5.0, "clearing_time_s": 0.5}


def line(**settings: Any) -> Course:
    return flat_line(straight(5), **({"fault": FAULT} | settings))


def touch(clearing_time_s: float, **limits: Any) -> float:
    network = world(line(fault=FAULT | {"clearing_time_s": clearing_time_s}), limits=limits).network()
    found = fault_limit(network, TOWERS)
    assert np.ptp(found.value) == 0
    assert found.duration_s.tolist() == [clearing_time_s] * 5
    return float(found.value[0])


@pytest.mark.parametrize(("seconds", "volts"), [(0.05, 716), (0.1, 654), (1.0, 117), (2.0, 96), (5.0, 86), (10.0, 85)])
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
        limit = fault_limit(network, TOWERS)
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
    assert fault_limit(network, TOWERS).value == pytest.approx((1000 + 1.5 * soil) * 0.116 / np.sqrt(0.5), rel=1e-9)


@pytest.mark.parametrize(("seconds", "standard"), [(0.01, "EN 50522"), (30.0, "EN 50522"), (5.0, "IEEE Std 80")])
def test_clearing_time_beyond_what_a_standard_gives(seconds, standard):
    network = world(
        line(fault=FAULT | {"clearing_time_s": seconds}, id="Nord 3"), limits={"touch_standard": standard}
    ).network()
    with pytest.raises(JobError) as caught:
        fault_limit(network, TOWERS)
    assert "line 'Nord 3', fault.clearing_time_s" in str(caught.value)
    assert standard in str(caught.value)
    assert f"{seconds:g}" in str(caught.value)


@pytest.mark.parametrize(("public", "volts", "amperes", "field"), [(False, 50, 1e-3, 10e3), (True, 25, 0.5e-3, 5e3)])
def test_limits_in_service(public, volts, amperes, field):
    """IEC 60364-4-41; ICNIRP 2010 (500/f and 250/f kV/m): values as quoted in public sources."""
    network = world(line(), limits={"public_or_livestock": public}).network()
    found = service_limits(network, TOWERS)
    assert [found[name].value[0] for name in ("voltage", "current", "field")] == [volts, amperes, field]
    assert np.isinf([limit.duration_s for limit in found.values()]).all()


def test_each_line_has_its_own_clearing_time_and_frequency():
    other = flat_line(straight(5, aside_m=2000.0), fault=FAULT | {"clearing_time_s": 1.0}, frequency_hz=60.0)
    without = flat_line(straight(5, aside_m=4000.0))
    network = world(line(), other, without).network()
    every = np.arange(15)
    assert fault_limit(network, every).value == pytest.approx([220.0] * 5 + [117.0] * 5 + [np.nan] * 5, nan_ok=True)
    assert service_limits(network, every)["field"].value == pytest.approx([10e3] * 5 + [500e3 / 60] * 5 + [10e3] * 5)


def test_ratio_is_value_over_limit_and_the_sums_are_sums():
    found = assessed(world(line(load={"current_a": 800.0})).network(), TOWERS, 70.0, 260.0).leads
    value = {item.name: item.value for item in found.exposures}
    for item in found.exposures:
        assert item.ratio == pytest.approx(item.value / item.limit.value[:, None], rel=1e-12)
    parts = ("induced by the load, balanced", "induced by the load, unbalance", "standing voltage of the tower")
    assert value["arithmetic sum in service"] == pytest.approx(sum(value[name] for name in parts), rel=1e-12)
    parts = ("induced by a fault", "transferred from the tower by a fault")
    assert value["arithmetic sum under a fault"] == pytest.approx(sum(value[name] for name in parts), rel=1e-12)
    judged = np.stack([i.ratio for i in found.exposures if i.state == "in service" and "field" not in i.name])
    assert found.worst_ratio("in service") == pytest.approx(judged.max(axis=0), rel=1e-12)
    assert set(found.handling("under a fault").ravel()) == {
        "above a limit: no bare contact; bond, earth or move the lead first"
    }
