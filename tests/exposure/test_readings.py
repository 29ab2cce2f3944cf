"""Bias of the reading and what it is held against, from formulas and networks written out again.

Sources: Tagg 1964 and Kirchhoff's laws, by own dense reference (dense.py, reference.py).
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest

from layoutplan.exposure import Network, measured
from layoutplan.exposure.measured import Measured
from layoutplan.exposure.readings import ReadingFigures, readings

from ..effort import few
from .dense import DenseLine
from .worlds import FLAT, WIRES, Course, ends, flat_line, straight, world

TOWER = np.array([20])
RHO, FOOTING = 100.0, 10.0
LAYERS = {"resistivity_ohm_m": 100.0, "lower_resistivity_ohm_m": 600.0, "upper_thickness_m": 4.0}


def v(distance: Any, soil: dict[str, float] | None = None) -> Any:
    """Potential of the surface per ampere; in two layers Tagg's series, many terms of it (Tagg 1964)."""
    if soil is None:
        return RHO / (2 * np.pi * np.asarray(distance))
    r, h = np.asarray(distance, dtype=float)[..., None], soil["upper_thickness_m"]
    upper, lower = soil["resistivity_ohm_m"], soil["lower_resistivity_ohm_m"]
    n, k = np.arange(1, 400), (lower - upper) / (lower + upper)
    return upper / (2 * np.pi) * (1 / r[..., 0] + 2 * (k**n / np.sqrt(r**2 + (2 * n * h) ** 2)).sum(axis=-1))


@cache
def line(layers: bool = False, **grids: float) -> DenseLine:
    """The whole line by the reference; what returns deep in the earth sees the lower layer."""
    soil = LAYERS if layers else None
    rho = soil["lower_resistivity_ohm_m"] if soil else RHO
    layered = (lambda distance: v(distance, soil)) if soil else None
    return DenseLine(straight(), [*FLAT, *WIRES], np.full(41, FOOTING), rho=rho, layered=layered, **grids)


def reading(network: Network, h: Any, s: Any, tower: int = 20, seen: Measured | None = None) -> ReadingFigures:
    return readings(network, seen or measured(network), np.array([tower]), np.atleast_2d(h), np.atleast_2d(s))


PAIRS = [(90.0, 100.0, 270.0, 100.0), (90.0, 120.0, 270.0, 70.0), (60.0, 110.0, 265.0, 90.0), (90.0, 100.0, 30.0, 80.0)]


@pytest.mark.parametrize("layers", [False, True], ids=["uniform", "layers"])
def test_bias_of_the_current_in_the_legs(whole_ground, layers):
    """H draws down every footing of the line, and every one lifts S."""
    network = world(flat_line(), **({"soil": LAYERS} if layers else {})).network()
    seen = measured(network)
    for pair in PAIRS:
        h, s = ends(pair[0], pair[1])[0], ends(pair[2], pair[3])[0]
        found = reading(network, h, s, seen=seen)
        volts, legs = line(layers).reading(20, h, s, 110.0)
        assert abs(1 / legs) > 5  # most of the injected current leaves by the earth wires
        assert found.bias_ohm[0] == pytest.approx((volts / legs - FOOTING).real, rel=1e-5)
        assert found.bias_pct[0] == pytest.approx(100 * found.bias_ohm[0] / FOOTING, rel=1e-12)


@pytest.mark.parametrize("layers", [False, True], ids=["uniform", "layers"])
def test_bias_of_the_whole_current(whole_ground, layers):
    network = world(flat_line(), method={"legs_only": False}, **({"soil": LAYERS} if layers else {})).network()
    seen, whole = measured(network), line(layers).seen_ohm(20, 110.0)
    assert seen.expected_ohm[0, 20] == pytest.approx(abs(whole), rel=1e-6)
    for pair in PAIRS:
        h, s = ends(pair[0], pair[1])[0], ends(pair[2], pair[3])[0]
        volts, _ = line(layers).reading(20, h, s, 110.0)
        found = reading(network, h, s, seen=seen)
        assert found.bias_ohm[0] == pytest.approx(abs(volts) - abs(whole), rel=1e-4)
        assert found.bias_pct[0] == pytest.approx(100 * found.bias_ohm[0] / abs(whole), rel=1e-6)


