"""Bias of the reading and what it is held against, from formulas and networks written out again."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from layoutplan.exposure import Network, measured
from layoutplan.exposure.readings import Reading, readings

from .dense import DenseLine
from .reference import chain
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


def line_impedance(tower: int = 20, hz: float = 110.0, rho: float = RHO, **grids: float) -> complex:
    """Tower with its earth wires, by a dense solve of all of them at the test frequency. [ohm]."""
    dense = DenseLine(straight(), [*FLAT, *WIRES], np.full(41, FOOTING), rho=rho, **grids)
    z = dense.matrix(hz)[3:, 3:]
    unit = np.zeros(41)
    unit[tower] = 1.0
    return complex(chain(dense.earthed_ohm, z * dense.lengths_m[:, None, None], np.zeros((40, 2)), unit)[0][tower])


def two_stakes(whole: complex, big: float, small: float, apart: float, soil: Any = None) -> tuple[complex, complex]:
    """Tower, its footing and the rest of the line as a network of two branches with H 1 A away: (V - V_S, I_legs).

    V = R I_t - v(D); 1 = I_t + V / Z_rest; the stake S stands at I_t v(x) - v(d).
    """
    rest = 1 / (1 / whole - 1 / FOOTING)
    potential, legs = np.linalg.solve(np.array([[1, -FOOTING], [1 / rest, 1]]), np.array([-v(big, soil), 1], complex))
    return potential - (legs * v(small, soil) - v(apart, soil)), legs


def reading(network: Network, h: Any, s: Any, tower: int = 20) -> Reading:
    return readings(network, measured(network), np.array([tower]), np.atleast_2d(h), np.atleast_2d(s))


PAIRS = [(90.0, 100.0, 270.0, 100.0), (90.0, 120.0, 270.0, 70.0), (60.0, 110.0, 265.0, 90.0), (90.0, 100.0, 30.0, 80.0)]


@pytest.mark.parametrize("pair", PAIRS)
@pytest.mark.parametrize("soil", [None, LAYERS], ids=["uniform", "layers"])
def test_bias_of_the_current_in_the_legs(pair, soil):
    h, s = ends(pair[0], pair[1])[0], ends(pair[2], pair[3])[0]
    settings = {} if soil is None else {"soil": soil}
    found = reading(world(flat_line(), **settings).network(), h, s)
    whole = line_impedance(rho=600.0 if soil else RHO)  # what returns deep in the earth sees the lower layer
    volts, legs = two_stakes(whole, pair[1], pair[3], np.hypot(*(h - s)), soil)
    assert abs(1 / legs) > 5  # most of the injected current leaves by the earth wires
    assert found.bias_ohm[0] == pytest.approx((volts / legs - FOOTING).real, rel=1e-5)
    assert found.bias_pct[0] == pytest.approx(100 * found.bias_ohm[0] / FOOTING, rel=1e-12)


@pytest.mark.parametrize("pair", PAIRS)
@pytest.mark.parametrize("soil", [None, LAYERS], ids=["uniform", "layers"])
def test_bias_of_the_whole_current(pair, soil):
    h, s = ends(pair[0], pair[1])[0], ends(pair[2], pair[3])[0]
    settings = {"soil": soil} if soil else {}
    network = world(flat_line(), method={"legs_only": False}, **settings).network()
    whole = line_impedance(rho=600.0 if soil else RHO)
    assert measured(network).expected_ohm[20] == pytest.approx(abs(whole), rel=1e-6)
    volts, _ = two_stakes(whole, pair[1], pair[3], np.hypot(*(h - s)), soil)
    found = reading(network, h, s)
    assert found.bias_ohm[0] == pytest.approx(abs(volts) - abs(whole), rel=1e-4)
    assert found.bias_pct[0] == pytest.approx(100 * found.bias_ohm[0] / abs(whole), rel=1e-6)


def test_without_earth_wire_both_methods_are_fall_of_potential():
    """-rho/2pi (1/x + 1/D - 1/d): IEEE Std 81, Tagg 1964."""
    expected = -RHO / (2 * np.pi) * (1 / 80 + 1 / 120 - 1 / 200)
    for legs_only in (True, False):
        network = world(flat_line(wires=False), method={"legs_only": legs_only}).network()
        assert measured(network).expected_ohm[20] == pytest.approx(FOOTING, rel=1e-12)
        found = reading(network, ends(90.0, 120.0)[0], ends(270.0, 80.0)[0])
        assert found.bias_ohm[0] == pytest.approx(expected, rel=1e-6)


def soil_together() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """All footings and H with their mutual resistances, and the admittances of the earth wires between them."""
    nodes = np.vstack((straight(), [150.0, 0.0]))
    apart = np.hypot(*np.moveaxis(nodes[:, None] - nodes, -1, 0))
    own = np.eye(42, dtype=bool)
    earth = np.where(own, FOOTING, v(np.where(own, 1.0, apart)))
    span = 300.0 / np.linalg.inv(DenseLine(straight(), [*FLAT, *WIRES], np.ones(41)).matrix(110.0)[3:, 3:]).sum()
    wires = np.zeros((42, 42), dtype=complex)
    for i in range(40):
        wires[np.ix_([i, i + 1], [i, i + 1])] += np.array([[1, -1], [-1, 1]]) / span
    return nodes, earth, wires


def test_every_tower_of_the_line_in_the_soil_together():
    """What H does to the neighbours is left out on purpose: it matters little by the legs, more by all current."""
    nodes, earth, wires = soil_together()
    injected = np.zeros(42, dtype=complex)
    injected[20], injected[41] = 1, -1
    legs = np.linalg.solve(np.eye(42) + wires @ earth, injected)
    volts = (earth @ legs)[20] - v(np.hypot(nodes[:, 0] + 100, nodes[:, 1])) @ legs
    far = np.linalg.solve(np.eye(41) + wires[:41, :41] @ earth[:41, :41], injected[:41])  # H and S far away
    true = abs((earth[:41, :41] @ far)[20])
    by_legs, whole = (
        reading(world(flat_line(), method={"legs_only": only}).network(), [150.0, 0.0], [-100.0, 0.0])
        for only in (True, False)
    )
    assert by_legs.bias_ohm[0] == pytest.approx((volts / legs[20]).real - FOOTING, rel=0.05)
    assert abs(volts) - true < whole.bias_ohm[0] < abs(volts) - true + 0.05 * true


@pytest.mark.parametrize("grids", [{}, {"start_grid_ohm": 0.2}, {"start_grid_ohm": 0.2, "end_grid_ohm": 0.5}])
def test_expected_impedance_near_a_station(grids):
    network = world(flat_line(**grids), method={"legs_only": False}).network()
    for tower in (0, 1, 3, 39, 40):
        assert measured(network).expected_ohm[tower] == pytest.approx(abs(line_impedance(tower, **grids)), rel=1e-6)


def test_test_frequency_decides_how_much_the_earth_wires_take():
    network = world(flat_line(), method={"legs_only": False, "test_frequencies_hz": [25000.0, 128.0]}).network()
    assert measured(network).expected_ohm[20] == pytest.approx(abs(line_impedance(hz=25000.0)), rel=1e-5)


@pytest.mark.parametrize("legs_only", [True, False])
@pytest.mark.parametrize("soil", [{}, {"soil": LAYERS}], ids=["uniform", "layers"])
@pytest.mark.parametrize("pair", PAIRS[1:3])
def test_bias_is_the_target_at_the_distance_for_the_target(legs_only, soil, pair):
    """The layout keeps its shape; how much the earth wires take at that distance is worked out anew."""
    network = world(flat_line(), method={"legs_only": legs_only, "bias_target_pct": 3.0}, **soil).network()
    h, s = ends(pair[0], pair[1])[0], ends(pair[2], pair[3])[0]
    distance = reading(network, h, s).distance_for_target_m[0]
    scale = distance / pair[1]
    assert abs(reading(network, h * scale, s * scale).bias_pct[0]) == pytest.approx(3.0, rel=3e-3)
    for farther in (1.01, 1.3, 3.0):
        assert abs(reading(network, h * scale * farther, s * scale * farther).bias_pct[0]) < 3.0


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
