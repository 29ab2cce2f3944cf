"""Cross-sections, phase order, phasors and the generic classes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.electrical import (
    SEQUENCES,
    Conductor,
    CrossSection,
    conductor_currents,
    conductor_voltages,
    generic_cross_section,
    magnitude_range,
    sequence_currents,
)
from layoutplan.errors import InputRangeError

A = np.exp(2j * np.pi / 3)


def conductor(phase, offset, height=20.0, **more):
    values = {"sag_m": 6.0, "radius_m": 0.0143, "resistance_ohm_per_m": 6e-5} | more
    return Conductor(phase=phase, offset_m=offset, attachment_height_m=height, **values)


def double_circuit():
    left = [conductor(p, -6.0, h, circuit=1) for p, h in zip("ABC", (20, 26, 32), strict=True)]
    right = [conductor(p, 6.0, h, circuit=2) for p, h in zip("CBA", (20, 26, 32), strict=True)]
    return CrossSection((*left, *right, conductor("E", 0.0, 38.0)), voltage_kv=220)


def test_effective_height_and_bundle():
    # Source: bundle as in CIGRE WG 36.01 (1980), exp(-1/4) as in Grover 1946 (from memory); parabola of the sag.
    one = conductor("A", 0, sub_conductors=2, bundle_spacing_m=0.4)
    assert one.effective_height_m == pytest.approx(16)
    assert one.equivalent_radius_m == pytest.approx((0.0143 * 0.4) ** 0.5)
    assert one.equivalent_gmr_m == pytest.approx((0.7788 * 0.0143 * 0.4) ** 0.5, rel=1e-4)


def test_arrays_follow_the_order_of_the_conductors():
    # No source: this package's own bookkeeping.
    section = double_circuit()
    assert section.array("offset_m").tolist() == [-6, -6, -6, 6, 6, 6, 0]
    assert section.is_earth_wire.tolist() == [False] * 6 + [True]
    assert section.circuits() == {1: "ABC", 2: "CBA"}


def test_phase_order_moves_phases_and_nothing_else():
    # No source: this package's own bookkeeping.
    section = double_circuit().with_phase_order("BCA/ABC")
    assert "".join(c.phase for c in section.conductors) == "BCAABCE"
    assert section.array("offset_m").tolist() == double_circuit().array("offset_m").tolist()


@pytest.mark.parametrize("order", ["ABC", "ABC/AAB", "ABC/ABC/ABC", "ABX/ABC", ""])
def test_phase_order_must_match_the_circuits(order):
    # No source: this package's own check of what it is given.
    with pytest.raises(InputRangeError, match="does not match the circuits"):
        double_circuit().with_phase_order(order)


def test_voltages_and_currents_of_the_conductors():
    # Source: balanced positive sequence, Fortescue 1918.
    section = double_circuit()
    volts = conductor_voltages(section)
    assert volts[:3] == pytest.approx(220e3 / 3**0.5 * np.array([1, A**2, A]))
    assert volts[6] == 0
    amperes = conductor_currents(section, {1: [1, 2, 3], 2: [10, 20, 30]})
    assert amperes == pytest.approx(np.array([1, 2, 3, 30, 20, 10, 0], dtype=complex))


def test_circuit_without_current_is_unknown():
    # No source: this package's own rule: unknown stays unknown.
    amperes = conductor_currents(double_circuit(), {1: [1, 2, 3]})
    assert np.isnan(amperes[3:6]).all()
    assert amperes[6] == 0
    with pytest.raises(InputRangeError, match="No current for any of the circuits"):
        conductor_currents(double_circuit(), {7: [1, 2, 3]})


def test_traction_supply_has_two_opposite_poles():
    # Source: two-phase traction supply, each pole at half the voltage: common practice, no source.
    section = CrossSection((conductor("P", -2), conductor("N", 2)), voltage_kv=110)
    assert conductor_voltages(section) == pytest.approx(np.array([55e3, -55e3], dtype=complex))


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: conductor("X", 0), "phase must be one of"),
        (lambda: conductor("A", 0, -5.0), "not above ground"),
        (lambda: conductor("A", 0, 5.0, sag_m=6.0), "not above ground"),
        (lambda: conductor("A", np.nan), "must be numbers"),
        (lambda: conductor("A", 0, radius_m=0), "must be numbers"),
        (lambda: conductor("A", 0, gmr_m=-1), "geometric mean radius"),
        (lambda: CrossSection((conductor("A", 0), conductor("B", 0), conductor("C", 5)), 220), "same offset"),
        (lambda: CrossSection((conductor("A", 0), conductor("B", 5)), 220), "has the phases 'AB'"),
        (lambda: CrossSection(tuple(conductor(p, i) for i, p in enumerate("AAB")), 220), "has the phases 'AAB'"),
        (lambda: CrossSection((), 0), "voltage must be above 0"),
    ],
)
def test_impossible_sections_are_refused(make, message):
    # No source: this package's own check of what it is given.
    with pytest.raises(InputRangeError, match=message):
        make()


@pytest.mark.parametrize("voltage", [20, 66, 110, 132, 220, 380, 400, 500, 765])
def test_generic_sections_are_marked(voltage):
    section = generic_cross_section(voltage)
    assert section.generic
    assert "no source" in section.note
    assert section.circuits() == {1: "ABC"}
    assert section.array("effective_height_m").min() > 5


@pytest.mark.parametrize("voltage", [0, -110, 900, np.nan])
def test_no_generic_section_outside_the_classes(voltage):
    # No source: this package's own check of what it is given.
    with pytest.raises(InputRangeError, match="give the conductors"):
        generic_cross_section(voltage)


def test_sequences():
    # Source: symmetrical components, Fortescue 1918.
    currents = sequence_currents(100, negative_share=0.02, zero_share=0.05)
    assert currents[:, 0] == pytest.approx(100 * np.array([1, A**2, A]))
    assert currents[:, 1] == pytest.approx(2 * np.array([1, A, A**2]))
    assert currents[:, 2] == pytest.approx([5, 5, 5])
    assert np.abs(SEQUENCES[:, :2].sum(axis=0)).max() < 1e-12
    assert sequence_currents([1, 2], zero_share=[0, 1]).shape == (2, 3, 3)


@pytest.mark.parametrize(
    ("shares", "message"),
    [
        ({"zero_share": 1.01}, "zero_share is 1.01"),
        ({"negative_share": -0.1}, "negative_share is -0.1"),
        ({"negative_share": np.nan}, "nan"),
        ({"positive_sequence_a": -5}, "positive_sequence_a is -5"),
    ],
)
def test_impossible_unbalance_is_refused(shares, message):
    # No source: this package's own check of what it is given.
    with pytest.raises(InputRangeError, match=message):
        sequence_currents(**({"positive_sequence_a": 100} | shares))


@given(
    st.lists(st.complex_numbers(max_magnitude=1e3), min_size=1, max_size=5),
    st.lists(st.floats(0, 6.28), min_size=5, max_size=5),
)
def test_magnitude_range_encloses_every_choice_of_angles(parts, angles):
    # Derived here: triangle inequality, the angles drawn by lot.
    low, high = magnitude_range(parts)
    total = abs(np.sum(np.array(parts) * np.exp(1j * np.array(angles[: len(parts)]))))
    assert low - 1e-9 <= total <= high + 1e-9


def test_magnitude_range_is_reached():
    # Derived here: triangle inequality: equality where all phasors point one way, or the others against the greatest.
    assert magnitude_range([[5, 1j, -1], [1, 1, 1]]) == (pytest.approx([3, 0]), pytest.approx([7, 3]))


def test_magnitude_range_of_unknown_is_unknown():
    # No source: this package's own rule: unknown stays unknown.
    assert np.isnan(magnitude_range([1, np.nan])).all()
