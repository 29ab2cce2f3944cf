"""Rods against Dwight's formulas and a double integration."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from layoutplan.electrical import (
    rod_mutual_resistance,
    rod_resistance,
    rod_voltage_share,
    rods_for_target,
    rods_resistance,
)
from layoutplan.errors import InputRangeError

ROD = {"length_m": 1.0, "radius_m": 0.008}


def in_line(count, spacing):
    return np.column_stack([spacing * np.arange(count), np.zeros(count)])


@pytest.mark.parametrize(
    ("count", "expected"),
    # Source: H. B. Dwight, Electr. Eng. 55 (1936), table I, evaluated: rod 1 m, 16 mm, 100 Ω·m; groups with the mutual
    # resistance from his three-term series, which at a spacing of two rod lengths is 0.8 % above its full sum
    [(1, 82.99), (2, 45.24), (3, 31.85)],
)
def test_dwight(count, expected):
    assert rods_resistance(100, in_line(count, 2.0), **ROD) == pytest.approx(expected, rel=1e-3)


def test_one_rod_is_the_formula():
    # Source: Dwight 1936, table I.
    assert rod_resistance(100, **ROD) == pytest.approx(100 / (2 * np.pi) * (np.log(4 / 0.008) - 1), rel=1e-12)
    assert rods_resistance(100, [[3, 4]], **ROD) == pytest.approx(82.993, abs=5e-4)


@pytest.mark.parametrize("spacing", [0.3, 1.0, 2.0, 7.0, 500.0])
def test_mutual_resistance_equals_double_integration(spacing):
    # Source: mean potential of a line source and its image, own quadrature.
    def kernel(z, other):
        return 1 / np.hypot(spacing, z - other) + 1 / np.hypot(spacing, z + other)

    expected = 100 / (4 * np.pi) * integrate.dblquad(kernel, 0, 1, 0, 1, epsrel=1e-10)[0]
    assert rod_mutual_resistance(100, length_m=1, spacing_m=spacing) == pytest.approx(expected, rel=1e-8)


def test_mutual_resistance_has_dwights_series():
    # Source: Dwight 1936, his series for two rods.
    s = 6.0
    series = 100 / (2 * np.pi * s) * (1 - 1 / (3 * s**2) + 2 / (5 * s**4))
    assert rod_mutual_resistance(100, length_m=1, spacing_m=s) == pytest.approx(series, rel=3e-5)


def test_mutual_resistance_at_one_radius_is_the_rod_itself():
    # Derived here: Dwight's mean potential along a line source at the distance of its own radius is the rod itself.
    assert rod_mutual_resistance(100, length_m=1, spacing_m=0.001) == pytest.approx(
        rod_resistance(100, length_m=1, radius_m=0.001), rel=1e-3
    )


@given(st.integers(2, 12), st.floats(1, 20))
def test_more_rods_help_but_never_as_much_as_their_number(count, spacing):
    # Source: Sunde 1949, ch. 3: rods in a group hinder each other (from memory).
    several = rods_resistance(100, in_line(count, spacing), **ROD)
    assert rod_resistance(100, **ROD) / count < several < rods_resistance(100, in_line(count - 1, spacing), **ROD)


@given(st.floats(1, 1e5))
def test_resistance_is_proportional_to_resistivity(rho):
    # Derived here: every term of Dwight's sum is in proportion to the resistivity.
    assert rods_resistance(rho, in_line(4, 3.0), **ROD) == pytest.approx(
        rho * rods_resistance(1, in_line(4, 3.0), **ROD), rel=1e-12
    )


@pytest.mark.parametrize(("near", "far"), [(0.0, 1.0), (0.25, 1.25), (0.5, 3.0), (2.0, 1e6)])
def test_voltage_about_a_rod_equals_integration_along_it(near, far):
    """Line source and its image: the potential of the surface at r is rho I/(2 pi L) times the integral of 1/R."""
    # Source: Sunde 1949, ch. 3, own quadrature.

    def potential(r):
        return 100 / (2 * np.pi) * integrate.quad(lambda z: 1 / np.hypot(r, z), 0, 1)[0]

    on_rod = rod_resistance(100, **ROD)
    expected = ((on_rod if near == 0 else potential(near)) - potential(far)) / on_rod
    assert rod_voltage_share(near, far, **ROD) == pytest.approx(expected, rel=1e-8)


def test_voltage_about_a_rod_in_numbers():
    """A rod of 1 m and 16 mm (formula to three digits): five sixths of its voltage stand within the first metre."""
    # Source: Sunde 1949, ch. 3, by hand.
    assert rod_voltage_share(0, 1, **ROD) == pytest.approx(0.831, abs=5e-4)
    assert rod_voltage_share(0.25, 1.25, **ROD) == pytest.approx(0.261, abs=5e-4)
    assert rod_voltage_share(0, 1e9, **ROD) == pytest.approx(1, abs=1e-6)


@given(st.lists(st.floats(0.008, 1e3), min_size=3, max_size=3))
def test_voltages_about_a_rod_add_up_and_fall_outwards(places):
    # Derived here: voltages between places on one way add up.
    near, between, far = sorted(places)
    parts = [rod_voltage_share(*pair, **ROD) for pair in ((near, between), (between, far), (near, far))]
    assert parts[0] + parts[1] == pytest.approx(parts[2], abs=1e-12)
    assert min(parts) >= 0
    assert parts[2] <= rod_voltage_share(0, far, **ROD) + 1e-12
    assert rod_voltage_share(far, near, **ROD) == pytest.approx(-parts[2], abs=1e-12)


def test_on_the_rod_there_is_no_voltage():
    # Derived here: no potential difference within the metal of the rod.
    assert rod_voltage_share(0.0, 0.008, **ROD) == 0
    assert rod_voltage_share([0.0, 0.003], 1.0, **ROD).tolist() == [rod_voltage_share(0.0, 1.0, **ROD)] * 2


def test_rods_for_target_takes_the_fewest_and_says_when_it_cannot():
    # Derived here: put back in, the number of rods gives the target, one less does not.
    plan = rods_for_target([100, 1000, 1e5], target_ohm=300, spacing_m=3, available=6, **ROD)
    assert plan.rods.tolist() == [1, 4, 6]
    assert plan.reached.tolist() == [True, True, False]
    assert plan.resistance_ohm[1] == pytest.approx(rods_resistance(1000, in_line(4, 3.0), **ROD))
    assert rods_resistance(1000, in_line(3, 3.0), **ROD) > 300
    assert plan.resistance_ohm[2] == pytest.approx(rods_resistance(1e5, in_line(6, 3.0), **ROD))


def test_target_met_exactly_is_met():
    # Derived here: a target equal to what three rods give is reached by three.
    target = float(rods_resistance(1000, in_line(3, 3.0), **ROD))
    assert rods_for_target(1000, target_ohm=target, spacing_m=3, available=6, **ROD).rods == 3


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: rod_resistance(100, length_m=1, radius_m=8), "is it in mm"),
        (lambda: rod_resistance(-1, **ROD), "soil_resistivity_ohm_m is -1"),
        (lambda: rods_resistance(100, [[0, 0], [0, 0.001]], **ROD), "one place"),
        (lambda: rods_for_target(100, target_ohm=0, spacing_m=3, available=6, **ROD), "target_ohm is 0"),
        (lambda: rods_for_target(100, target_ohm=10, spacing_m=3, available=0, **ROD), "at least one"),
        (lambda: rod_mutual_resistance(100, length_m=1, spacing_m=np.nan), "spacing_m is nan"),
        (lambda: rod_voltage_share(0, 1, length_m=1, radius_m=8), "is it in mm"),
        (lambda: rod_voltage_share(-1, 1, **ROD), "distance_m is -1"),
    ],
)
def test_values_out_of_range_are_named(call, message):
    # No source: this package's own check of what it is given.
    with pytest.raises(InputRangeError, match=message):
        call()
