"""Coupling between the current lead and the potential lead lying on the ground.

The leads are earthed at their ends, so they also share potentials in the soil; that part is the bias of
`fall_of_potential` and is not counted here again.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import ComplexArray, FloatArray
from layoutplan.constants import MU_0_H_PER_M
from layoutplan.electrical._arrays import finite, refuse
from layoutplan.electrical._quadrature import gauss_rule
from layoutplan.electrical.earth_return import complex_depth

_PAIRS_AT_ONCE = 100
_INNER_ORDER = 16


def lead_mutual_impedance(
    first_xy_m: ArrayLike, second_xy_m: ArrayLike, *, soil_resistivity_ohm_m: ArrayLike, frequency_hz: ArrayLike
) -> ComplexArray:
    r"""Mutual impedance of two leads of any shape on the surface of uniform soil.

    Parameters
    ----------
    first_xy_m, second_xy_m : array_like, shapes (..., v, 2) and (..., u, 2)
        Corners of the two leads; they may share their first corner but not run in the same trace; corners may repeat.
        [m]
    soil_resistivity_ohm_m, frequency_hz : array_like, shape (...)
        Resistivity [Ω·m] and frequency [Hz], > 0; all leading axes broadcast.

    Returns
    -------
    numpy.ndarray of complex, shape (...)
        Positive real and imaginary part for leads that run the same way. [Ω]

    Raises
    ------
    InputRangeError
        If the leads run in one trace, or a value is out of range.

    Notes
    -----
    :math:`M = \iint P(r)\cos\varepsilon\,ds\,ds'`, :math:`P = \frac{\rho}{2\pi r^3}[1-(1+gr)e^{-gr}]` [1]_, [2]_, exact
    for wires on the surface. 1/r is split off and integrated in closed form along the second lead; what is left is
    bounded. Leads that cross away from their ends are good to about 1 %.

    References
    ----------
    .. [1] R. M. Foster, "Mutual impedance of grounded wires lying on the surface of the earth," Bell Syst. Tech. J.,
       vol. 10, pp. 408-419, 1931.
    .. [2] E. D. Sunde, Earth Conduction Effects in Transmission Systems, Van Nostrand, 1949, ch. 4.

    Examples
    --------
    Two leads of 50 m side by side, 2 m apart, and at a right angle; 100 Ω·m, 50 Hz:

    >>> soil = {"soil_resistivity_ohm_m": 100, "frequency_hz": 50}
    >>> print(f"{1e3 * lead_mutual_impedance([[0, 0], [50, 0]], [[0, 2], [50, 2]], **soil):.2f} mΩ")
    0.07+9.20j mΩ
    >>> print(f"{1e3 * abs(lead_mutual_impedance([[0, 0], [50, 0]], [[0, 0], [0, 50]], **soil)):.2f} mΩ")
    0.00 mΩ
    """
    first, second = finite("first_xy_m", first_xy_m), finite("second_xy_m", second_xy_m)
    depth = complex_depth(soil_resistivity_ohm_m, frequency_hz)
    lead = np.broadcast_shapes(first.shape[:-2], second.shape[:-2], depth.shape)
    pieces = (*lead, first.shape[-2] - 1, second.shape[-2] - 1, 2)
    corners = (first[..., :-1, None, :], first[..., 1:, None, :], second[..., None, :-1, :], second[..., None, 1:, :])
    ends = np.stack([np.broadcast_to(corner, pieces).reshape(-1, 2) for corner in corners])
    g = np.broadcast_to(1 / depth[..., None, None], pieces[:-1]).reshape(-1)
    total = np.zeros(len(g), dtype=complex)
    with_length = np.flatnonzero(np.any(ends[0] != ends[1], axis=1) & np.any(ends[2] != ends[3], axis=1))
    for begin in range(0, len(with_length), _PAIRS_AT_ONCE):
        part = with_length[begin : begin + _PAIRS_AT_ONCE]
        total[part] = _straight_pairs(ends[:, part], g[part])
    omega_mu = 2 * np.pi * np.asarray(frequency_hz, dtype=float) * MU_0_H_PER_M
    result: ComplexArray = 1j * omega_mu / (4 * np.pi) * total.reshape(pieces[:-1]).sum(axis=(-2, -1))
    return result


def _straight_pairs(ends: FloatArray, g: ComplexArray) -> ComplexArray:
    """Double integral of (1/r + S(r)) cos ε over pairs of straight pieces, given by their four ends (4, q, 2)."""
    a_start, a_end, b_start, b_end = ends
    a, b = a_end - a_start, b_end - b_start
    length = np.hypot(*b.T)
    nodes, weights = _double_exponential_rule()
    points = a_start[:, None] + nodes[:, None] * a[:, None]
    inner = _inverse_distance(points, b_start, b, length) + _bounded_part(points, b_start, b, length, g)
    result: ComplexArray = np.sum(a * b, axis=-1) / length * (inner @ weights)
    return result


def _inverse_distance(points: FloatArray, start: FloatArray, step: FloatArray, length: FloatArray) -> FloatArray:
    """∫ ds'/r along the second piece, seen from points (q, n, 2) of the first."""
    unit = step / length[:, None]
    away = points - start[:, None]
    before = np.einsum("qni,qi->qn", away, unit)
    after = length[:, None] - before
    aside = np.abs(away[..., 0] * unit[:, None, 1] - away[..., 1] * unit[:, None, 0])
    to_start, to_end = np.hypot(before, aside), np.hypot(after, aside)
    on_it = (before > 0) & (after > 0) & (aside <= 1e-6 * np.minimum(to_start, to_end))
    refuse("Distance between two leads", aside, on_it, "they run in the same trace; keep them at least 0.1 m apart")
    # arsinh(before/aside) + arsinh(after/aside), written so that the distance aside may be 0 beyond the ends
    signs = np.sign(before) + np.sign(after)
    common = signs * np.log(np.where(signs == 0, 1, aside))
    towards_start = np.sign(before) * np.log(np.abs(before) + to_start)
    return np.asarray(towards_start + np.sign(after) * np.log(np.abs(after) + to_end) - common, dtype=float)


