"""Coupling from lead to lead, against the double integral of Foster's kernel.

Sources: Foster 1931 and Sunde 1949, by own quadrature.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from layoutplan.exposure import CouplingTable, measured
from layoutplan.exposure.coupling import coupling_ohm
from layoutplan.exposure.readings import readings

from .dense import DenseLine
from .reference import MU_0, depth
from .worlds import FLAT, WIRES, ends, flat_line, straight, world


def kernel(r: np.ndarray, rho: float, hz: float) -> np.ndarray:
    """rho/(2 pi r^3) [1 - (1 + g r) exp(-g r)] of wires on the surface (Foster 1931, Sunde 1949)."""
    gr = r / depth(rho, hz)
    series = gr**2 / 2 - gr**3 / 3 + gr**4 / 8
    return rho / (2 * np.pi * r**3) * np.where(abs(gr) < 1e-2, series, 1 - (1 + gr) * np.exp(-gr))


def mutual(h: np.ndarray, s: np.ndarray, rho: float, hz: float) -> complex:
    """Both leads begin at the tower: split along the diagonal, the factor x of the area takes the 1/r away."""
    node, weight = np.polynomial.legendre.leggauss(60)
    x, y = (node[:, None] + 1) / 2, (node + 1) / 2
    w = weight[:, None] * weight / 4
    total = 0.0
    for first, second in ((h, s), (s, h)):
        r = np.linalg.norm(x[..., None] * first - (x * y)[..., None] * second, axis=-1)
        total = total + (w * x * kernel(r, rho, hz)).sum()
    return complex(total * np.dot(h, s))


@pytest.mark.parametrize("hz", [110.0, 5000.0])
@pytest.mark.parametrize(
    ("h", "s", "a", "b"), [(90, 30, 120, 80), (90, 270, 120, 80), (90, 180, 60, 60), (60, 260, 140, 50)]
)
def test_coupling_of_two_leads(h, s, a, b, hz):
    network = world(flat_line(), method={"test_frequencies_hz": [hz]}).network()
    one, other = ends(h, a)[0], ends(s, b)[0]
    (found,) = coupling_ohm(network, one, other)
    assert found == pytest.approx(abs(mutual(one, other, 100.0, hz)), rel=2e-3, abs=1e-9)


def test_each_of_the_test_frequencies():
    frequencies = [128.0, 1000.0, 110.0]
    network = world(flat_line(), method={"test_frequencies_hz": frequencies}).network()
    one, other = ends(90.0, 100.0)[0], ends(30.0, 80.0)[0]
    expected = [abs(mutual(one, other, 100.0, hz)) for hz in frequencies]
    assert coupling_ohm(network, one, other) == pytest.approx(expected, rel=2e-3)


@pytest.mark.parametrize("legs_only", [True, False])
def test_what_coupling_makes_of_the_reading(whole_ground, legs_only):
    """The injected current drives it; the reading is divided by the legs' current, or by the injected one.

    Each at its own frequency: the greatest of one must not meet the greatest of the other.
    """
    frequencies = [110.0, 1000.0]
    network = world(flat_line(), method={"legs_only": legs_only, "test_frequencies_hz": frequencies}).network()
    one, other = ends(90.0, 100.0), ends(30.0, 80.0)
    found = readings(network, measured(network), np.array([20]), one, other)
    dense = DenseLine(straight(), [*FLAT, *WIRES], np.full(41, 10.0))
    for row, hz in enumerate(frequencies):
        _, legs = dense.reading(20, one[0], other[0], hz)
        expected = abs(mutual(one[0], other[0], 100.0, hz)) / (abs(legs) if legs_only else 1.0)
        true = 10.0 if legs_only else abs(dense.seen_ohm(20, hz))
        assert found.each_coupling_pct[row, 0] == pytest.approx(100 * expected / true, rel=2e-3)
    row = found.each_coupling_pct[:, 0].argmax()
    assert found.coupling_frequency_hz.tolist() == [frequencies[row]]
    assert found.coupling_pct[0] == pytest.approx(found.each_coupling_pct[row, 0], rel=1e-12)
    assert found.coupling_pct[0] == pytest.approx(100 * found.coupling_ohm[0] / found.each_expected_ohm[row, 0])


def checked(network: Any, reach: float, least: float, most: float) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(3)
    bearing, distance = rng.uniform(0, 360, 28), rng.uniform(20, reach, 28)
    i, j = np.triu_indices(28, 1)
    between = np.abs((bearing[i] - bearing[j] + 180) % 360 - 180)
    i, j = i[(between >= least) & (between <= most)], j[(between >= least) & (between <= most)]
    place = ends(bearing, distance)
    return CouplingTable(network, reach).ohm(bearing, distance)[0, i, j], coupling_ohm(network, place[i], place[j])[0]


@pytest.mark.parametrize(
    ("reach", "rho", "hz"),
    [(100.0, 1000.0, 110.0), (300.0, 20.0, 128.0), (143.0, 100.0, 5e3)],
)
def test_table_never_tells_less_than_there_is(reach, rho, hz):
    network = world(flat_line(), soil={"resistivity_ohm_m": rho}, method={"test_frequencies_hz": [hz]}).network()
    told, exact = checked(network, reach, 20.0, 180.0)
    assert (told >= exact).all()
    assert (told <= 1.04 * exact).all()
    told, exact = checked(network, reach, 5.0, 20.0)
    assert (told >= 0.97 * exact).all()
    assert (told <= 1.04 * exact).all()


def test_table_beyond_its_ends_takes_the_end():
    table = CouplingTable(world(flat_line()).network(), 143.0)
    near, least = (table.ohm(np.array([90.0, 270.0]), np.full(2, d))[0, 0, 1] for d in (5.0, 20.0))
    assert near == pytest.approx(least, rel=1e-12)
    side_by_side, five = (table.ohm(np.array([90.0, 90.0 + b]), np.full(2, 100.0))[0, 0, 1] for b in (1.0, 5.0))
    assert side_by_side == pytest.approx(five, rel=1e-12)
    assert table.ohm(np.array([359.0, 1.0, 300.0]), np.full(3, 100.0)) == pytest.approx(
        table.ohm(np.array([59.0, 61.0, 0.0]), np.full(3, 100.0)), rel=1e-9
    )


def test_leads_at_right_angles_do_not_couple():
    network = world(flat_line()).network()
    assert CouplingTable(network, 143.0).ohm(np.array([0.0, 90.0]), np.full(2, 100.0))[0, 0, 1] < 1e-9
    assert coupling_ohm(network, ends(0.0)[0], ends(90.0)[0])[0] < 1e-9
    assert 4e-7 * np.pi == MU_0
