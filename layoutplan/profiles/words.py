"""Notes beside a profile: what is unknown and why, what it rests on, which limits apply."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
import pandas as pd

from layoutplan.exposure import Network
from layoutplan.exposure.induced import load_emf
from layoutplan.exposure.limits import fault_limit, service_limits, touch_values
from layoutplan.exposure.network import Source
from layoutplan.siting.rays import least_distance_m

_NO_LOAD = "unknown: no load current given ([lines.load])"
_NO_VOLTAGE = "unknown: no voltage_kv given"
_NO_FAULT = "unknown: no fault current given ([lines.fault])"
_NO_ROW = "unknown: the table of fault currents ([lines.fault]) has none"
_UNBALANCE = {"negative_sequence_pct", "zero_sequence_pct"}


def unknown_texts(network: Network, tower: int, tables: Mapping[str, pd.DataFrame]) -> dict[str, str]:
    """Why figures are unknown, by their column; those that are known are missing.

    Parameters
    ----------
    network : Network
    tower : int
        Row of the network's towers.
    tables : mapping of DataFrame
        ``distance`` and ``line`` of the profile.

    Returns
    -------
    dict of str to str
        Sentences by column.
    """
    own = network.sources[network.owner[tower]]
    texts = {}
    if tables["distance"]["induced_v"].isna().any():
        texts["induced_v"] = _unknown_load(network, tower)
    if own.line.load is None:
        texts["standing_current_a_high"] = f"{_NO_LOAD} for {_names([own.line.id])}"
    elif tables["line"]["standing_current_a_high"].isna().any():
        texts["standing_current_a_high"] = _unknown_beside(network)
    return texts | _unknown_faults(own, tables["distance"], tables["line"])


def _unknown_load(network: Network, tower: int) -> str:
    stub = np.array([[[[0.0, 0.0], [0.0, 1.0]]]])
    gap = np.isnan(load_emf(network, np.array([tower]), stub)[0, 0, :, 0])
    lines = [source.line.id for source, missing in zip(network.sources, gap, strict=True) if missing]
    if lines:
        return f"{_NO_LOAD} for {_names(lines)}"
    return f"{_NO_VOLTAGE} for {_names(_unknown(network))}, which runs near by"


def _unknown_beside(network: Network) -> str:
    """Why the standing current of a line of known load is not known: another line's is not."""
    if lines := [source.line.id for source in network.sources if source.line.load is None]:
        return f"{_NO_LOAD} for {_names(lines)}"
    return f"{_NO_VOLTAGE} for {_names(_unknown(network))}, which runs near by"


def _unknown_faults(own: Source, distance: pd.DataFrame, line: pd.DataFrame) -> dict[str, str]:
    missing = int(line["earth_potential_rise_kv"].isna().sum())
    where = {
        "induced_fault_v": "this tower or others that matter to it",
        "transferred_fault_v": "this tower or others that matter to it",
        "earth_potential_rise_kv": f"{missing} of {len(line)} towers",
    }
    if own.faults is None:
        return dict.fromkeys(where, f"{_NO_FAULT} for {_names([own.line.id])}")
    gaps = {column: bool(distance[column].isna().any()) for column in ("induced_fault_v", "transferred_fault_v")}
    gaps["earth_potential_rise_kv"] = missing > 0
    return {column: f"{_NO_ROW} for {where[column]}" for column, gap in gaps.items() if gap}


def limits_table(network: Network, tower: int) -> pd.DataFrame:
    """Limits for the quantities that are drawn.

    Parameters
    ----------
    network : Network
        Of the job.
    tower : int
        Row of the network's towers.

    Returns
    -------
    DataFrame
        ``column``, ``value`` in its unit, and ``text``.
    """
    job, row = network.job, np.array([tower])
    service = service_limits(network, row)["voltage"]
    faulted = network.sources[network.owner[tower]].line.fault
    touch_v = np.nan if faulted is None else float(touch_values(network, row, faulted.clearing_time_s)[0])
    least_m = float(least_distance_m(network.towers.rows(row), job.rules)[0])
    rows = [
        (
            "angle_to_line_deg",
            job.rules.min_angle_deg,
            f"nearer than {job.rules.min_angle_deg:g}° to a span or its continuation",
        ),
        ("distance_m", least_m, f"nearer than {least_m:.1f} m to the tower"),
        ("induced_v", float(service.value[0]), f"{service.value[0]:g} V, {service.basis}"),
    ]
    if job.rules.max_induced_v is not None:
        rows.append(("induced_v", job.rules.max_induced_v, f"{job.rules.max_induced_v:g} V, max_induced_v of the job"))
    if faulted is not None and not np.isnan(touch_v):
        limit = fault_limit(network, np.array([touch_v]), np.array([faulted.clearing_time_s]))
        text = f"{touch_v:.0f} V for {faulted.clearing_time_s:g} s of a fault of the line itself, {limit.basis}"
        rows += [(name, touch_v, text) for name in ("induced_fault_v", "transferred_fault_v")]
    for key in ("bias_target_pct", "max_bias_pct"):
        value = getattr(job.method if key == "bias_target_pct" else job.rules, key)
        if value is not None:
            rows += [("bias_pct", sign * value, f"± {value:g} %, {key} of the job") for sign in (1, -1)]
    return pd.DataFrame(rows, columns=["column", "value", "text"])


def rests_on(network: Network) -> tuple[str, ...]:
    """Inputs that were assumed or left out, in a few words each.

    Parameters
    ----------
    network : Network
        Of the job.

    Returns
    -------
    tuple of str
    """
    return tuple(_assumed(network))


def _assumed(network: Network) -> Iterator[str]:
    ground, lines = network.ground, [source.line for source in network.sources]
    if generic := [s.line.id for s in network.sources if any(section.generic for section in s.course.sections)]:
        yield f"generic cross-section taken for {_names(generic)}"
    loads = {line.id: line.load for line in lines if line.load is not None}
    if usual := [name for name, load in loads.items() if load.maximum_a is None]:
        yield f"greatest load not given for {_names(usual)}: the usual one taken"
    loose = {name: load for name, load in loads.items() if not load.phase_currents_a}
    if default := [name for name, load in loose.items() if not load.model_fields_set >= _UNBALANCE]:
        yield f"unbalance not given for {_names(default)}"
    if ground.soil_assumed.any():
        yield f"soil resistivity not given for {ground.soil_assumed.sum()} towers"
    if ground.footing_assumed.any():
        yield f"footing resistance estimated for {ground.footing_assumed.sum()} towers"
    if unknown_axes := _unknown(network):
        yield f"no voltage_kv given for {_names(unknown_axes)}: nothing counted for it but where it runs near by"
    yield "power lines that are not in the job add nothing"


def _unknown(network: Network) -> list[str]:
    """Lines of which nothing electrical is known."""
    known = {source.line.id for source in network.sources}
    return [line.id for line in network.job.lines if line.id not in known]


def _names(lines: list[str]) -> str:
    return ("line " if len(lines) == 1 else "lines ") + ", ".join(f"'{name}'" for name in lines)
