"""Layers and columns in plain words, for people who open the tables in a desktop program."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

LAYER_TITLES: Mapping[str, str] = MappingProxyType(
    {
        "towers": "Towers",
        "electrodes": "Stakes H and S",
        "leads": "Leads",
        "alternatives": "Other positions",
        "pairs": "Pairs on one side",
        "approaches": "Ways on foot",
        "spans": "Spans",
        "permissions": "Land and permissions",
        "agreements": "To be agreed",
        "obstacles": "Obstacles",
        "checks": "Rules and verdicts",
        "crossings": "Crossings",
        "exposures": "Voltages on leads",
        "readings": "Readings by test frequency",
        "exclusions": "Candidates excluded",
        "relaxations": "What would give a layout",
        "missing": "Missing stakes",
        "shifts": "From plan to stake",
        "hints": "Hints from readings",
        "changes": "Stakes that moved",
        "towers_changed": "Towers that changed",
    }
)
_UNITS = {
    **{"m": "m", "km": "km", "deg": "degrees", "v": "V", "kv": "kV", "ma": "mA", "a": "A", "ka": "kA", "ohm": "ohm"},
    **{"pct": "%", "min": "minutes", "s": "s", "kv_m": "kV/m", "ohm_m": "ohm m"},
}
_BOUNDS = {"low": "at least", "high": "at most"}
_OWN_WORDS = {  # where the column's own words would not do
    "tower_id": "tower",
    "line_id": "line",
    "feature_id": "feature",
    "lon": "longitude, degrees",
    "lat": "latitude, degrees",
    "easting": "easting in the grid",
    "northing": "northing in the grid",
    "bearing_true_deg": "bearing from true north, degrees",
    "bearing_grid_deg": "bearing from grid north, degrees",
    "octant": "towards",
    "distance_m": "distance from the tower, m",
    "distance_to_line_m": "distance from the line, m",
    "lead_length_m": "lead to pull, m",
    "beyond_min_m": "beyond the least distance, m",
    "near_keep_out": "nearness to keep-outs",
    "lead_beside_m": "lead near what it must not cross",
    "woodland_crops_m": "lead through woodland or crops, m",
    "induced_v": "induced on the lead, V",
    "bias_pct": "bias of the reading, %",
    "bias_ohm": "bias of the reading, ohm",
    "steep_deg": "steepest slope at the stake, degrees",
    "steepest_deg": "steepest slope along the lead, degrees",
    "emf_load_v": "induced by the load, V",
    "emf_unbalance_v": "induced by unbalance, V",
    "emf_fault_v": "induced by a fault, V",
    "capacitive_ma": "capacitive current, mA",
    "field_kv_m": "electric field, kV/m",
    "transferred_fault_v": "transferred under a fault, V",
    "stake_touch_v": "under a fault from the stake to the ground 1 m away, V",
    "stake_step_v": "under a fault between the feet of a step beside the stake, V",
    "fault_location": "worst fault at",
    "handling_fault": "handling under a fault",
    "service_ratio": "share of a limit in service",
    "fault_ratio": "share of a limit under a fault",
    "map_covers": "within the map",
    "map_gaps": "what the map is silent about",
    "map_cures": "what would cure it",
    "stake": "may a stake stand there",
    "lead_crossing": "may a lead cross it",
    "vehicle": "may one drive there",
    "to": "leads to",
    "met_by": "met by",
    "at_m": "from the tower, m",
    "of": "out of",
    "owner_ref": "owner's reference",
    "lead_m": "lead on it, m",
    "approach_m": "way on it, m",
    "offset_m": "away from the plan, m",
    "offset_bearing_deg": "away from the plan towards, degrees",
    "accuracy_m": "accuracy of the position, m",
    "worse": "rules that fare worse than planned",
}


def column_title(column: str) -> str:
    """Name of a column in plain words, the unit at its end written out.

    Parameters
    ----------
    column : str
        Of a table of the plan.

    Returns
    -------
    str

    Examples
    --------
    >>> column_title("lead_length_m")
    'lead to pull, m'
    """
    if column in _OWN_WORDS:
        return _OWN_WORDS[column]
    words = column.split("_")
    bound = [_BOUNDS[words.pop()]] if len(words) > 2 and words[-1] in _BOUNDS else []
    length = 2 if "_".join(words[-2:]) in _UNITS else 1
    unit = _UNITS.get("_".join(words[-length:]))
    if unit is None or len(words) <= length:
        return " ".join([*words, *bound])
    return f"{' '.join([*words[:-length], *bound])}, {unit}"
