"""Capacitive current and potential of an insulated lead in the line's electric field."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import ComplexArray, FloatArray
from layoutplan.constants import EPS_0_F_PER_M
from layoutplan.electrical._arrays import finite, positive, refuse


def lead_capacitance(lead_height_m: ArrayLike, lead_radius_m: ArrayLike) -> FloatArray:
    r"""Capacitance per length of a wire parallel to the ground.

    Parameters
    ----------
    lead_height_m : array_like
        Height of the wire's axis, > its radius. For a lead on the ground: conductor radius plus insulation. [m]
    lead_radius_m : array_like
        Radius of the metal, > 0. [m]

    Returns
    -------
    numpy.ndarray
        :math:`2\pi\varepsilon_0/\mathrm{arcosh}(h/a)`, which is 2πε₀/ln(2h/a) for h ≫ a. [F/m]

    Raises
    ------
    InputRangeError
        If the wire would touch the ground.

    Notes
    -----
    Air all round: on the ground the insulation raises it up to two- or threefold.

    References
    ----------
    .. [1] W. R. Smythe, Static and Dynamic Electricity, 3rd ed., McGraw-Hill, 1968, ch. 4 (chapter from memory).

    Examples
    --------
    A lead of 1.4 mm² with 0.7 mm of insulation, on the ground and carried by hand:

    >>> for height_m in (0.00137, 1.0):
    ...     print(f"{height_m:g} m: {1e12 * lead_capacitance(height_m, 0.00067):.1f} pF/m")
    0.00137 m: 41.4 pF/m
    1 m: 7.0 pF/m
    """
    height, radius = positive("lead_height_m", lead_height_m), positive("lead_radius_m", lead_radius_m)
    refuse("lead_height_m", height, height <= radius, "the wire's axis must lie higher than its radius")
    return 2 * np.pi * EPS_0_F_PER_M / np.arccosh(height / radius)


def lead_open_potential(
    start_lateral_m: ArrayLike,
    end_lateral_m: ArrayLike,
    offset_m: ArrayLike,
    height_m: ArrayLike,
    charge_c_per_m: ArrayLike,
    *,
    lead_height_m: float,
) -> ComplexArray:
    """Potential of a straight lead that is connected to nothing: the mean of the space potential along it.

    Parameters
    ----------
    start_lateral_m, end_lateral_m : array_like, shape (...)
        Distances of the lead's ends from the line's axis, signed like the offsets. [m]
    offset_m, height_m : array_like, shape (c,)
        Conductor positions. [m]
    charge_c_per_m : array_like of complex, shape (c,)
        From `line_charges`. [C/m]
    lead_height_m : float
        Height of the lead, > 0, below the conductors. [m]

    Returns
    -------
    numpy.ndarray of complex, shape (...)
        Potential against earth. [V]

    Raises
    ------
    InputRangeError
        If a conductor is not above the lead.

    Notes
    -----
    Line conductors straight and parallel along the lead's run; the integral of the logarithms is taken in closed form.

    References
    ----------
    .. [1] CIGRE WG 36.01, Electric and Magnetic Fields Produced by Transmission Systems, 1980 (title and year from
       memory).
    .. [2] ITU-T K.90 (2012), clause 6.3, electric field.

    Examples
    --------
    220 kV, three phases 8 m apart at 12 m; 100 m of lead straight away from the axis, carried 1 m above the ground:

    >>> from layoutplan.electrical import line_charges
    >>> turn = np.exp(2j * np.pi / 3)
    >>> x, h = [-8, 0, 8], [12, 12, 12]
    >>> charge = line_charges(x, h, 0.0143, 220e3 / 3**0.5 * np.array([1, turn**2, turn]))
    >>> print(f"{abs(lead_open_potential(0, 100, x, h, charge, lead_height_m=1.0)):.0f} V")
    375 V
    """
    start, end = np.broadcast_arrays(finite("start_lateral_m", start_lateral_m), finite("end_lateral_m", end_lateral_m))
    x, h = finite("offset_m", offset_m), positive("height_m", height_m)
    lead = positive("lead_height_m", lead_height_m)
    refuse("Conductor height", h, h <= lead, f"it must be above the lead at {lead:g} m")
    across = end - start
    level = np.abs(across) < 1e-6
    from_x, to_x = (start - level * 5e-7)[..., None] - x, (np.where(level, start + 5e-7, end))[..., None] - x
    image = _log_integral(to_x, lead + h) - _log_integral(from_x, lead + h)
    direct = _log_integral(to_x, h - lead) - _log_integral(from_x, h - lead)
    mean = (image - direct) / np.where(level, 1e-6, across)[..., None]
    potential: ComplexArray = (np.asarray(charge_c_per_m) * mean).sum(axis=-1) / (4 * np.pi * EPS_0_F_PER_M)
    return potential


def lead_short_circuit_current(
    open_potential_v: ArrayLike,
    length_m: ArrayLike,
    *,
    lead_height_m: ArrayLike,
    lead_radius_m: ArrayLike,
    frequency_hz: ArrayLike,
) -> ComplexArray:
    r"""Capacitive current of a lead that somebody, or a clamp, connects to earth at one point.

    Parameters
    ----------
    open_potential_v : array_like of complex
        From `lead_open_potential`. [V]
    length_m : array_like
        Length of the lead, >= 0, short against the wavelength. [m]
    lead_height_m, lead_radius_m : array_like
        Height of the wire's axis and radius of its metal. [m]
    frequency_hz : array_like
        Frequency, > 0. [Hz]

    Returns
    -------
    numpy.ndarray of complex
        :math:`j\omega C' \int\phi\,ds`. [A]

    Raises
    ------
    InputRangeError
        If the wire would touch the ground or the frequency is not positive.

    References
    ----------
    .. [1] CIGRE WG 36.01, Electric and Magnetic Fields Produced by Transmission Systems, 1980 (title and year from
       memory). Open potential times the admittance to earth.

    Examples
    --------
    300 V on 100 m of lead, 1 m above the ground, at 50 Hz:

    >>> current = lead_short_circuit_current(300, 100, lead_height_m=1.0, lead_radius_m=0.00067, frequency_hz=50)
    >>> print(f"{1e3 * abs(current):.4f} mA")
    0.0655 mA
    """
    capacitance = lead_capacitance(lead_height_m, lead_radius_m) * np.asarray(length_m)
    omega = 2 * np.pi * positive("frequency_hz", frequency_hz)
    current: ComplexArray = 1j * omega * capacitance * np.asarray(open_potential_v)
    return current


def _log_integral(x: FloatArray, c: FloatArray) -> FloatArray:
    """Antiderivative of ln(x² + c²), c > 0."""
    return x * np.log(x**2 + c**2) - 2 * x + 2 * c * np.arctan(x / c)
