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
        """No fault seen yet."""
        empty = np.full(shape, np.nan)
        return cls(np.zeros(shape), empty, empty.copy(), np.full(shape, -1))

    def take(
        self, rows: IntArray, value_v: FloatArray, limit_v: FloatArray, duration_s: float, cause: IntArray
    ) -> None:
        """Count faults in, one for each of some rows. A limit that is unknown counts as if just reached."""
        limit = np.broadcast_to(limit_v.reshape(-1, *[1] * (value_v.ndim - 1)), value_v.shape)
        here = self.value_v[rows], self.limit_v[rows], self.cause[rows]
        worse = _rank(value_v, limit) > np.where(here[2] < 0, -1.0, _rank(*here[:2]))
        at = np.nonzero(worse)
        place = (rows[at[0]], *at[1:])
        self.value_v[place], self.limit_v[place] = value_v[at], limit[at]
        self.duration_s[place], self.cause[place] = duration_s, cause[at]

    def rows(self, index: IntArray) -> Worst:
        """Return those of some of the towers."""
        return Worst(self.value_v[index], self.limit_v[index], self.duration_s[index], self.cause[index])

    def without(self, unknown: np.ndarray) -> Worst:
        """Return it with those unknown of which a fault is unknown and none known to be beyond its limit."""
        hidden = unknown & ~(self.value_v > self.limit_v)
        value, limit, duration = (
            np.where(hidden, np.nan, part) for part in (self.value_v, self.limit_v, self.duration_s)
        )
        return Worst(value, limit, duration, np.where(hidden, -1, self.cause))


def _rank(value_v: FloatArray, limit_v: FloatArray) -> FloatArray:
    with np.errstate(invalid="ignore"):
        return np.where(np.isnan(limit_v), 1.0, value_v / limit_v)
