"""Elimination of earth wires, their single equivalent, and how a total splits among them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.electrical import (
    earth_wire_currents,
    equivalent_earth_wire,
    impedance_matrix,
    reduction_factor,
    split_earth_wire_current,
)
from layoutplan.errors import InputRangeError

EARTH = np.array([False, False, False, True, True])
MATRIX = impedance_matrix(
    [-8, 0, 8, -5, 5],
    [15, 15, 15, 22, 22],
    [0.011, 0.011, 0.011, 0.004, 0.006],
    [6e-5, 6e-5, 6e-5, 3e-4, 2e-4],
    soil_resistivity_ohm_m=100,
    frequency_hz=50,
)
CURRENTS = st.lists(st.complex_numbers(max_magnitude=1e4), min_size=3, max_size=3)


@given(CURRENTS)
def test_induced_currents_leave_no_voltage_along_the_earth_wires(phases):
    # Source: Kirchhoff's laws.
    wires = earth_wire_currents(MATRIX, EARTH, phases)
    voltage = MATRIX[3:] @ np.concatenate([phases, wires])
    assert np.abs(voltage).max() < 1e-9


def test_several_states_at_once():
    # Derived here: Kirchhoff's equations are linear, so each state is as it is alone.
    phases = np.array([[1, 1], [1, -0.5], [1, -0.5]])
    both = earth_wire_currents(MATRIX, EARTH, phases)
    assert both[:, 1] == pytest.approx(earth_wire_currents(MATRIX, EARTH, phases[:, 1]))


def test_equivalent_of_one_wire_is_that_wire():
    # Derived here: with one wire there is nothing to put together.
    matrix, earth = MATRIX[:4, :4], EARTH[:4]
    single = equivalent_earth_wire(matrix, earth)
    assert single.self_impedance_ohm_per_m == pytest.approx(MATRIX[3, 3])
    assert single.mutual_impedance_ohm_per_m == pytest.approx(MATRIX[3, :3])


@given(CURRENTS)
def test_equivalent_wire_carries_the_sum_of_the_wires(phases):
    # Source: Kirchhoff's laws.
    single = equivalent_earth_wire(MATRIX, EARTH)
    total = -single.mutual_impedance_ohm_per_m @ phases / single.self_impedance_ohm_per_m
    assert total == pytest.approx(earth_wire_currents(MATRIX, EARTH, phases).sum(), rel=1e-9, abs=1e-9)


@given(st.complex_numbers(max_magnitude=1e4), CURRENTS)
def test_split_adds_up_and_both_wires_see_one_voltage(total, phases):
    # Source: Kirchhoff's laws.
    wires = split_earth_wire_current(MATRIX, EARTH, total, phases)
    assert wires.sum() == pytest.approx(total, rel=1e-9, abs=1e-9)
    voltage = MATRIX[3:] @ np.concatenate([phases, wires])
    assert voltage[0] == pytest.approx(voltage[1], rel=1e-9, abs=1e-9)


def test_reduction_factor():
    # Source: IEC 60909-3, definition of the reduction factor.
    single = equivalent_earth_wire(MATRIX, EARTH)
    factor = reduction_factor(single.self_impedance_ohm_per_m, single.mutual_impedance_ohm_per_m[0])
    remaining = 1 + earth_wire_currents(MATRIX, EARTH, [1, 0, 0]).sum()
    assert factor == pytest.approx(remaining)
    assert 0 < abs(factor) < 1


def test_a_line_without_earth_wire_has_no_equivalent():
    # No source: this package's own check of what it is given.
    with pytest.raises(InputRangeError, match="no conductor"):
        equivalent_earth_wire(MATRIX, np.zeros(5, dtype=bool))


def test_shapes_must_belong_together():
    # No source: this package's own check of what it is given.
    with pytest.raises(InputRangeError, match="belong together"):
        earth_wire_currents(MATRIX, EARTH[:4], [1, 2, 3])
