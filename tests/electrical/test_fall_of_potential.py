"""Bias of the reading: Tagg's rules, and a nodal solve of tower, stakes and chain with their mutual resistances."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.electrical import (
    distance_for_bias,
    driving_point_impedance,
    injected_current_ratio,
    reading_bias,
    reading_ratio,
    soil_potential,
    stake_separation,
    surface_potential,
)
from layoutplan.errors import InputRangeError

GOLDEN = (5**0.5 - 1) / 2
SOIL = {"soil_resistivity_ohm_m": 100.0}


@pytest.mark.parametrize(
    ("potential", "angle", "expected"),
    # Source: G. F. Tagg, Earth Resistances (1964): hemisphere of 5 m, current stake at 100 m
    [(61.8, 0, 1.0000), (100, 90, 0.9354), (50, 90, 0.8947)],
)
def test_tagg(potential, angle, expected):
    assert reading_ratio(100, potential, angle, radius_m=5) == pytest.approx(expected, abs=6e-5)


@given(st.floats(50, 2000), st.floats(1, 1e4))
def test_no_bias_at_the_golden_section(distance, rho):
    # Source: 61.8 % rule, Tagg 1964 and IEEE Std 81.
    bias = reading_bias(distance, GOLDEN * distance, 0, soil_resistivity_ohm_m=rho)
    assert bias == pytest.approx(0, abs=1e-9 * rho)


@given(st.floats(50, 2000), st.floats(1, 1e4))
def test_no_bias_at_29_degrees_and_equal_distances(distance, rho):
    # Source: 29 degree rule, Tagg 1964.
    angle = np.degrees(2 * np.arcsin(0.25))
    assert angle == pytest.approx(28.955, abs=5e-4)
    assert reading_bias(distance, distance, angle, soil_resistivity_ohm_m=rho) == pytest.approx(0, abs=1e-9 * rho)


@given(st.floats(20, 1000), st.floats(20, 1000), st.floats(90, 270))
def test_stakes_apart_by_a_right_angle_or_more_read_low(current, potential, angle):
    # Source: Tagg 1964: the sign of his formula for wide angles.
    assert reading_bias(current, potential, angle, **SOIL) < 0
    assert reading_ratio(current, potential, angle, radius_m=5) < 1


@given(st.floats(20, 1000), st.floats(20, 1000), st.floats(30, 180), st.floats(0.1, 50))
def test_equal_layers_bias_like_uniform_soil(current, potential, angle, thickness):
    # Derived here: with K = 0 every image vanishes, uniform soil remains.
    layered = reading_bias(current, potential, angle, **SOIL, lower_resistivity_ohm_m=100, upper_thickness_m=thickness)
    assert layered == pytest.approx(reading_bias(current, potential, angle, **SOIL), rel=1e-7, abs=1e-12)


@given(st.floats(20, 1000), st.floats(20, 1000), st.floats(-180, 180))
def test_separation_is_the_law_of_cosines(current, potential, angle):
    # Derived here: the law of cosines on the triangle of tower and stakes.
    square = current**2 + potential**2 - 2 * current * potential * np.cos(np.radians(angle))
    assert stake_separation(current, potential, angle) == pytest.approx(max(square, 0) ** 0.5, rel=1e-6, abs=1e-3)


def nodal_reading(resistance, rest, current_distance, potential_distance, angle, soil):
    """V(tower) - V(S) over the current in the tower's legs, 1 A driven from tower to H; no formula of the package.

    Unknowns: potential of the tower, current into its footing. The footing and H share the soil by their mutual
    resistances; ``rest`` leads from the tower to remote earth.
    """
    separation = stake_separation(current_distance, potential_distance, angle)
    to_h, to_s, h_to_s = (soil_potential(d, **soil) for d in (current_distance, potential_distance, separation))
    # V = R It - v(D) ; 1 = It + V / rest
    system = np.array([[1, -resistance], [1 / rest, 1]])
    tower_v, tower_i = np.linalg.solve(system, np.array([-to_h, 1], dtype=complex))
    return (tower_v - (to_s * tower_i - h_to_s)) / tower_i, 1 / tower_i


@pytest.mark.parametrize("soil", [SOIL, SOIL | {"lower_resistivity_ohm_m": 600.0, "upper_thickness_m": 4.0}])
@pytest.mark.parametrize("angle", [60, 120, 180])
def test_bias_by_leg_current_equals_nodal_solve(soil, angle):
    # Source: Kirchhoff's laws, own dense reference.
    footings, spans = np.full(61, 15.0), np.full(60, 0.1 + 0.25j)
    z = driving_point_impedance(footings, spans)[30]
    rest = 1 / (1 / z - 1 / 15.0)
    reading, k = nodal_reading(15.0, rest, 120, 90, angle, soil)
    ratio = injected_current_ratio(15.0, rest, soil_potential(120, **soil))
    assert ratio == pytest.approx(k, rel=1e-12)
    assert abs(ratio) > 5
    bias = reading_bias(120, 90, angle, current_ratio=ratio, **soil)
    assert bias == pytest.approx(reading - 15.0, rel=1e-9)


def test_neighbouring_towers_change_the_bias_little():
    """Whole network: 21 towers 300 m apart and H, all with mutual resistances, S off the line, square on both sides."""
    # Source: Kirchhoff's laws, own dense reference.
    rho, resistance, span = 100.0, 15.0, 0.1 + 0.25j
    towers = np.column_stack([np.zeros(21), 300.0 * np.arange(-10, 11)])
    nodes = np.vstack([towers, [150.0, 0]])
    apart = np.hypot(*np.moveaxis(nodes[:, None] - nodes, -1, 0))
    own = np.eye(22, dtype=bool)
    earth = np.where(own, resistance, surface_potential(np.where(own, 1.0, apart), soil_resistivity_ohm_m=rho))
    wires = np.zeros((22, 22), dtype=complex)
    for i in range(20):
        wires[i, i] += 1 / span
        wires[i + 1, i + 1] += 1 / span
        wires[i, i + 1] -= 1 / span
        wires[i + 1, i] -= 1 / span
    # earth currents J: J + wires V = injected, V = earth J (H carries -1 A and no wire)
    injected = np.zeros(22, dtype=complex)
    injected[10], injected[21] = 1, -1
    currents = np.linalg.solve(np.eye(22) + wires @ earth, injected)
    at_s = surface_potential(np.hypot(nodes[:, 0] + 100, nodes[:, 1]), soil_resistivity_ohm_m=rho) @ currents
    reading = ((earth @ currents)[10] - at_s) / currents[10]
    z = driving_point_impedance(np.full(21, resistance), np.full(20, span))[10]
    ratio = injected_current_ratio(
        resistance, 1 / (1 / z - 1 / resistance), surface_potential(150, soil_resistivity_ohm_m=rho)
    )
    bias = reading_bias(150, 100, 180, soil_resistivity_ohm_m=rho, current_ratio=ratio)
    # the wires' current leaves through many towers far away, which lift tower and stake S nearly alike
    assert abs(reading - resistance - bias) < 0.15 * abs(bias)


def test_ratio_is_one_without_earth_wire():
    # Derived here: no current leaves by an open way, so the footing takes all of it.
    assert injected_current_ratio(10, np.inf, 0.2) == 1


@given(st.floats(0.01, 5), st.floats(60, 180), st.floats(0.4, 2), st.floats(1, 20))
def test_bias_equals_the_target_at_the_distance_found(target, angle, shape, ratio):
    # Derived here: put back in, the distance gives the bias that it was asked for.
    distance = distance_for_bias(target, angle, potential_over_current_distance=shape, current_ratio=ratio, **SOIL)
    if distance > 0:
        bias = reading_bias(distance, shape * distance, angle, current_ratio=ratio, **SOIL)
        assert abs(bias) == pytest.approx(target, rel=1e-9)


@pytest.mark.parametrize("lower", [20.0, 500.0])
def test_distance_in_layers_holds_from_there_on(lower):
    # Derived here: put back in, the distance gives the bias that it was asked for, and no greater one beyond.
    soil = SOIL | {"lower_resistivity_ohm_m": lower, "upper_thickness_m": 3.0}
    distance = distance_for_bias([0.05, 0.5], 150, **soil)
    for target, d in zip([0.05, 0.5], distance, strict=True):
        further = np.geomspace(1.001 * d, 50 * d, 200)
        assert np.abs(reading_bias(further, further, 150, **soil)).max() < target
        assert np.abs(reading_bias(0.998 * d, 0.998 * d, 150, **soil)) > target


def test_distance_for_bias_in_equal_layers_is_that_of_uniform_soil():
    # Derived here: with K = 0 every image vanishes, uniform soil remains.
    layered = distance_for_bias(0.2, 170, **SOIL, lower_resistivity_ohm_m=100, upper_thickness_m=5)
    assert layered == pytest.approx(distance_for_bias(0.2, 170, **SOIL), rel=1e-3)


def test_distance_knows_never_always_and_unknown():
    # No source: this package's own rule: unknown stays unknown.
    soil = SOIL | {"lower_resistivity_ohm_m": 500.0, "upper_thickness_m": 3.0}
    found = distance_for_bias([1e-9, 1e3, np.nan], 180, **soil)
    assert found[0] == np.inf
    assert found[1] == 0
    assert np.isnan(found[2])


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: reading_bias(100, 100, 0, **SOIL), "one place"),
        (lambda: reading_bias(0, 100, 90, **SOIL), "current_distance_m is 0"),
        (lambda: reading_bias(100, 100, np.nan, **SOIL), "angle_deg is nan"),
        (lambda: distance_for_bias(0, 90, **SOIL), "target_ohm is 0"),
        (lambda: injected_current_ratio(-3, 1), "tower_resistance_ohm is -3"),
    ],
)
def test_values_out_of_range_are_named(call, message):
    # No source: this package's own check of what it is given.
    with pytest.raises(InputRangeError, match=message):
        call()
