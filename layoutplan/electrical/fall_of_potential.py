"""How far the places of the two stakes bend the reading of an earth resistance.

The tower T sends I_t into the earth, the current stake H takes I_H = k I_t out of it, the potential stake S reads the
ground there. k is 1 when the whole current enters by the tower under test, and more when its earth wires stay
connected and only the current in its legs is measured (`injected_current_ratio`). With v(r) the surface potential per
ampere (`soil_potential`), D = T to H, x = T to S, d = H to S:

    R_measured - R = -[ v(x) + k (v(D) - v(d)) ]

Stakes and tower are small against the distances between them. A two-layer soil is given by its two further figures.
What the earth wires send into the neighbouring towers is taken to lift tower and S alike. Against a solve of 21 towers
300 m apart with all mutual resistances the bias is then right to 10 % of itself for H at half a span, and a third too
small for H a whole span away, where it is itself small.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layoutplan.arrays import ComplexArray, FloatArray
from layoutplan.electrical._arrays import finite, positive, refuse
from layoutplan.electrical.soil import soil_potential


def stake_separation(
    current_distance_m: ArrayLike, potential_distance_m: ArrayLike, angle_deg: ArrayLike
) -> FloatArray:
    """Distance from H to S.

    Parameters
    ----------
    current_distance_m, potential_distance_m : array_like
        Tower to H and tower to S, > 0. [m]
    angle_deg : array_like
        Angle between the two leads at the tower. [°]

    Returns
    -------
    numpy.ndarray
        Distance by the law of cosines. [m]

    Raises
    ------
    InputRangeError
        If a distance is not positive or the angle is not a number.

    References
    ----------
    Elementary geometry, no published source.

    Examples
    --------
    Stakes 100 m off on opposite sides, and at a right angle:

    >>> print(stake_separation(100, 100, [180, 90]).round(1), "m")
    [200.  141.4] m
    """
    big, small = (
        positive("current_distance_m", current_distance_m),
        positive("potential_distance_m", potential_distance_m),
    )
    half = np.sin(np.radians(finite("angle_deg", angle_deg)) / 2)
    return np.asarray(np.hypot(big - small, 2 * np.sqrt(big * small) * half), dtype=float)


def injected_current_ratio(
    tower_resistance_ohm: ArrayLike, impedance_of_the_rest_ohm: ArrayLike, current_stake_potential_ohm: ArrayLike = 0.0
) -> ComplexArray:
    """Injected current over the current in the tower's legs, its earth wires connected.

    Parameters
    ----------
    tower_resistance_ohm : array_like
        Resistance of the tower's own footing, > 0. [Ω]
    impedance_of_the_rest_ohm : array_like of complex
        What the earth wires offer beside the footing: 1/(1/Z - 1/R) with Z of `driving_point_impedance`; infinite
        for a tower without earth wire, NaN for unknown. [Ω]
    current_stake_potential_ohm : array_like
        v(D), which lowers the tower's potential and so the share of the earth wires. [V/A]

    Returns
    -------
    numpy.ndarray of complex
        :math:`k = (1 + R/Z_r)/(1 + v(D)/Z_r)`, 1 without earth wires. [-]

    Raises
    ------
    InputRangeError
        If the footing's resistance is not positive.

    Notes
    -----
    The neighbouring towers are taken to be out of the stakes' reach.

    References
    ----------
    Kirchhoff's laws for one tower, no published source; the tests hold it against a nodal solve.

    Examples
    --------
    A footing of 15 Ω beside earth wires of 1 Ω takes a sixteenth of the current:

    >>> print(f"{injected_current_ratio(15, 1.0).real:.0f}")
    16
    """
    resistance = positive("tower_resistance_ohm", tower_resistance_ohm)
    with np.errstate(invalid="ignore"):  # NaN for unknown
        rest = 1 / np.asarray(impedance_of_the_rest_ohm, dtype=complex)
        ratio = (1 + resistance * rest) / (1 + np.asarray(current_stake_potential_ohm) * rest)
    return np.asarray(ratio, dtype=complex)


def reading_bias(
    current_distance_m: ArrayLike,
    potential_distance_m: ArrayLike,
    angle_deg: ArrayLike,
    *,
    soil_resistivity_ohm_m: ArrayLike,
    current_ratio: ArrayLike = 1.0,
    lower_resistivity_ohm_m: ArrayLike | None = None,
    upper_thickness_m: ArrayLike | None = None,
) -> NDArray[np.inexact]:
    """Bias of a reading against the true resistance of the tower for given places of the stakes.

    Parameters
    ----------
    current_distance_m, potential_distance_m : array_like
        Tower to H and tower to S, > 0, large against the tower's electrode. [m]
    angle_deg : array_like
        Angle between the two leads at the tower; H and S must not coincide. [°]
    soil_resistivity_ohm_m : array_like
        Resistivity of the soil, or of its upper layer, > 0. [Ω·m]
    current_ratio : array_like
        k, injected current over the tower's current; complex if the earth wires make it so. [-]
    lower_resistivity_ohm_m, upper_thickness_m : array_like, optional
        Lower layer [Ω·m] and thickness of the upper one [m].

    Returns
    -------
    numpy.ndarray
        Bias, negative where the reading is low; complex if k is. [Ω]

    Raises
    ------
    InputRangeError
        If a value is out of range or the stakes coincide.

    References
    ----------
    .. [1] G. F. Tagg, Earth Resistances, Newnes, 1964.
    .. [2] IEEE Std 81-2012, IEEE Guide for Measuring Earth Resistivity, Ground Impedance, and Earth Surface
       Potentials of a Grounding System: fall-of-potential method (k = 1).

    Examples
    --------
    Both stakes 100 m off in 100 Ω·m: on opposite sides the reading is low, at 28.955° it is right.

    >>> print(reading_bias(100, 100, [180, 28.955], soil_resistivity_ohm_m=100).round(3) + 0.0, "Ω")
    [-0.239  0.   ] Ω
    """
    separation = stake_separation(current_distance_m, potential_distance_m, angle_deg)
    refuse("Distance between H and S", separation, separation <= 0, "the two stakes cannot be at one place")

    def potential(distance_m: ArrayLike) -> FloatArray:
        return soil_potential(
            distance_m,
            soil_resistivity_ohm_m=soil_resistivity_ohm_m,
            lower_resistivity_ohm_m=lower_resistivity_ohm_m,
            upper_thickness_m=upper_thickness_m,
        )

    from_current_stake = potential(current_distance_m) - potential(separation)
    bias: NDArray[np.inexact] = -(potential(potential_distance_m) + np.asarray(current_ratio) * from_current_stake)
    return bias


def reading_ratio(
    current_distance_m: ArrayLike, potential_distance_m: ArrayLike, angle_deg: ArrayLike, *, radius_m: ArrayLike
) -> FloatArray:
    """Ratio of reading to true resistance for an electrode of a given equivalent radius in uniform soil, k = 1.

    Parameters
    ----------
    current_distance_m, potential_distance_m : array_like
        Tower to H and tower to S, > 0. [m]
    angle_deg : array_like
        Angle between the two leads at the tower. [°]
    radius_m : array_like
        Equivalent hemisphere of the tower's electrode, > 0, see `equivalent_hemisphere_radius`. [m]

    Returns
    -------
    numpy.ndarray
        1 - a (1/D + 1/x - 1/d): exact for θ = 0 and x = 0.618 D, and for x = D and θ = 28.955°; below 1 for every
        θ >= 90° (Tagg 1964). [-]

    Raises
    ------
    InputRangeError
        If a value is out of range or the stakes coincide.

    References
    ----------
    .. [1] G. F. Tagg, Earth Resistances, Newnes, 1964.
    .. [2] IEEE Std 81-2012, IEEE Guide for Measuring Earth Resistivity, Ground Impedance, and Earth Surface
       Potentials of a Grounding System: the 61.8 % rule.

    Examples
    --------
    A hemisphere of 5 m and H at 100 m: S in line with it at 61.8 m, S perpendicular to it at 100 m and at 50 m.

    >>> print(reading_ratio(100, [61.8, 100, 50], [0, 90, 90], radius_m=5).round(4))
    [1.     0.9354 0.8947]
    """
    radius = positive("radius_m", radius_m)
    # in soil of resistivity 2π a such an electrode has a resistance of 1 Ω
    bias = reading_bias(current_distance_m, potential_distance_m, angle_deg, soil_resistivity_ohm_m=2 * np.pi * radius)
    ratio: FloatArray = 1 + bias.real
    return ratio


def distance_for_bias(
    target_ohm: ArrayLike,
    angle_deg: ArrayLike,
    *,
    potential_over_current_distance: ArrayLike = 1.0,
    soil_resistivity_ohm_m: ArrayLike,
    current_ratio: ArrayLike = 1.0,
    lower_resistivity_ohm_m: ArrayLike | None = None,
    upper_thickness_m: ArrayLike | None = None,
) -> FloatArray:
    """Distance of the current stake beyond which the bias stays within a target, the layout keeping its shape.

    Parameters
    ----------
    target_ohm : array_like
        Largest bias allowed either way, > 0; NaN gives NaN. [Ω]
    angle_deg : array_like
        Angle between the two leads at the tower. [°]
    potential_over_current_distance : array_like
        x/D, > 0. [-]
    soil_resistivity_ohm_m : array_like
        Resistivity of the soil, or of its upper layer, > 0. [Ω·m]
    current_ratio : array_like
        k, injected current over the tower's current; complex if the earth wires make it so. [-]
    lower_resistivity_ohm_m, upper_thickness_m : array_like, optional
        Lower layer [Ω·m] and thickness of the upper one [m].

    Returns
    -------
    numpy.ndarray
        Distance; in two-layer soil to 0.1 %, 0 if the target holds from 1 m, infinite if not even at 100 km. [m]

    Raises
    ------
    InputRangeError
        If a value is out of range or the stakes coincide.

    Notes
    -----
    In uniform soil the bias falls as 1/D. In layers it may pass through zero and rise again, so the largest distance
    that still breaks the target is looked for, and refined by halving.

    References
    ----------
    .. [1] G. F. Tagg, Earth Resistances, Newnes, 1964: the bias. The search for the distance is common practice, no
       source.

    Examples
    --------
    0.3 Ω of bias are allowed, stakes on opposite sides alike far off, 100 Ω·m:

    >>> print(f"{distance_for_bias(0.3, 180, soil_resistivity_ohm_m=100):.1f} m")
    79.6 m
    """
    target = np.asarray(target_ohm, dtype=float)
    refuse("target_ohm", target, target <= 0, "it must be greater than 0")

    def size_of_bias(distance_m: FloatArray) -> FloatArray:
        bias = reading_bias(
            distance_m,
            distance_m * np.asarray(potential_over_current_distance),
            angle_deg,
            soil_resistivity_ohm_m=soil_resistivity_ohm_m,
            current_ratio=current_ratio,
            lower_resistivity_ohm_m=lower_resistivity_ohm_m,
            upper_thickness_m=upper_thickness_m,
        )
        return np.asarray(np.abs(bias), dtype=float)

    at_one_metre = size_of_bias(np.array(1.0))
    if lower_resistivity_ohm_m is None:
        return np.asarray(at_one_metre / target)
    target = np.broadcast_to(target, np.broadcast_shapes(at_one_metre.shape, target.shape))
    return _last_crossing(size_of_bias, target)


def _last_crossing(curve: Callable[[FloatArray], FloatArray], target: FloatArray) -> FloatArray:
    """Largest distance at which a curve of the distance exceeds its target (1 m to 100 km)."""
    steps = np.geomspace(1.0, 1e5, 81)
    above = curve(steps.reshape(-1, *[1] * target.ndim)) > target
    last = len(steps) - 1 - np.argmax(above[::-1], axis=0)
    near, far = steps[last], steps[np.minimum(last + 1, len(steps) - 1)]
    for _ in range(8):
        middle = np.sqrt(near * far)
        beyond = curve(middle) > target
        near, far = np.where(beyond, middle, near), np.where(beyond, far, middle)
    far = np.where(above[-1], np.inf, np.where(above.any(axis=0), far, 0.0))
    return np.where(np.isnan(curve(far.clip(1, 1e5)) - target), np.nan, far)
