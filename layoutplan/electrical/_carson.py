"""The integral of Carson (1926), for arrays, to about 1e-8."""

from __future__ import annotations

import numpy as np

from layoutplan.arrays import ComplexArray, FloatArray


def carson_integral(height_sum: FloatArray, distance: FloatArray, g: ComplexArray) -> ComplexArray:
    """J = ∫ exp(-(h1+h2) t) cos(d t) / (t + √(t²+g²)) dt, as the mean of the two exponentials of the cosine."""
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
