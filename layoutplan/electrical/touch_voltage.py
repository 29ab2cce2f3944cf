"""Touch and step voltages that standards permit for the duration of a fault."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import FloatArray
from layoutplan.electrical._arrays import positive
from layoutplan.errors import InputRangeError

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

    Examples
    --------
    0.102 m of crushed rock of 2500 Ω·m on 400 Ω·m, the example of IEEE Std 80, annex B; it prints 0.74:

    >>> print(f"{surface_layer_derating(400, 2500, 0.102):.3f}")
    0.743
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

    References
    ----------
    .. [1] IEEE Std 80-2013, IEEE Guide for Safety in AC Substation Grounding, tolerable touch voltage (equations
       from memory).

    Examples
    --------
    The example of IEEE Std 80, annex B, for 70 kg; it prints 838.2 V with Cs rounded to 0.74 (from memory):

    >>> layer = {"surface_resistivity_ohm_m": 2500, "surface_thickness_m": 0.102}
    >>> print(f"{ieee80_touch_voltage(0.5, 400, body_mass_kg=70, **layer):.1f} V")
    840.5 V
    >>> print(ieee80_touch_voltage([1.0, 10.0], 100).round(1), "V: unknown beyond 3 s")
    [133.4   nan] V: unknown beyond 3 s
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
        (1000 + 6 Cs times surface resistivity) k/√t. [V]

    Raises
    ------
    InputRangeError
        If a value is out of range.

    References
    ----------
    .. [1] IEEE Std 80-2013, IEEE Guide for Safety in AC Substation Grounding, tolerable step voltage (equations
       from memory).

    Examples
    --------
    The same example; it prints 2686.6 V with Cs rounded to 0.74 (from memory):

    >>> layer = {"surface_resistivity_ohm_m": 2500, "surface_thickness_m": 0.102}
    >>> print(f"{ieee80_step_voltage(0.5, 400, body_mass_kg=70, **layer):.0f} V")
    2696 V
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

    References
    ----------
    .. [1] EN 50522:2010, Earthing of power installations exceeding 1 kV a.c., table B.3 (values from memory,
       superseded by the edition of 2022).
    .. [2] IEC/TS 60479-1, Effects of current on human beings and livestock: what the table rests on.

    Examples
    --------
    >>> print(permissible_touch_voltage([0.1, 0.5, 1.0, 3600]).round(), "V")
    [654. 220. 117.  80.] V
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

    Raises
    ------
    InputRangeError
        If a value is not positive.

    References
    ----------
    .. [1] IEEE Std 80, decrement factor and its table by duration and X/R.

    Examples
    --------
    X/R of 10 to 40 at 60 Hz for 0.5 s; the standard's table prints 1.026 to 1.101 (from memory):

    >>> print(decrement_factor([10, 20, 30, 40], 0.5, frequency_hz=60).round(3))
    [1.026 1.052 1.077 1.101]
    """
    time = positive("duration_s", duration_s)
    constant = positive("x_over_r", x_over_r) / (2 * np.pi * float(positive("frequency_hz", frequency_hz)))
    return np.asarray(np.sqrt(1 + constant / time * (1 - np.exp(-2 * time / constant))))[()]


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
