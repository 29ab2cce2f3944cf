"""Earth-return impedances against quadrature, special functions and two public programs' results."""

import itertools

import mpmath
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from layoutplan.electrical import (
    carson_impedance,
    complex_depth,
    complex_depth_impedance,
    impedance_matrix,
    skin_depth,
    surface_impedance,
)
from layoutplan.errors import InputRangeError

MILE, FOOT = 1609.344, 0.3048
HEIGHTS = st.floats(0.5, 60)
DISTANCES = st.floats(0.01, 2000)
SOILS = st.floats(1, 1e4)


def per_km(model, h1, h2, d, rho, f):
    return 1e3 * model(h1, h2, d, soil_resistivity_ohm_m=rho, frequency_hz=f)


def carson_by_quadrature(h1, h2, d, rho, f):
    """Carson's integral as he wrote it (1926), by adaptive quadrature of real and imaginary part."""
    omega_mu = 2 * np.pi * f * 4e-7 * np.pi
    g2 = 1j * omega_mu / rho
    scale = abs(g2) ** 0.5

    def part(t, take):
        return take(np.exp(-(h1 + h2) * t) * np.cos(d * t) / (t + np.sqrt(t**2 + g2)))

    edges = [0, *(scale * np.geomspace(1e-3, 1e4, 15))]
    pieces = [
        integrate.quad(part, a, b, args=(np.real,), limit=400)[0]
        + 1j * integrate.quad(part, a, b, args=(np.imag,), limit=400)[0]
        for a, b in itertools.pairwise(edges)
    ]
    distances = np.log(np.hypot(h1 + h2, d) / np.hypot(h1 - h2, d))
    return 1j * omega_mu / (2 * np.pi) * (distances + 2 * sum(pieces))


def carson_by_struve(h1, h2, d, rho, f):
    """Closed form of the integral by Struve and Bessel functions of complex argument, 60 digits and more."""
    with mpmath.workdps(160):
        omega_mu = 2 * mpmath.pi * f * mpmath.mpf("4e-7") * mpmath.pi
        g = mpmath.sqrt(1j * omega_mu / rho)
        total = 0
        for z in (g * mpmath.mpc(h1 + h2, d), g * mpmath.mpc(h1 + h2, -d)):
            total += (mpmath.pi / 2 * (mpmath.struveh(1, z) - mpmath.bessely(1, z)) - 1 / z) / z
        distances = mpmath.log(mpmath.hypot(h1 + h2, d) / mpmath.hypot(h1 - h2, d))
        return complex(1j * omega_mu / (2 * mpmath.pi) * (distances + total))


@pytest.mark.parametrize(
    ("model", "h1", "h2", "d", "rho", "f", "expected"),
    [
        # Source: two own quadratures of Carson 1926 and Deri et al. 1981, apart from this package, to the digits shown;
        # a public distribution simulator's full-Carson and complex-depth options agree to 3e-6 and 4e-8.
        (carson_impedance, 20, 0, 100, 100, 50, 0.04745 + 0.14041j),
        (complex_depth_impedance, 20, 0, 100, 100, 50, 0.04818 + 0.14475j),
        (carson_impedance, 10, 10, 10, 100, 60, 0.05774 + 0.33656j),
        (complex_depth_impedance, 10, 10, 10, 100, 60, 0.05807 + 0.34200j),
        (carson_impedance, 0, 0, 50, 100, 50, 0.04906 + 0.18385j),
    ],
)
def test_reference_values(model, h1, h2, d, rho, f, expected):
    assert per_km(model, h1, h2, d, rho, f) == pytest.approx(expected, abs=7.1e-6)


@pytest.mark.parametrize(
    ("h1", "h2", "d", "rho", "f"),
    [
        (20, 0, 100, 100, 50),
        (10, 10, 10, 100, 60),
        (15, 25, 0, 1000, 50),
        (0, 0, 50, 100, 50),
        (1, 0, 3, 1e4, 16.7),
        (30, 12, 5000, 10, 5000),
        (30, 10, 10_000, 1e4, 50),
    ],
)
def test_carson_equals_struve_closed_form(h1, h2, d, rho, f):
    # Source: Carson 1926 in closed form by Struve and Bessel functions (from memory), evaluated with 160 digits.
    found = carson_impedance(h1, h2, d, soil_resistivity_ohm_m=rho, frequency_hz=f)
    assert found == pytest.approx(carson_by_struve(h1, h2, d, rho, f), rel=1e-8)


