"""Hints of the trade on readings: what is unusual in them, and what to do about it. Never a verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from layoutplan.arrays import FloatArray
from layoutplan.checking.field_readings import beside_the_plan
from layoutplan.inputs.staked_readings import LEG_COLUMNS, READING_COLUMNS, Readings
from layoutplan.layout.schema import tables

HINT_COLUMNS = tuple(tables("check")["hints"].columns)
PRACTICE = "common practice, no published source"
MODEL = "computed in the plan from the load and the line's model"
ELECTRODE_OHM = 1000.0
VOLTAGES_APART_V = 1.0
NO_VOLTAGE_V = 0.1
TOWER_OHM, TOWER_IDEAL_OHM = 15.0, 5.0
LEGS_SHARE, LEGS_A = 0.05, 0.1  # how well the legs' currents must add up, the greater of the two (judgement)
_ROUNDING = 1e-9
_EXPECTED = {  # reading: what it is, its unit, and the plan's range
    "voltage_h_v": ("voltage from tower to electrode H", "V", "expected_h_low", "expected_h_high"),
    "voltage_s_v": ("voltage from tower to electrode S", "V", "expected_s_low", "expected_s_high"),
    "leakage_total_a": ("current in the tower", "A", "standing_current_a_low", "standing_current_a_high"),
}


@dataclass(frozen=True, slots=True)
class _Hint:
    """One hint on all towers; ``at`` marks where it holds."""

    at: NDArray[np.bool_]
    hint: ArrayLike
    measured: FloatArray
    limit: ArrayLike
    unit: str
    what_to_do: ArrayLike
    basis: str = PRACTICE


def field_hints(readings: Readings, tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Report for each tower what is unusual in its readings.

    Parameters
    ----------
    readings : Readings
        Of the crew. [Ω], [V], [A]
    tables : mapping of str to DataFrame
        The plan's ``towers`` and ``leads``.

    Returns
    -------
    DataFrame
        Columns ``HINT_COLUMNS``, in the order of the readings: one row for each hint, and one that lists what was not
        measured. A reading that is missing, or as expected, has no hint.

    Raises
    ------
    ColumnError
        If a tower is none of the plan's, or several lines have one of its name.

    Notes
    -----
    The limits are common practice without a published source; those marked so in their hints are judgement.
    """
    table = beside_the_plan(readings, tables)
    hints = [*_electrodes(table), *_voltages(table), *_legs(table), *_tower(table), *_expected(table), _missing(table)]
    blocks = []
    for number, item in enumerate(hints):
        columns = {name: getattr(item, name) for name in HINT_COLUMNS[2:]}
        block = table[["line_id", "tower_id"]].assign(**columns, reading=np.arange(len(table)), number=number)
        blocks.append(block[item.at])
    found = pd.concat(blocks).sort_values(["reading", "number"], kind="stable", ignore_index=True)
    return found[list(HINT_COLUMNS)]


def _values(table: pd.DataFrame, name: str) -> FloatArray:
    return table[name].to_numpy(dtype=float)


def _electrodes(table: pd.DataFrame) -> list[_Hint]:
    what = "water it, or drive more rods two to four rod depths apart and connect them in parallel; measure it again"
    hints = []
    for role in ("H", "S"):
        found = _values(table, f"electrode_{role.lower()}_ohm")
        hints.append(
            _Hint(found > ELECTRODE_OHM, f"electrode {role} has a high resistance", found, ELECTRODE_OHM, "ohm", what)
        )
    return hints