@pytest.mark.parametrize("legs_only", [True, False])
@pytest.mark.parametrize("tower", [2, 20])
def test_what_leaving_out_far_footings_costs_a_reading(legs_only, tower):
    """Those beyond 2 km, and that the stakes see those beyond 1 km as the tower does: 0.3 % of the reading."""
    pair, grids = (ends(90.0, 150.0)[0], ends(270.0, 100.0)[0]), {"start_grid_ohm": 0.3}
    network = world(flat_line(**grids), method={"legs_only": legs_only}).network()
    volts, legs = line(**grids).reading(tower, *pair, 110.0)
    whole = abs(line(**grids).seen_ohm(tower, 110.0))
    true = FOOTING if legs_only else whole
    expected = 100 * ((volts / legs).real - FOOTING if legs_only else abs(volts) - whole) / true
    off = abs(reading(network, *pair, tower).bias_pct[0] - expected)
    assert off < 0.3


@pytest.mark.parametrize("legs_only", [True, False])
@pytest.mark.parametrize("bearing", [90.0, 45.0, 135.0])
def test_the_grid_of_a_station_reaches_the_stakes(whole_ground, legs_only, bearing):
    """0.1 ohm in 100 ohm m is a hemisphere of 159 m: a span off it lifts S, and H draws current out of it."""
    h, s = ends(bearing, 130.0)[0], ends(bearing + 180.0, 90.0)[0]
    grid = {"start_grid_ohm": 0.1}
    network = world(flat_line(**grid), method={"legs_only": legs_only}).network()
    volts, legs = line(**grid).reading(1, h, s, 110.0)
    whole = abs(line(**grid).seen_ohm(1, 110.0))
    expected = (volts / legs).real - FOOTING if legs_only else abs(volts) - whole
    assert reading(network, h, s, 1).bias_ohm[0] == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("legs_only", [True, False])
def test_in_a_grid_the_reading_is_unknown_and_not_a_plain_number(legs_only):
    """The tower at the line's end stands in it. Fails where NaN makes numpy warn: a warning would reach the planner."""
    network = world(flat_line(start_grid_ohm=0.3), method={"legs_only": legs_only}).network()
    found = readings(network, measured(network), np.array([0, 1]), ends([90.0] * 2, 130.0), ends([270.0] * 2, 90.0))
    assert np.isnan(found.bias_pct).tolist() == [True, False]
    assert np.isnan(found.bias_ohm).tolist() == [True, False]
    assert np.isnan(found.distance_for_target_m).tolist() == [True, False]
    assert np.isnan(found.coupling_pct).tolist() == [True, False]
    assert any("within a station's earth grid" in text for text in network.assumptions)


def test_without_earth_wire_both_methods_are_fall_of_potential():
    """-rho/2pi (1/x + 1/D - 1/d): IEEE Std 81, Tagg 1964."""
    expected = -RHO / (2 * np.pi) * (1 / 80 + 1 / 120 - 1 / 200)
    for legs_only in (True, False):
        network = world(flat_line(wires=False), method={"legs_only": legs_only}).network()
        assert measured(network).expected_ohm[0, 20] == pytest.approx(FOOTING, rel=1e-6)
        found = reading(network, ends(90.0, 120.0)[0], ends(270.0, 80.0)[0])
        assert found.bias_ohm[0] == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("grids", [{}, {"start_grid_ohm": 0.2}, {"start_grid_ohm": 0.2, "end_grid_ohm": 0.5}])