@pytest.mark.parametrize(("h1", "h2", "d", "rho", "f"), [(20, 0, 100, 100, 50), (10, 12, 10, 1000, 60)])
def test_carson_equals_adaptive_quadrature(h1, h2, d, rho, f):
    # Source: Carson 1926, own quadrature of his integral.
    found = carson_impedance(h1, h2, d, soil_resistivity_ohm_m=rho, frequency_hz=f)
    assert found == pytest.approx(carson_by_quadrature(h1, h2, d, rho, f), rel=1e-7)


@pytest.mark.parametrize("d", [1e-3, 0.05, 1, 50, 3000])
def test_both_on_surface_is_carson_at_height_zero(d):
    # Source: Sunde 1949: Carson's integral for both heights zero is a Bessel function.
    surface = surface_impedance(d, soil_resistivity_ohm_m=100, frequency_hz=50)
    assert surface == pytest.approx(carson_impedance(0, 0, d, soil_resistivity_ohm_m=100, frequency_hz=50), rel=1e-7)
    if d == 50:
        assert 1e3 * surface == pytest.approx(0.04906 + 0.18385j, abs=7.1e-6)


def test_skin_depth_is_503_root_rho_over_f():
    # Source: definition of the skin depth, Wheeler 1942; 503 as every handbook has it (from memory).
    assert skin_depth(100, 50) == pytest.approx(503.29 * 2**0.5, rel=1e-5)
    assert complex_depth(100, 50) == pytest.approx(skin_depth(100, 50) * (1 - 1j) / 2)


@given(h1=HEIGHTS, h2=HEIGHTS, d=DISTANCES, rho=SOILS)
def test_mutual_impedance_is_reciprocal(h1, h2, d, rho):
    # Derived here: both formulas hold heights as a sum or a squared difference, the distance as a square.
    for model in (carson_impedance, complex_depth_impedance):
        there = per_km(model, h1, h2, d, rho, 50)
        assert there == pytest.approx(per_km(model, h2, h1, -d, rho, 50), rel=1e-12)


@given(h1=HEIGHTS, h2=HEIGHTS, share=st.floats(1e-3, 10), rho=st.floats(30, 1e4))
def test_complex_depth_lies_above_carson_by_the_documented_margin(h1, h2, share, rho):
    # Source: Deri et al. 1981 against Carson 1926; the margins are own figures.
    d = share * float(skin_depth(rho, 50))
    exact, quick = per_km(carson_impedance, h1, h2, d, rho, 50), per_km(complex_depth_impedance, h1, h2, d, rho, 50)
    margin = 0.04 if share <= 0.3 else 0.075 if share <= 1 else 0.135
    assert abs(quick - exact) < margin * abs(exact)
    if share <= 1:
        assert abs(quick) > abs(exact)


def ieee_13_node(model=carson_impedance):
    """Configuration 601 of the IEEE 13-node test feeder as ohm per mile, neutral eliminated.

    Conductor data: IEEE PES Test Feeder Working Group, 13-node feeder; positions of spacing 500 from memory.
    """
    z = MILE * impedance_matrix(
        FOOT * np.array([2.5, 0.0, 7.0, 4.0]),
        FOOT * np.array([28.0, 28.0, 28.0, 24.0]),
        FOOT * np.array([0.0313, 0.0313, 0.0313, 0.00814]),
        np.array([0.1859, 0.1859, 0.1859, 0.592]) / MILE,
        soil_resistivity_ohm_m=100,
        frequency_hz=60,
        model=model,
    )
    return z[:3, :3] - np.outer(z[:3, 3], z[3, :3]) / z[3, 3]


def test_ieee_13_node_feeder_matrix():
    # Source: IEEE 13-node test feeder, printed matrix of configuration 601, made with Carson's series cut after the
    # logarithm: 1.1e-3 from the integral.
    printed = [
        [0.3465 + 1.0179j, 0.1560 + 0.5017j, 0.1580 + 0.4236j],
        [0.1560 + 0.5017j, 0.3375 + 1.0478j, 0.1535 + 0.3849j],
        [0.1580 + 0.4236j, 0.1535 + 0.3849j, 0.3414 + 1.0348j],
    ]
    assert np.abs(ieee_13_node() - printed).max() < 1.3e-3


