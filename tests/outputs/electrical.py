"""Invented electrical figures for the invented plan: leads at every level, some figures unknown."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from layoutplan.electrical import lead_level

SERVICE, FAULT = "in service", "under a fault"
_VOLTAGE = ("IEC 60364-4-41, long-duration touch voltage, a.c.", "2005; values as quoted in public sources", 50.0, "V")
_CURRENT = ("ICNIRP (Health Phys. 99), contact current, occupational", "2010; values as quoted in public sources", 1.0,
            "mA")  # fmt: skip
_FIELD = ("ICNIRP (Health Phys. 99), electric field, occupational", "2010; values as quoted in public sources", 10.0,
          "kV/m")  # fmt: skip
_TOUCH = ("EN 50522 (IEC 61936-1), permissible touch voltage (values from memory)", "2010, Table B.3; from memory",
          432.11, "V")  # fmt: skip
# exposure, state, limit, counted for the handling, and the value at leads of each level
ROWS = (
    ("induced by the load, balanced", SERVICE, _VOLTAGE, True, (0.31, 9.4, np.nan, 21.0)),
    ("induced by the load, unbalance", SERVICE, _VOLTAGE, True, (0.12, 3.1, np.nan, 6.5)),
    ("standing voltage of the tower", SERVICE, _VOLTAGE, True, (8.4, 34.6, np.nan, 41.2)),
    ("arithmetic sum in service", SERVICE, _VOLTAGE, True, (8.83, 47.1, np.nan, 68.7)),
    ("capacitive current, lead carried", SERVICE, _CURRENT, True, (0.062, 0.071, 0.0436, 0.18)),
    ("capacitive current, lead on the ground", SERVICE, _CURRENT, True, (0.0005, 0.0006, 0.0005, 0.001)),
    ("electric field along the lead", SERVICE, _FIELD, False, (0.97, 1.24, 0.88, 2.4)),
    ("induced by a fault", FAULT, _TOUCH, True, (1.7, 18.2, np.nan, 44.0)),
    ("transferred from the tower by a fault", FAULT, _TOUCH, True, (2467.0, 5120.4, np.nan, 6340.5)),
    ("arithmetic sum under a fault", FAULT, _TOUCH, True, (2468.7, 5138.6, np.nan, 6384.5)),
    ("from the stake to the ground 1 m away", FAULT, _TOUCH, False, (2050.0, 4270.0, np.nan, 5310.0)),
    ("step of 1 m beside the stake", FAULT, _TOUCH, False, (644.0, 1340.0, np.nan, 1670.0)),
)
FAULTS = ("line 'Valley 132', tower 9", "Northern station", "", "line 'Valley 132', tower 12")
LEVELS = ("below", "near", "unknown", "above")  # of the leads, by turns
_COLUMNS = {
    "emf_load_v": 0,
    "emf_unbalance_v": 1,
    "emf_fault_v": 7,
    "capacitive_ma": 4,
    "field_kv_m": 6,
    "transferred_fault_v": 8,
    "stake_touch_v": 10,
    "stake_step_v": 11,
}


def _turns(rows: pd.DataFrame) -> np.ndarray:
    return np.arange(len(rows)) % len(LEVELS)


def _values() -> np.ndarray:
    """Values of the exposures, shape (exposures, levels)."""
    return np.array([values for *_, values in ROWS])


def _ratios(state: str) -> np.ndarray:
    """Ratios that count for the handling, shape (levels, exposures)."""
    counted = [n for n, (_, of, _, judged, _) in enumerate(ROWS) if judged and of == state]
    limits = np.array([limit[2] for _, _, limit, _, _ in ROWS])
    return (_values()[counted] / limits[counted, None]).T


def _worst(state: str) -> np.ndarray:
    ratios = _ratios(state)
    worst = np.max(ratios, axis=-1, initial=0.0, where=~np.isnan(ratios))
    return np.where(np.isnan(ratios).any(axis=-1) & (worst <= 1), np.nan, worst)


def with_lead_figures(leads: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    turn = _turns(leads)
    columns: dict[str, Any] = {name: _values()[row][turn] for name, row in _COLUMNS.items()}
    columns |= {
        "ground_length_m": np.array([64.01, 71.9, np.nan, 80.0])[turn],
        "height_difference_m": np.array([-1.2, 8.4, np.nan, 0.1])[turn],
        "steepest_deg": np.array([4.1, 21.0, np.nan, 1.1])[turn],
        "cliff_drop_m": np.array([0.0, 0.0, np.nan, 0.0])[turn],
        "expected_reading_v_low": np.array([2.5053, 11.8, np.nan, 14.2])[turn],
        "expected_reading_v_high": np.array([9.0554, 44.1, np.nan, 66.3])[turn],
        "fault_location": np.array(FAULTS)[turn],
        "service_ratio": _worst(SERVICE)[turn],
        "fault_ratio": _worst(FAULT)[turn],
        "exposure_basis": "; ".join(dict.fromkeys(basis for _, _, (basis, *_), _, _ in ROWS)),
    }
    for ending, state in (("", SERVICE), ("_fault", FAULT)):
        level = lead_level(_ratios(state))[turn]
        columns[f"lead_level{ending}"] = [str(each) for each in level]
        columns[f"handling{ending}"] = [each.handling for each in level]
    return leads.assign(**columns)


def with_stake_figures(electrodes: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Terms of the score, and rods."""
    turn = _turns(electrodes)
    plenty = turn == 3
    return electrodes.assign(
        induced_v=np.array([0.43, 12.5, np.nan, 27.5])[turn],
        bias_pct=np.array([15.613, 9.161, 4.193, np.nan])[turn],
        steep_deg=np.array([0.0, 2.5, np.nan, 0.0])[turn],
        walk_min=np.array([1.25, 1.5, np.nan, 60.0])[turn],
        elevation_m=np.array([612.4, 640.15, np.nan, 598.0])[turn],
        slope_deg=np.array([3.2, 12.5, np.nan, 0.8])[turn],
        aspect_deg=np.array([181.5, 20.0, np.nan, 300.25])[turn],
        rods=np.where(plenty, 6, 1),
        rod_resistance_ohm=np.where(plenty, 1377.2, 84.31),
        rods_note=np.where(plenty, "1000 ohm cannot be reached with the rods available", "at most 1000 ohm"),
    )