def test_expected_impedance_near_a_station(whole_ground, grids):
    network = world(flat_line(**grids), method={"legs_only": False}).network()
    for tower in (1, 3, 39) if grids else (0, 1, 3, 39, 40):  # in a grid it is unknown
        expected = abs(line(**grids).seen_ohm(tower, 110.0))
        assert measured(network).expected_ohm[0, tower] == pytest.approx(expected, rel=1e-6)


FREQUENCIES = [25000.0, 128.0, 1000.0]


@pytest.mark.parametrize("legs_only", [True, False])
def test_every_test_frequency_is_looked_at(whole_ground, legs_only):
    """What the earth wires take decides what is expected, and how much of it H draws away."""
    method = {"legs_only": legs_only, "test_frequencies_hz": FREQUENCIES}
    network = world(flat_line(), method=method).network()
    h, s = ends(90.0, 120.0)[0], ends(270.0, 80.0)[0]
    found = reading(network, h, s)
    for row, hz in enumerate(FREQUENCIES):
        whole = abs(line().seen_ohm(20, hz))
        volts, legs = line().reading(20, h, s, hz)
        true = FOOTING if legs_only else whole
        bias = (volts / legs).real - FOOTING if legs_only else abs(volts) - whole
        assert found.each_expected_ohm[row, 0] == pytest.approx(true, rel=1e-5)
        assert found.each_bias_pct[row, 0] == pytest.approx(100 * bias / true, rel=1e-4)
    assert measured(network).frequency_hz.tolist() == FREQUENCIES


def test_the_worst_test_frequency_governs():
    pairs = ends(np.array([90.0, 80.0, 100.0]), 120.0), ends(np.array([270.0, 250.0, 20.0]), 80.0)
    network = world(flat_line(), method={"test_frequencies_hz": FREQUENCIES}).network()
    found = readings(network, measured(network), np.array([0, 7, 20]), *pairs)
    for name in ("bias", "coupling"):
        each, worst = getattr(found, f"each_{name}_pct"), getattr(found, f"{name}_pct")
        assert each.shape == (3, 3)
        row = np.abs(each).argmax(axis=0)
        assert worst == pytest.approx(each[row, np.arange(3)], rel=1e-12)
        assert getattr(found, f"{name}_frequency_hz") == pytest.approx(np.array(FREQUENCIES)[row])
        assert np.ptp(each, axis=0).min() > 0
    assert found.bias_pct == pytest.approx(100 * found.bias_ohm / found.expected_ohm, rel=1e-12)


@pytest.mark.parametrize("legs_only", [True, False])
def test_the_order_of_the_test_frequencies_changes_nothing(legs_only):
    pair = ends(90.0, 120.0), ends(30.0, 80.0)
    found = []
    for order in (1, -1):
        method = {"legs_only": legs_only, "test_frequencies_hz": [110.0, 1000.0][::order]}
        network = world(flat_line(), method=method).network()
        item = readings(network, measured(network), TOWER, *pair)
        each = {name: getattr(item, name)[::order] for name in item.__slots__ if name.startswith("each_")}
        found.append({name: getattr(item, name) for name in item.__slots__} | each)
    for name, values in found[0].items():
        assert found[1][name] == pytest.approx(values, rel=1e-9), name


def test_one_frequency_more_never_makes_it_look_better():
    pair = ends(90.0, 120.0), ends(30.0, 80.0)
    one, both = (
        readings(network, measured(network), TOWER, *pair)
        for network in (world(flat_line(), method={"test_frequencies_hz": f}).network() for f in ([128.0], FREQUENCIES))
    )
    for name in ("bias_pct", "coupling_pct", "distance_for_target_m"):
        assert abs(getattr(both, name)[0]) >= abs(getattr(one, name)[0]), name


