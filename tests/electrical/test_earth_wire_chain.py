"""The chain of towers against a dense nodal solve, Endrenyi's closed form and Kirchhoff's laws."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.electrical import (
    chain_state,
    driving_point_impedance,
    ladder_impedance,
    mid_line_impedance,
)
from layoutplan.errors import InputRangeError

ZS = 0.10 + 0.25j


def dense_nodal(footing, span, voltage, injected):
    """Branch and node equations as one full system, written from Kirchhoff's laws alone."""
    n = len(footing)
    incidence = np.zeros((n - 1, n))
    incidence[np.arange(n - 1), np.arange(n - 1)] = 1
    incidence[np.arange(n - 1), np.arange(1, n)] = -1
    system = np.block([[np.diag(np.asarray(span)), -incidence], [incidence.T, np.diag(1 / np.asarray(footing))]])
    solution = np.linalg.solve(system, np.concatenate([voltage, injected]))
    return solution[n - 1 :], solution[: n - 1]


@st.composite
def chains(draw):
    n = draw(st.integers(2, 30))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    return (
        rng.uniform(1, 100, n),
        rng.uniform(0.02, 0.5, n - 1) + 1j * rng.uniform(0.05, 0.6, n - 1),
        rng.normal(size=n - 1) + 1j * rng.normal(size=n - 1),
        rng.normal(size=n) + 1j * rng.normal(size=n),
    )


def test_ladder_reference():
    # Source: Endrenyi 1967 and IEC 60909-3, by formula and by nodal solve of a long line (2e-15).
    assert ladder_impedance(ZS, 10) == pytest.approx(1.4076 + 1.0503j, abs=6e-5)
    assert mid_line_impedance(ZS, 10) == pytest.approx(0.6800 + 0.4573j, abs=6e-5)


def test_long_uniform_line_tends_to_the_closed_form():
    # Source: Endrenyi 1967.
    found = driving_point_impedance(np.full(401, 10.0), np.full(400, ZS))
    assert found[200] == pytest.approx(mid_line_impedance(ZS, 10), rel=1e-12)
    one_sided = 1 / (1 / 10 + 1 / ladder_impedance(ZS, 10))
    assert found[0] == pytest.approx(one_sided, rel=1e-12)


@given(chains())
def test_chain_equals_dense_nodal_solve(chain):
    # Source: Kirchhoff's laws, own dense reference.
    potential, current = dense_nodal(*chain)
    state = chain_state(*chain)
    assert state.potential_v == pytest.approx(potential, rel=1e-9, abs=1e-12)
    assert state.span_current_a == pytest.approx(current, rel=1e-9, abs=1e-12)
    assert state.tower_current_a == pytest.approx(potential / chain[0], rel=1e-9, abs=1e-12)


@given(chains())
def test_currents_obey_kirchhoff_at_every_tower(chain):
    # Source: Kirchhoff's laws.
    state = chain_state(*chain)
    leaving = np.append(state.span_current_a, 0) - np.insert(state.span_current_a, 0, 0)
    assert np.abs(chain[3] - leaving - state.tower_current_a).max() < 1e-9


@given(chains())
def test_driving_point_impedance_is_the_diagonal_of_the_inverse(chain):
    # Source: Kirchhoff's laws, own dense reference.
    footing, span, *_ = chain
    for k in (0, len(footing) // 2, len(footing) - 1):
        injected = np.zeros(len(footing))
        injected[k] = 1
        potential, _ = dense_nodal(footing, span, np.zeros(len(span)), injected)
        assert driving_point_impedance(footing, span)[k] == pytest.approx(potential[k], rel=1e-9)


def test_transfer_impedance_is_reciprocal():
    # Derived here: the chain's matrix is symmetric, and so is its inverse.
    rng = np.random.default_rng(1)
    footing, span = rng.uniform(2, 50, 12), rng.uniform(0.1, 0.5, 11) * (1 + 2j)
    there = chain_state(footing, span, injected_current_a=np.eye(12)[3]).potential_v[8]
    back = chain_state(footing, span, injected_current_a=np.eye(12)[8]).potential_v[3]
    assert there == pytest.approx(back, rel=1e-12)


def test_uniform_induction_leaves_mid_line_towers_without_current():
    """A voltage alike in all spans drives a current along the wire, and towers take part only near the ends."""
    # Source: Kirchhoff's laws by symmetry; IEC 60909-3.
    state = chain_state(np.full(201, 10.0), np.full(200, ZS), -0.2j)
    assert state.span_current_a[100] == pytest.approx(-0.2j / ZS, rel=1e-5)
    assert abs(state.tower_current_a[100]) < 1e-6
    assert abs(state.tower_current_a[0]) > 0.05


def test_span_without_earth_wire_parts_the_line():
    # Source: Kirchhoff's laws.
    footing, span = np.array([5.0, 10, 20, 8]), np.array([ZS, np.inf, ZS])
    state = chain_state(footing, span, injected_current_a=[0, 1, 0, 0])
    alone = chain_state(footing[:2], span[:1], injected_current_a=[0, 1])
    assert state.potential_v[:2] == pytest.approx(alone.potential_v)
    assert state.potential_v[2:] == pytest.approx([0, 0])
    assert driving_point_impedance([7.0, 9.0], [np.inf]) == pytest.approx([7, 9])


def test_station_grid_is_a_node_of_low_resistance():
    # Source: Kirchhoff's laws; the bounds are own figures.
    plain = driving_point_impedance(np.full(30, 10.0), np.full(29, ZS))
    station = driving_point_impedance(np.r_[0.1, np.full(29, 10.0)], np.full(29, ZS))
    assert abs(station[1]) < 0.5 * abs(plain[1])
    assert abs(station[28]) == pytest.approx(abs(plain[28]), rel=1e-3)


def test_tower_without_footing_floats_on_the_earth_wire():
    # Source: Kirchhoff's laws.
    state = chain_state([5.0, np.inf, 5.0], [ZS, ZS], injected_current_a=[0, 1, 0])
    assert state.tower_current_a[1] == 0
    assert state.potential_v[1] == pytest.approx((5 + ZS) / 2)


def test_unknown_load_gives_unknown_state():
    # No source: this package's own rule: unknown stays unknown.
    state = chain_state([5.0, 10, 5], [ZS, ZS], np.nan)
    assert np.isnan(state.potential_v).all()


@pytest.mark.parametrize(
    ("footing", "span", "message"),
    [
        ([10, 0], [ZS], "footing_resistance_ohm is 0 at index 1"),
        ([10, -5], [ZS], "-5"),
        ([10, np.nan], [ZS], "nan"),
        ([10, 10], [0], "span_impedance_ohm holds a 0 or NaN"),
        ([10, 10], [np.nan], "span_impedance_ohm holds a 0 or NaN"),
        ([10, 10, 10], [ZS], "3 towers need 2 spans"),
        ([np.inf, np.inf], [np.inf], "neither a footing nor an earth wire"),
    ],
)
def test_values_out_of_range_are_named(footing, span, message):
    # No source: this package's own check of what it is given.
    with pytest.raises(InputRangeError, match=message):
        chain_state(footing, span)
