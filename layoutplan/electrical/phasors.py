"""Currents of a circuit from its symmetrical components, and what is left when phase angles are not known."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import ComplexArray, FloatArray
from layoutplan.electrical._arrays import not_negative, refuse

A = np.exp(2j * np.pi / 3)
SEQUENCES: ComplexArray = np.array([[1, 1, 1], [A**2, A, 1], [A, A**2, 1]])
"""Phases A, B, C (rows) of a positive, negative and zero sequence of 1 A (columns)."""


def sequence_currents(
    positive_sequence_a: ArrayLike, *, negative_share: ArrayLike = 0.0, zero_share: ArrayLike = 0.0
) -> ComplexArray:
    """Phase currents that each symmetrical component contributes.

    The angles between the components are seldom known. Carry them as three states and add their effects by
    `magnitude_range`; where they are known, add the states themselves.

    Parameters
    ----------
    positive_sequence_a : array_like, shape (...)
        Positive-sequence current, >= 0; NaN for unknown. [A]
    negative_share, zero_share : array_like, shape (...)
        Negative and zero sequence as shares of the positive one, 0 to 1. [-]

    Returns
    -------
    numpy.ndarray of complex, shape (..., 3, 3)
        Phases A, B, C by positive, negative and zero sequence, all with angle 0 in phase A. [A]

    Raises
    ------
    InputRangeError
        If a current is negative or a share is below 0 or above 100 %.

    References
    ----------
    .. [1] C. L. Fortescue, "Method of symmetrical co-ordinates applied to the solution of polyphase networks,"
       Trans. AIEE, vol. 37, pp. 1027-1140, 1918.

    Examples
    --------
    100 A with 2 % of negative and 5 % of zero sequence: phases A, B, C, one column for each sequence.

    >>> print(np.abs(sequence_currents(100, negative_share=0.02, zero_share=0.05)).round(1), "A")
    [[100.   2.   5.]
     [100.   2.   5.]
     [100.   2.   5.]] A
    """
    current = np.asarray(positive_sequence_a, dtype=float)
    refuse("positive_sequence_a", current, current < 0, "it must be 0 or more")
    shares = []
    for name, value in (("negative_share", negative_share), ("zero_share", zero_share)):
        share = not_negative(name, value)
        refuse(name, share, share > 1, "an unbalance is a share of at most 1 (100 %)")
        shares.append(share)
    size = np.stack(np.broadcast_arrays(np.ones_like(current), *shares), axis=-1) * current[..., None]
    result: ComplexArray = SEQUENCES * size[..., None, :]
    return result


def magnitude_range(parts: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Smallest and largest modulus of a sum of phasors whose angles to each other are not known.

    Parameters
    ----------
    parts : array_like of complex, shape (..., k)
        The phasors.

    Returns
    -------
    low, high : numpy.ndarray, shape (...)
        Largest part less all others, but at least 0, and the arithmetic sum; NaN where a part is NaN.

    Notes
    -----
    The polygon inequality.

    References
    ----------
    Elementary geometry, no published source.

    Examples
    --------
    Parts of 5, 1 and 1 V, angles unknown:

    >>> low, high = magnitude_range([5, 1j, -1])
    >>> print(f"{low:g} to {high:g} V")
    3 to 7 V
    """
    size = np.abs(np.asarray(parts))
    high = size.sum(axis=-1)
    return np.maximum(2 * size.max(axis=-1) - high, 0), high
