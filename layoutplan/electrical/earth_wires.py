"""Currents that phase conductors drive in earth wires, and the single wire that stands for several."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import ComplexArray
from layoutplan.errors import InputRangeError


class EquivalentEarthWire(NamedTuple):
    """All earth wires of a cross-section as one.

    ``self_impedance_ohm_per_m`` is that of the wires in parallel with earth return; multiplied with the phase
    currents ``mutual_impedance_ohm_per_m`` (p,) gives the voltage per metre that the phases drive against the
    direction of the current in it. [Ω/m]
    """

    self_impedance_ohm_per_m: complex
    mutual_impedance_ohm_per_m: ComplexArray


def earth_wire_currents(
    impedance_ohm_per_m: ArrayLike, is_earth_wire: ArrayLike, phase_current_a: ArrayLike
) -> ComplexArray:
    r"""Currents induced in earth wires that are earthed at every tower, away from faults and line ends.

    Parameters
    ----------
    impedance_ohm_per_m : array_like, shape (c, c)
        Series impedance matrix of the cross-section, see `impedance_matrix`. [Ω/m]
    is_earth_wire : array_like of bool, shape (c,)
        Which conductors are earth wires; e of them.
    phase_current_a : array_like, shape (p,) or (p, k)
        Currents of the other p = c - e conductors, in their order. [A]

    Returns
    -------
    numpy.ndarray of complex, shape (e,) or (e, k)
        :math:`I_e = -Z_{ee}^{-1} Z_{ep} I_p`. [A]

    Raises
    ------
    InputRangeError
        If the shapes do not belong together.

    Notes
    -----
    The potential differences between towers are neglected, which holds where the same currents flow in many spans.

    References
    ----------
    .. [1] G. Kron, Tensor Analysis of Networks, Wiley, 1939: elimination of closed meshes.
    .. [2] J. R. Carson, "Wave propagation in overhead wires with ground return," Bell Syst. Tech. J., vol. 5, pp.
       539-554, 1926: the impedances.

    Examples
    --------
    300 A, balanced, under two earth wires:

    >>> from layoutplan.electrical import impedance_matrix
    >>> z = impedance_matrix(
    ...     [-8, 0, 8, -5, 5], [15, 15, 15, 22, 22], 0.01, 1e-4, soil_resistivity_ohm_m=100, frequency_hz=50
    ... )
    >>> wires = [False, False, False, True, True]
    >>> turn = np.exp(2j * np.pi / 3)
    >>> print(abs(earth_wire_currents(z, wires, [300, 300 * turn**2, 300 * turn])).round(1), "A")
    [24.4 24.7] A
    """
    ee, ep = _blocks(impedance_ohm_per_m, is_earth_wire)
    return np.asarray(-np.linalg.solve(ee, ep @ np.asarray(phase_current_a)), dtype=complex)


def equivalent_earth_wire(impedance_ohm_per_m: ArrayLike, is_earth_wire: ArrayLike) -> EquivalentEarthWire:
    r"""Earth wires connected at every tower as a single wire for the chain of towers.

    Parameters
    ----------
    impedance_ohm_per_m : array_like, shape (c, c)
        Series impedance matrix of the cross-section. [Ω/m]
    is_earth_wire : array_like of bool, shape (c,)
        Which conductors are earth wires; at least one.

    Returns
    -------
    EquivalentEarthWire
        :math:`Z_s = 1/(1^T Z_{ee}^{-1} 1)` and :math:`Z_m = Z_s\,1^T Z_{ee}^{-1} Z_{ep}`. [Ω/m]

    Raises
    ------
    InputRangeError
        If no conductor is an earth wire, or the shapes do not belong together.

    References
    ----------
    .. [1] G. Kron, Tensor Analysis of Networks, Wiley, 1939: elimination of closed meshes.
    .. [2] IEC 60909-3, partial short-circuit currents flowing through earth.

    Examples
    --------
    Two earth wires as one, and what shares the phases have in it:

    >>> from layoutplan.electrical import impedance_matrix
    >>> z = impedance_matrix(
    ...     [-8, 0, 8, -5, 5], [15, 15, 15, 22, 22], 0.01, 1e-4, soil_resistivity_ohm_m=100, frequency_hz=50
    ... )
    >>> wires = [False, False, False, True, True]
    >>> one = equivalent_earth_wire(z, wires)
    >>> print(f"{1e3 * one.self_impedance_ohm_per_m:.3f} Ω/km")
    0.097+0.504j Ω/km
    >>> print(abs(1e3 * one.mutual_impedance_ohm_per_m).round(3), "Ω/km")
    [0.287 0.3   0.287] Ω/km
    """
    ee, ep = _blocks(impedance_ohm_per_m, is_earth_wire)
    if not len(ee):
        raise InputRangeError("is_earth_wire marks no conductor: a line without earth wire has no chain.")
    ones = np.linalg.solve(ee, np.ones(len(ee)))
    return EquivalentEarthWire(complex(1 / ones.sum()), ones @ ep / ones.sum())


def reduction_factor(self_impedance_ohm: ArrayLike, mutual_impedance_ohm: ArrayLike) -> ComplexArray:
    """Share of an earth-fault current that returns through the earth far from both ends, 1 - Zm/Zs (IEC 60909-3).

    Parameters
    ----------
    self_impedance_ohm, mutual_impedance_ohm : array_like of complex
        Impedance of the earth wire and to the faulted phase, per span or per metre. [Ω] or [Ω/m]

    Returns
    -------
    numpy.ndarray of complex
        Reduction factor; its modulus is the figure usually quoted. [-]

    References
    ----------
    .. [1] IEC 60909-3, partial short-circuit currents flowing through earth: reduction factor of an earth wire.

    Examples
    --------
    Self impedance 0.10 + 0.25j Ω and mutual impedance 0.02 + 0.09j Ω of a span:

    >>> print(f"{abs(reduction_factor(0.10 + 0.25j, 0.02 + 0.09j)):.2f}")
    0.66
    """
    return np.asarray(
        1 - np.asarray(mutual_impedance_ohm) / np.asarray(self_impedance_ohm, dtype=complex), dtype=complex
    )


def split_earth_wire_current(
    impedance_ohm_per_m: ArrayLike, is_earth_wire: ArrayLike, total_current_a: ArrayLike, phase_current_a: ArrayLike
) -> ComplexArray:
    """Currents of the single earth wires from the chain's sum, all wires seeing one voltage between the towers.

    Parameters
    ----------
    impedance_ohm_per_m : array_like, shape (c, c)
        Series impedance matrix of the cross-section. [Ω/m]
    is_earth_wire : array_like of bool, shape (c,)
        Which conductors are earth wires; e of them.
    total_current_a : array_like, shape (...)
        Sum of the earth-wire currents in each span. [A]
    phase_current_a : array_like, shape (..., p)
        Phase currents in the same spans. [A]

    Returns
    -------
    numpy.ndarray of complex, shape (..., e)
        Currents of the earth wires; they add up to the total. [A]

    Raises
    ------
    InputRangeError
        If the shapes do not belong together.

    References
    ----------
    .. [1] G. Kron, Tensor Analysis of Networks, Wiley, 1939: elimination of closed meshes.
    .. [2] IEC 60909-3, partial short-circuit currents flowing through earth.

    Examples
    --------
    Two wires alike, placed alike, take half each of what is fed in without current in the phases:

    >>> from layoutplan.electrical import impedance_matrix
    >>> z = impedance_matrix(
    ...     [-8, 0, 8, -5, 5], [15, 15, 15, 22, 22], 0.01, 1e-4, soil_resistivity_ohm_m=100, frequency_hz=50
    ... )
    >>> wires = [False, False, False, True, True]
    >>> print(abs(split_earth_wire_current(z, wires, 1000, [0, 0, 0])).round(), "A")
    [500. 500.] A
    """
    ee, ep = _blocks(impedance_ohm_per_m, is_earth_wire)
    share = np.linalg.solve(ee, np.ones(len(ee)))
    share /= share.sum()
    induced = -np.asarray(phase_current_a) @ np.linalg.solve(ee, ep).T
    rest = np.asarray(total_current_a) - induced.sum(axis=-1)
    result: ComplexArray = induced + rest[..., None] * share
    return result


def _blocks(impedance_ohm_per_m: ArrayLike, is_earth_wire: ArrayLike) -> tuple[ComplexArray, ComplexArray]:
    z = np.asarray(impedance_ohm_per_m, dtype=complex)
    earth = np.asarray(is_earth_wire, dtype=bool)
    if z.shape != (len(earth), len(earth)):
        raise InputRangeError(f"impedance_ohm_per_m {z.shape} and is_earth_wire {earth.shape} do not belong together.")
    return z[np.ix_(earth, earth)], z[np.ix_(earth, ~earth)]
