"""Array types and the range checks shared by the formulas."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import BoolArray, FloatArray
from layoutplan.errors import InputRangeError


def positive(name: str, value: ArrayLike, *, infinite: bool = False) -> FloatArray:
    """Values as floats, all > 0; NaN is refused, infinity unless it has a meaning."""
    array = np.asarray(value, dtype=float)
    refuse(name, array, ~((array > 0) & (np.isfinite(array) | infinite)), "it must be a number greater than 0")
    return array


def not_negative(name: str, value: ArrayLike) -> FloatArray:
    """Values as floats, all finite and >= 0."""
    array = np.asarray(value, dtype=float)
    refuse(name, array, ~((array >= 0) & np.isfinite(array)), "it must be 0 or more")
    return array


def finite(name: str, value: ArrayLike) -> FloatArray:
    """Values as floats, none NaN or infinite."""
    array = np.asarray(value, dtype=float)
    refuse(name, array, ~np.isfinite(array), "it must be a finite number")
    return array


def refuse(name: str, array: FloatArray, bad: BoolArray, rule: str) -> None:
    """Raise ``InputRangeError`` naming the first value marked bad and its place in the array."""
    if not bad.any():
        return
    where = np.argwhere(bad)[0]
    place = f" at index {', '.join(map(str, where))}" if where.size else ""
    raise InputRangeError(f"{name} is {np.broadcast_to(array, bad.shape)[tuple(where)]:g}{place}; {rule}.")
