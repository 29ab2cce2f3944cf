"""Rows of the pop-ups on voltages, electrodes and readings; what is unknown is stated as such."""

from __future__ import annotations

from typing import Any

import numpy as np

from layoutplan.layout.rules import NO_LAYOUT
from layoutplan.outputs.words import fault_place, quantities, quantity, ratio_words

TOWER_COLUMNS = (
    "earth_potential_rise_kv", "fault_location", "tower_share_of_fault_pct",
    "standing_current_a_low", "standing_current_a_high",
    "expected_resistance_ohm", "bias_ohm", "bias_pct", "distance_for_bias_target_m", "coupling_ohm", "coupling_pct",
)  # fmt: skip
STAKE_COLUMNS = ("rods", "rod_resistance_ohm", "rods_note")
LEAD_COLUMNS = (
    "expected_reading_v_low", "expected_reading_v_high", "service_ratio", "emf_load_v", "emf_unbalance_v",
    "capacitive_ma", "field_kv_m", "fault_ratio", "emf_fault_v", "transferred_fault_v", "stake_touch_v", "stake_step_v",
    "fault_location",
)  # fmt: skip
LEAD_LABELS = (
    "On arrival, tower to stake", "Worst in service", "Induced by the load", "Induced by unbalance",
    "Capacitive current", "Electric field", "Worst under a fault", "Induced by a fault", "Transferred by a fault",
    "Under a fault beside the stake",
)  # fmt: skip


def tower_labels(target_pct: float) -> tuple[str, ...]:
    """Labels of `tower_texts`.

    Parameters
    ----------
    target_pct : float
        The job's, for the bias of a reading. [%]

    Returns
    -------
    tuple of str
    """
    return (
        "Rise under a fault", "Share of the fault", "Standing current", "Reading expected", "Bias of the reading",
        f"Bias within {target_pct:g}\N{NO-BREAK SPACE}%", "Coupling of leads",
    )  # fmt: skip


def tower_texts(row: Any) -> tuple[str, ...]:
    """Figures of a tower (``TOWER_COLUMNS`` and ``status``); none of a pair where there is no pair.

    Parameters
    ----------
    row : named tuple
        Of the towers, with ``TOWER_COLUMNS`` and ``status``.

    Returns
    -------
    tuple of str
        As `tower_labels`.
    """
    own = (
        quantity(row.earth_potential_rise_kv, "kV") + fault_place(row.fault_location),
        quantity(row.tower_share_of_fault_pct, "% in its footing"),
        quantities(row.standing_current_a_low, row.standing_current_a_high, "A"),
        quantity(row.expected_resistance_ohm, "ohm"),
    )
    if row.status == NO_LAYOUT:
        return (*own, "", "", "")
    return (
        *own,
        _ohm_and_share(row.bias_ohm, row.bias_pct),
        _target(row.distance_for_bias_target_m),
        _ohm_and_share(row.coupling_ohm, row.coupling_pct),
    )


def rods_text(row: Any) -> str:
    """Rods to bring for a stake (``STAKE_COLUMNS``).

    Parameters
    ----------
    row : named tuple
        Of the electrodes, with ``STAKE_COLUMNS``.

    Returns
    -------
    str
    """
    count = f"{row.rods} rod" if row.rods == 1 else f"{row.rods} rods"
    return f"{count}, about {quantity(row.rod_resistance_ohm, 'ohm')} ({row.rods_note})"


def lead_texts(row: Any) -> tuple[str, ...]:
    """Figures of a lead (``LEAD_COLUMNS``), those in service before those under a fault.

    Parameters
    ----------
    row : named tuple
        Of the leads, with ``LEAD_COLUMNS``.

    Returns
    -------
    tuple of str
        As ``LEAD_LABELS``.
    """
    return (
        quantities(row.expected_reading_v_low, row.expected_reading_v_high, "V"),
        ratio_words(row.service_ratio),
        quantity(row.emf_load_v, "V"),
        quantity(row.emf_unbalance_v, "V"),
        quantity(row.capacitive_ma, "mA"),
        quantity(row.field_kv_m, "kV/m"),
        ratio_words(row.fault_ratio),
        quantity(row.emf_fault_v, "V"),
        quantity(row.transferred_fault_v, "V") + fault_place(row.fault_location),
        f"{quantity(row.stake_touch_v, 'V')} to the ground 1 m away, {quantity(row.stake_step_v, 'V')} between the "
        "feet of a step: stand clear of stake and lead",
    )


def _ohm_and_share(ohm: float | None, share_pct: float | None) -> str:
    first, second = quantity(ohm, "ohm"), quantity(share_pct, "%")
    return first if first == second else f"{first}, {second}"


def _target(distance_m: float | None) -> str:
    if distance_m is None:
        return "unknown"
    if np.isinf(distance_m):
        return "not even with H at 100 km"
    return f"with H at {quantity(distance_m, 'm')} or farther" if distance_m > 0 else "at any distance"