def with_tower_figures(towers: gpd.GeoDataFrame, without_stakes: np.ndarray) -> gpd.GeoDataFrame:
    turn = np.arange(len(towers)) % 3

    def of_pair(*values: float) -> np.ndarray:
        return np.where(without_stakes, np.nan, np.array(values)[turn])

    return towers.assign(
        elevation_m=np.array([612.0, 655.5, np.nan])[turn],
        base_width_m=np.array([6.8, 8.2, np.nan])[turn],
        earth_electrode_size_m=np.array([np.nan, 16.0, np.nan])[turn],
        footing_resistance_ohm=np.array([6.5, 2.6, np.nan])[turn],
        soil_resistivity_ohm_m=np.array([80.0, 90.0, np.nan])[turn],
        fault_from_start_ka=np.array([7.2, 6.9, np.nan])[turn],
        fault_from_end_ka=np.array([3.1, 3.4, np.nan])[turn],
        earth_potential_rise_kv=np.array([2.5446, 5.12, np.nan])[turn],
        fault_location=np.array(["line 'Valley 132', tower 9", "Northern station", ""])[turn],
        tower_share_of_fault_pct=np.array([2.627, 11.47, np.nan])[turn],
        standing_current_a_low=np.array([0.399, 2.2722, np.nan])[turn],
        standing_current_a_high=np.array([1.4344, 5.4818, np.nan])[turn],
        expected_resistance_ohm=np.array([6.5, 2.6, np.nan])[turn],
        bias_ohm=of_pair(-1.0148, -0.109, np.nan),
        bias_pct=of_pair(-15.613, -4.193, np.nan),
        bias_frequency_hz=of_pair(110.0, 110.0, np.nan),
        distance_for_bias_target_m=of_pair(103.314, np.inf, np.nan),
        coupling_ohm=of_pair(0.4393, 0.1894, np.nan),
        coupling_pct=of_pair(6.758, 7.285, np.nan),
        coupling_frequency_hz=of_pair(1000.0, 110.0, np.nan),
    )


def exposures_table(electrodes: pd.DataFrame) -> pd.DataFrame:
    keys, turn = electrodes[["line_id", "tower_id", "role", "waypoint"]], _turns(electrodes)
    blocks = []
    for number, (name, state, (basis, edition, limit, unit), _, values) in enumerate(ROWS):
        value = np.array(values)[turn]
        unknown = "no fault current given" if state == FAULT else "no load current given"
        columns = {
            "number": number,
            "exposure": name,
            "state": state,
            "value": value,
            "limit": limit,
            "unit": unit,
            "ratio": np.round(value / limit, 4),
            "basis": basis,
            "edition": edition,
            "duration_s": 0.25 if state == FAULT else np.nan,
            "fault_location": np.array(FAULTS)[turn] if state == FAULT else "",
            "assumptions": np.where(np.isnan(value), f"unknown: {unknown}", "footing resistance estimated"),
        }
        blocks.append(keys.assign(**columns).rename_axis("stake").reset_index())
    table = pd.concat(blocks, ignore_index=True).sort_values(["stake", "number"], kind="stable", ignore_index=True)
    return table.drop(columns=["stake", "number"])


def readings_table(towers: pd.DataFrame) -> pd.DataFrame:
    """Each tower with stakes at two test frequencies."""
    rows = towers[towers["bias_pct"].notna()]
    parts = [
        rows[["line_id", "tower_id", "expected_resistance_ohm", "bias_pct", "coupling_pct"]].assign(frequency_hz=hz)
        for hz in (110.0, 1000.0)
    ]
    return pd.concat(parts, ignore_index=True)
