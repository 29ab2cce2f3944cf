"""Limits against the worked example of IEEE Std 80 and the printed points of the table."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.electrical import (
    CONTACT_CURRENT,
    CONTACT_CURRENT_PUBLIC,
    EN_50522_2010,
    FAULT_NOTE,
    LONG_DURATION_VOLTAGE,
    LONG_DURATION_VOLTAGE_PUBLIC,
    LeadLevel,
    decrement_factor,
    exposure_ratio,
    ieee80_step_voltage,
    ieee80_touch_voltage,
    lead_level,
    permissible_touch_voltage,
    surface_layer_derating,
)
from layoutplan.errors import InputRangeError

LAYER = {"surface_resistivity_ohm_m": 2500.0, "surface_thickness_m": 0.102}


def test_ieee_80_worked_example():
    # IEEE Std 80-2000/2013, annex B: 400 Ω·m, 0.102 m of 2500 Ω·m, 0.5 s. Formula to four digits; the standard prints
    # Cs = 0.74, touch 838.2 V and step 2686.6 V for 70 kg with the rounded Cs (printed values from memory)
    assert surface_layer_derating(400, 2500, 0.102) == pytest.approx(0.743, abs=5e-4)
    assert ieee80_touch_voltage(0.5, 400, body_mass_kg=70, **LAYER) == pytest.approx(840.5, abs=0.06)
    assert ieee80_touch_voltage(0.5, 400, body_mass_kg=50, **LAYER) == pytest.approx(621.0, abs=0.06)
    assert ieee80_step_voltage(0.5, 400, body_mass_kg=70, **LAYER) == pytest.approx(2696, abs=0.6)
    assert ieee80_step_voltage(0.5, 400, body_mass_kg=50, **LAYER) == pytest.approx(1992, abs=0.6)
    assert ieee80_touch_voltage(0.5, 400, body_mass_kg=70, **LAYER) == pytest.approx(838.2, rel=4e-3)
    assert ieee80_step_voltage(0.5, 400, body_mass_kg=70, **LAYER) == pytest.approx(2686.6, rel=4e-3)


def test_ieee_80_without_surface_layer():
    # Source: IEEE Std 80, its formulas by hand.
    assert ieee80_touch_voltage(1.0, 100) == pytest.approx(0.116 * 1150)
    assert ieee80_step_voltage(0.25, 100, body_mass_kg=70) == pytest.approx(2 * 0.157 * 1600)


def test_a_layer_like_the_soil_is_no_layer():
    # Derived here: IEEE Std 80: with both resistivities alike the derating factor is 1.
    same = ieee80_touch_voltage(0.5, 300, surface_resistivity_ohm_m=300, surface_thickness_m=0.1)
    assert same == pytest.approx(ieee80_touch_voltage(0.5, 300))


@pytest.mark.parametrize(
    ("duration", "expected"), [(0.05, 716), (0.1, 654), (0.2, 537), (0.5, 220), (1, 117), (2, 96), (5, 86), (10, 85)]
)
def test_en_50522_printed_points(duration, expected):
    # Source: EN 50522:2010, table B.3 (values from memory).
    assert permissible_touch_voltage(duration) == pytest.approx(expected)
    assert "2010" in EN_50522_2010.edition
    assert "memory" in EN_50522_2010.source


def test_en_50522_between_points_is_straight_on_log_paper():
    # Source: EN 50522 prints a curve on logarithmic paper (from memory).
    assert permissible_touch_voltage(np.sqrt(0.2 * 0.5)) == pytest.approx(np.sqrt(537 * 220))


@pytest.mark.parametrize(("duration", "expected"), [(0.001, 716), (0.049, 716), (10.01, 80), (60, 80), (7200, 80)])
def test_en_50522_beyond_its_points(duration, expected):
    """80 V for considerably longer faults (from memory); shorter ones than printed are not given more."""
    assert permissible_touch_voltage(duration) == pytest.approx(expected, rel=1e-12)


def test_ieee_80_beyond_its_range():
    """Unknown beyond 3 s and not zero or without limit; shorter faults than 0.03 s are not given more."""
    # Source: IEEE Std 80 holds from 0.03 to 3 s (from memory); unknown beyond is own rule.
    for limit in (ieee80_touch_voltage, ieee80_step_voltage):
        found = limit([0.001, 0.03, 3.0, 3.001, 7200.0], 100)
        assert found[0] == found[1] > found[2]
        assert np.isnan(found).tolist() == [False, False, False, True, True]
    assert np.isnan(exposure_ratio(5.0, ieee80_touch_voltage(10.0, 100)))
    assert lead_level([exposure_ratio(5.0, ieee80_touch_voltage(10.0, 100)), 0.1]) == LeadLevel.UNKNOWN


@pytest.mark.parametrize(
    ("duration", "expected"),
    [(0.05, (1.232, 1.378, 1.462, 1.515)), (0.5, (1.026, 1.052, 1.077, 1.101))],
)
def test_decrement_factor_of_the_table(duration, expected):
    """IEEE Std 80, table of decrement factors at 60 Hz for X/R of 10, 20, 30, 40 (printed values from memory)."""
    found = decrement_factor([10, 20, 30, 40], duration, frequency_hz=60)
    assert found == pytest.approx(expected, abs=6e-4)


@given(st.floats(0.5, 60), st.floats(0.02, 3), st.sampled_from([16.7, 50.0, 60.0]))
def test_decrement_factor_is_the_root_mean_square_of_the_offset_current(ratio, duration, hz):
    """Current with full offset, its d.c. part falling with X/(omega R); the a.c. part's mean over whole cycles."""
    # Source: definition in IEEE Std 80, own quadrature.
    time = np.linspace(0, duration, 40001)
    square = 1 + 2 * np.exp(-2 * time * 2 * np.pi * hz / ratio)  # of a.c. r.m.s. 1 and d.c. sqrt(2) exp(-t/T)
    expected = np.sqrt(np.trapezoid(square, time) / duration)
    assert decrement_factor(ratio, duration, frequency_hz=hz) == pytest.approx(expected, rel=1e-4)


