"""Potential of the ground surface around a current that enters the earth, in uniform and two-layer soil.

A soil is given by its upper resistivity, and for two layers by the lower resistivity and the thickness of the upper
one. Leave the last two out for uniform soil.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import ComplexArray, FloatArray
from layoutplan.electrical._arrays import positive, refuse
from layoutplan.errors import InputRangeError

_TOLERANCE = 1e-10
_MAX_CONTRAST = 1e4


def surface_potential(distance_m: ArrayLike, *, soil_resistivity_ohm_m: ArrayLike) -> FloatArray:
    r"""Potential of the surface per ampere at a distance from a small electrode in uniform soil.

    Parameters
    ----------
    distance_m : array_like
        Distance from the electrode's centre, > 0, large against its size. [m]
    soil_resistivity_ohm_m : array_like
        Resistivity, > 0. [Ω·m]

    Returns
    -------
    numpy.ndarray
        :math:`v = \rho/(2\pi r)`. [V/A]

    Raises
    ------
    InputRangeError
        If a value is zero, negative or NaN.

    References
    ----------
    .. [1] G. F. Tagg, Earth Resistances, Newnes, 1964.
    .. [2] E. D. Sunde, Earth Conduction Effects in Transmission Systems, Van Nostrand, 1949, ch. 2.

    Examples
    --------
    100 A into 100 Ω·m, at 10 and 100 m:

    >>> print((100 * surface_potential([10, 100], soil_resistivity_ohm_m=100)).round(1), "V")
    [159.2  15.9] V
    """
    rho = positive("soil_resistivity_ohm_m", soil_resistivity_ohm_m)
    return rho / (2 * np.pi * positive("distance_m", distance_m))


def two_layer_surface_potential(
    distance_m: ArrayLike,
    *,
    upper_resistivity_ohm_m: ArrayLike,
    lower_resistivity_ohm_m: ArrayLike,
    upper_thickness_m: ArrayLike,
) -> FloatArray:
    r"""Potential of the surface per ampere at a distance from a small electrode on two-layer soil.

    Parameters
    ----------
    distance_m : array_like
        Distance from the electrode's centre, > 0. [m]
    upper_resistivity_ohm_m, lower_resistivity_ohm_m : array_like
        Resistivities, > 0, at most 10,000 to 1. [Ω·m]
    upper_thickness_m : array_like
        Thickness of the upper layer, > 0. [m]

    Returns
    -------
    numpy.ndarray
        Potential. [V/A]

    Raises
    ------
    InputRangeError
        If a value is out of range.

    Notes
    -----
    :math:`v = \frac{\rho_1}{2\pi}\left[\frac1r + 2\sum_{n\ge1} \frac{k^n}{\sqrt{r^2+(2nh)^2}}\right]`,
    :math:`k = (\rho_2-\rho_1)/(\rho_2+\rho_1)` [1]_, [2]_. The sum runs until the rest is below 1e-10 of the first
    term. Holds while the electrode lies within the upper layer and is small against distance and thickness.

    References
    ----------
    .. [1] G. F. Tagg, Earth Resistances, Newnes, 1964.
    .. [2] E. D. Sunde, Earth Conduction Effects in Transmission Systems, Van Nostrand, 1949, ch. 2.

    Examples
    --------
    3 m of 100 Ω·m over 500 Ω·m, 10 m from the electrode; 1.59 V/A in uniform soil.

    >>> soil = {"upper_resistivity_ohm_m": 100, "lower_resistivity_ohm_m": 500, "upper_thickness_m": 3}
    >>> print(f"{two_layer_surface_potential(10, **soil):.4f} V/A")
    5.3311 V/A
    """
    r, upper, lower, thickness = np.broadcast_arrays(
        positive("distance_m", distance_m),
        positive("upper_resistivity_ohm_m", upper_resistivity_ohm_m),
        positive("lower_resistivity_ohm_m", lower_resistivity_ohm_m),
        positive("upper_thickness_m", upper_thickness_m),
    )
    contrast = np.maximum(upper / lower, lower / upper)
    refuse("Contrast of the two layers", contrast, contrast > _MAX_CONTRAST, f"up to {_MAX_CONTRAST:g} is computed")
    k = (lower - upper) / (lower + upper)
    largest = np.abs(k).max(initial=0)
    terms = int(np.ceil(np.log(_TOLERANCE * (1 - largest)) / np.log(largest))) if largest > 0 else 0
    total, power = 1 / r, np.ones_like(k)
    for n in range(1, terms + 1):
        power = power * k
        total += 2 * power / np.sqrt(r**2 + (2 * n * thickness) ** 2)
    result: FloatArray = (upper * total / (2 * np.pi))[()]
    return result


def soil_potential(
    distance_m: ArrayLike,
    *,
    soil_resistivity_ohm_m: ArrayLike,
    lower_resistivity_ohm_m: ArrayLike | None = None,
    upper_thickness_m: ArrayLike | None = None,
) -> FloatArray:
    """Potential of the surface per ampere, in two-layer soil if a lower layer is given and in uniform soil if not.

    Parameters
    ----------
    distance_m : array_like
        Distance from the electrode's centre, > 0. [m]
    soil_resistivity_ohm_m : array_like
        Resistivity of the soil, or of its upper layer, > 0. [Ω·m]
    lower_resistivity_ohm_m : array_like, optional
        Resistivity of the lower layer, > 0. [Ω·m]
    upper_thickness_m : array_like, optional
        Thickness of the upper layer, > 0; given if and only if the lower layer is. [m]

    Returns
    -------
    numpy.ndarray
        Potential. [V/A]

    Raises
    ------
    InputRangeError
        If a value is out of range, or only one of the two layer figures is given.

    References
    ----------
    .. [1] G. F. Tagg, Earth Resistances, Newnes, 1964.
    .. [2] E. D. Sunde, Earth Conduction Effects in Transmission Systems, Van Nostrand, 1949, ch. 2.

    Examples
    --------
    >>> print(f"{soil_potential(10, soil_resistivity_ohm_m=100):.2f} V/A")
    1.59 V/A
    >>> layers = {"lower_resistivity_ohm_m": 500, "upper_thickness_m": 3}
    >>> print(f"{soil_potential(10, soil_resistivity_ohm_m=100, **layers):.2f} V/A")
    5.33 V/A
    """
    if (lower_resistivity_ohm_m is None) != (upper_thickness_m is None):
        raise InputRangeError("Two-layer soil needs both the lower resistivity and the upper thickness.")
    if lower_resistivity_ohm_m is None or upper_thickness_m is None:
        return surface_potential(distance_m, soil_resistivity_ohm_m=soil_resistivity_ohm_m)
    return two_layer_surface_potential(
        distance_m,
        upper_resistivity_ohm_m=soil_resistivity_ohm_m,
        lower_resistivity_ohm_m=lower_resistivity_ohm_m,
        upper_thickness_m=upper_thickness_m,
    )


def equivalent_hemisphere_radius(resistance_ohm: ArrayLike, *, soil_resistivity_ohm_m: ArrayLike) -> FloatArray:
    r"""Radius of the hemisphere that has a given resistance in uniform soil.

    Parameters
    ----------
    resistance_ohm : array_like
        Resistance to remote earth, > 0. [Ω]
    soil_resistivity_ohm_m : array_like
        Resistivity, > 0. [Ω·m]

    Returns
    -------
    numpy.ndarray
        :math:`a = \rho/(2\pi R)`. [m]

    Raises
    ------
    InputRangeError
        If a value is zero, negative or NaN.

    References
    ----------
    .. [1] G. F. Tagg, Earth Resistances, Newnes, 1964: the hemispherical electrode.

    Examples
    --------
    A tower of 10 Ω in 100 Ω·m:

    >>> print(f"{equivalent_hemisphere_radius(10, soil_resistivity_ohm_m=100):.2f} m")
    1.59 m
    """
    rho = positive("soil_resistivity_ohm_m", soil_resistivity_ohm_m)
    return rho / (2 * np.pi * positive("resistance_ohm", resistance_ohm))


def transferred_voltage(
    tower_potential_v: ArrayLike, tower_current_a: ArrayLike, potential_per_ampere_ohm: ArrayLike
) -> ComplexArray:
    """Voltage between the tower and the ground at a distance: what a lead carries from one to the other.

    The same voltage stands at the far end between a lead bonded to the tower and the ground there, and at the tower
    between it and a lead bonded to a stake there.

    Parameters
    ----------
    tower_potential_v : array_like of complex
        Potential of the tower against remote earth. [V]
    tower_current_a : array_like of complex
        Current that THIS tower's footing sends into the earth, not the fault current. [A]
    potential_per_ampere_ohm : array_like
        `soil_potential` at the distance of the stake. [V/A]

    Returns
    -------
    numpy.ndarray of complex
        Tower potential less the potential of the ground at the stake; NaN where an input is NaN. [V]

    Notes
    -----
    Potentials add up; an unknown part leaves the whole unknown.

    References
    ----------
    .. [1] EN 50522:2010, Earthing of power installations exceeding 1 kV a.c.: transferred potential.
    .. [2] IEEE Std 80-2013, IEEE Guide for Safety in AC Substation Grounding: transferred voltage.

    Examples
    --------
    A lone tower of 10 Ω with 500 A, a lead to a stake 80 m off in 100 Ω·m: 5 kV (1 - a/r) with a = 1.59 m.

    >>> there = soil_potential(80, soil_resistivity_ohm_m=100)
    >>> print(f"{abs(transferred_voltage(10 * 500, 500, there)):.0f} V")
    4901 V
    """
    potential = np.asarray(tower_potential_v, dtype=complex)
    there: ComplexArray = np.asarray(tower_current_a) * np.asarray(potential_per_ampere_ohm)
    return np.asarray(potential - there)
