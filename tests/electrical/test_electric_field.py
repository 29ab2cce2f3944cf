"""Electric field and capacitive current against closed forms, a rod of charge in three dimensions, superposition."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from layoutplan.electrical import (
    bundle_radius,
    electric_field,
    lead_capacitance,
    lead_open_potential,
    lead_short_circuit_current,
    line_charges,
    space_potential,
)
from layoutplan.errors import InputRangeError

EPS_0 = 8.8541878128e-12
OFFSETS, HEIGHTS, RADII = [-8.0, 0.0, 8.0], [12.0] * 3, [0.0143] * 3
A = np.exp(2j * np.pi / 3)
VOLTAGES = 220e3 / 3**0.5 * np.array([1, A**2, A])


@pytest.fixture
def charges():
    return line_charges(OFFSETS, HEIGHTS, RADII, VOLTAGES)


def test_field_reference(charges):
    # Source: own figures apart from this package: 220 kV, flat 8 m, height 12 m, conductor radius 14.3 mm, no earth
    # wire, 1 m above ground; held by the quadrature below.
    found = electric_field([0, 8, 20, 40], OFFSETS, HEIGHTS, charges)
    assert found == pytest.approx([975, 1749, 968, 179], abs=0.6)


def test_field_equals_long_charged_wires_in_three_dimensions(charges):
    # Source: Coulomb's law and its mirror image, own quadrature.
    x, y = 11.0, 1.0

    def along(s, x0, h):
        return 1 / (s**2 + (x - x0) ** 2 + (y - h) ** 2) ** 1.5

    vector = np.zeros(2, dtype=complex)
    for x0, h, q in zip(OFFSETS, HEIGHTS, charges, strict=True):
        for height, sign in ((h, 1), (-h, -1)):
            share = 2 * integrate.quad(along, 0, np.inf, args=(x0, height))[0]
            vector += sign * q / (4 * np.pi * EPS_0) * share * np.array([x - x0, y - height])
    found = electric_field(x, OFFSETS, HEIGHTS, charges, point_height_m=y)
    assert found == pytest.approx(np.sqrt(np.sum(np.abs(vector) ** 2)), rel=1e-7)


def test_one_conductor_has_the_capacitance_of_the_text_books():
    # Source: 2 pi eps0 / ln(2h/r), Smythe 1968, ch. 4 (from memory).
    charge = line_charges([0], [12], [0.0143], [1.0])
    assert charge == pytest.approx([2 * np.pi * EPS_0 / np.log(24 / 0.0143)])
    ground = electric_field(0, [0], [12], charge, point_height_m=0)
    assert ground == pytest.approx(abs(charge[0]) / (np.pi * EPS_0 * 12))


def test_potential_on_the_conductors_is_their_voltage(charges):
    # Source: boundary condition, Maxwell 1873.
    # a little below each conductor's axis lies its surface
    found = space_potential(OFFSETS, OFFSETS, HEIGHTS, charges, point_height_m=12 - 0.0143)
    assert found == pytest.approx(VOLTAGES, rel=2e-3)


def test_field_is_the_slope_of_the_potential(charges):
    # Derived here: E = -grad V, by central differences.
    step = 1e-4
    slope = [
        space_potential(5 + dx, OFFSETS, HEIGHTS, charges, point_height_m=1 + dy)
        - space_potential(5 - dx, OFFSETS, HEIGHTS, charges, point_height_m=1 - dy)
        for dx, dy in ((step, 0), (0, step))
    ]
    found = electric_field(5, OFFSETS, HEIGHTS, charges)
    assert found == pytest.approx(np.sqrt(np.sum(np.abs(slope) ** 2)) / (2 * step), rel=1e-6)


def test_earth_wires_lower_the_field_midway_to_them():
    # Derived here: a wire at 0 V in the field carries charge, so the charges of the others change.
    charges = line_charges([*OFFSETS, -6, 6], [*HEIGHTS, 18, 18], [*RADII, 0.005, 0.005], [*VOLTAGES, 0, 0])
    assert charges.shape == (5,)
    bare = line_charges(OFFSETS, HEIGHTS, RADII, VOLTAGES)
    assert np.abs(charges[:3] - bare).max() > 1e-3 * np.abs(bare).max()


@given(st.floats(1e3, 1e6), st.floats(-60, 60))
def test_field_is_linear_in_the_voltage(scale, x):
    # Derived here: charges are Maxwell's coefficients times voltages, so the field is linear in these.
    one = electric_field(x, OFFSETS, HEIGHTS, line_charges(OFFSETS, HEIGHTS, RADII, VOLTAGES))
    many = electric_field(x, OFFSETS, HEIGHTS, line_charges(OFFSETS, HEIGHTS, RADII, scale * VOLTAGES))
    assert many == pytest.approx(scale * one, rel=1e-9)


@pytest.mark.parametrize(
    ("count", "expected"),
    # products of distances on the circle: n = 2: √(r s), n = 3: ∛(r s²), n = 4: ⁴√(√2 r s³)
    [(1, 0.0143), (2, (0.0143 * 0.4) ** 0.5), (3, (0.0143 * 0.16) ** (1 / 3)), (4, (2**0.5 * 0.0143 * 0.064) ** 0.25)],
)
def test_bundle_radius(count, expected):
    # Source: geometric mean distances on the circle, CIGRE WG 36.01 (1980, from memory).
    assert bundle_radius(0.0143, count, 0.4) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("ends", [(0.0, 150.0), (-30.0, 60.0), (10.0, 10.0), (5.0, 5.0001)])
def test_open_potential_is_the_mean_along_the_lead(charges, ends):
    # Source: own quadrature.
    along = np.linspace(*ends, 20_001)
    mean = np.trapezoid(space_potential(along, OFFSETS, HEIGHTS, charges, point_height_m=1.0), dx=1 / 20_000)
    found = lead_open_potential(*ends, OFFSETS, HEIGHTS, charges, lead_height_m=1.0)
    assert found == pytest.approx(mean, rel=1e-6)


def test_capacitance_of_a_high_wire_is_the_usual_logarithm():
    # Source: 2 pi eps0 / ln(2h/a), Smythe 1968, ch. 4 (from memory).
    assert lead_capacitance(1.0, 0.001) == pytest.approx(2 * np.pi * EPS_0 / np.log(2000), rel=1e-6)


def test_short_circuit_current(charges):
    # Source: j omega C V with the capacitance of a high wire (Smythe 1968, from memory).
    potential = lead_open_potential(0, 100, OFFSETS, HEIGHTS, charges, lead_height_m=1.0)
    carried = lead_short_circuit_current(potential, 100, lead_height_m=1.0, lead_radius_m=0.001, frequency_hz=50)
    expected = 2 * np.pi * 50 * 2 * np.pi * EPS_0 / np.log(2000) * 100 * abs(potential)
    assert abs(carried) == pytest.approx(expected, rel=1e-6)
    on_ground = lead_open_potential(0, 100, OFFSETS, HEIGHTS, charges, lead_height_m=0.002)
    lying = lead_short_circuit_current(on_ground, 100, lead_height_m=0.002, lead_radius_m=0.001, frequency_hz=50)
    assert abs(lying) < 0.05 * abs(carried)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: line_charges([0, 0], [10, 10], [0.01, 0.01], [1, 0]), "touch"),
        (lambda: line_charges([0], [-10], [0.01], [1]), "height_m is -10"),
        (lambda: line_charges([0], [0.005], [0.01], [1]), "above ground"),
        (lambda: electric_field(0, [0], [1.0], [1], point_height_m=1.0), "above the point"),
        (lambda: bundle_radius(0.02, 2, 0.03), "exceed the conductor's diameter"),
        (lambda: lead_capacitance(0.001, 0.001), "higher than its radius"),
        (lambda: lead_open_potential(0, 1, [0], [1.0], [1], lead_height_m=1.0), "above the lead"),
    ],
)
def test_values_out_of_range_are_named(call, message):
    # No source: this package's own check of what it is given.
    with pytest.raises(InputRangeError, match=message):
        call()
