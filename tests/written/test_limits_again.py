"""Ratios of a written table of exposures worked out again: those of this program pass, whatever the figures."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.electrical import LONG_DURATION_VOLTAGE
from layoutplan.layout.schema import TABLES
from layoutplan.planning.tables import carried_digits, rounded_columns
from layoutplan.written.limits_again import changed_limits

LIMIT_V = LONG_DURATION_VOLTAGE.value


def written(value_v: list[float], ratio: list[float]) -> pd.DataFrame:
    """Exposures of voltages as the plan's table keeps them."""
    figures = {"value": carried_digits(value_v), "limit": np.full(len(value_v), LIMIT_V), "ratio": np.array(ratio)}
    return pd.DataFrame(rounded_columns(figures, TABLES["exposures"])).assign(
        exposure="standing voltage of the tower", state="in service", tower_id="1", role="H", unit="V",
        basis=LONG_DURATION_VOLTAGE.standard, duration_s=np.nan,
    )  # fmt: skip


@given(st.floats(0, 1e5, allow_subnormal=False))
def test_what_this_program_writes_is_its_own(value_v: float) -> None:
    assert not changed_limits(written([value_v], [value_v / LIMIT_V]))


def test_every_voltage_about_a_volt_is_its_own() -> None:
    """Below 1 V the table keeps one digit: 0.985 V reads 1.0, and its ratio is that of 0.985 V."""
    value_v = np.arange(0.001, 3.0, 0.001)
    assert not changed_limits(written(value_v.tolist(), (value_v / LIMIT_V).tolist()))


@pytest.mark.parametrize("factor", [0.0, 0.5, 0.9, 1.1, 2.0])
def test_another_ratio_is_found(factor: float) -> None:
    assert len(changed_limits(written([23.6], [factor * 23.6 / LIMIT_V]))) == 1
