"""Voltage per ampere of every span: what `lead_emf` adds up, against it, a double integration, and reciprocity."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from layoutplan.electrical import (
    complex_depth,
    complex_depth_impedance,
    conductor_vertices,
    lead_emf,
    span_transfer_impedance,
)
from layoutplan.errors import InputRangeError

SOIL = {"soil_resistivity_ohm_m": 100.0, "frequency_hz": 50.0}
TOWERS = np.array([[0.0, -900.0], [20.0, -600.0], [0.0, -290.0], [0.0, 0.0], [90.0, 280.0], [200.0, 560.0]])
OFFSETS, HEIGHTS = [-8.0, 0.0, 8.0, 5.5], [15.0, 15.0, 16.0, 24.0]
VERTICES = conductor_vertices(TOWERS, OFFSETS, HEIGHTS)


def spans(lead, vertices=VERTICES, **more):
    return span_transfer_impedance(np.asarray(lead, float)[None, None], vertices[None], **(SOIL | more))[0, 0]


@st.composite
def leads(draw):
    turn, length = np.radians(draw(st.floats(0, 360))), draw(st.floats(10, 300))
    start = np.array([draw(st.floats(-300, 300)), draw(st.floats(-800, 500))])
    return np.array([start, start + length * np.array([np.sin(turn), np.cos(turn)])])


@given(leads(), st.integers(0, 2**32 - 1))
def test_summed_over_spans_it_is_the_voltage_on_the_lead(lead, seed):
    # Source: `lead_emf`, held against own quadrature in test_induction.py.
    rng = np.random.default_rng(seed)
    current = rng.normal(size=(5, 4, 2)) + 1j * rng.normal(size=(5, 4, 2))
    table = spans(lead, order=10)
    expected = lead_emf(lead, VERTICES, current, **SOIL)
    scale = (np.abs(table)[..., None] * np.abs(current)).sum(axis=(0, 1))
    assert (np.abs(np.tensordot(table, current, 2) - expected) < 1e-4 * scale).all()


@given(leads())
def test_four_points_a_panel_are_enough(lead):
    """Within a thousandth of the greatest span of ten points, wherever the lead runs, under the line as well."""
    # Derived here: a quadrature that has converged does not change with more points.
    four, ten = spans(lead), spans(lead, order=10)
    assert np.abs(four - ten).max() < 1e-3 * np.abs(ten).max()


@pytest.mark.parametrize("height", [0.0, 9.0, 30.0])
@pytest.mark.parametrize(("rho", "hz"), [(100.0, 50.0), (1000.0, 1000.0)])
def test_double_integration(height, rho, hz):
    """1/r - 1/r' over span and lead, the image at the complex depth."""
    # Source: Deri et al. 1981, own quadrature.
    lead, a, b, z = np.array([[40.0, -50.0], [90.0, 70.0]]), np.array([0.0, -100.0]), np.array([10.0, 250.0]), 15.0
    along, way, image = b - a, lead[1] - lead[0], 2 * complex_depth(rho, hz) + z + height

    def kernel(s, t, take):
        square = np.sum((lead[0] + t * way - a - s * along) ** 2)
        return take(1 / np.sqrt(square + (z - height) ** 2) - 1 / np.sqrt(square + image**2))

    parts = [integrate.dblquad(kernel, 0, 1, 0, 1, args=(take,), epsrel=1e-9)[0] for take in (np.real, np.imag)]
    expected = -1j * 2 * np.pi * hz * 1e-7 * (along @ way) * complex(*parts)
    vertices = np.array([[[*a, z]], [[*b, z]]])
    found = spans(lead, vertices, soil_resistivity_ohm_m=rho, frequency_hz=hz, lead_height_m=height, order=10)
    assert found[0, 0] == pytest.approx(expected, rel=1e-6)