@pytest.mark.first(1)
@pytest.mark.parametrize("legs_only", [True, False])
@pytest.mark.parametrize("soil", [{}, {"soil": LAYERS}], ids=["uniform", "layers"])
def test_bias_is_the_target_at_the_distance_for_the_target(legs_only, soil):
    """The layout keeps its shape; how much the earth wires take at that distance is worked out anew."""
    target = 12.0  # by the legs the neighbours lift the tower, however far off the stakes are; in layers by 10 %
    network = world(flat_line(), method={"legs_only": legs_only, "bias_target_pct": target}, **soil).network()
    seen = measured(network)
    for pair in few(PAIRS[1:3], 1):
        h, s = ends(pair[0], pair[1])[0], ends(pair[2], pair[3])[0]
        distance = reading(network, h, s, seen=seen).distance_for_target_m[0]
        scale = distance / pair[1]
        assert abs(reading(network, h * scale, s * scale, seen=seen).bias_pct[0]) == pytest.approx(target, rel=3e-3)
        for farther in (1.01, 1.3, 3.0):
            assert abs(reading(network, h * scale * farther, s * scale * farther, seen=seen).bias_pct[0]) < target


def test_no_distance_is_enough_where_the_neighbours_alone_lift_the_tower_by_more(whole_ground):
    """By the current in the legs: what the other footings send into the ground stands at the tower, too."""
    network = world(flat_line(), method={"bias_target_pct": 0.5}).network()
    assert np.isinf(reading(network, ends(90.0, 100.0)[0], ends(270.0, 80.0)[0]).distance_for_target_m[0])
    volts, legs = line().reading(20, ends(90.0, 1e5)[0], ends(270.0, 1e5)[0], 110.0)
    assert abs((volts / legs).real / FOOTING - 1) > 0.005


def test_distance_for_the_target_in_uniform_soil_without_earth_wire():
    """Inversely as the target: D = rho/2pi (1 + 1 - 1/2)/(2 % of 10 ohm)."""
    network = world(flat_line(wires=False), method={"bias_target_pct": 2.0}).network()
    found = reading(network, ends(90.0, 100.0)[0], ends(270.0, 100.0)[0])
    assert found.distance_for_target_m[0] == pytest.approx(RHO / (2 * np.pi) * 1.5 / 0.2, rel=1e-3)


def test_soil_and_footing_of_each_tower_count_there():
    line = flat_line(wires=False)
    soil, footing = np.linspace(50, 450, 41), np.linspace(4, 12, 41)
    columns = {"footing_resistance_ohm": footing, "soil_resistivity_ohm_m": soil}
    network = world(Course(line.towers_m, line.settings, columns)).network()
    for tower in (0, 13, 40):
        found = reading(network, ends(90.0, 100.0)[0], ends(270.0, 100.0)[0], tower)
        assert found.bias_ohm[0] == pytest.approx(-soil[tower] / (2 * np.pi) * 1.5 / 100.0, rel=1e-6)
        assert found.bias_pct[0] == pytest.approx(100 * found.bias_ohm[0] / footing[tower], rel=1e-9)


def test_unknown_footing_is_that_of_a_disc_as_wide_as_the_electrode():
    """R = rho/(4 r) of a flat disc on the surface (Laurent; IEEE Std 80)."""
    network = world(Course(straight(5), {"earth_electrode_size_m": 14.0})).network()
    assert network.ground.footing_ohm == pytest.approx(np.full(5, 100.0 / (4 * 7.0)), rel=1e-12)
    assert network.ground.footing_assumed.all()
    assert any("flat disc" in text for text in network.assumptions)
    given = world(Course(straight(5)), method={"footing_resistance_ohm": 7.5}).network()
    assert given.ground.footing_ohm.tolist() == [7.5] * 5
    assert not given.ground.footing_assumed.any()


@pytest.mark.parametrize("legs_only", [True, False])
def test_line_of_unknown_voltage_has_no_bias_rather_than_none(legs_only):
    unknown = world(Course(straight(), {"voltage_kv": None}), method={"legs_only": legs_only}).network()
    found = reading(unknown, ends(90.0, 100.0)[0], ends(270.0, 100.0)[0])
    for values in (found.bias_ohm, found.bias_pct, found.distance_for_target_m, found.coupling_pct):
        assert np.isnan(values).all()
