"""Faults at all towers in one pass, against one dense solve per tower and the closed form of a long line."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.electrical import (
    chain_state,
    earth_wire_currents_near_fault,
    fault_at_each_tower,
    mid_line_impedance,
    reduction_factor,
)
from layoutplan.errors import InputRangeError

ZS, ZM = 0.10 + 0.25j, 0.02 + 0.09j


@st.composite
def lines(draw):
    n = draw(st.integers(2, 14))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    span = rng.uniform(0.02, 0.5, n - 1) + 1j * rng.uniform(0.1, 0.6, n - 1)
    span[rng.random(n - 1) < 0.15] = np.inf
    return {
        "footing_resistance_ohm": rng.uniform(1, 100, n),
        "span_impedance_ohm": span,
        "mutual_impedance_ohm": rng.uniform(0.01, 0.05, n - 1) + 1j * rng.uniform(0.02, 0.1, n - 1),
        "current_from_left_a": rng.normal(size=n) * 1e3 + 1j,
        "current_from_right_a": rng.normal(size=n) * 1e3 - 2j,
        "returns_left": draw(st.booleans()),
        "returns_right": draw(st.booleans()),
    }


def one_fault(line, k):
    """Chain with the fault at tower k: voltages driven by the phase current in every span, injection at k."""
    n = len(line["footing_resistance_ohm"])
    left, right = line["current_from_left_a"][k], line["current_from_right_a"][k]
    phase = np.where(np.arange(n - 1) < k, left, -right)
    injected = np.zeros(n, dtype=complex)
    injected[k] += left + right
    injected[0] -= left * line["returns_left"]
    injected[-1] -= right * line["returns_right"]
    driven = np.where(np.isinf(line["span_impedance_ohm"]), 0, -line["mutual_impedance_ohm"] * phase)
    return chain_state(line["footing_resistance_ohm"], line["span_impedance_ohm"], driven, injected)


@given(lines())
def test_all_faults_equal_one_chain_solve_each(line):
    # Source: Kirchhoff's laws, own reference: one solve for each fault.
    faults = fault_at_each_tower(**line)
    reach = 5
    wires = earth_wire_currents_near_fault(**line, reach=reach)
    n = len(faults.potential_v)
    for k in range(n):
        state = one_fault(line, k)
        assert faults.potential_v[k] == pytest.approx(state.potential_v[k], rel=1e-8, abs=1e-9)
        assert faults.tower_current_a[k] == pytest.approx(state.tower_current_a[k], rel=1e-8, abs=1e-9)
        for m in range(-reach, reach):
            expected = state.span_current_a[k + m] if 0 <= k + m < n - 1 else 0
            assert wires[k, reach + m] == pytest.approx(expected, rel=1e-7, abs=1e-7)
        total = line["current_from_left_a"][k] * (1 - (line["returns_left"] and k == 0))
        total += line["current_from_right_a"][k] * (1 - (line["returns_right"] and k == n - 1))
        leaving = faults.tower_current_a[k] + faults.left_wire_current_a[k] + faults.right_wire_current_a[k]
        if 0 < k < n - 1:
            assert leaving == pytest.approx(total, rel=1e-8, abs=1e-8)


def test_long_line_tends_to_endrenyi():
    # Source: Endrenyi 1967 and IEC 60909-3: EPR = r I Z far from both ends.
    faults = fault_at_each_tower(np.full(301, 10.0), np.full(300, ZS), np.full(300, ZM), 6000, 4000)
    expected = reduction_factor(ZS, ZM) * 10_000 * mid_line_impedance(ZS, 10)
    assert faults.potential_v[150] == pytest.approx(expected, rel=1e-8)
    assert faults.tower_share[150] == pytest.approx(abs(expected) / 10 / 10_000, rel=1e-8)


def test_far_from_the_fault_the_wire_carries_only_what_is_induced():
    # Source: IEC 60909-3: induced share -Zm/Zs far from the fault.
    wires = earth_wire_currents_near_fault(
        np.full(601, 10.0), np.full(600, ZS), np.full(600, ZM), 6000, 4000, reach=150
    )
    assert wires[300, 0] == pytest.approx(-ZM / ZS * 6000, rel=1e-6)
    assert wires[300, -1] == pytest.approx(ZM / ZS * 4000, rel=1e-6)


def test_without_earth_wire_the_tower_takes_it_all():
    # Derived here: Ohm's law, V = R I where the footing is the only way.
    faults = fault_at_each_tower([5.0, 20.0], [np.inf], [ZM], 1000, 0)
    assert faults.potential_v == pytest.approx([5000, 20_000])
    assert faults.tower_share == pytest.approx([1, 1])


def test_potentials_are_linear_in_the_currents():
    # Derived here: node equations are linear, so states add up.
    line = (np.full(9, 10.0), np.full(8, ZS), np.full(8, ZM))
    one, two = fault_at_each_tower(*line, 1000, 0).potential_v, fault_at_each_tower(*line, 0, 1000).potential_v
    assert fault_at_each_tower(*line, 3000, -2000j).potential_v == pytest.approx(3 * one - 2j * two)


def test_remote_return_gives_the_higher_potential_at_the_end():
    # Source: Kirchhoff's laws.
    line = (np.r_[0.5, np.full(20, 10.0)], np.full(20, ZS), np.full(20, ZM), 5000, 0)
    remote, local = fault_at_each_tower(*line), fault_at_each_tower(*line, returns_left=True)
    assert abs(local.potential_v[1]) < abs(remote.potential_v[1])


def test_unknown_fault_current_is_unknown_only_there():
    # No source: this package's own rule: unknown stays unknown.
    faults = fault_at_each_tower([5.0, 5, 5], [ZS, ZS], [ZM, ZM], [1000, np.nan, 1000], 0)
    assert np.isnan(faults.potential_v).tolist() == [False, True, False]
    assert np.isnan(faults.tower_share[1])


def test_a_tower_without_any_path_to_earth_is_named():
    # No source: this package's own check of what it is given.
    with pytest.raises(InputRangeError, match="Tower 1 has no connection"):
        fault_at_each_tower([5.0, np.inf], [np.inf], [ZM], 1000, 0)