@given(st.floats(0.5, 60), st.floats(0.02, 3))
def test_decrement_factor_falls_to_one_and_grows_with_the_ratio(ratio, duration):
    # Source: limits of the formula of IEEE Std 80.
    here = decrement_factor(ratio, duration, frequency_hz=50)
    assert 1 < here < np.sqrt(3)
    assert (
        decrement_factor(ratio, 2 * duration, frequency_hz=50)
        < here
        < decrement_factor(2 * ratio, duration, frequency_hz=50)
    )
    assert decrement_factor(ratio, 1e6, frequency_hz=50) == pytest.approx(1, abs=1e-6)


@given(st.floats(0.05, 10), st.floats(0.05, 10))
def test_longer_faults_permit_less(one, two):
    # Source: EN 50522:2010, monotony of its table.
    short, long = sorted((one, two))
    assert permissible_touch_voltage(short) >= permissible_touch_voltage(long)


def test_fixed_limits():
    # Source: IEC 60364-4-41 and ICNIRP 2010, Health Phys. 99, as quoted in public documents.
    assert (LONG_DURATION_VOLTAGE.value, LONG_DURATION_VOLTAGE_PUBLIC.value) == (50, 25)
    assert (CONTACT_CURRENT.value, CONTACT_CURRENT_PUBLIC.value) == (1.0e-3, 0.5e-3)
    assert "superseded" in LONG_DURATION_VOLTAGE_PUBLIC.edition
    assert "memory" in LONG_DURATION_VOLTAGE_PUBLIC.source
    assert "superseded" in EN_50522_2010.source


def test_ratio_takes_phasors_and_keeps_the_unknown():
    # No source: this package's own rule: unknown stays unknown.
    assert exposure_ratio([30 + 40j, np.nan, 5], [100, 100, np.nan]) == pytest.approx(
        [0.5, np.nan, np.nan], nan_ok=True
    )


@pytest.mark.parametrize(
    ("ratios", "expected"),
    [
        ([0.1, 0.5], LeadLevel.BELOW),
        ([0.1, 0.51], LeadLevel.NEAR),
        ([1.0, 0.2], LeadLevel.NEAR),
        ([1.01, 0.2], LeadLevel.ABOVE),
        ([np.nan, 0.2], LeadLevel.UNKNOWN),
        ([np.nan, 1.5], LeadLevel.ABOVE),
        ([np.nan, np.nan], LeadLevel.UNKNOWN),
        ([], LeadLevel.UNKNOWN),
    ],
)
def test_lead_level(ratios, expected):
    # No source: this package's own steps.
    assert lead_level(ratios) == expected


def test_levels_of_many_leads():
    # No source: this package's own steps.
    assert lead_level([[0.1, 0.2], [2, 0.1]]).tolist() == [LeadLevel.BELOW, LeadLevel.ABOVE]


def test_no_wording_calls_anything_safe():
    # No source: this package's own rule.
    assert not [text for text in [*(level.handling for level in LeadLevel), FAULT_NOTE] if "safe" in text.lower()]


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: permissible_touch_voltage(0), "duration_s is 0"),
        (lambda: permissible_touch_voltage(-1), "duration_s is -1"),
        (lambda: permissible_touch_voltage(np.nan), "duration_s is nan"),
        (lambda: ieee80_touch_voltage(0, 100), "duration_s is 0"),
        (lambda: decrement_factor(0, 0.5, frequency_hz=60), "x_over_r is 0"),
        (lambda: decrement_factor(10, 0, frequency_hz=60), "duration_s is 0"),
        (lambda: decrement_factor(10, 0.5, frequency_hz=0), "frequency_hz is 0"),
        (lambda: ieee80_touch_voltage(0.5, 100, body_mass_kg=60), "knows 50 and 70"),
        (lambda: ieee80_step_voltage(0.5, -100), "soil_resistivity_ohm_m is -100"),
        (lambda: ieee80_step_voltage(0.5, 100, surface_resistivity_ohm_m=3000), "both"),
        (lambda: exposure_ratio(10, 0), "limit is 0"),
    ],
)
def test_values_out_of_range_are_named(call, message):
    # No source: this package's own check of what it is given.
    with pytest.raises(InputRangeError, match=message):
        call()
