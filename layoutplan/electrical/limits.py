"""Limits that exposures are compared with, each with its standard and edition, and what the ratios mean for handling.

Nothing here declares a lead harmless. The limits hold at 50 and 60 Hz. Under a fault or lightning the potential
transferred from the tower outweighs everything else and no layout removes it (`FAULT_NOTE`).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layoutplan.electrical._arrays import FloatArray, positive, refuse
from layoutplan.errors import InputRangeError

FAULT_NOTE = (
    "During an earth fault or lightning the potential transferred from the tower outweighs every figure here, and no "
    "choice of positions removes it. The asset owner's rules and the judgement of licensed persons come first."
)

IEEE_80_EDITION = "IEEE Std 80-2013"
_IEEE_80_BODY = {50: 0.116, 70: 0.157}
_IEEE_80_DURATION_S = (0.03, 3.0)


@dataclass(frozen=True, slots=True)
class TouchVoltageTable:
    """Permissible touch voltage by fault duration, as printed: ascending durations [s] and voltages [V].

    ``longer_v`` holds for durations beyond the last printed one.
    """

    standard: str
    edition: str
    duration_s: tuple[float, ...]
    voltage_v: tuple[float, ...]
    longer_v: float
    source: str


EN_50522_2010 = TouchVoltageTable(
    standard="EN 50522 (IEC 61936-1)",
    edition="2010, Table B.3",
    duration_s=(0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0),
    voltage_v=(716.0, 654.0, 537.0, 220.0, 117.0, 96.0, 86.0, 85.0),
    longer_v=80.0,
    source="values from memory, superseded by the edition of 2022: compare with the standard before relying on it",
)


@dataclass(frozen=True, slots=True)
class FixedLimit:
    """A limit that does not depend on duration."""

    value: float
    unit: str
    standard: str
    edition: str
    source: str


_QUOTED = "values as quoted in public sources"
LONG_DURATION_VOLTAGE = FixedLimit(50.0, "V", "IEC 60364-4-41, long-duration touch voltage, a.c.", "2005", _QUOTED)
LONG_DURATION_VOLTAGE_PUBLIC = FixedLimit(
    25.0,
    "V",
    "IEC 60364-7-705, conventional touch voltage, a.c., livestock; taken for children, too",
    "first edition, superseded",
    "value from memory; the asset owner's rules come first",
)
CONTACT_CURRENT = FixedLimit(1.0e-3, "A", "ICNIRP (Health Phys. 99), contact current, occupational", "2010", _QUOTED)
CONTACT_CURRENT_PUBLIC = FixedLimit(
    0.5e-3, "A", "ICNIRP (Health Phys. 99), contact current, general public", "2010", _QUOTED
)


def electric_field_limit(frequency_hz: float, *, public: bool) -> FixedLimit:
    """Reference level for the electric field at power frequency.

    Parameters
    ----------
    frequency_hz : float
        16 to 3000. [Hz]
    public : bool
        Whether the general public is exposed.

    Returns
    -------
    FixedLimit
        Workers 20 kV/m up to 25 Hz, then 500/f kV/m; public 5 kV/m up to 50 Hz, then 250/f kV/m. [V/m]

    Raises
    ------
    InputRangeError
        If the frequency is out of range.

    References
    ----------
    .. [1] ICNIRP, "Guidelines for limiting exposure to time-varying electric and magnetic fields (1 Hz to 100 kHz),"
       Health Phys. 99, 2010, tables 3 and 4 (values as quoted in public sources).
    """
    if not 16 <= frequency_hz <= 3000:
        raise InputRangeError(f"frequency_hz is {frequency_hz:g}; reference levels are given from 16 to 3000 Hz.")
    per_hz, corner, name = (250e3, 50, "general public") if public else (500e3, 25, "occupational")
    standard = f"ICNIRP (Health Phys. 99), electric field, {name}"
    return FixedLimit(per_hz / max(frequency_hz, corner), "V/m", standard, "2010", _QUOTED)


class Handling(StrEnum):
    """What the worst ratio of exposure to limit asks of the crew."""

    UNKNOWN = "unknown: treat the lead as live until it has been measured"
    BELOW_HALF = "below half of every limit: keep the lead insulated and measure before touching metal"
    NEAR_LIMIT = "near a limit: join and part connections only with the lead earthed and gloves worn"
    ABOVE_LIMIT = "above a limit: no bare contact; bond, earth or move the lead first"


def surface_layer_derating(
    soil_resistivity_ohm_m: ArrayLike, surface_resistivity_ohm_m: ArrayLike, surface_thickness_m: ArrayLike
) -> FloatArray:
    """Factor Cs by which a thin surface layer counts.

    Parameters
    ----------
    soil_resistivity_ohm_m, surface_resistivity_ohm_m : array_like
        Resistivity of the soil and of the layer on it, > 0. [Ω·m]
    surface_thickness_m : array_like
        Thickness of the layer, > 0. [m]

    Returns
    -------
    numpy.ndarray
        1 - 0.09 (1 - soil/surface)/(2 thickness + 0.09). [-]

    Raises
    ------
    InputRangeError
        If a value is zero, negative or NaN.

    References
    ----------
    .. [1] IEEE Std 80, equation (27) in the 2000 and 2013 editions (number from memory).
    """
    ratio = positive("soil_resistivity_ohm_m", soil_resistivity_ohm_m) / positive(
        "surface_resistivity_ohm_m", surface_resistivity_ohm_m
    )
    return 1 - 0.09 * (1 - ratio) / (2 * positive("surface_thickness_m", surface_thickness_m) + 0.09)


def ieee80_touch_voltage(
    duration_s: ArrayLike,
    soil_resistivity_ohm_m: ArrayLike,
    *,
    body_mass_kg: int = 50,
    surface_resistivity_ohm_m: ArrayLike | None = None,
    surface_thickness_m: ArrayLike | None = None,
) -> FloatArray:
    """Tolerable touch voltage after IEEE Std 80.

    Parameters
    ----------
    duration_s : array_like
        Duration of the fault, > 0; the standard holds from 0.03 to 3 s. [s]
    soil_resistivity_ohm_m : array_like
        Resistivity of the soil, > 0. [Ω·m]
    body_mass_kg : int
        50 or 70. [kg]
    surface_resistivity_ohm_m, surface_thickness_m : array_like, optional
        Surface layer, both or none. [Ω·m], [m]

    Returns
    -------
    numpy.ndarray
        (1000 + 1.5 Cs times surface resistivity) k/√t, k = 0.116 for 50 kg and 0.157 for 70 kg; that of 0.03 s for
        shorter faults, NaN for longer ones than 3 s: unknown. [V]

    Raises
    ------
    InputRangeError
        If a value is out of range.
    """
    foot = _foot_term(soil_resistivity_ohm_m, surface_resistivity_ohm_m, surface_thickness_m)
    return (1000 + 1.5 * foot) * _ieee80_current(duration_s, body_mass_kg)


def ieee80_step_voltage(
    duration_s: ArrayLike,
    soil_resistivity_ohm_m: ArrayLike,
    *,
    body_mass_kg: int = 50,
    surface_resistivity_ohm_m: ArrayLike | None = None,
    surface_thickness_m: ArrayLike | None = None,
) -> FloatArray:
    """Tolerable step voltage after IEEE Std 80.

    Parameters
    ----------
    duration_s, soil_resistivity_ohm_m, body_mass_kg, surface_resistivity_ohm_m, surface_thickness_m
        As in `ieee80_touch_voltage`.

    Returns
    -------
    numpy.ndarray
        (1000 + 6 Cs times surface resistivity) k/√t. [V]
    """
    foot = _foot_term(soil_resistivity_ohm_m, surface_resistivity_ohm_m, surface_thickness_m)
    return (1000 + 6 * foot) * _ieee80_current(duration_s, body_mass_kg)


def permissible_touch_voltage(duration_s: ArrayLike, table: TouchVoltageTable = EN_50522_2010) -> FloatArray:
    """Permissible touch voltage from a standard's table.

    Parameters
    ----------
    duration_s : array_like
        Duration of the fault, > 0. [s]
    table : TouchVoltageTable
        The edition to use.

    Returns
    -------
    numpy.ndarray
        Straight lines between the printed points on double-logarithmic paper; below the first point its value, beyond
        the last one what the standard names for considerably longer durations. [V]

    Raises
    ------
    InputRangeError
        If the duration is 0, negative or NaN.
    """
    duration = positive("duration_s", duration_s)
    printed = np.exp(np.interp(np.log(duration), np.log(table.duration_s), np.log(table.voltage_v)))
    return np.where(duration > table.duration_s[-1], table.longer_v, printed)[()]


def decrement_factor(x_over_r: ArrayLike, duration_s: ArrayLike, *, frequency_hz: float) -> FloatArray:
    r"""Factor by which the d.c. offset raises the r.m.s. current of a fault over its duration.

    Parameters
    ----------
    x_over_r : array_like
        Ratio X/R at the fault, > 0. [-]
    duration_s : array_like
        Duration of the fault, > 0. [s]
    frequency_hz : float
        Of the supply, > 0. [Hz]

    Returns
    -------
    numpy.ndarray
        :math:`D_f = \sqrt{1 + \frac{T_a}{t}\left(1 - e^{-2t/T_a}\right)}`, :math:`T_a = X/(\omega R)`. [-]

    References
    ----------
    .. [1] IEEE Std 80, decrement factor and its table by duration and X/R.
    """
    time = positive("duration_s", duration_s)
    constant = positive("x_over_r", x_over_r) / (2 * np.pi * float(positive("frequency_hz", frequency_hz)))
    return np.asarray(np.sqrt(1 + constant / time * (1 - np.exp(-2 * time / constant))))[()]


def exposure_ratio(value: ArrayLike, limit: ArrayLike) -> FloatArray:
    """Size of an exposure as a share of its limit.

    Parameters
    ----------
    value : array_like, real or complex
        Exposure; NaN for unknown.
    limit : array_like
        Limit in the same unit, > 0; NaN for unknown.

    Returns
    -------
    numpy.ndarray
        Modulus over limit, NaN where either is unknown. [-]

    Raises
    ------
    InputRangeError
        If a limit is not positive.
    """
    bound = np.asarray(limit, dtype=float)
    refuse("limit", bound, bound <= 0, "it must be greater than 0")
    return np.asarray(np.abs(np.asarray(value)) / bound)


def handling(ratio: ArrayLike) -> NDArray[np.object_]:
    """Level of handling that the worst of several ratios asks for.

    Parameters
    ----------
    ratio : array_like, shape (..., k)
        Ratios of one lead's exposures to their limits, the conservative sum among them; NaN for unknown. [-]

    Returns
    -------
    numpy.ndarray of Handling, shape (...)
        ``UNKNOWN`` if any ratio is unknown and none is above 1; a limit known to be exceeded stays exceeded.

    Notes
    -----
    The step at one half is this package's own choice, no source.
    """
    ratios = np.atleast_1d(np.asarray(ratio, dtype=float))
    worst = np.max(ratios, axis=-1, initial=0.0, where=~np.isnan(ratios))
    unknown = np.isnan(ratios).any(axis=-1) | (ratios.shape[-1] == 0)
    levels = np.array([Handling.BELOW_HALF, Handling.NEAR_LIMIT, Handling.ABOVE_LIMIT, Handling.UNKNOWN], dtype=object)
    index = (worst > 0.5).astype(int) + (worst > 1)
    return np.asarray(levels[np.where(unknown & (worst <= 1), 3, index)], dtype=object)[()]


def _foot_term(soil: ArrayLike, surface: ArrayLike | None, thickness: ArrayLike | None) -> FloatArray:
    if (surface is None) != (thickness is None):
        raise InputRangeError("A surface layer needs both its resistivity and its thickness.")
    if surface is None or thickness is None:
        return positive("soil_resistivity_ohm_m", soil)
    return surface_layer_derating(soil, surface, thickness) * positive("surface_resistivity_ohm_m", surface)


def _ieee80_current(duration_s: ArrayLike, body_mass_kg: int) -> FloatArray:
    if body_mass_kg not in _IEEE_80_BODY:
        raise InputRangeError(f"body_mass_kg is {body_mass_kg}; IEEE Std 80 knows 50 and 70.")
    first, last = _IEEE_80_DURATION_S
    duration = np.maximum(positive("duration_s", duration_s), first)
    return np.where(duration <= last, _IEEE_80_BODY[body_mass_kg] / np.sqrt(duration), np.nan)
