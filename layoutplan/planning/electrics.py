"""The electrical figures as columns of the plan's tables, and the table of exposures."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.exposure import FAULT, SERVICE, Assessment, Network
from layoutplan.exposure.figures import Exposure
from layoutplan.layout.schema import TABLES
from layoutplan.line.model import Towers
from layoutplan.planning.tables import carried_digits, rounded_columns
from layoutplan.siting.site import Sited

_SHOWN = {"V": (1.0, "V"), "A": (1e3, "mA"), "V/m": (1e-3, "kV/m")}
_SHARES = {"negative_sequence_pct", "zero_sequence_pct"}
_MISSING = {
    "section": "no voltage given",
    "load": "no load current given",
    "fault": "no fault current given",
    "shared": "another line on this tower not known",
}
_ELSEWHERE = {
    SERVICE: "voltage or load of a line near by not given",
    FAULT: "fault current at some tower or of a line near by not given, or clearing time beyond the standard",
}


def stake_places(sited: Sited) -> tuple[IntArray, FloatArray]:
    """Towers with stakes, and the places of their stakes H and S.

    Parameters
    ----------
    sited : Sited
        Two stakes for each such tower.

    Returns
    -------
    tower : ndarray of int, shape (t,)
        Ascending.
    stake_xy_m : ndarray, shape (t, 2, 2)
        In the towers' frames. [m]
    """
    rays = sited.chosen.rays
    order = np.lexsort((sited.role, rays.tower))
    place = (rays.direction * sited.chosen.distance_m[:, None])[order]
    return rays.tower[order][::2], place.reshape(-1, 2, 2)


def with_lead_figures(leads: gpd.GeoDataFrame, found: Assessment) -> gpd.GeoDataFrame:
    """Leads with what they carry.

    Parameters
    ----------
    leads : GeoDataFrame
        H before S, as in the assessment.
    found : Assessment
        Of their towers.

    Returns
    -------
    GeoDataFrame
    """
    figures = found.leads
    columns: dict[str, Any] = {
        "emf_load_v": figures.emf_load_v,
        "emf_unbalance_v": figures.emf_unbalance_v,
        "emf_fault_v": figures.emf_fault_v,
        "capacitive_ma": 1e3 * np.maximum(figures.capacitive.carried_a, figures.capacitive.on_ground_a),
        "field_kv_m": figures.capacitive.field_v_per_m / 1e3,
        "transferred_fault_v": figures.transferred_fault_v,
        "stake_touch_v": figures.stake_touch_v,
        "stake_step_v": figures.stake_step_v,
        "fault_location": figures.fault_location,
        "expected_reading_v_low": figures.expected_low_v,
        "expected_reading_v_high": figures.expected_high_v,
        "service_ratio": figures.worst_ratio(SERVICE),
        "fault_ratio": figures.worst_ratio(FAULT),
        "exposure_basis": _bases(figures.exposures, len(found.tower)),
        "lead_level": figures.level(SERVICE),
        "lead_level_fault": figures.level(FAULT),
        "handling": figures.handling(SERVICE),
        "handling_fault": figures.handling(FAULT),
    }
    schema = TABLES["leads"]
    flat = {name: value.ravel() for name, value in columns.items()}
    texts = {name: [str(v) for v in value] for name, value in flat.items() if schema.columns[name].type == "text"}
    return leads.assign(**rounded_columns(flat | texts, schema))


def with_rods(electrodes: gpd.GeoDataFrame, found: Assessment, target_ohm: float) -> gpd.GeoDataFrame:
    """Electrodes with the rods to bring.

    Parameters
    ----------
    electrodes : GeoDataFrame
        Two for each tower, as in the assessment.
    found : Assessment
        Of their towers.
    target_ohm : float
        Resistance that the rods should reach. [Ω]

    Returns
    -------
    GeoDataFrame
    """
    rods = found.rods
    note = np.where(
        rods.reached,
        f"at most {target_ohm:g} ohm",
        f"{target_ohm:g} ohm cannot be reached with the rods available: wet the ground, or bring longer or more rods",
    )
    columns = {"rods": rods.rods, "rod_resistance_ohm": rods.resistance_ohm, "rods_note": note}
    both = {name: np.repeat(value, 2) for name, value in columns.items()}
    return electrodes.assign(**rounded_columns(both, TABLES["electrodes"]))


def with_tower_figures(towers: gpd.GeoDataFrame, found: Assessment) -> gpd.GeoDataFrame:
    """Towers with what a fault and the load do to them, and what their readings will be worth.

    Parameters
    ----------
    towers : GeoDataFrame
        All of the plan.
    found : Assessment
        Of them.

    Returns
    -------
    GeoDataFrame
    """
    figures, reading = found.towers, found.reading

    columns = {
        "fault_from_start_ka": figures.fault_from_start_a / 1e3,
        "fault_from_end_ka": figures.fault_from_end_a / 1e3,
        "earth_potential_rise_kv": figures.potential_rise_v / 1e3,
        "fault_location": figures.fault_location,
        "tower_share_of_fault_pct": 100 * figures.fault_share,
        "standing_current_a_low": figures.standing_low_a,
        "standing_current_a_high": figures.standing_high_a,
        "expected_resistance_ohm": found.measured.worst_expected_ohm(),
        "bias_ohm": found.spread(reading.bias_ohm),
        "bias_pct": found.spread(reading.bias_pct),
        "bias_frequency_hz": found.spread(reading.bias_frequency_hz),
        "distance_for_bias_target_m": found.spread(reading.distance_for_target_m),
        "coupling_ohm": found.spread(reading.coupling_ohm),
        "coupling_pct": found.spread(reading.coupling_pct),
        "coupling_frequency_hz": found.spread(reading.coupling_frequency_hz),
    }
    return towers.assign(**rounded_columns(columns, TABLES["towers"]))


def readings_table(found: Assessment, towers: Towers) -> pd.DataFrame:
    """One row for each tower with stakes and test frequency.

    Parameters
    ----------
    found : Assessment
        Of all towers.
    towers : Towers
        All of the plan.

    Returns
    -------
    DataFrame
    """
    reading, hz = found.reading, found.measured.frequency_hz
    row, number = np.repeat(found.tower, len(hz)), np.tile(np.arange(len(hz)), len(found.tower))
    place = np.repeat(np.arange(len(found.tower)), len(hz))
    columns = {
        "frequency_hz": hz[number],
        "expected_resistance_ohm": reading.each_expected_ohm[number, place],
        "bias_pct": reading.each_bias_pct[number, place],
        "coupling_pct": reading.each_coupling_pct[number, place],
    }
    keys = {"line_id": towers.line_id[row], "tower_id": towers.tower_id[row]}
    return pd.DataFrame(keys | rounded_columns(columns, TABLES["readings"]))


def exposures_table(found: Assessment, network: Network, electrodes: gpd.GeoDataFrame) -> pd.DataFrame:
    """One row for each lead and exposure.

    Parameters
    ----------
    found : Assessment
        Of the towers with stakes.
    network : Network
        Of the job.
    electrodes : GeoDataFrame
        Two for each tower, as in the assessment.

    Returns
    -------
    DataFrame
    """
    keys = electrodes[["line_id", "tower_id", "role", "waypoint"]]
    assumed = _assumed(network, found.tower)
    blocks = []
    for number, item in enumerate(found.leads.exposures):
        factor, unit = _SHOWN[item.limit.unit]
        value, ratio = item.value.ravel(), item.ratio.ravel()
        duration = item.limit.each_duration_s.ravel()
        caused_by = np.full(len(ratio), "", dtype=object) if item.caused_by is None else item.caused_by.ravel()
        columns: dict[str, Any] = {
            "number": number,
            "exposure": item.name,
            "state": item.state,
            "value": carried_digits(value * factor) if unit == "V" else np.round(value * factor, 4),
            "limit": item.limit.each.ravel() * factor,
            "unit": unit,
            "ratio": ratio,
            "basis": item.limit.basis,
            "edition": item.limit.edition,
            "duration_s": np.where(np.isinf(duration), np.nan, duration),
            "fault_location": caused_by,
            "assumptions": [
                _row_text(assumed[row // 2], item, unknown) for row, unknown in enumerate(np.isnan(ratio).tolist())
            ],
        }
        blocks.append(keys.assign(**rounded_columns(columns, TABLES["exposures"])).rename_axis("stake").reset_index())
    table = pd.concat(blocks, ignore_index=True).sort_values(["stake", "number"], kind="stable", ignore_index=True)
    return table.drop(columns=["stake", "number"])


def _assumed(network: Network, tower: IntArray) -> list[dict[str, str]]:
    """For each tower what had to be assumed, or is missing, of which input."""
    lines = [_line_assumptions(source.line, source.course.sections) for source in network.sources]
    none = {"section": _MISSING["section"]}
    ground = network.ground
    rows = []
    for row in tower.tolist():
        owner = int(network.owner[row])
        found = dict(lines[owner]) if owner >= 0 else dict(none)
        if ground.soil_assumed[row]:
            found["soil"] = "soil resistivity not given"
        if ground.footing_assumed[row]:
            found["footing"] = "footing resistance estimated"
        if network.unknown_too[row]:
            found["shared"] = _MISSING["shared"]
        if silent := _silent_stations(network, row):
            found["station"] = f"at least so much: no fault current given for {', '.join(silent)}"
        rows.append(found)
    return rows


def _silent_stations(network: Network, tower: int) -> list[str]:
    """Stations near a tower of which the job gives no fault current."""
    near = network.near.footing[tower] - network.joints.structures
    stations = [network.joints.stations[i] for i in near.tolist() if i >= 0]
    return [station.name for station in stations if station.fault is None]


def _line_assumptions(line: Any, sections: Any) -> dict[str, str]:
    found = {}
    if any(section.generic for section in sections):
        found["section"] = "generic cross-section"
    if line.load is None:
        found["load"] = _MISSING["load"]
    elif not line.load.phase_currents_a and not _SHARES.issubset(line.load.model_fields_set):
        found["unbalance"] = "unbalance not given"
    if line.fault is None:
        found["fault"] = _MISSING["fault"]
    return found


def _row_text(assumed: dict[str, str], item: Exposure, unknown: bool) -> str:
    texts = [assumed[name] for name in item.rests_on if name in assumed]
    if unknown and not set(texts) & set(_MISSING.values()):
        texts.insert(0, _ELSEWHERE[item.state])
    return ("unknown: " if unknown else "") + "; ".join(texts)


def _bases(exposures: tuple[Exposure, ...], towers: int) -> np.ndarray:
    names = dict.fromkeys(f"{item.limit.basis} ({item.limit.edition.partition(';')[0]})" for item in exposures)
    return np.full((towers, 2), "; ".join(names), dtype=object)
