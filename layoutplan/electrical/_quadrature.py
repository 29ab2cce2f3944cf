"""Gauss-Legendre panels along straight pieces, fine near the sources and coarse away from them."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.polynomial import legendre

from layoutplan.arrays import BoolArray, FloatArray, IntArray

# Near a logarithmic singularity at distance d a Gauss rule of n points on a panel of length 2 d errs by about
# (1 + √2)^(-2n) of the integral: 3e-5 for 6 points.
PANEL_PER_DISTANCE = 2.0
DEFAULT_ORDER = 6


class Panels(NamedTuple):
    """Parts of straight pieces: which piece, and from where to where along it as fractions of its length."""

    piece: IntArray
    start: FloatArray
    end: FloatArray

    @property
    def width(self) -> FloatArray:
        """Share of the piece's length that each panel covers.

        References
        ----------
        Bookkeeping, no source.
        """
        return self.end - self.start

    def take(self, which: IntArray | BoolArray) -> Panels:
        """Keep some of the panels, or put them in another order.

        Parameters
        ----------
        which : ndarray of int or bool
            Panels to keep.

        Returns
        -------
        Panels

        References
        ----------
        Bookkeeping, no source.
        """
        return Panels(self.piece[which], self.start[which], self.end[which])


@lru_cache(maxsize=32)
def gauss_rule(order: int) -> tuple[FloatArray, FloatArray]:
    """Nodes and weights of Gauss and Legendre on [0, 1].

    Parameters
    ----------
    order : int
        How many nodes, >= 1.

    Returns
    -------
    nodes, weights : ndarray, shape (order,)
        Exact for polynomials up to degree 2 order - 1. [-]

    References
    ----------
    .. [1] M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions, National Bureau of Standards, 1964, sec.
       25.4.

    Examples
    --------
    Two nodes integrate t³ from 0 to 1 exactly:

    >>> nodes, weights = gauss_rule(2)
    >>> print(round(float(nodes**3 @ weights), 12))
    0.25
    """
    nodes, weights = legendre.leggauss(order)
    return (nodes + 1) / 2, weights / 2


def graded_panels(length_m: FloatArray, distance: Callable[[IntArray, FloatArray], FloatArray]) -> Panels:
    """Halve every piece until no panel is longer than twice the distance from its middle to the nearest source.

    Parameters
    ----------
    length_m : ndarray, shape (pieces,)
        Lengths of the pieces. [m]
    distance : callable
        Takes numbers of pieces and fractions along them, gives the distances there (a lower bound will do), which must
        stay above zero. [m]

    Returns
    -------
    Panels
        Sorted by piece and by place along it.

    References
    ----------
    Own choice, no published source: the tests hold the integrals against finer panels.

    Examples
    --------
    100 m of lead that pass 10 m below a conductor after 30 m; panels are shorter there:

    >>> panels = graded_panels(np.array([100.0]), lambda piece, at: np.hypot(10.0, 100.0 * at - 30.0))
    >>> print(100 * panels.end, "m")
    [ 25.  50. 100.] m
    """
    pending = Panels(np.arange(len(length_m)), np.zeros(len(length_m)), np.ones(len(length_m)))
    done: list[Panels] = []
    while len(pending.piece):
        piece, start, end = pending
        middle = (start + end) / 2
        long = (end - start) * length_m[piece] > PANEL_PER_DISTANCE * distance(piece, middle)
        done.append(pending.take(~long))
        pending = Panels(
            np.tile(piece[long], 2),
            np.concatenate([start[long], middle[long]]),
            np.concatenate([middle[long], end[long]]),
        )
    panels = Panels(
        np.concatenate([part.piece for part in done]),
        np.concatenate([part.start for part in done]),
        np.concatenate([part.end for part in done]),
    )
    return panels.take(np.lexsort((panels.start, panels.piece)))


@lru_cache(maxsize=32)
def _legendre_coefficients(order: int) -> FloatArray:
    """Matrix from values at the Gauss nodes to Legendre coefficients of the interpolating polynomial."""
    nodes, weights = legendre.leggauss(order)
    degree = np.arange(order)
    return (degree + 0.5)[:, None] * (legendre.legvander(nodes, order - 1) * weights[:, None]).T


def partial_weights(fraction: FloatArray, order: int) -> FloatArray:
    """Weights that integrate values at the Gauss nodes of [0, 1] from 0 to each fraction.

    Parameters
    ----------
    fraction : ndarray, shape (...)
        Upper ends, 0 to 1. [-]
    order : int
        How many nodes.

    Returns
    -------
    ndarray, shape (..., order)
        [-]

    References
    ----------
    Derived here, no source: the interpolating polynomial in Legendre polynomials, integrated term by term.

    Examples
    --------
    Half of the integral of t² from 0 to 1, and all of it:

    >>> print((partial_weights(np.array([0.5, 1.0]), 3) @ gauss_rule(3)[0] ** 2).round(6))
    [0.041667 0.333333]
    """
    vander = legendre.legvander(2 * fraction - 1, order)
    integral = np.empty((*fraction.shape, order))
    integral[..., 0] = vander[..., 1] + 1
    degree = np.arange(1, order)
    integral[..., 1:] = (vander[..., 2:] - vander[..., :-2]) / (2 * degree + 1)
    weights: FloatArray = np.einsum("...i,ij->...j", integral, _legendre_coefficients(order) / 2)
    return weights
