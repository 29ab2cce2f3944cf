"""Limits of a written plan held against those of this program: a file is not believed where people can be hurt."""

from __future__ import annotations

import numpy as np
import pandas as pd

from layoutplan.arrays import FloatArray
from layoutplan.electrical import (
    CONTACT_CURRENT,
    CONTACT_CURRENT_PUBLIC,
    LONG_DURATION_VOLTAGE,
    LONG_DURATION_VOLTAGE_PUBLIC,
    electric_field_limit,
    permissible_touch_voltage,
)
from layoutplan.electrical.limits import en50522_basis, ieee80_basis
from layoutplan.errors import InputRangeError

_SHOWN = {"V": 1.0, "mA": 1e-3}  # units of the table in SI
_FIXED = (LONG_DURATION_VOLTAGE, LONG_DURATION_VOLTAGE_PUBLIC, CONTACT_CURRENT, CONTACT_CURRENT_PUBLIC)
_TOUCH = {en50522_basis(step=step) for step in (False, True)}
_KNOWN = {
    *_TOUCH,
    *(limit.standard for limit in _FIXED),
    *(electric_field_limit(50.0, public=public).standard for public in (False, True)),
    *(ieee80_basis(mass_kg, step=step) for mass_kg in (50, 70) for step in (False, True)),
}
_ROUNDED = 1e-4  # as the table keeps them


def changed_limits(exposures: pd.DataFrame) -> list[str]:
    """Report which limits and ratios of a table of exposures cannot be this program's.

    Parameters
    ----------
    exposures : DataFrame
        The plan's table.

    Returns
    -------
    list of str
        One for each row that differs.
    """
    if exposures.empty:
        return []
    limit, value, ratio = (exposures[name].to_numpy(dtype=float) for name in ("limit", "value", "ratio"))
    allowed = _allowed(exposures)
    wrong = ~np.isnan(allowed).all(axis=1) & ~(np.abs(allowed - limit[:, None]) <= 2 * _ROUNDED).any(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        again = value / limit
    # a voltage has three digits, below 1 V one, and 0.97 V reads 1: its ratio was worked out before
    worth = np.where(np.abs(value) <= 1, 0.5, 0.005) * np.abs(again)
    slack = worth + _ROUNDED * (1 + (1 + np.abs(again)) / np.maximum(np.abs(limit), _ROUNDED))
    wrong |= ~exposures["basis"].isin(_KNOWN).to_numpy()
    wrong |= (np.abs(again - ratio) > slack) | (np.isnan(again) & ~np.isnan(ratio))
    return [
        f"exposure '{row.exposure}' ({row.state}) at {row.tower_id} {row.role}: limit {row.limit:g} {row.unit}, ratio "
        f"{row.ratio:g}"
        for row in exposures[wrong].itertuples()
    ]


def _allowed(exposures: pd.DataFrame) -> FloatArray:
    """Limits that a row may have, shape (rows, k); NaN alone where none is known here."""
    found = np.full((len(exposures), 2), np.nan)
    basis, unit = exposures["basis"].to_numpy(dtype=object), exposures["unit"].map(_SHOWN).to_numpy(dtype=float)
    state_limits = exposures["duration_s"].isna().to_numpy()
    for limit in _FIXED:
        rows = state_limits & (basis == limit.standard) & ((unit == 1.0) if limit.unit == "V" else (unit == 1e-3))
        column = 0 if limit in (LONG_DURATION_VOLTAGE, CONTACT_CURRENT) else 1
        found[rows, column] = limit.value / unit[rows]
    duration = exposures["duration_s"].to_numpy(dtype=float)
    touch = ~state_limits & np.isin(basis, list(_TOUCH))
    for time_s in np.unique(duration[touch]).tolist():
        try:
            found[touch & (duration == time_s)] = permissible_touch_voltage(time_s)
        except InputRangeError:
            found[touch & (duration == time_s)] = -1.0  # no limit at all for such a time
    return found
