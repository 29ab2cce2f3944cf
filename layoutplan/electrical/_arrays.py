"""Array types and the range checks shared by the formulas."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import BoolArray, FloatArray
from layoutplan.errors import InputRangeError


def positive(name: str, value: ArrayLike, *, infinite: bool = False) -> FloatArray:
    """Values as floats, all > 0; NaN is refused, infinity unless it has a meaning.

    Parameters
    ----------
    name : str
        Of the parameter, for the message.
    value : array_like
        In any unit.
    infinite : bool
        Whether infinity is a value.

    Returns
    -------
    numpy.ndarray
        Shape of ``value``.

    Raises
    ------
    InputRangeError
        If a value is out of range.

    References
    ----------
    Range check, no source.

    Examples
    --------
    >>> positive("reel_m", [150, 200.0])
    array([150., 200.])
    >>> positive("reel_m", 0)
    Traceback (most recent call last):
    layoutplan.errors.InputRangeError: reel_m is 0; it must be a number greater than 0.
    """
    array = np.asarray(value, dtype=float)
    refuse(name, array, ~((array > 0) & (np.isfinite(array) | infinite)), "it must be a number greater than 0")
    return array


def not_negative(name: str, value: ArrayLike) -> FloatArray:
    """Values as floats, all finite and >= 0.

    Parameters
    ----------
    name : str
        Of the parameter, for the message.
    value : array_like
        In any unit.

    Returns
    -------
    numpy.ndarray
        Shape of ``value``.

    Raises
    ------
    InputRangeError
        If a value is out of range.

    References
    ----------
    Range check, no source.

    Examples
    --------
    >>> not_negative("reel_m", [0, 2])
    array([0., 2.])
    >>> not_negative("reel_m", -1)
    Traceback (most recent call last):
    layoutplan.errors.InputRangeError: reel_m is -1; it must be 0 or more.
    """
    array = np.asarray(value, dtype=float)
    refuse(name, array, ~((array >= 0) & np.isfinite(array)), "it must be 0 or more")
    return array


def finite(name: str, value: ArrayLike) -> FloatArray:
    """Values as floats, none NaN or infinite.

    Parameters
    ----------
    name : str
        Of the parameter, for the message.
    value : array_like
        In any unit.

    Returns
    -------
    numpy.ndarray
        Shape of ``value``.

    Raises
    ------
    InputRangeError
        If a value is not finite.

    References
    ----------
    Range check, no source.

    Examples
    --------
    >>> finite("reel_m", [1, -2])
    array([ 1., -2.])
    >>> finite("reel_m", np.inf)
    Traceback (most recent call last):
    layoutplan.errors.InputRangeError: reel_m is inf; it must be a finite number.
    """
    array = np.asarray(value, dtype=float)
    refuse(name, array, ~np.isfinite(array), "it must be a finite number")
    return array


def refuse(name: str, array: FloatArray, bad: BoolArray, rule: str) -> None:
    """Name the first value marked bad and its place in the array.

    Parameters
    ----------
    name : str
        Of the parameter.
    array : ndarray
        Its values.
    bad : ndarray of bool
        Those out of range; the shape to which ``array`` is broadcast.
    rule : str
        What the values must be.

    Raises
    ------
    InputRangeError
        If any value is bad.

    References
    ----------
    Range check, no source.

    Examples
    --------
    >>> refuse("length_m", np.array([1.0, -2.0]), np.array([False, True]), "it must be a number greater than 0")
    Traceback (most recent call last):
        ...
    layoutplan.errors.InputRangeError: length_m is -2 at index 1; it must be a number greater than 0.
    """
    if not bad.any():
        return
    where = np.argwhere(bad)[0]
    place = f" at index {', '.join(map(str, where))}" if where.size else ""
    raise InputRangeError(f"{name} is {np.broadcast_to(array, bad.shape)[tuple(where)]:g}{place}; {rule}.")
