"""Limits that the job's exposures are compared with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.electrical import (
    CONTACT_CURRENT,
    CONTACT_CURRENT_PUBLIC,
    EN_50522_2010,
    IEEE_80_EDITION,
    LONG_DURATION_VOLTAGE,
    LONG_DURATION_VOLTAGE_PUBLIC,
    FixedLimit,
    electric_field_limit,
    ieee80_step_voltage,
    ieee80_touch_voltage,
    permissible_touch_voltage,
)
from layoutplan.electrical.limits import en50522_basis, ieee80_basis
from layoutplan.exposure.network import Network
from layoutplan.exposure.windows import see


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit for each of some towers.

    Attributes
    ----------
    value : ndarray, shape (t,) or (t, 2)
        For each tower, or each of its leads; NaN where unknown, in ``unit``.
    unit, basis, edition : str
    duration_s : ndarray, shape as ``value``
        Infinite for limits that hold for ever; NaN where unknown.
    """

    value: FloatArray
    unit: str
    basis: str
    edition: str
    duration_s: FloatArray

    @property
    def each(self) -> FloatArray:
        """The limit of each lead, shape (t, 2)."""
        return _each(self.value)

    @property
    def each_duration_s(self) -> FloatArray:
        """Duration that it holds for, of each lead, shape (t, 2)."""
        return _each(self.duration_s)


def _each(values: FloatArray) -> FloatArray:
    return values if values.ndim == 2 else np.column_stack((values, values))


def service_limits(network: Network, tower: IntArray) -> dict[str, Limit]:
    """Limits in service by quantity.

    Parameters
    ----------
    network : Network
        Of the job.
    tower : ndarray of int, shape (t,)
        Rows of the network's towers.

    Returns
    -------
    dict of str to Limit
        ``voltage`` [V], ``current`` [A], ``field`` [V/m].

    References
    ----------
    .. [1] ICNIRP, "Guidelines for limiting exposure to time-varying electric and magnetic fields (1 Hz to 100
       kHz)," Health Phys. 99, pp. 818-836, 2010.
    .. [2] IEC 60364-4-41 (values as quoted in public sources).
    """
    public = network.job.limits.public_or_livestock
    frequency = np.array([source.line.frequency_hz for source in network.sources] or [50.0])
    fields = [electric_field_limit(float(f), public=public) for f in frequency]
    return {
        "voltage": _fixed(LONG_DURATION_VOLTAGE_PUBLIC if public else LONG_DURATION_VOLTAGE, len(tower)),
        "current": _fixed(CONTACT_CURRENT_PUBLIC if public else CONTACT_CURRENT, len(tower)),
        "field": Limit(
            _least(network, tower, np.array([limit.value for limit in fields])),
            fields[0].unit,
            fields[0].standard,
            f"{fields[0].edition}; {fields[0].source}",
            np.full(len(tower), np.inf),
        ),
    }


def _least(network: Network, tower: IntArray, of_lines: FloatArray) -> FloatArray:
    """The own line's limit at each tower, or that of a line near it which is lower: what all make is one figure."""
    least = of_lines[np.maximum(network.owner[tower], 0)]
    for source, limit in zip(network.sources, of_lines.tolist(), strict=False):
        if limit < least.max(initial=0.0):
            near = see(source.course, network.towers.lonlat_deg[tower], network.ground.deep_ohm_m, far=False).row
            least[near] = np.minimum(least[near], limit)
    return least


def touch_values(network: Network, tower: IntArray, clearing_time_s: float) -> FloatArray:
    """Permissible touch voltage at some towers for a clearing time.

    Parameters
    ----------
    network : Network
        Of the job.
    tower : ndarray of int, shape (t,)
        Rows of the network's towers.
    clearing_time_s : float
        Of the fault. [s]

    Returns
    -------
    ndarray, shape (t,)
        NaN beyond what the standard gives. [V]

    References
    ----------
    .. [1] EN 50522:2010, Earthing of power installations exceeding 1 kV a.c..
    .. [2] IEEE Std 80-2013, IEEE Guide for Safety in AC Substation Grounding.
    """
    settings = network.job.limits
    if settings.touch_standard == "IEEE Std 80":
        return ieee80_touch_voltage(clearing_time_s, network.ground.soil_ohm_m[tower], **_body(network))
    return np.full(len(tower), permissible_touch_voltage(clearing_time_s))


def step_values(network: Network, tower: IntArray, duration_s: FloatArray) -> FloatArray:
    """Tolerable step voltage at towers; EN 50522 has none: its touch voltage is taken, far below it.

    Parameters
    ----------
    network : Network
        Of the job.
    tower : ndarray of int, shape (t,)
        Rows of the network's towers.
    duration_s : ndarray, shape (t, 2)
        Of the fault. [s]

    Returns
    -------
    ndarray, shape (t, 2)
        NaN beyond what the standard gives. [V]

    References
    ----------
    .. [1] IEEE Std 80-2013, IEEE Guide for Safety in AC Substation Grounding.
    """
    if network.job.limits.touch_standard != "IEEE Std 80":
        return np.where(np.isnan(duration_s), np.nan, permissible_touch_voltage(np.nan_to_num(duration_s, nan=1.0)))
    soil = np.broadcast_to(network.ground.soil_ohm_m[tower][:, None], duration_s.shape)
    found = ieee80_step_voltage(np.nan_to_num(duration_s, nan=1.0), soil, **_body(network))
    return np.where(np.isnan(duration_s), np.nan, found)


def fault_limit(network: Network, value_v: FloatArray, duration_s: FloatArray, *, step: bool = False) -> Limit:
    """Name the standard behind permissible voltages under a fault.

    Parameters
    ----------
    network : Network
        Of the job.
    value_v : ndarray
        Permissible voltages. [V]
    duration_s : ndarray, same shape
        Of the fault. [s]
    step : bool
        Whether they are step voltages.

    Returns
    -------
    Limit
        With standard, edition and duration.
    """
    settings = network.job.limits
    if settings.touch_standard == "IEEE Std 80":
        edition = IEEE_80_EDITION.rpartition("-")[2]
        return Limit(value_v, "V", ieee80_basis(settings.body_mass_kg, step=step), edition, duration_s)
    table = EN_50522_2010
    return Limit(value_v, "V", en50522_basis(step=step), f"{table.edition}; {table.source}", duration_s)


def _body(network: Network) -> dict[str, Any]:
    settings = network.job.limits
    names = ("body_mass_kg", "surface_resistivity_ohm_m", "surface_thickness_m")
    return {name: getattr(settings, name) for name in names}


def _fixed(limit: FixedLimit, count: int) -> Limit:
    edition = f"{limit.edition}; {limit.source}"
    return Limit(np.full(count, limit.value), limit.unit, limit.standard, edition, np.full(count, np.inf))
