"""Single-phase fault at each tower in turn: potential, current split, and the earth-wire currents around it.

All towers together cost O(n): the chain left and right of each is reduced once (`look_both_ways`), and the spans next
to each fault are found by walking outwards, all faults side by side.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import ComplexArray, FloatArray
from layoutplan.electrical._arrays import positive
from layoutplan.electrical.earth_wire_chain import LookingBothWays, look_both_ways
from layoutplan.errors import InputRangeError


class TowerFaults(NamedTuple):
    """State at each tower (n,) when the fault is at that tower.

    The wire currents flow away from the tower; at an end with a returning source the outer one is that source's
    current. ``tower_share`` is the part of the fault current in its footing [-], NaN where that is unknown or zero.
    """

    potential_v: ComplexArray
    tower_current_a: ComplexArray
    left_wire_current_a: ComplexArray
    right_wire_current_a: ComplexArray
    tower_share: FloatArray


def fault_at_each_tower(
    footing_resistance_ohm: ArrayLike,
    span_impedance_ohm: ArrayLike,
    mutual_impedance_ohm: ArrayLike,
    current_from_left_a: ArrayLike,
    current_from_right_a: ArrayLike,
    *,
    returns_left: bool = False,
    returns_right: bool = False,
) -> TowerFaults:
    """Earth potential rise and current split of every tower for a fault at that tower.

    Parameters
    ----------
    footing_resistance_ohm : array_like, shape (n,)
        As in `chain_state`. [Ω]
    span_impedance_ohm, mutual_impedance_ohm : array_like of complex, shape (n - 1,)
        Earth-wire impedance of each span, and its mutual impedance to the faulted phase. [Ω]
    current_from_left_a, current_from_right_a : array_like of complex, shape () or (n,)
        Current that reaches the fault through the phase conductor from either side; NaN gives NaN. [A]
    returns_left, returns_right : bool
        True where the source's neutral is earthed at that end of the chain. False leaves the return to remote
        earth, which gives the higher potentials near that end.

    Returns
    -------
    TowerFaults
        Potential in V, currents in A, share of the fault current in the tower's own footing.

    Raises
    ------
    InputRangeError
        As `chain_state`; also if a tower has no connection to earth at all.

    Notes
    -----
    The phase current of each side drives the earth wires through the mutual impedance over the whole side. For a
    long uniform line the potential tends to (1 - Zm/Zs) I Z with Z of `mid_line_impedance` (Endrenyi 1967).

    References
    ----------
    .. [1] J. Endrenyi, "Analysis of transmission tower potentials during ground faults," IEEE Trans. Power App.
       Syst., vol. PAS-86, pp. 1274-1283, 1967.
    .. [2] IEC 60909-3, partial short-circuit currents flowing through earth.

    Examples
    --------
    6 and 4 kA from the two ends of a long line, towers of 10 Ω: r I Z in its middle.

    >>> faults = fault_at_each_tower([10] * 61, [0.10 + 0.25j] * 60, [0.02 + 0.09j] * 60, 6000, 4000)
    >>> print(f"{abs(faults.potential_v[30]) / 1e3:.1f} kV, {100 * faults.tower_share[30]:.0f} % of it in the footing")
    5.4 kV, 5 % of it in the footing
    """
    seen, footing, left, right = _inputs(
        footing_resistance_ohm,
        span_impedance_ohm,
        mutual_impedance_ohm,
        current_from_left_a,
        current_from_right_a,
        returns_left=returns_left,
        returns_right=returns_right,
    )
    return _solve(seen, footing, left, right)


def earth_wire_currents_near_fault(
    footing_resistance_ohm: ArrayLike,
    span_impedance_ohm: ArrayLike,
    mutual_impedance_ohm: ArrayLike,
    current_from_left_a: ArrayLike,
    current_from_right_a: ArrayLike,
    *,
    reach: int,
    returns_left: bool = False,
    returns_right: bool = False,
) -> ComplexArray:
    """Earth-wire currents in the spans next to a fault, for a fault at every tower.

    Parameters
    ----------
    footing_resistance_ohm, span_impedance_ohm, mutual_impedance_ohm, current_from_left_a, current_from_right_a
        As in `fault_at_each_tower`.
    reach : int
        Spans wanted each way, >= 1.
    returns_left, returns_right : bool
        As in `fault_at_each_tower`.

    Returns
    -------
    numpy.ndarray of complex, shape (n, 2 * reach)
        Row k: currents in spans k - reach ... k + reach - 1, positive in line order, 0 beyond the ends. [A]

    Raises
    ------
    InputRangeError
        As `fault_at_each_tower`.

    References
    ----------
    .. [1] J. Endrenyi, "Analysis of transmission tower potentials during ground faults," IEEE Trans. Power App.
       Syst., vol. PAS-86, pp. 1274-1283, 1967.
    .. [2] IEC 60909-3, partial short-circuit currents flowing through earth.

    Examples
    --------
    The two spans on either side of a fault in the middle, 6 kA from the left and 4 kA from the right:

    >>> line = [10] * 61, [0.10 + 0.25j] * 60, [0.02 + 0.09j] * 60
    >>> wires = earth_wire_currents_near_fault(*line, 6000, 4000, reach=2)
    >>> print(abs(wires[30]).round(), "A")
    [4688. 5112. 4421. 4004.] A
    """
    seen, footing, left, right = _inputs(
        footing_resistance_ohm,
        span_impedance_ohm,
        mutual_impedance_ohm,
        current_from_left_a,
        current_from_right_a,
        returns_left=returns_left,
        returns_right=returns_right,
    )
    at = _solve(seen, footing, left, right)
    mirrored = LookingBothWays(*(part[::-1] for part in (*seen[2:], *seen[:2])))
    leftward = _walk(at.left_wire_current_a, left, footing, seen, reach)
    rightward = _walk(at.right_wire_current_a[::-1], right[::-1], footing[::-1], mirrored, reach)[::-1]
    return np.concatenate([-leftward[:, ::-1], rightward], axis=1)


def _solve(seen: LookingBothWays, footing: ComplexArray, left: ComplexArray, right: ComplexArray) -> TowerFaults:
    admittance = footing + seen.left_admittance_s + seen.right_admittance_s
    if not np.all(admittance):
        raise InputRangeError(f"Tower {np.argmin(np.abs(admittance))} has no connection to earth at all.")
    potential = ((1 + seen.left_source) * left + (1 + seen.right_source) * right) / admittance
    tower = potential * footing
    size, fault = np.abs(tower), np.abs(left + right)
    return TowerFaults(
        potential,
        tower,
        left_wire_current_a=seen.left_admittance_s * potential - seen.left_source * left,
        right_wire_current_a=seen.right_admittance_s * potential - seen.right_source * right,
        tower_share=np.divide(size, fault, out=np.full_like(size, np.nan), where=fault != 0),
    )


def _walk(
    leaving: ComplexArray, phase: ComplexArray, footing: ComplexArray, seen: LookingBothWays, reach: int
) -> ComplexArray:
    """Wire current away from the fault in each span on its left (n, reach), nearest span first."""
    n = len(leaving)
    admittance, source = seen.left_admittance_s, seen.left_source
    result = np.zeros((n, reach), dtype=complex)
    result[1:, 0] = leaving[1:]
    for m in range(1, min(reach, n - 1)):
        near, here = slice(m + 1, n), slice(1, n - m)
        # the chain further left at the tower that the current has just reached, as its Norton equivalent
        total = footing[here] + admittance[here]
        arriving = result[near, m - 1] + source[here] * phase[near]
        potential = np.divide(arriving, total, out=np.zeros_like(arriving), where=total != 0)
        result[near, m] = admittance[here] * potential - source[here] * phase[near]
    return result


def _inputs(
    footing_resistance_ohm: ArrayLike,
    span_impedance_ohm: ArrayLike,
    mutual_impedance_ohm: ArrayLike,
    current_from_left_a: ArrayLike,
    current_from_right_a: ArrayLike,
    *,
    returns_left: bool,
    returns_right: bool,
) -> tuple[LookingBothWays, ComplexArray, ComplexArray, ComplexArray]:
    seen = look_both_ways(
        footing_resistance_ohm,
        span_impedance_ohm,
        mutual_impedance_ohm,
        returns_left=returns_left,
        returns_right=returns_right,
    )
    footing = (1 / positive("footing_resistance_ohm", footing_resistance_ohm, infinite=True)).astype(complex)
    left = np.broadcast_to(np.asarray(current_from_left_a, dtype=complex), footing.shape)
    right = np.broadcast_to(np.asarray(current_from_right_a, dtype=complex), footing.shape)
    return seen, footing, left, right
