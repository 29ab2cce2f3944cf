"""Carson's and Neumann's impedances of the reference against published values, closed forms and each other.

Sources: Carson 1926, Sunde 1949, Deri et al. 1981; Foster 1931.
"""

import numpy as np
import pytest
from scipy.special import kv

from .data import wire
from .earth_return import DEPTHS, carson, images, locally_infinite, neumann, propagation, reflection

FAR = np.array([[0.0, -1e5]]), np.array([[0.0, 1e5]])


@pytest.mark.parametrize(
    ("heights", "apart", "hz", "expected"),
    [((20.0, 0.0), 100.0, 50.0, 0.04745 + 0.14041j), ((10.0, 10.0), 10.0, 60.0, 0.05774 + 0.33656j)],
)
def test_carson_public_values(heights, apart, hz, expected):
    # Carson 1926, per km at 100 ohm m; two public programs agree with these to 3e-6
    assert carson(*heights, apart, 100.0, hz) * 1e3 == pytest.approx(expected, abs=6e-6)


@pytest.mark.parametrize("hz", [50.0, 1000.0])
@pytest.mark.parametrize("apart", [5.0, 50.0, 800.0])
def test_carson_on_the_surface_is_sundes_closed_form(apart, hz):
    g = propagation(100.0, hz)
    sunde = 100 / (np.pi * apart**2) * (1 - g * apart * kv(1, g * apart))  # Sunde 1949
    assert carson(0.0, 0.0, apart, 100.0, hz) == pytest.approx(sunde, rel=1e-5)


def test_images_reflect_as_the_ground_does():
    strengths, depths = images("exact")
    t = np.geomspace(1e-5, 1e5, 5000) * np.exp(-0.25j * np.pi)
    assert np.abs(np.exp(-np.outer(t, depths)) @ strengths - reflection(t)).max() < 1e-3
    assert [strengths @ DEPTHS**n for n in range(4)] == pytest.approx([1, 2, 4, 6])


@pytest.mark.parametrize("soil", [30.0, 100.0, 3000.0])
@pytest.mark.parametrize("hz", [50.0, 110.0, 1000.0])
@pytest.mark.parametrize(("heights", "apart"), [((13.0, 18.6), 4.5), ((20.0, 0.0), 100.0), ((15.0, 22.9), 600.0)])
def test_a_long_span_by_neumann_is_carsons(heights, apart, hz, soil):
    piece = np.array([[apart, -50.0], [apart, 50.0]])
    found = neumann(piece, heights[0], *FAR, np.array([heights[1]]), np.array([soil]), hz)[0] / 100
    small = 5e-4 * 4e-7 * np.pi * hz  # many skin depths off next to nothing is left to be compared
    assert found == pytest.approx(carson(*heights, apart, soil, hz), rel=2e-3, abs=small)


def test_one_image_is_deris_formula():
    # Deri et al. 1981, h 20/0, d 100, 100 ohm m, 50 Hz
    piece = np.array([[100.0, -50.0], [100.0, 50.0]])
    found = neumann(piece, 0.0, *FAR, np.array([20.0]), np.array([100.0]), 50.0, "deri")[0] * 10
    assert found == pytest.approx(0.04818 + 0.14475j, abs=6e-6)


@pytest.mark.parametrize("apart", [0.006, 10.0])
def test_two_equal_parallel_spans_by_neumann(apart):
    """Closed form of the double integral without ground: 2 [L asinh(L/D) - sqrt(L^2 + D^2) + D]."""
    length, high = 300.0, 1e9
    piece = np.array([[0.0, 0.0], [0.0, length]])
    found = neumann(piece, high, piece[:1], piece[1:], np.array([high]), np.array([100.0]), 50.0, least_m=apart)[0]
    closed = 2 * (length * np.arcsinh(length / apart) - np.hypot(length, apart) + apart)
    assert found.imag / (2 * np.pi * 50e-7) == pytest.approx(closed, rel=1e-6)


def test_bundle_of_two():
    two = wire("A", 0, 20, 0, 0.01, 0, sub_conductors=2, spacing_m=0.4)
    assert two.gmr_m == pytest.approx(np.sqrt(0.7788 * 0.01 * 0.4), rel=1e-5)


def test_spans_abreast_are_coupled_by_carson_for_the_length_they_are():
    """200 m of the first, 100 m of the second, which is counted the other way round."""
    piece = np.array([[40.0, 100.0], [40.0, 400.0]])
    start, end = np.array([[0.0, 0.0], [0.0, 600.0]]), np.array([[0.0, 300.0], [0.0, 300.0]])
    found = locally_infinite(piece, 18.0, start, end, np.array([13.0, 13.0]), np.array([100.0, 100.0]), 50.0)
    expected = carson(18.0, 13.0, 40.0, 100.0, 50.0) * np.array([200.0, -100.0])
    assert found == pytest.approx(expected, rel=2e-3)


def test_crossing_at_a_right_angle_does_not_couple():
    piece, start, end = np.array([[0.0, -50.0], [0.0, 50.0]]), np.array([[-50.0, 0.0]]), np.array([[50.0, 0.0]])
    for coupled in (neumann, locally_infinite):
        assert coupled(piece, 18.0, start, end, np.array([13.0]), np.array([100.0]), 50.0)[0] == pytest.approx(
            0, abs=1e-12
        )


def test_spans_that_cross_are_integrated_in_pieces():
    """One crosses the other at a third of its length, 5 m above: as the sum of two pieces that end there."""
    piece = np.array([[0.0, 0.0], [300.0, 0.0]])
    start, end = np.array([[20.0, -60.0]]), np.array([[180.0, 60.0]])
    args = (start, end, np.array([15.0]), np.array([100.0]), 50.0)
    whole = neumann(piece, 20.0, *args)
    fine = sum(
        neumann(np.array([[a, 0.0], [b, 0.0]]), 20.0, *args) for a, b in ((0, 90), (90, 100), (100, 110), (110, 300))
    )
    assert whole == pytest.approx(fine, rel=1e-5)