def _voltages(table: pd.DataFrame) -> list[_Hint]:
    h, s = _values(table, "voltage_h_v"), _values(table, "voltage_s_v")
    lower = np.where(h < s, "H", "S").astype(object)
    return [
        _Hint(
            np.abs(h - s) > VOLTAGES_APART_V + _ROUNDING,
            "the voltages from the tower to H and to S differ",
            np.abs(h - s),
            VOLTAGES_APART_V,
            "V",
            "move " + lower + ", the lower one, further out and measure both again",
        ),
        _Hint(
            (h < NO_VOLTAGE_V) & (s < NO_VOLTAGE_V),
            "hardly any voltage to H and to S: the line may be out of service, its overhead earth wire not connected "
            "to the tower, or the leads not connected",
            np.maximum(h, s),
            NO_VOLTAGE_V,
            "V",
            "check the leads and ask who operates the line. This is NOT a sign that leads may be touched",
        ),
    ]


def _legs(table: pd.DataFrame) -> list[_Hint]:
    """Currents of the legs against the total; magnitudes of phasors add up to at least that of their sum."""
    legs, total = table[list(LEG_COLUMNS)].to_numpy(dtype=float), _values(table, "leakage_total_a")
    whole = (~np.isnan(legs)).sum(axis=1) >= _values(table, "legs")
    added = np.where(whole, np.nansum(legs, axis=1), np.nan)
    room = np.maximum(LEGS_SHARE * total, LEGS_A) + _ROUNDING
    judged = f"(by over {100 * LEGS_SHARE:g} % and {LEGS_A:g} A; this tolerance is judgement)"
    return [
        _Hint(
            added < total - room,
            f"the legs' currents add up to less than the total {judged}",
            added,
            total,
            "A",
            "look for a way to earth that was missed (counterpoise, cable screen, fence), check how the clamps close, "
            "and measure again",
        ),
        _Hint(
            added > total + room,
            f"the legs' currents add up to more than the total {judged}",
            added,
            total,
            "A",
            "possible where they are out of phase or circulate between the legs; check that the total was taken round "
            "all legs, and measure again",
        ),
    ]


def _tower(table: pd.DataFrame) -> list[_Hint]:
    found = _values(table, "tower_resistance_ohm")
    return [
        _Hint(
            found >= TOWER_OHM,
            "the tower's resistance is high",
            found,
            TOWER_OHM,
            "ohm",
            "confirm it with electrodes further out; inform whoever decides on the tower's earthing",
        ),
        _Hint(
            (found >= TOWER_IDEAL_OHM) & (found < TOWER_OHM),
            "the tower's resistance is above the ideal",
            found,
            TOWER_IDEAL_OHM,
            "ohm",
            "note it for who decides on the tower's earthing",
        ),
    ]


def _expected(table: pd.DataFrame) -> list[_Hint]:
    """Readings outside the range that the plan computed: its model or the load is another than in the field."""
    why = "the load, or the line's model (conductors, earth wires, soil), is not as the plan has it: check both"
    hints = []
    for column, (what, unit, low_name, high_name) in _EXPECTED.items():
        found, low, high = (_values(table, name) for name in (column, low_name, high_name))
        for at, word, limit, more in (
            (found < low, "below", low, ""),
            (found > high, "above", high, "; the plan's other figures may be too low as well"),
        ):
            text = f"the {what} is {word} what the plan expects"
            hints.append(_Hint(at, text, found, limit, unit, why + more, MODEL))
    return hints


def _missing(table: pd.DataFrame) -> _Hint:
    """One line for what was not measured; of the legs only if there are fewer readings than legs."""
    none = np.isnan(table[list(READING_COLUMNS)].to_numpy(dtype=float))
    legs = np.isin(READING_COLUMNS, LEG_COLUMNS)
    count = _values(table, "legs")[:, None]
    too_few = (~none[:, legs]).sum(axis=1, keepdims=True) < count
    none[:, legs] &= too_few & (np.arange(legs.sum()) < count)
    names = np.array(READING_COLUMNS, dtype=object)
    texts = np.array(["not measured: " + ", ".join(names[row]) for row in none], dtype=object)
    nothing = np.full(len(table), np.nan)
    return _Hint(np.asarray(none.any(axis=1)), texts, nothing, nothing, "", "", "")