@given(
    st.floats(5, 40), st.floats(5, 40), st.floats(10, 400), st.floats(-200, 200), st.floats(0, 360), st.floats(50, 400)
)
def test_two_wires_drive_each_other_alike(height, other, apart, ahead, turn_deg, length):
    """Reciprocity: whichever of the two carries the ampere."""
    # Derived here: Neumann's integral is the same with its two wires exchanged.
    turn = np.radians(turn_deg)
    one = np.array([[0.0, 0.0], [0.0, 300.0]])
    two = np.array([apart, ahead]) + np.array([[0.0, 0.0], [length * np.sin(turn), length * np.cos(turn)]])
    there = spans(one, np.column_stack((two, [other] * 2))[:, None], lead_height_m=height, order=10)[0, 0]
    back = spans(two, np.column_stack((one, [height] * 2))[:, None], lead_height_m=other, order=10)[0, 0]
    size = 2e-7 * np.pi * 50 * 300 * length / max(apart, 50)
    assert abs(there - back) < 1e-3 * max(abs(there), size)


@pytest.mark.parametrize("apart", [10.0, 35.0, 200.0])
@pytest.mark.parametrize(("rho", "hz"), [(100.0, 50.0), (2000.0, 60.0), (100.0, 1000.0)])
def test_long_parallel_wires_have_the_impedance_of_the_complex_depth(apart, rho, hz):
    """In the middle of a line of a thousand skin depths: minus the mutual impedance per metre of endless wires."""
    # Source: Deri et al. 1981, closed form of the endless line.
    reach = 100 * abs(complex_depth(rho, hz))
    vertices = np.array([[[0.0, -reach, 20.0]], [[0.0, reach, 20.0]]])
    found = spans([[apart, -150.0], [apart, 150.0]], vertices, soil_resistivity_ohm_m=rho, frequency_hz=hz,
                  lead_height_m=27.0, order=10)[0, 0]  # fmt: skip
    expected = complex_depth_impedance(20.0, 27.0, apart, soil_resistivity_ohm_m=rho, frequency_hz=hz)
    assert found == pytest.approx(-300 * expected, rel=1e-3)


def test_turned_round_it_changes_its_sign():
    # Derived here: Neumann's integral holds the cosine between the wires, which changes its sign.
    lead = np.array([[30.0, -100.0], [120.0, 60.0]])
    assert spans(lead[::-1]) == pytest.approx(-spans(lead), rel=1e-9)
    assert spans(lead, VERTICES[::-1])[::-1] == pytest.approx(-spans(lead), rel=1e-9)


def test_span_of_no_length_drives_nothing():
    # No source: this package's own bookkeeping.
    repeated = np.concatenate((VERTICES, VERTICES[-1:]))
    found = spans([[30.0, 0.0], [130.0, 40.0]], repeated)
    assert (found[-1] == 0).all()
    assert found[:-1] == pytest.approx(spans([[30.0, 0.0], [130.0, 40.0]]), rel=1e-9)


def test_places_and_leads_side_by_side_are_as_each_alone():
    # Derived here: a lead does not know of the others, so each is as it is alone.
    both = np.array([[[[30.0, 0.0], [130.0, 40.0]], [[0.0, 0.0], [-90.0, 10.0]]]] * 2)
    both[1] += [15.0, -40.0]
    vertices = np.stack((VERTICES, VERTICES + np.array([40.0, 0.0, 3.0])))
    found = span_transfer_impedance(both, vertices, **SOIL)
    assert found.shape == (2, 2, 5, 4)
    for t in range(2):
        for m in range(2):
            assert found[t, m] == pytest.approx(spans(both[t, m], vertices[t]), rel=1e-9)


def test_wire_in_the_place_of_another_is_finite():
    """Two lines given on the same towers may have their earth wires at one place."""
    # No source: this package's own bookkeeping.
    wire = np.array([[[0.0, 0.0, 27.0]], [[0.0, 300.0, 27.0]]])
    found = spans([[0.0, 0.0], [0.0, 300.0]], wire, lead_height_m=27.0)
    assert np.isfinite(found).all()
    assert 0 < abs(found[0, 0]) < 1.0


@pytest.mark.parametrize("shape", [(1, 2, 2), (2, 1, 2, 2), (1, 1, 2, 3)])
def test_shapes_that_do_not_belong_together(shape):
    # No source: this package's own check of what it is given.
    with pytest.raises(InputRangeError, match="do not belong together"):
        span_transfer_impedance(np.zeros(shape), VERTICES[None], **SOIL)
