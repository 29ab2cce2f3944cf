"""Voltages, electrodes and readings at one tower, from a written plan."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd

from layoutplan.layout.rules import NO_LAYOUT
from layoutplan.text import three_figures

_NOTHING = "  electrical figures: none in this plan; it was written by an earlier version"
_HEAD = f"  {'exposure':<40}{'value':>10}{'limit':>10} {'unit':<5}{'ratio':>9}  basis"


def tower_lines(tower: Any) -> Iterator[str]:
    """Potential rise, currents and what a reading is worth; ``tower`` is its row."""
    if "earth_potential_rise_kv" not in tower:
        yield _NOTHING
        return
    rise = _figure(tower, "earth_potential_rise_kv", "kV")
    yield (
        f"  worst earth fault{_at(tower, ' (', ')')}: potential rise {rise}; "
        f"share of a fault at the tower itself in its footing {_figure(tower, 'tower_share_of_fault_pct', '%')}"
    )
    yield f"  in service: standing current in the tower {_range(tower, 'standing_current_a', 'A')}"
    yield f"  reading expected: {_figure(tower, 'expected_resistance_ohm', 'ohm')}"
    if tower["status"] != NO_LAYOUT:
        yield from _pair_lines(tower)


def _pair_lines(tower: Any) -> Iterator[str]:
    bias, coupling = (
        f"{_figure(tower, f'{name}_ohm', 'ohm')}, {_figure(tower, f'{name}_pct', '%')} of the reading expected, at "
        f"{_figure(tower, f'{name}_frequency_hz', 'Hz')}"
        for name in ("bias", "coupling")
    )
    yield f"  bias of the reading: {bias}"
    yield f"  bias within the job's target: {_target(tower['distance_for_bias_target_m'])}"
    yield f"  coupling of the leads: {coupling}"


def stake_lines(stake: Any, leads: pd.DataFrame, exposures: pd.DataFrame) -> Iterator[str]:
    """Rods, voltage on arrival, handling, and each exposure against its limit; of one stake and its lead."""
    if "rods" in stake:
        resistance = _figure(stake, "rod_resistance_ohm", "ohm")
        yield f"  rods to bring: {stake['rods']}, about {resistance} ({stake['rods_note']})"
    if "handling" not in leads:
        return
    for lead in leads.to_dict("records"):
        yield f"  voltage on arrival, tower to stake: {_range(lead, 'expected_reading_v', 'V')}"
    yield from lead_lines(leads)
    yield _HEAD
    yield from map(_exposure, exposures.itertuples())


def lead_lines(leads: pd.DataFrame) -> Iterator[str]:
    """How leads are to be handled, in service and under a fault; nothing if the plan has no electrical figures."""
    if "handling" not in leads:
        return
    for lead in leads.to_dict("records"):
        yield f"  lead in service: {lead['handling']}; worst ratio {three_figures(lead['service_ratio'])}"
        yield f"  lead under a fault: {lead['handling_fault']}; worst ratio {three_figures(lead['fault_ratio'])}"


def _exposure(row: Any) -> str:
    duration = "" if pd.isna(row.duration_s) else f", for {row.duration_s:g} s"
    value, limit = (three_figures(figure, row.unit) for figure in (row.value, row.limit))
    ratio = three_figures(row.ratio)
    return f"  {row.exposure:<40}{value:>10}{limit:>10} {row.unit:<5}{ratio:>9}  {row.basis}{duration}{_at(row)}" + (
        f" [{row.assumptions}]" if row.assumptions else ""
    )


def _at(row: Any, before: str = ", ", behind: str = "") -> str:
    place = row["fault_location"] if isinstance(row, Mapping | pd.Series) else row.fault_location
    return f"{before}fault at {place}{behind}" if isinstance(place, str) and place else ""


def limit_sources(exposures: pd.DataFrame) -> Iterator[str]:
    """Editions of the limits, and where their figures come from."""
    if len(exposures):
        yield ""
        yield "limits of the exposures:"
        yield from dict.fromkeys(f"  {row.basis}: {row.edition}" for row in exposures.itertuples())


def _figure(row: Any, name: str, unit: str) -> str:
    return "unknown" if pd.isna(row[name]) else f"{three_figures(row[name], unit)} {unit}"


def _range(row: Any, name: str, unit: str) -> str:
    low, high = row[f"{name}_low"], row[f"{name}_high"]
    if pd.isna(low) or pd.isna(high):
        return "unknown"
    return f"{three_figures(low, unit)} to {three_figures(high, unit)} {unit}"


def _target(distance_m: float) -> str:
    if pd.isna(distance_m):
        return "unknown"
    if np.isinf(distance_m):
        return "not even with H at 100 km"
    return (
        f"with H at {three_figures(distance_m)} m or farther, S in proportion" if distance_m > 0 else "at any distance"
    )
