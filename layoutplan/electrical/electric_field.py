"""Electric field under the line, from the charges that its voltage puts on the conductors.

Two-dimensional: endless parallel conductors over flat ground. At an angle tower take the distances from the nearer
stretch of line. Vegetation, towers and people lower or distort the field near them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import ComplexArray, FloatArray
from layoutplan.constants import EPS_0_F_PER_M
from layoutplan.electrical._arrays import finite, positive, refuse


def bundle_radius(radius_m: ArrayLike, count: ArrayLike, spacing_m: ArrayLike) -> FloatArray:
    r"""Radius of the single conductor that carries the charge of a bundle.

    Also gives the geometric mean radius of a bundle when that of the sub-conductor is put in place of its radius.

    Parameters
    ----------
    radius_m : array_like
        Radius of one sub-conductor, > 0. [m]
    count : array_like of int
        Sub-conductors, >= 1, evenly spaced on a circle.
    spacing_m : array_like
        Distance of neighbours, > 0; of no effect for a single conductor. [m]

    Returns
    -------
    numpy.ndarray
        :math:`R\,(n r/R)^{1/n}`, R the radius of the circle. [m]

    Raises
    ------
    InputRangeError
        If a value is out of range or the sub-conductors would touch.

    References
    ----------
    .. [1] CIGRE WG 36.01, Electric and Magnetic Fields Produced by Transmission Systems, 1980 (title and year from
       memory). Geometric mean of the distances on the circle.

    Examples
    --------
    Two sub-conductors of 14.3 mm radius, 0.4 m apart: the root of radius times spacing.

    >>> print(f"{1e3 * bundle_radius(0.0143, 2, 0.4):.1f} mm")
    75.6 mm
    """
    radius, n = np.broadcast_arrays(positive("radius_m", radius_m), positive("count", count))
    spacing = np.where(n > 1, np.asarray(spacing_m, dtype=float), 1.0)
    touching = (n > 1) & ~(positive("spacing_m", spacing) > 2 * radius)
    refuse("Bundle spacing", spacing, touching, "it must exceed the conductor's diameter")
    # two sub-conductors on a circle of radius R stand 2 R sin(π/n) apart
    circle = np.where(n > 1, spacing / (2 * np.sin(np.pi / np.maximum(n, 2))), radius)
    return np.asarray(circle * (n * radius / circle) ** (1 / n), dtype=float)


def line_charges(offset_m: ArrayLike, height_m: ArrayLike, radius_m: ArrayLike, voltage_v: ArrayLike) -> ComplexArray:
    r"""Charge per length on every conductor.

    Parameters
    ----------
    offset_m, height_m : array_like, shape (c,)
        Lateral offset, and effective height above ground, > 0. [m]
    radius_m : array_like, shape (c,)
        Radius, for a bundle that of `bundle_radius`, > 0. [m]
    voltage_v : array_like of complex, shape (c,) or (c, k)
        Phase-to-earth RMS phasors, 0 for earth wires. [V]

    Returns
    -------
    numpy.ndarray of complex, shape of the voltage
        :math:`q = 2\pi\varepsilon_0 P^{-1} U` with :math:`P_{ii} = \ln(2h/r)`, :math:`P_{ij} = \ln(D'/D)`. [C/m]

    Raises
    ------
    InputRangeError
        If two conductors touch or a height is not above ground.

    References
    ----------
    .. [1] J. C. Maxwell, A Treatise on Electricity and Magnetism, Clarendon, 1873: coefficients of potential.
    .. [2] ITU-T K.90 (2012), clause 6.3, electric field.

    Examples
    --------
    One wire of 14.3 mm radius at 12 m on 1 V: its capacitance, 2πε₀/ln(2h/r).

    >>> print(f"{1e12 * abs(line_charges([0], [12], [0.0143], [1])[0]):.2f} pF/m")
    7.49 pF/m
    """
    x, h, r = np.broadcast_arrays(
        finite("offset_m", offset_m), positive("height_m", height_m), positive("radius_m", radius_m)
    )
    own = np.eye(len(x), dtype=bool)
    apart = np.hypot(x[:, None] - x, h[:, None] - h)
    touching = (apart <= np.maximum(r[:, None], r)) & ~own
    refuse("Distance between two conductors", apart, touching, "they would touch; check offsets and heights")
    refuse("Conductor height", h, h <= r, "it must be above ground")
    coefficients = np.log(np.hypot(x[:, None] - x, h[:, None] + h) / np.where(own, r, apart))
    return np.asarray(
        2 * np.pi * EPS_0_F_PER_M * np.linalg.solve(coefficients, np.asarray(voltage_v, dtype=complex)), dtype=complex
    )


def electric_field(
    lateral_m: ArrayLike,
    offset_m: ArrayLike,
    height_m: ArrayLike,
    charge_c_per_m: ArrayLike,
    *,
    point_height_m: float = 1.0,
) -> FloatArray:
    r"""RMS resultant of the field at points beside the line.

    Parameters
    ----------
    lateral_m : array_like, shape (...)
        Distances from the line's axis, signed like the offsets. [m]
    offset_m, height_m : array_like, shape (c,)
        Conductor positions. [m]
    charge_c_per_m : array_like of complex, shape (c,)
        From `line_charges`. [C/m]
    point_height_m : float
        Height of the points, >= 0, below the conductors. [m]

    Returns
    -------
    numpy.ndarray, shape (...)
        :math:`\sqrt{|E_x|^2+|E_y|^2}`. [V/m]

    Raises
    ------
    InputRangeError
        If a conductor is not above the points, or a value is not a number.

    References
    ----------
    .. [1] CIGRE WG 36.01, Electric and Magnetic Fields Produced by Transmission Systems, 1980 (title and year from
       memory).
    .. [2] ITU-T K.90 (2012), clause 6.3, electric field.

    Examples
    --------
    220 kV, three phases 8 m apart at 12 m, no earth wire; 1 m above the ground at 0, 8, 20 and 40 m from the axis:

    >>> turn = np.exp(2j * np.pi / 3)
    >>> x, h = [-8, 0, 8], [12, 12, 12]
    >>> charge = line_charges(x, h, 0.0143, 220e3 / 3**0.5 * np.array([1, turn**2, turn]))
    >>> print(electric_field([0, 8, 20, 40], x, h, charge).round(), "V/m")
    [ 975. 1749.  968.  179.] V/m
    """
    squared, aside, below, above = _offsets(lateral_m, offset_m, height_m, point_height_m)
    q = np.asarray(charge_c_per_m) / (2 * np.pi * EPS_0_F_PER_M)
    direct, image = squared + below**2, squared + above**2
    horizontal = (q * aside * (1 / direct - 1 / image)).sum(axis=-1)
    vertical = (q * (below / direct - above / image)).sum(axis=-1)
    return np.asarray(np.sqrt(np.abs(horizontal) ** 2 + np.abs(vertical) ** 2), dtype=float)


def space_potential(
    lateral_m: ArrayLike, offset_m: ArrayLike, height_m: ArrayLike, charge_c_per_m: ArrayLike, *, point_height_m: float
) -> ComplexArray:
    r"""Potential that the undisturbed field has at points beside the line.

    Parameters
    ----------
    lateral_m : array_like, shape (...)
        Distances from the line's axis, signed like the offsets. [m]
    offset_m, height_m : array_like, shape (c,)
        Conductor positions. [m]
    charge_c_per_m : array_like of complex, shape (c,)
        From `line_charges`. [C/m]
    point_height_m : float
        Height of the points, >= 0, below the conductors. [m]

    Returns
    -------
    numpy.ndarray of complex, shape (...)
        :math:`\phi = \sum q/(2\pi\varepsilon_0)\,\ln(D'/D)`. [V]

    Raises
    ------
    InputRangeError
        If a conductor is not above the points, or a value is not a number.

    References
    ----------
    .. [1] CIGRE WG 36.01, Electric and Magnetic Fields Produced by Transmission Systems, 1980 (title and year from
       memory).
    .. [2] ITU-T K.90 (2012), clause 6.3, electric field.

    Examples
    --------
    Beside a wire at 12 m that carries 10 nC/m; on the ground the potential is zero.

    >>> print(space_potential([5, 20], [0], [12], [1e-8], point_height_m=1.0).real.round(1), "V")
    [25.5  7.9] V
    >>> print(space_potential(5, [0], [12], [1e-8], point_height_m=0.0).real.round(1), "V")
    0.0 V
    """
    across, _, below, above = _offsets(lateral_m, offset_m, height_m, point_height_m)
    q = np.asarray(charge_c_per_m) / (2 * np.pi * EPS_0_F_PER_M)
    potential: ComplexArray = 0.5 * (q * np.log((across + above**2) / (across + below**2))).sum(axis=-1)
    return potential


def _offsets(
    lateral_m: ArrayLike, offset_m: ArrayLike, height_m: ArrayLike, point_height_m: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    away = finite("lateral_m", lateral_m)[..., None] - finite("offset_m", offset_m)
    h = positive("height_m", height_m)
    refuse("Conductor height", h, h <= point_height_m, f"it must be above the point at {point_height_m:g} m")
    return away**2, away, point_height_m - h, point_height_m + h
