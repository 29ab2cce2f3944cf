"""Series impedance matrix of the conductors of a line."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import ComplexArray
from layoutplan.electrical._arrays import finite, not_negative, positive, refuse
from layoutplan.electrical.earth_return import carson_impedance

ImpedanceModel = Callable[..., ComplexArray]


def impedance_matrix(
    offset_m: ArrayLike,
    height_m: ArrayLike,
    gmr_m: ArrayLike,
    resistance_ohm_per_m: ArrayLike,
    *,
    soil_resistivity_ohm_m: float,
    frequency_hz: float,
    model: ImpedanceModel = carson_impedance,
) -> ComplexArray:
    """Series impedance matrix of one cross-section of a line, every conductor against the earth.

    Parameters
    ----------
    offset_m : array_like, shape (c,)
        Lateral offset of each conductor. [m]
    height_m : array_like, shape (c,)
        Effective height above ground, > 0. [m]
    gmr_m : array_like, shape (c,)
        Geometric mean radius, of the whole bundle if there is one, > 0. [m]
    resistance_ohm_per_m : array_like, shape (c,)
        Alternating-current resistance, >= 0. [Ω/m]
    soil_resistivity_ohm_m : float
        Resistivity of uniform soil, > 0. [Ω·m]
    frequency_hz : float
        Frequency, > 0. [Hz]
    model : callable
        `carson_impedance` or `complex_depth_impedance`.

    Returns
    -------
    numpy.ndarray, shape (c, c)
        Symmetric matrix. [Ω/m]

    Raises
    ------
    InputRangeError
        If two conductors are closer than their radii, or a value is out of range.

    References
    ----------
    .. [1] J. R. Carson, "Wave propagation in overhead wires with ground return," Bell Syst. Tech. J., vol. 5, pp.
       539-554, 1926.
    .. [2] IEEE PES Test Feeder Working Group, 13-node test feeder, configuration 601 (the example; spacing from
       memory).

    Examples
    --------
    Phases and neutral of the IEEE 13-node feeder at 60 Hz; its print says 0.3465 + 1.0179j Ω/mile for
    the first phase, neutral taken out (Carson's series cut after its logarithm: 1e-3 off).

    >>> foot, mile = 0.3048, 1609.344
    >>> z = mile * impedance_matrix(
    ...     foot * np.array([2.5, 0, 7, 4]),
    ...     foot * np.array([28, 28, 28, 24]),
    ...     foot * np.array([0.0313, 0.0313, 0.0313, 0.00814]),
    ...     np.array([0.1859, 0.1859, 0.1859, 0.592]) / mile,
    ...     soil_resistivity_ohm_m=100,
    ...     frequency_hz=60,
    ... )
    >>> print(f"{z[0, 0] - z[0, 3] * z[3, 0] / z[3, 3]:.3f} Ω/mile")
    0.346+1.019j Ω/mile
    """
    x, h = np.broadcast_arrays(finite("offset_m", offset_m), positive("height_m", height_m))
    gmr = np.broadcast_to(positive("gmr_m", gmr_m), x.shape)
    resistance = not_negative("resistance_ohm_per_m", resistance_ohm_per_m)
    apart = np.hypot(x[:, None] - x, h[:, None] - h)
    overlap = (apart <= np.maximum(gmr[:, None], gmr)) & ~np.eye(len(x), dtype=bool)
    refuse("Distance between two conductors", apart, overlap, "they would touch; check offsets and heights")
    d = np.where(np.eye(len(x), dtype=bool), gmr, np.abs(x[:, None] - x))
    z = model(h[:, None], h, d, soil_resistivity_ohm_m=soil_resistivity_ohm_m, frequency_hz=frequency_hz)
    return z + np.diag(np.broadcast_to(resistance, x.shape))
