"""Capacitive current and potential of an insulated lead in the line's electric field."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.constants import EPS_0_F_PER_M
from layoutplan.electrical._arrays import ComplexArray, FloatArray, finite, positive, refuse


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
    """
    capacitance = lead_capacitance(lead_height_m, lead_radius_m) * np.asarray(length_m)
    omega = 2 * np.pi * positive("frequency_hz", frequency_hz)
    current: ComplexArray = 1j * omega * capacitance * np.asarray(open_potential_v)
    return current


def _log_integral(x: FloatArray, c: FloatArray) -> FloatArray:
    """Antiderivative of ln(x² + c²), c > 0."""
    return x * np.log(x**2 + c**2) - 2 * x + 2 * c * np.arctan(x / c)
