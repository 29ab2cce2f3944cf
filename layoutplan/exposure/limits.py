"""Limits that the job's exposures are compared with."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.electrical import (
    CONTACT_CURRENT,
    CONTACT_CURRENT_PUBLIC,
    EN_50522_2010,
    IEEE_80_EDITION,
    LONG_DURATION_VOLTAGE,
    LONG_DURATION_VOLTAGE_PUBLIC,
    FixedLimit,
    electric_field_limit,
    ieee80_touch_voltage,
    permissible_touch_voltage,
)
from layoutplan.errors import InputRangeError, JobError
from layoutplan.exposure.network import Network
from layoutplan.line.geodesy import FloatArray
from layoutplan.line.model import IntArray


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit for each of some towers.

    Attributes
    ----------
    value : ndarray, shape (t,)
        NaN where unknown, in ``unit``.
    unit, basis, edition : str
    duration_s : ndarray, shape (t,)
        Infinite for limits that hold for ever; NaN where unknown.
    """

    value: FloatArray
    unit: str
    basis: str
    edition: str
    duration_s: FloatArray


def service_limits(network: Network, tower: IntArray) -> dict[str, Limit]:
    """Limits in service by quantity: ``voltage`` [V], ``current`` [A], ``field`` [V/m]."""
    public = network.job.limits.public_or_livestock
    frequency = np.array([source.line.frequency_hz for source in network.sources] or [50.0])
    owner = np.maximum(network.owner[tower], 0)
    fields = [electric_field_limit(float(f), public=public) for f in frequency]
    return {
        "voltage": _fixed(LONG_DURATION_VOLTAGE_PUBLIC if public else LONG_DURATION_VOLTAGE, len(tower)),
        "current": _fixed(CONTACT_CURRENT_PUBLIC if public else CONTACT_CURRENT, len(tower)),
        "field": Limit(
            np.array([limit.value for limit in fields])[owner],
            fields[0].unit,
            fields[0].standard,
            f"{fields[0].edition}; {fields[0].source}",
            np.full(len(tower), np.inf),
        ),
    }


def fault_limit(network: Network, tower: IntArray) -> Limit:
    """Permissible touch voltage for the clearing time of each tower's line, the longest if it carries several. [V].

    Raises
    ------
    JobError
        A clearing time beyond what the standard gives.
    """
    duration, line = np.full(len(tower), np.nan), np.full(len(tower), "", dtype=object)
    for source in network.sources:
        if source.line.fault is None:
            continue
        time_s = source.line.fault.clearing_time_s
        mine = (source.vertex[tower] >= 0) & ~(duration >= time_s)
        duration[mine], line[mine] = time_s, source.line.id
    return touch_limit(network, tower, duration, line)


def touch_limit(network: Network, tower: IntArray, duration_s: FloatArray, line_id: ArrayLike) -> Limit:
    """Permissible touch voltage of each tower for a clearing time, NaN where it is NaN. [V].

    Parameters
    ----------
    network : Network
    tower : ndarray of int, shape (t,)
    duration_s : ndarray, shape (t,)
    line_id : array_like of str, shape () or (t,)
        Whose clearing time it is.

    Raises
    ------
    JobError
        A clearing time beyond what the standard gives.
    """
    settings = network.job.limits
    value, names = np.full(len(tower), np.nan), np.broadcast_to(np.asarray(line_id, dtype=object), len(tower))
    for time_s in np.unique(duration_s[~np.isnan(duration_s)]).tolist():
        mine = duration_s == time_s
        try:
            value[mine] = _touch_voltage(network, tower[mine], time_s)
        except InputRangeError as err:
            raise JobError(f"line '{names[mine][0]}', fault.clearing_time_s: {err}") from err
    if settings.touch_standard == "IEEE Std 80":
        standard, _, year = IEEE_80_EDITION.rpartition("-")
        basis = f"{standard}, tolerable touch voltage, {settings.body_mass_kg} kg"
        return Limit(value, "V", basis, year, duration_s)
    table = EN_50522_2010
    edition = f"{table.edition}; {table.source}"
    return Limit(value, "V", f"{table.standard}, permissible touch voltage", edition, duration_s)


def _touch_voltage(network: Network, tower: IntArray, clearing_time_s: float) -> FloatArray:
    settings = network.job.limits
    if settings.touch_standard == "IEEE Std 80":
        return ieee80_touch_voltage(
            clearing_time_s,
            network.ground.soil_ohm_m[tower],
            body_mass_kg=settings.body_mass_kg,
            surface_resistivity_ohm_m=settings.surface_resistivity_ohm_m,
            surface_thickness_m=settings.surface_thickness_m,
        )
    return np.full(len(tower), permissible_touch_voltage(clearing_time_s))


def _fixed(limit: FixedLimit, count: int) -> Limit:
    edition = f"{limit.edition}; {limit.source}"
    return Limit(np.full(count, limit.value), limit.unit, limit.standard, edition, np.full(count, np.inf))
