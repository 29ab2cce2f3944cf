"""Surface potentials against closed forms, a Hankel transform and the limits of equal layers."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, special

from layoutplan.electrical import (
    equivalent_hemisphere_radius,
    soil_potential,
    surface_potential,
    transferred_voltage,
    two_layer_surface_potential,
)
from layoutplan.errors import InputRangeError


def by_hankel_transform(r, upper, lower, thickness):
    """Potential per ampere as the integral over all wave numbers (Sunde 1949), less its uniform part."""
    k = (lower - upper) / (lower + upper)

    def integrand(wave):
        damped = k * np.exp(-2 * wave * thickness)
        return 2 * damped / (1 - damped) * special.j0(wave * r)

    edges = np.linspace(0, 20 / thickness, 400)
    layers = sum(integrate.quad(integrand, a, b, epsabs=1e-14)[0] for a, b in itertools.pairwise(edges))
    return upper / (2 * np.pi) * (1 / r + layers)


@pytest.mark.parametrize(
    ("r", "upper", "lower", "thickness", "expected"),
    [
        # Source: Tagg 1964 by his series and Sunde 1949 by Hankel transform, both own figures apart from it.
        (10, 100, 500, 3, 5.3311),
        (50, 500, 100, 3, 0.31943),
    ],
)
def test_two_layer_reference(r, upper, lower, thickness, expected):
    found = two_layer_surface_potential(
        r, upper_resistivity_ohm_m=upper, lower_resistivity_ohm_m=lower, upper_thickness_m=thickness
    )
    assert found == pytest.approx(expected, rel=2e-5)


@pytest.mark.parametrize(
    ("r", "upper", "lower", "thickness"), [(10, 100, 500, 3), (50, 500, 100, 3), (4, 1000, 20, 1.5), (80, 50, 2000, 8)]
)
def test_two_layer_equals_hankel_transform(r, upper, lower, thickness):
    # Source: Sunde 1949, ch. 2, own quadrature of his integral.
    found = two_layer_surface_potential(
        r, upper_resistivity_ohm_m=upper, lower_resistivity_ohm_m=lower, upper_thickness_m=thickness
    )
    assert found == pytest.approx(by_hankel_transform(r, upper, lower, thickness), rel=1e-7)


@given(st.floats(0.5, 1e4), st.floats(1, 1e4), st.floats(0.2, 50))
def test_equal_layers_are_uniform_soil(r, rho, thickness):
    # Derived here: with K = 0 every image vanishes, rho / (2 pi r) remains.
    layered = soil_potential(r, soil_resistivity_ohm_m=rho, lower_resistivity_ohm_m=rho, upper_thickness_m=thickness)
    assert layered == pytest.approx(surface_potential(r, soil_resistivity_ohm_m=rho), rel=1e-9)
    assert layered == pytest.approx(rho / (2 * np.pi * r), rel=1e-9)


@given(st.floats(1, 3000), st.floats(0.01, 100), st.floats(0.5, 20))
def test_two_layers_lie_between_the_uniform_soils(r, contrast, thickness):
    # Derived here: for K > 0 Σ Kⁿ/√(r² + (2nh)²) lies between 0 and Σ Kⁿ/r; for K < 0 its terms fall in turn.
    upper = 100.0
    found = soil_potential(
        r, soil_resistivity_ohm_m=upper, lower_resistivity_ohm_m=upper * contrast, upper_thickness_m=thickness
    )
    bounds = sorted([upper / (2 * np.pi * r), upper * contrast / (2 * np.pi * r)])
    assert bounds[0] * (1 - 1e-9) <= found <= bounds[1] * (1 + 1e-9)


def test_far_away_only_the_lower_layer_counts():
    # Source: Tagg 1964: limit of the series far away.
    far = soil_potential(5000, soil_resistivity_ohm_m=100, lower_resistivity_ohm_m=400, upper_thickness_m=2)
    assert far == pytest.approx(400 / (2 * np.pi * 5000), rel=1e-3)


def test_hemisphere_has_the_resistance_it_was_made_for():
    # Source: hemispherical electrode, Tagg 1964.
    radius = equivalent_hemisphere_radius(12.5, soil_resistivity_ohm_m=300)
    assert surface_potential(radius, soil_resistivity_ohm_m=300) == pytest.approx(12.5)


def test_transferred_voltage_of_a_lone_tower_is_the_text_book_form():
    # Source: Tagg 1964: EPR (1 - a/r), a the equivalent hemisphere.
    rho, resistance, current = 100.0, 10.0, 500.0
    radius = equivalent_hemisphere_radius(resistance, soil_resistivity_ohm_m=rho)
    found = transferred_voltage(resistance * current, current, surface_potential(80, soil_resistivity_ohm_m=rho))
    assert found == pytest.approx(resistance * current * (1 - radius / 80))


@pytest.mark.parametrize(
    ("soil", "message"),
    [
        ({"soil_resistivity_ohm_m": 0}, "is 0"),
        ({"soil_resistivity_ohm_m": [100, np.nan]}, "nan at index 1"),
        ({"soil_resistivity_ohm_m": 100, "lower_resistivity_ohm_m": 50}, "both"),
        ({"soil_resistivity_ohm_m": 100, "upper_thickness_m": 3}, "both"),
        (
            {"soil_resistivity_ohm_m": 1e6, "lower_resistivity_ohm_m": 1, "upper_thickness_m": 3},
            "Contrast of the two layers is 1e\\+06",
        ),
        ({"soil_resistivity_ohm_m": 100, "lower_resistivity_ohm_m": 50, "upper_thickness_m": -3}, "is -3"),
    ],
)
def test_values_out_of_range_are_named(soil, message):
    # No source: this package's own check of what it is given.
    with pytest.raises(InputRangeError, match=message):
        soil_potential(10, **soil)


def test_distance_zero_is_refused():
    # No source: this package's own check of what it is given.
    with pytest.raises(InputRangeError, match="distance_m is 0"):
        surface_potential(0, soil_resistivity_ohm_m=100)
