"""The integral of Carson (1926), for arrays, to about 1e-8."""

from __future__ import annotations

import numpy as np

from layoutplan.arrays import ComplexArray, FloatArray


def carson_integral(height_sum: FloatArray, distance: FloatArray, g: ComplexArray) -> ComplexArray:
    """Carson's integral, as the mean of the two exponentials of the cosine.

    Parameters
    ----------
    height_sum : ndarray
        Sum of the two heights above ground, > 0. [m]
    distance : ndarray
        Level distance of the two wires. [m]
    g : ndarray of complex
        Square root of jωμ0/ρ, the reciprocal of the complex depth. [1/m]

    Returns
    -------
    ndarray of complex
        J = ∫ exp(-(h1+h2) t) cos(d t) / (t + √(t²+g²)) dt from 0 to infinity. [-]

    References
    ----------
    .. [1] J. R. Carson, "Wave propagation in overhead wires with ground return," Bell Syst. Tech. J., vol. 5, pp.
       539-554, 1926.

    Examples
    --------
    Carson's Q and -P: nothing over a perfectly conducting earth, and for a sum of heights of 20 m over 100 Ω·m at 50 Hz

    >>> g = np.array([1e9, np.sqrt(2j * np.pi * 50 * 4e-7 * np.pi / 100)])
    >>> carson_integral(np.array(20.0), np.array(0.0), g).round(2)
    array([0.  +0.j  , 1.93-0.38j])
    """
    height_sum, distance, g = np.broadcast_arrays(height_sum, distance, g)
    return (
        _exponential_part(g * (height_sum + 1j * distance)) + _exponential_part(g * (height_sum - 1j * distance))
    ) / 2


def _exponential_part(z: ComplexArray, nodes: int = 200) -> ComplexArray:
    """∫ exp(-z u) / (u + √(u²+1)) du from 0 to infinity, for -45° <= arg z <= 135°, by the trapezoidal rule.

    The path u = s/w, with w of z's modulus and half its argument, keeps clear of both branch points ±j and of the
    direction in which the exponential grows. s = exp(τ - exp(-τ)) makes the integrand vanish doubly exponentially
    to the left and faster than exponentially to the right, so the plain trapezoidal rule converges exponentially.
    """
    size = np.abs(z)
    w = np.sqrt(z * size)
    lowest, highest = -3.6, np.log(100 / np.minimum(size, 1))
    step = (highest - lowest) / (nodes - 1)
    tau = lowest + step[..., None] * np.arange(nodes)
    s = np.minimum(size, 1)[..., None] * np.exp(tau - np.exp(-tau))
    integrand = np.exp(-s * (z / w)[..., None]) / (s + np.sqrt(s**2 + (w**2)[..., None]))
    return np.asarray(np.sum(integrand * s * (1 + np.exp(-tau)), axis=-1) * step, dtype=complex)