def _bounded_part(
    points: FloatArray, start: FloatArray, step: FloatArray, length: FloatArray, g: ComplexArray
) -> ComplexArray:
    """∫ S(r) ds' along the second piece, cut at the foot of each point, where S has a kink."""
    foot = np.clip(np.einsum("qni,qi->qn", points - start[:, None], step) / length[:, None] ** 2, 0, 1)
    nodes, weights = gauss_rule(_INNER_ORDER)
    total = np.zeros(foot.shape, dtype=complex)
    for low, high in ((np.zeros_like(foot), foot), (foot, np.ones_like(foot))):
        fraction = low[..., None] + (high - low)[..., None] * nodes
        away = points[:, :, None] - start[:, None, None] - fraction[..., None] * step[:, None, None]
        values = _less_inverse_distance(np.hypot(away[..., 0], away[..., 1]), g[:, None, None])
        total += (values @ weights) * (high - low)
    return np.asarray(total * length[:, None], dtype=complex)


def _less_inverse_distance(r: FloatArray, g: ComplexArray) -> ComplexArray:
    """S(r) = 2 [1 - (1 + gr) exp(-gr)] / (g² r³) - 1/r, which tends to -2g/3 at r = 0."""
    x = g * r
    small = np.abs(x) < 0.02
    x_large = np.where(small, 1, x)
    closed = (2 * (1 - (1 + x_large) * np.exp(-x_large)) / x_large**2 - 1) / x_large
    series = -2 / 3 + x / 4 - x**2 / 15 + x**3 / 72
    result: ComplexArray = g * np.where(small, series, closed)
    return result


@lru_cache(maxsize=1)
def _double_exponential_rule() -> tuple[FloatArray, FloatArray]:
    """Nodes and weights on (0, 1) that do not mind logarithms at the ends."""
    step = 0.125
    t = step * np.arange(-24, 25)
    nodes = 1 / (1 + np.exp(-np.pi * np.sinh(t)))
    return nodes, step * np.pi * np.cosh(t) * nodes * (1 - nodes)