def test_ieee_13_node_with_log_term_only_equals_print():
    # Source: IEEE 13-node test feeder, printed matrix of configuration 601; Carson 1926, first terms.
    def carson_first_terms(h1, h2, d, *, soil_resistivity_ohm_m, frequency_hz):
        omega_mu = 2 * np.pi * frequency_hz * 4e-7 * np.pi
        k = np.hypot(h1 + h2, d) * np.sqrt(omega_mu / soil_resistivity_ohm_m)
        j = np.pi / 8 - 1j * (0.5 * np.log(k / 2) + 0.0386)
        distances = np.log(np.hypot(h1 + h2, d) / np.hypot(h1 - h2, d))
        return 1j * omega_mu / (2 * np.pi) * distances + omega_mu / np.pi * (np.pi / 8 + 1j * (j.imag))

    printed = [0.3465 + 1.0179j, 0.3375 + 1.0478j, 0.3414 + 1.0348j]
    assert np.abs(np.diag(ieee_13_node(carson_first_terms)) - printed).max() < 1e-4


def test_ieee_13_node_against_carsons_library():
    # Source: the package carsons, another implementation of Carson 1926.
    carsons = pytest.importorskip("carsons")

    class Feeder:
        phases = ("A", "B", "C", "N")
        frequency = 60
        resistance = {p: (0.592 if p == "N" else 0.1859) / MILE for p in phases}  # noqa: RUF012
        geometric_mean_radius = {p: FOOT * (0.00814 if p == "N" else 0.0313) for p in phases}  # noqa: RUF012
        wire_positions = {  # noqa: RUF012
            "A": (FOOT * 2.5, FOOT * 28),
            "B": (0.0, FOOT * 28),
            "C": (FOOT * 7, FOOT * 28),
            "N": (FOOT * 4, FOOT * 24),
        }

    expected = MILE * carsons.convert_geometric_model(Feeder())
    # the library keeps one term of P and two of Q of Carson's series
    assert np.abs(ieee_13_node() - expected).max() < 1.3e-3


@pytest.mark.parametrize(("name", "tolerance"), [("Carson", 1.3e-3), ("FullCarson", 2e-5)])
def test_ieee_13_node_against_a_distribution_simulator(name, tolerance):
    # Source: an open distribution simulator, another implementation of Carson 1926, by series and in full.
    dss = pytest.importorskip("opendssdirect").dss
    for line in (
        "clear",
        "set defaultbasefrequency=60",
        "new circuit.c basekv=4.16",
        "new wiredata.p gmr=0.0313 diam=0.927 rac=0.1859 normamps=730 runits=mi gmrunits=ft radunits=in",
        "new wiredata.n gmr=0.00814 diam=0.563 rac=0.592 normamps=340 runits=mi gmrunits=ft radunits=in",
        "new linegeometry.g nconds=4 nphases=3 reduce=yes cond=1 wire=p x=2.5 h=28 units=ft "
        "cond=2 wire=p x=0 h=28 units=ft cond=3 wire=p x=7 h=28 units=ft cond=4 wire=n x=4 h=24 units=ft",
        f"new line.l bus1=a bus2=b geometry=g length=1 units=mi earthmodel={name} rho=100",
    ):
        dss.Text.Command(line)
    dss.Solution.Solve()
    dss.Lines.Name("l")
    expected = np.reshape(dss.Lines.RMatrix(), (3, 3)) + 1j * np.reshape(dss.Lines.XMatrix(), (3, 3))
    assert np.abs(ieee_13_node() - expected).max() < tolerance


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"soil_resistivity_ohm_m": 0}, "soil_resistivity_ohm_m is 0"),
        ({"soil_resistivity_ohm_m": -100}, "greater than 0"),
        ({"soil_resistivity_ohm_m": float("nan")}, "nan"),
        ({"frequency_hz": 0}, "frequency_hz is 0"),
        ({"height_1_m": -1}, "height_1_m is -1"),
        ({"height_2_m": 10, "distance_m": 0}, "one place"),
    ],
)
def test_values_out_of_range_are_named(change, message):
    # No source: this package's own check of what it is given.
    values = {
        "height_1_m": 10,
        "height_2_m": 12,
        "distance_m": 5,
        "soil_resistivity_ohm_m": 100,
        "frequency_hz": 50,
    } | change
    for model in (carson_impedance, complex_depth_impedance):
        with pytest.raises(InputRangeError, match=message):
            model(**values)


def test_conductors_that_touch_are_refused():
    # No source: this package's own check of what it is given.
    with pytest.raises(InputRangeError, match="touch"):
        impedance_matrix([0, 0], [10, 10], 0.01, 1e-4, soil_resistivity_ohm_m=100, frequency_hz=50)
