"""The worst of many faults: that which takes most of its limit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from layoutplan.arrays import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Worst:
    """The worst of a quantity over all faults: that which takes most of its limit.

    Attributes
    ----------
    value_v : ndarray
        NaN where a fault that may be worse is unknown, unless the worst known one is beyond its limit already. [V]
    limit_v : ndarray
        Permissible touch voltage for the duration of that fault; NaN if unknown. [V]
    duration_s : ndarray
    cause : ndarray of int
        Place among `causes`, -1 if there is none or it is unknown.
    """

    value_v: FloatArray
    limit_v: FloatArray
    duration_s: FloatArray
    cause: IntArray

    @classmethod
    def nothing(cls, shape: tuple[int, ...]) -> Worst:
        """No fault counted in yet.

        Parameters
        ----------
        shape : tuple of int
            Of the quantity; the first axis is that of the towers.

        Returns
        -------
        Worst
            Zeros, without limit and cause.
        """
        empty = np.full(shape, np.nan)
        return cls(np.zeros(shape), empty, empty.copy(), np.full(shape, -1))

    def take(
        self, rows: IntArray, value_v: FloatArray, limit_v: FloatArray, duration_s: float, cause: IntArray
    ) -> None:
        """Count faults in, one for each of some rows. A limit that is unknown counts as if just reached.

        Parameters
        ----------
        rows : ndarray of int, shape (n,)
            Rows of the towers.
        value_v : ndarray, shape (n, ...)
            The quantity under the fault. [V]
        limit_v : ndarray, shape (n,)
            Permissible for the duration of the fault; NaN if unknown. [V]
        duration_s : float
            Of the fault. [s]
        cause : ndarray of int, shape (n, ...)
            Places among `causes`.

        Examples
        --------
        300 V for 0.1 s, of which 654 V are permissible, are less than 200 V for 0.5 s, of which 220 V are (EN 50522):

        >>> worst, row = Worst.nothing((1,)), np.array([0])
        >>> worst.take(row, np.array([300.0]), np.array([654.0]), 0.1, np.array([0]))
        >>> worst.take(row, np.array([200.0]), np.array([220.0]), 0.5, np.array([1]))
        >>> worst.value_v, worst.cause
        (array([200.]), array([1]))
        """
        limit = np.broadcast_to(limit_v.reshape(-1, *[1] * (value_v.ndim - 1)), value_v.shape)
        here = self.value_v[rows], self.limit_v[rows], self.cause[rows]
        worse = _rank(value_v, limit) > np.where(here[2] < 0, -1.0, _rank(*here[:2]))
        at = np.nonzero(worse)
        place = (rows[at[0]], *at[1:])
        self.value_v[place], self.limit_v[place] = value_v[at], limit[at]
        self.duration_s[place], self.cause[place] = duration_s, cause[at]

    def rows(self, index: IntArray) -> Worst:
        """Return the worst of some of the towers.

        Parameters
        ----------
        index : ndarray of int
            Rows to keep.

        Returns
        -------
        Worst
        """
        return Worst(self.value_v[index], self.limit_v[index], self.duration_s[index], self.cause[index])

    def without(self, unknown: np.ndarray) -> Worst:
        """Make values unknown where a fault is unknown and no known one is beyond its limit.

        Parameters
        ----------
        unknown : ndarray of bool
            Where a fault that may be worse is unknown.

        Returns
        -------
        Worst
            NaN there; a known excess stays.

        Examples
        --------
        200 V of 220 V may be surpassed by the unknown fault; 250 V are too much whatever it is:

        >>> limit, row = np.array([220.0, 220.0]), np.array([0, 1])
        >>> Worst(np.array([200.0, 250.0]), limit, limit * 0 + 0.5, row).without(np.array([True, True])).value_v
        array([ nan, 250.])
        """
        hidden = unknown & ~(self.value_v > self.limit_v)
        value, limit, duration = (
            np.where(hidden, np.nan, part) for part in (self.value_v, self.limit_v, self.duration_s)
        )
        return Worst(value, limit, duration, np.where(hidden, -1, self.cause))


def _rank(value_v: FloatArray, limit_v: FloatArray) -> FloatArray:
    with np.errstate(invalid="ignore"):
        return np.where(np.isnan(limit_v), 1.0, value_v / limit_v)
