"""Lead-to-lead coupling against double integration, closed forms and long parallel wires."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from layoutplan.electrical import complex_depth, lead_mutual_impedance, surface_impedance
from layoutplan.errors import InputRangeError

SOIL = {"soil_resistivity_ohm_m": 100.0, "frequency_hz": 50.0}
POINTS = st.tuples(st.floats(-200, 200), st.floats(-200, 200))


def foster(first, second, rho, f):
    """Foster's kernel (1931) integrated over both leads."""
    g = 1 / complex_depth(rho, f)
    a, b = np.array(first, float), np.array(second, float)

    def kernel(s, t, take):
        r = np.hypot(*(a[0] + s * (a[1] - a[0]) - b[0] - t * (b[1] - b[0])))
        return take(rho / (2 * np.pi * r**3) * (1 - (1 + g * r) * np.exp(-g * r)))

    parts = [
        integrate.dblquad(kernel, 0, 1, 0, 1, args=(take,), epsabs=1e-12, epsrel=1e-9)[0] for take in (np.real, np.imag)
    ]
    return complex(*parts) * ((a[1] - a[0]) @ (b[1] - b[0]))


def test_parallel_leads_reference():
    # Source: Foster 1931, own quadrature apart from this package: two leads of 50 m, 2 m apart.
    found = lead_mutual_impedance([[0, 0], [50, 0]], [[0, 2], [50, 2]], **SOIL)
    assert found == pytest.approx(7e-5 + 0.00920j, abs=6e-6)


@pytest.mark.parametrize(
    ("first", "second", "rho", "f"),
    [
        ([[0, 0], [100, 0]], [[3, 5], [70, 70]], 100, 50),
        ([[0, 0], [100, 0]], [[0, 20], [-100, 20]], 30, 5000),
        ([[0, 0], [250, 0]], [[0, 4], [240, 60]], 1000, 128),
    ],
)
def test_equals_double_integration(first, second, rho, f):
    # Source: Foster 1931, own quadrature.
    found = lead_mutual_impedance(first, second, soil_resistivity_ohm_m=rho, frequency_hz=f)
    assert found == pytest.approx(foster(first, second, rho, f), rel=1e-6)


@pytest.mark.parametrize(("a", "b", "angle"), [(100, 100, 45), (100, 60, 120), (100, 100, 2), (80, 150, 180)])
def test_common_corner_has_the_neumann_closed_form(a, b, angle):
    # two straight wires from one point without earth (Grover, Inductance Calculations, 1946, ch. 7, from memory):
    # M = (mu0/4 pi) 2 cos e [a artanh(b/(a+R)) + b artanh(a/(b+R))]; earth so poor that its part vanishes
    e = np.radians(angle)
    span = np.hypot(a - b * np.cos(e), b * np.sin(e))
    neumann = 2 * np.cos(e) * (a * np.arctanh(b / (a + span)) + b * np.arctanh(a / (b + span)))
    first, second = [[0, 0], [a, 0]], [[0, 0], [b * np.cos(e), b * np.sin(e)]]
    found = lead_mutual_impedance(first, second, soil_resistivity_ohm_m=1e16, frequency_hz=50)
    assert found.imag == pytest.approx(2 * np.pi * 50 * 1e-7 * neumann, rel=1e-5)


def test_long_parallel_leads_tend_to_the_infinite_pair():
    # Source: Sunde 1949, both on the surface.
    long = [[0, -30_000], [0, 30_000]]
    found = lead_mutual_impedance([[50, -50], [50, 50]], long, **SOIL)
    assert found / 100 == pytest.approx(surface_impedance(50, **SOIL), rel=1e-3)


@given(st.floats(20, 200), st.floats(20, 200))
def test_leads_at_a_right_angle_do_not_couple(a, b):
    # Source: symmetry of Foster's kernel (1931).
    assert abs(lead_mutual_impedance([[0, 0], [a, 0]], [[0, 0], [0, b]], **SOIL)) < 1e-15


@given(POINTS, POINTS, POINTS, POINTS)
def test_coupling_is_reciprocal(p, q, r, s):
    # Derived here: Foster's double integral is the same with its two wires exchanged.
    first, second = [p, q], [[r[0] + 500, r[1]], [s[0] + 500, s[1]]]
    there, back = lead_mutual_impedance(first, second, **SOIL), lead_mutual_impedance(second, first, **SOIL)
    assert there == pytest.approx(back, rel=1e-6, abs=1e-9)


def test_corners_add_up_and_repeated_ones_do_nothing():
    # Derived here: an integral over a bent wire is the sum over its pieces; a piece of no length adds nothing.
    bent, second = [[0, 0], [60, 10], [90, 70]], [[0, 0], [-40, 90], [-100, 100]]
    whole = lead_mutual_impedance(bent, second, **SOIL)
    parts = sum(lead_mutual_impedance(bent[i : i + 2], second[j : j + 2], **SOIL) for i in range(2) for j in range(2))
    assert whole == pytest.approx(parts, rel=1e-12)
    padded = lead_mutual_impedance([[0, 0], *bent, bent[-1]], second, **SOIL)
    assert padded == pytest.approx(whole, rel=1e-12)


def test_many_pairs_and_frequencies_at_once():
    # Derived here: a pair does not know of the others, so each is as it is alone.
    rng = np.random.default_rng(2)
    first, second = rng.uniform(0, 100, (5, 2, 2)), rng.uniform(300, 400, (5, 2, 2))
    frequency = np.array([50.0, 128.0, 1000.0])[:, None]
    found = lead_mutual_impedance(first, second, soil_resistivity_ohm_m=100, frequency_hz=frequency)
    assert found.shape == (3, 5)
    alone = lead_mutual_impedance(first[4], second[4], soil_resistivity_ohm_m=100, frequency_hz=128)
    assert found[1, 4] == pytest.approx(alone, rel=1e-12)


def test_leads_in_one_trace_are_refused():
    # No source: this package's own check of what it is given.
    with pytest.raises(InputRangeError, match="same trace"):
        lead_mutual_impedance([[0, 0], [100, 0]], [[0, 0], [80, 0]], **SOIL)
