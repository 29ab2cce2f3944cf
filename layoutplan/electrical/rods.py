"""Resistance of auxiliary electrodes made of driven rods."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import BoolArray, FloatArray, IntArray
from layoutplan.electrical._arrays import not_negative, positive, refuse
from layoutplan.errors import InputRangeError


class RodPlan(NamedTuple):
    """Rods to drive in a row, the resistance they reach [Ω], and whether that meets the target.

    Where it does not, ``rods`` and ``resistance_ohm`` are those of all rods available.
    """

    rods: IntArray
    resistance_ohm: FloatArray
    reached: BoolArray


def rod_resistance(soil_resistivity_ohm_m: ArrayLike, *, length_m: ArrayLike, radius_m: ArrayLike) -> FloatArray:
    r"""Resistance to remote earth of one vertical rod driven flush into uniform soil.

    Parameters
    ----------
    soil_resistivity_ohm_m : array_like
        Resistivity, > 0. [Ω·m]
    length_m, radius_m : array_like
        Driven length and RADIUS, 0 < radius < length / 10. [m]

    Returns
    -------
    numpy.ndarray
        :math:`R = \frac{\rho}{2\pi L}\left(\ln\frac{4L}{a} - 1\right)` [1]_. [Ω]

    Raises
    ------
    InputRangeError
        If a value is out of range or the rod is not slender.

    Notes
    -----
    Uniform current along the rod; about 1 % above the result of a current free to spread.

    References
    ----------
    .. [1] H. B. Dwight, "Calculation of resistances to ground," Electr. Eng., vol. 55, pp. 1319-1328, 1936, table I.

    Examples
    --------
    1 m of 16 mm in 100 Ω·m: note that the radius is asked for.

    >>> print(f"{rod_resistance(100, length_m=1.0, radius_m=0.008):.2f} Ω")
    82.99 Ω
    """
    rho = positive("soil_resistivity_ohm_m", soil_resistivity_ohm_m)
    length, radius = positive("length_m", length_m), positive("radius_m", radius_m)
    refuse("Rod radius", radius, radius >= length / 10, "it must be below a tenth of the driven length; is it in mm?")
    return np.asarray(rho / (2 * np.pi * length) * (np.log(4 * length / radius) - 1), dtype=float)


def rod_voltage_share(from_m: ArrayLike, to_m: ArrayLike, *, length_m: ArrayLike, radius_m: ArrayLike) -> FloatArray:
    r"""Part of a rod's voltage to remote earth that stands between two distances from it on the surface.

    Parameters
    ----------
    from_m, to_m : array_like
        Distances from the rod's axis, >= 0; at its radius and nearer the rod itself is meant. [m]
    length_m, radius_m : array_like
        Driven length and RADIUS, 0 < radius < length / 10. [m]

    Returns
    -------
    numpy.ndarray
        :math:`\left(f(r_1) - f(r_2)\right) / \left(\ln\frac{4L}{a} - 1\right)` with
        :math:`f(r) = \operatorname{arsinh}(L/r)`, on the rod the denominator itself. [-]

    Raises
    ------
    InputRangeError
        If a value is out of range or the rod is not slender.

    Notes
    -----
    Uniform soil, uniform current along the rod: the potential of a line source on the surface. In a group of rods the
    others lift the ground, so that less stands there.

    References
    ----------
    .. [1] E. D. Sunde, Earth Conduction Effects in Transmission Systems, Van Nostrand, 1949, ch. 3.

    Examples
    --------
    Five sixths of a rod's voltage stand within the first metre:

    >>> print(f"{100 * rod_voltage_share(0, 1.0, length_m=1.0, radius_m=0.008):.0f} %")
    83 %
    """
    length, radius = positive("length_m", length_m), positive("radius_m", radius_m)
    refuse("Rod radius", radius, radius >= length / 10, "it must be below a tenth of the driven length; is it in mm?")
    whole = np.log(4 * length / radius) - 1

    def potential(distance_m: ArrayLike) -> FloatArray:
        away = not_negative("distance_m", distance_m)
        return np.where(away <= radius, whole, np.arcsinh(length / np.maximum(away, radius)))

    return np.asarray((potential(from_m) - potential(to_m)) / whole)[()]


def rod_mutual_resistance(
    soil_resistivity_ohm_m: ArrayLike, *, length_m: ArrayLike, spacing_m: ArrayLike
) -> FloatArray:
    r"""Mean potential of one rod per ampere in another of the same length.

    Parameters
    ----------
    soil_resistivity_ohm_m : array_like
        Resistivity, > 0. [Ω·m]
    length_m : array_like
        Driven length of both rods, > 0. [m]
    spacing_m : array_like
        Distance of the rods, > 0. [m]

    Returns
    -------
    numpy.ndarray
        :math:`R_m = \frac{\rho}{4\pi L^2}\left[2L\,\mathrm{arsinh}\frac{2L}{s} + s - \sqrt{s^2+4L^2}\right]`. [Ω]

    Raises
    ------
    InputRangeError
        If a value is out of range.

    Notes
    -----
    The double integral of (1/r + 1/r')/(4π L²) over both rods in closed form, for any spacing; for s > L it has the
    series 1/(2πs) (1 - L²/3s² + 2L⁴/5s⁴ - ...) of Dwight (1936), of which three terms are 0.8 % high at s = 2 L.

    References
    ----------
    .. [1] H. B. Dwight, "Calculation of resistances to ground," Electr. Eng., vol. 55, pp. 1319-1328, 1936: the
       series; the closed form is the integral that it develops.

    Examples
    --------
    Rods of 1 m, 2 m and 10 m apart in 100 Ω·m:

    >>> print(rod_mutual_resistance(100, length_m=1.0, spacing_m=[2, 10]).round(2), "Ω")
    [7.44 1.59] Ω
    """
    rho = positive("soil_resistivity_ohm_m", soil_resistivity_ohm_m)
    double, s = 2 * positive("length_m", length_m), positive("spacing_m", spacing_m)
    # s - √(s²+4L²) cancels for distant rods; as a quotient it does not
    bracket = double * np.arcsinh(double / s) - double**2 / (s + np.hypot(s, double))
    return rho / (np.pi * double**2) * bracket


def rods_resistance(
    soil_resistivity_ohm_m: ArrayLike, position_xy_m: ArrayLike, *, length_m: float, radius_m: float
) -> FloatArray:
    """Resistance of several rods joined by bare-free leads, never the n-th part of one.

    Parameters
    ----------
    soil_resistivity_ohm_m : array_like
        Resistivity, > 0. [Ω·m]
    position_xy_m : array_like, shape (n, 2)
        Where the rods are driven, n >= 1. [m]
    length_m, radius_m : float
        Driven length and radius of every rod, > 0. [m]

    Returns
    -------
    numpy.ndarray
        :math:`1/(1^T R^{-1} 1)` with the mutual resistances in R, shape of the resistivity. [Ω]

    Raises
    ------
    InputRangeError
        If two rods stand in one place or a value is out of range.

    Notes
    -----
    All rods at one potential, currents as they turn out; the joining wire takes no part.

    References
    ----------
    .. [1] H. B. Dwight, "Calculation of resistances to ground," Electr. Eng., vol. 55, pp. 1319-1328, 1936: mutual
       resistances.
    .. [2] E. D. Sunde, Earth Conduction Effects in Transmission Systems, Van Nostrand, 1949, ch. 3: groups of rods
       as a system of equations.

    Examples
    --------
    One, two and three rods of 1 m, 2 m apart, in 100 Ω·m: never a half or a third of the first.

    >>> row = [[0, 0], [2, 0], [4, 0]]
    >>> for count in (1, 2, 3):
    ...     print(f"{rods_resistance(100, row[:count], length_m=1.0, radius_m=0.008):.1f} Ω")
    83.0 Ω
    45.2 Ω
    31.8 Ω
    """
    xy = np.atleast_2d(np.asarray(position_xy_m, dtype=float))
    apart = np.hypot(*np.moveaxis(xy[:, None] - xy, -1, 0))
    self_term = np.eye(len(xy), dtype=bool)
    refuse("Distance between two rods", apart, (apart <= 2 * radius_m) & ~self_term, "two rods stand in one place")
    mutual = rod_mutual_resistance(1.0, length_m=length_m, spacing_m=np.where(self_term, 1.0, apart))
    matrix = np.where(self_term, rod_resistance(1.0, length_m=length_m, radius_m=radius_m), mutual)
    per_resistivity = 1 / np.linalg.solve(matrix, np.ones(len(xy))).sum()
    return np.asarray(positive("soil_resistivity_ohm_m", soil_resistivity_ohm_m) * per_resistivity, dtype=float)


def rods_for_target(
    soil_resistivity_ohm_m: ArrayLike,
    *,
    target_ohm: float,
    length_m: float,
    radius_m: float,
    spacing_m: float,
    available: int,
) -> RodPlan:
    """Fewest rods in a row that bring an auxiliary electrode down to a target resistance.

    Parameters
    ----------
    soil_resistivity_ohm_m : array_like
        Resistivity at each electrode, > 0. [Ω·m]
    target_ohm : float
        Resistance to reach, > 0. [Ω]
    length_m, radius_m : float
        Driven length and radius of every rod, > 0. [m]
    spacing_m : float
        Distance between neighbours, > 0; two to four rod lengths is common practice, no source. [m]
    available : int
        Rods at hand, >= 1.

    Returns
    -------
    RodPlan
        Shapes of the resistivity.

    Raises
    ------
    InputRangeError
        If a value is out of range.

    References
    ----------
    .. [1] H. B. Dwight, "Calculation of resistances to ground," Electr. Eng., vol. 55, pp. 1319-1328, 1936. The
       spacing is common practice, no source.

    Examples
    --------
    At most 300 Ω, in soil of 100, 1000 and 100,000 Ω·m, with six rods at hand:

    >>> plan = rods_for_target(
    ...     [100, 1000, 1e5], target_ohm=300, length_m=1.0, radius_m=0.008, spacing_m=3.0, available=6
    ... )
    >>> print(plan.rods, plan.resistance_ohm.round(), "Ω", plan.reached)
    [1 4 6] [   83.   235. 16330.] Ω [ True  True False]
    """
    rho = positive("soil_resistivity_ohm_m", soil_resistivity_ohm_m)
    if available < 1:
        raise InputRangeError(f"available is {available}; at least one rod is needed.")
    row = np.arange(available)[:, None] * [positive("spacing_m", spacing_m), 0.0]
    falling = np.array(
        [rods_resistance(1.0, row[: n + 1], length_m=length_m, radius_m=radius_m) for n in range(available)]
    )
    wanted = positive("target_ohm", target_ohm) / rho
    enough = np.searchsorted(-falling, -wanted)
    count = np.minimum(enough + 1, available)
    return RodPlan(count, rho * falling[count - 1], enough < available)
