"""The whole line as a chain: towers earthed by their footings, joined by the earth wire from span to span.

A node is a tower, or a station with its own grid at either end; a branch is a span of earth wire, with the voltage
that the phase conductors drive in it. The nodal matrix is tridiagonal, so every solution costs O(n).
Signs: span currents and span voltages are positive in line order, tower currents flow from the tower into the earth.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import linalg

from layoutplan.arrays import ComplexArray
from layoutplan.electrical._arrays import positive
from layoutplan.errors import InputRangeError


class ChainState(NamedTuple):
    """Potentials (n,) in V, currents from tower to earth (n,) and in the earth wire of each span (n - 1,) in A."""

    potential_v: ComplexArray
    tower_current_a: ComplexArray
    span_current_a: ComplexArray


class LookingBothWays(NamedTuple):
    """What each tower sees of the chain without its own footing, as Norton equivalents (n,).

    ``left_admittance_s`` and ``right_admittance_s`` in S; ``left_source`` and ``right_source``: current that flows
    into the tower when it is held at zero, per ampere in the phase conductor towards it on that side.
    """

    left_admittance_s: ComplexArray
    left_source: ComplexArray
    right_admittance_s: ComplexArray
    right_source: ComplexArray


def ladder_impedance(span_impedance_ohm: ArrayLike, footing_resistance_ohm: ArrayLike) -> ComplexArray:
    r"""Impedance of an endless line seen one way from a tower, the first element being a span.

    Parameters
    ----------
    span_impedance_ohm : array_like of complex
        Earth-wire impedance of one span with earth return. [Ω]
    footing_resistance_ohm : array_like
        Resistance of each tower, > 0. [Ω]

    Returns
    -------
    numpy.ndarray of complex
        :math:`Z_c = Z_s/2 + \sqrt{Z_s^2/4 + Z_s R_t}`. [Ω]

    Raises
    ------
    InputRangeError
        If a footing is not positive.

    Notes
    -----
    All spans and footings alike, no end within about 15 spans [1]_.

    References
    ----------
    .. [1] J. Endrenyi, "Analysis of transmission tower potentials during ground faults," IEEE Trans. Power App.
       Syst., vol. PAS-86, pp. 1274-1283, 1967.
    .. [2] IEC 60909-3, partial short-circuit currents flowing through earth (driving-point impedance of an endless
       chain).

    Examples
    --------
    Spans of 0.10 + 0.25j Ω on towers of 10 Ω:

    >>> print(f"{ladder_impedance(0.10 + 0.25j, 10):.4f} Ω")
    1.4076+1.0503j Ω
    """
    zs = np.asarray(span_impedance_ohm, dtype=complex)
    return np.asarray(
        zs / 2 + np.sqrt(zs**2 / 4 + zs * positive("footing_resistance_ohm", footing_resistance_ohm)), dtype=complex
    )


def mid_line_impedance(span_impedance_ohm: ArrayLike, footing_resistance_ohm: ArrayLike) -> ComplexArray:
    """Impedance to earth of a tower with its earth wires, far from both ends of a uniform line.

    Parameters
    ----------
    span_impedance_ohm : array_like of complex
        Earth-wire impedance of one span with earth return. [Ω]
    footing_resistance_ohm : array_like
        Resistance of each tower, > 0. [Ω]

    Returns
    -------
    numpy.ndarray of complex
        1/(1/Rt + 2/Zc), see `ladder_impedance`. [Ω]

    Raises
    ------
    InputRangeError
        If a footing is not positive.

    References
    ----------
    .. [1] J. Endrenyi, "Analysis of transmission tower potentials during ground faults," IEEE Trans. Power App.
       Syst., vol. PAS-86, pp. 1274-1283, 1967.

    Examples
    --------
    A tower of 10 Ω with its earth wires comes down to 0.82 Ω:

    >>> z = mid_line_impedance(0.10 + 0.25j, 10)
    >>> print(f"{z:.4f} Ω, modulus {abs(z):.2f} Ω")
    0.6800+0.4573j Ω, modulus 0.82 Ω
    """
    footing = positive("footing_resistance_ohm", footing_resistance_ohm)
    result: ComplexArray = 1 / (1 / footing + 2 / ladder_impedance(span_impedance_ohm, footing))
    return result


def chain_state(
    footing_resistance_ohm: ArrayLike,
    span_impedance_ohm: ArrayLike,
    span_voltage_v: ArrayLike = 0.0,
    injected_current_a: ArrayLike = 0.0,
) -> ChainState:
    """Potentials and currents of the chain for voltages in the spans and currents injected at towers.

    With the voltages that the load drives this is the standing state the crew will find.

    Parameters
    ----------
    footing_resistance_ohm : array_like, shape (n,)
        Resistance of each tower or station grid, > 0; infinite for one without connection to earth. [Ω]
    span_impedance_ohm : array_like of complex, shape (n - 1,)
        Earth-wire impedance of each span, not 0; infinite for a span without earth wire. [Ω]
    span_voltage_v : array_like of complex, shape () or (n - 1,)
        Series voltage driven in each span in line order: minus mutual impedance times phase currents. [V]
    injected_current_a : array_like of complex, shape () or (n,)
        Current put into each tower from outside. [A]

    Returns
    -------
    ChainState
        NaN all along where a voltage or current is NaN: unknown stays unknown.

    Raises
    ------
    InputRangeError
        If a footing or span is out of range, lengths do not match, or some part has no connection to earth at all.

    References
    ----------
    .. [1] J. Endrenyi, "Analysis of transmission tower potentials during ground faults," IEEE Trans. Power App.
       Syst., vol. PAS-86, pp. 1274-1283, 1967. The ladder, here with every span and footing of its own.
    .. [2] IEC 60909-3, partial short-circuit currents flowing through earth.

    Examples
    --------
    1 kA into the middle one of three towers of 10 Ω, spans of 0.5j Ω:

    >>> state = chain_state([10, 10, 10], [0.5j, 0.5j], injected_current_a=[0, 1000, 0])
    >>> print(abs(state.potential_v).round(), "V", abs(state.tower_current_a).round(1), "A")
    [3333. 3337. 3333.] V [333.3 333.7 333.3] A
    """
    footing, span = _admittances(footing_resistance_ohm, span_impedance_ohm)
    driven = np.broadcast_to(np.asarray(span_voltage_v, dtype=complex), span.shape) * span
    injected = np.broadcast_to(np.asarray(injected_current_a, dtype=complex), footing.shape).copy()
    injected[1:] += driven
    injected[:-1] -= driven
    bands = np.zeros((3, len(footing)), dtype=complex)
    bands[0, 1:] = bands[2, :-1] = -span
    bands[1] = footing
    bands[1, 1:] += span
    bands[1, :-1] += span
    try:
        potential = linalg.solve_banded((1, 1), bands, injected, check_finite=False)
    except np.linalg.LinAlgError as error:
        raise InputRangeError("Some tower has neither a footing nor an earth wire that leads to one.") from error
    current = span * (potential[:-1] - potential[1:]) + driven
    return ChainState(potential, potential * footing, current)


def driving_point_impedance(footing_resistance_ohm: ArrayLike, span_impedance_ohm: ArrayLike) -> ComplexArray:
    """Impedance to earth of every tower with its earth wires connected, all towers in one pass.

    Parameters
    ----------
    footing_resistance_ohm, span_impedance_ohm : array_like, shapes (n,) and (n - 1,)
        As in `chain_state`. [Ω]

    Returns
    -------
    numpy.ndarray of complex, shape (n,)
        What a current injected into the tower alone meets. [Ω]

    Raises
    ------
    InputRangeError
        As `chain_state`.

    References
    ----------
    .. [1] J. Endrenyi, "Analysis of transmission tower potentials during ground faults," IEEE Trans. Power App.
       Syst., vol. PAS-86, pp. 1274-1283, 1967.

    Examples
    --------
    61 towers of 10 Ω: the middle one is that of an endless line, the last has earth wires on one side only.

    >>> z = driving_point_impedance([10] * 61, [0.10 + 0.25j] * 60)
    >>> print(f"middle {z[30]:.4f} Ω, end {z[0]:.4f} Ω")
    middle 0.6801+0.4577j Ω, end 1.3076+0.8003j Ω
    """
    footing, _ = _admittances(footing_resistance_ohm, span_impedance_ohm)
    seen = look_both_ways(footing_resistance_ohm, span_impedance_ohm)
    result: ComplexArray = 1 / (footing + seen.left_admittance_s + seen.right_admittance_s)
    return result


def look_both_ways(
    footing_resistance_ohm: ArrayLike,
    span_impedance_ohm: ArrayLike,
    mutual_impedance_ohm: ArrayLike = 0.0,
    *,
    returns_left: bool = False,
    returns_right: bool = False,
) -> LookingBothWays:
    """Reduce the chain on either side of every tower to one admittance and one source, O(n) for all towers.

    Parameters
    ----------
    footing_resistance_ohm, span_impedance_ohm : array_like, shapes (n,) and (n - 1,)
        As in `chain_state`. [Ω]
    mutual_impedance_ohm : array_like of complex, shape () or (n - 1,)
        Mutual impedance of earth wire and faulted phase in each span. [Ω]
    returns_left, returns_right : bool
        Whether the phase current of that side comes from a source whose neutral is earthed at that end of the chain,
        so that it is taken out of the earth there.

    Returns
    -------
    LookingBothWays
        Seen from every tower, its own footing not included.

    Raises
    ------
    InputRangeError
        As `chain_state`.

    References
    ----------
    .. [1] J. Endrenyi, "Analysis of transmission tower potentials during ground faults," IEEE Trans. Power App.
       Syst., vol. PAS-86, pp. 1274-1283, 1967. The ladder; each side as E. L. Norton's equivalent current source.

    Examples
    --------
    From the second of three towers of 10 Ω, each side is a span and a footing in series:

    >>> seen = look_both_ways([10, 10, 10], [0.5j, 0.5j])
    >>> print(f"{1 / seen.left_admittance_s[1]:.1f} Ω to the left, {1 / seen.right_admittance_s[1]:.1f} Ω to the right")
    10.0+0.5j Ω to the left, 10.0+0.5j Ω to the right
    """
    footing, span = _admittances(footing_resistance_ohm, span_impedance_ohm)
    driven = -np.broadcast_to(np.asarray(mutual_impedance_ohm, dtype=complex), span.shape)
    left = _look_left(footing, span, driven, taken_out=float(returns_left))
    right = _look_left(footing[::-1], span[::-1], driven[::-1], taken_out=float(returns_right))
    return LookingBothWays(*left, *(part[::-1] for part in right))


def _look_left(
    footing: ComplexArray, span: ComplexArray, driven: ComplexArray, taken_out: float
) -> tuple[ComplexArray, ComplexArray]:
    """One pass from the first node; plain numbers, because each step needs the one before."""
    admittance, source = [0j], [complex(-taken_out)]
    shunt, current = complex(footing[0]), source[0]
    for ys, voltage, next_footing in zip(span.tolist(), driven.tolist(), footing[1:].tolist(), strict=True):
        total = ys + shunt
        admittance.append(ys * shunt / total if total else 0j)
        source.append(ys * (current + voltage * shunt) / total if total else 0j)
        shunt, current = next_footing + admittance[-1], source[-1]
    return np.array(admittance), np.array(source)


def _admittances(footing_resistance_ohm: ArrayLike, span_impedance_ohm: ArrayLike) -> tuple[ComplexArray, ComplexArray]:
    footing = 1 / np.atleast_1d(positive("footing_resistance_ohm", footing_resistance_ohm, infinite=True))
    impedance = np.atleast_1d(np.asarray(span_impedance_ohm, dtype=complex))
    if impedance.shape != (len(footing) - 1,):
        raise InputRangeError(f"{len(footing)} towers need {len(footing) - 1} spans, not {impedance.shape}.")
    if np.any(np.isnan(impedance) | (impedance == 0)):
        raise InputRangeError("span_impedance_ohm holds a 0 or NaN; use infinity for a span without earth wire.")
    open_span = np.isinf(impedance)
    return footing.astype(complex), np.where(open_span, 0, 1 / np.where(open_span, 1, impedance))
