"""Mutual impedance of wires over homogeneous ground: Carson's integral, and Neumann's over finite straight spans.

Between elements of horizontal wires the kernel is j w mu0 / 4 pi [1/R - int_0^inf (u - k)/(u + k) exp(-k H) J0(k r) dk]
with u = sqrt(k^2 + g^2) (Sunde 1949). Along an infinite wire it gives Carson's formula, on the surface Foster's.
With t = k/g the reflected part is (sqrt(t^2 + 1) - t)^2. As a sum of exponentials sum a exp(-b t) it is a sum of images
at the depths H + b/g. "deri" is the one image a = 1, b = 2 (Deri et al. 1981); "exact" has seven, whose strengths are
fitted so that the first terms for great distances hold exactly and the whole within 1e-3.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise

import numpy as np
from scipy.integrate import quad

MU0 = 4e-7 * np.pi
DEPTHS = np.array([0.146, 0.47, 1.066, 2.073, 3.678, 6.1, 6.5])
POINTS = 48


def reflection(t: np.ndarray) -> np.ndarray:
    """Reflected part of the kernel as a function of the normalised wave number."""
    return (np.sqrt(t * t + 1) - t) ** 2


@lru_cache
def images(kernel: str) -> tuple[np.ndarray, np.ndarray]:
    """Strengths and depths (multiples of 1/g) of the images."""
    if kernel == "deri":
        return np.ones(1), np.full(1, 2.0)
    t = np.geomspace(1e-4, 1e4, 400) * np.exp(-0.25j * np.pi)
    rows, wanted = np.exp(-np.outer(t, DEPTHS)), reflection(t)
    rows, wanted = np.vstack([rows.real, rows.imag]), np.concatenate([wanted.real, wanted.imag])
    # series 1 - 2t + 2t^2 - t^3: sum a b^n = 1, 2, 4, 6
    exact, values = np.vstack([DEPTHS**n for n in range(4)]), np.array([1.0, 2.0, 4.0, 6.0])
    base = np.linalg.lstsq(exact, values, rcond=None)[0]
    free = np.linalg.svd(exact)[2][4:].T
    strengths = base + free @ np.linalg.lstsq(rows @ free, wanted - rows @ base, rcond=None)[0]
    return strengths, DEPTHS


def propagation(soil_ohm_m: np.ndarray | float, hz: float) -> np.ndarray:
    """g in 1/m."""
    return np.sqrt(2j * np.pi * hz * MU0 / np.asarray(soil_ohm_m))


@lru_cache(maxsize=100_000)
def carson(height_a_m: float, height_b_m: float, apart_m: float, soil_ohm_m: float, hz: float, gmr_m: float = 0.0):
    """Carson's series impedance of infinite wires in ohm/m, by quadrature; with a GMR the wire's own, loss-free."""
    g2, total = 2j * np.pi * hz * MU0 / soil_ohm_m, height_a_m + height_b_m
    direct = gmr_m if gmr_m else np.hypot(height_a_m - height_b_m, apart_m)

    def integrand(k: float) -> complex:
        return np.exp(-total * k) / (k + np.sqrt(k * k + g2))

    scale = abs(g2) ** 0.5
    edges = np.concatenate([[0.0], scale * np.geomspace(0.1, 1e4, 11)]) if total else None
    if edges is None:
        parts = [
            quad(lambda k, f=f: getattr(integrand(k), f), 0, np.inf, weight="cos", wvar=apart_m, limit=500)[0]
            for f in ("real", "imag")
        ]
        integral = complex(*parts)
    else:
        integral = 0j
        for low, high in pairwise(edges):
            if low * total > 50:
                break
            integral += quad(
                lambda k: integrand(k) * np.cos(k * apart_m), low, high, complex_func=True, limit=400, epsrel=1e-10
            )[0]
    return 1j * 2 * np.pi * hz * MU0 / (2 * np.pi) * (np.log(np.hypot(total, apart_m) / direct) + 2 * integral)


@lru_cache
def double_exponential() -> tuple[np.ndarray, np.ndarray]:
    """Nodes and weights on 0..1 of the tanh-sinh rule, good for kernels that are singular at the ends."""
    u = np.linspace(-2.9, 2.9, POINTS)
    inner = np.pi / 2 * np.sinh(u)
    nodes = 0.5 * (1 + np.tanh(inner))
    weights = np.pi / 4 * np.cosh(u) / np.cosh(inner) ** 2 * (u[1] - u[0])
    return nodes, weights / weights.sum()


@lru_cache
def few_points() -> tuple[np.ndarray, np.ndarray]:
    """Gauss's rule on 0..1, for spans that lie well apart."""
    nodes, weights = np.polynomial.legendre.leggauss(5)
    return (nodes + 1) / 2, weights / 2


def _potential(points: np.ndarray, vertical: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Integral of 1/R along straight pieces; ``vertical`` (may be complex) is the vertical distance to them."""
    length = np.hypot(*(end - start).T)
    near = np.sqrt(((points - start) ** 2).sum(-1) + vertical**2)
    far = np.sqrt(((points - end) ** 2).sum(-1) + vertical**2)
    return np.log((near + far + length) / (near + far - length))


def field_integral(points, height_m, start, end, heights_m, soil_ohm_m, hz, kernel="exact", least_m=1e-4):
    """Mutual impedance per metre between points of one height and whole spans, before the cosine of their directions.

    Shapes: points (q, 2); start, end (m, 2); heights, soil, least distance (m,). Returns (q, m), in ohm/m.
    """
    points, p = points[:, None, :], 1 / propagation(soil_ohm_m, hz)
    total = _potential(points, np.maximum(np.abs(height_m - heights_m), least_m), start, end) + 0j
    for strength, depth in zip(*images(kernel), strict=True):
        total -= strength * _potential(points, height_m + heights_m + depth * p, start, end)
    return 0.5e-7j * 4 * np.pi * hz * total


def neumann(piece, height_m, start, end, heights_m, soil_ohm_m, hz, kernel="exact", least_m=1e-4) -> np.ndarray:
    """Mutual impedance in ohms between one straight piece (its two ends) and m others, cosine included."""
    along, spans = piece[1] - piece[0], end - start
    length, lengths = np.hypot(*along), np.hypot(*spans.T)
    away = np.hypot(*((start + end) / 2 - piece.mean(axis=0)).T)
    far = away > 1.5 * (length + lengths)
    soil_ohm_m, least_m = (np.broadcast_to(value, far.shape) for value in (soil_ohm_m, least_m))
    found = np.empty(len(start), complex)
    for group, (nodes, weights) in ((far, few_points()), (~far, double_exponential())):
        which, points = (start, end, heights_m, soil_ohm_m), piece[0] + nodes[:, None] * along
        which = [values[group] for values in which]
        found[group] = weights @ field_integral(points, height_m, *which, hz, kernel, least_m[group])
    nodes, weights = double_exponential()
    for j, crossing in _crossings(piece, start, end):
        each, found[j] = [values[[j]] for values in (start, end, heights_m, soil_ohm_m)], 0
        for low, high in pairwise((0.0, crossing, 1.0)):
            points = piece[0] + (low + (high - low) * nodes)[:, None] * along
            found[j] += (high - low) * (weights @ field_integral(points, height_m, *each, hz, kernel, least_m[[j]]))[0]
    return found * (spans @ along) / lengths


def _crossings(piece: np.ndarray, start: np.ndarray, end: np.ndarray) -> list[tuple[int, float]]:
    """Which spans pass over or under a piece away from its ends, and at what part of its length."""
    along, spans, to = piece[1] - piece[0], end - start, start - piece[0]
    turn = along[0] * spans[:, 1] - along[1] * spans[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        here = (to[:, 0] * spans[:, 1] - to[:, 1] * spans[:, 0]) / turn
        there = (to[:, 0] * along[1] - to[:, 1] * along[0]) / turn
    slanted = np.abs(turn) > 1e-3 * np.hypot(*along) * np.hypot(*spans.T)
    over = slanted & (here > 1e-3) & (here < 1 - 1e-3) & (there > -0.1) & (there < 1.1)
    return [(int(j), float(here[j])) for j in np.flatnonzero(over)]


def locally_infinite(piece, height_m, start, end, heights_m, soil_ohm_m, hz) -> np.ndarray:
    """The same with each point of the piece seeing the others, where they lie abreast of it, as infinite wires.

    This is what Carson's formula times the length that two spans run side by side comes to; it is no more than an
    approximation for finite spans that are not parallel, and not quite symmetric for those.
    """
    length, lengths = np.hypot(*(piece[1] - piece[0])), np.hypot(*(end - start).T)
    unit, units = (piece[1] - piece[0]) / length, (end - start) / lengths[:, None]
    cosine = units @ unit
    first, last = np.sort([(start - piece[0]) @ unit, (end - piece[0]) @ unit], axis=0).clip(0, length)
    nodes, weights = np.polynomial.legendre.leggauss(8)
    at = first + (nodes[:, None] + 1) / 2 * (last - first)
    away = piece[0] + at[..., None] * unit - start
    apart = away[..., 0] * units[:, 1] - away[..., 1] * units[:, 0]
    p = 1 / propagation(soil_ohm_m, hz)
    total = -np.log(np.maximum(apart**2 + (height_m - heights_m) ** 2, 1e-8)) / 2 + 0j
    for strength, depth in zip(*images("exact"), strict=True):
        total += strength * np.log(apart**2 + (height_m + heights_m + depth * p) ** 2) / 2
    return 2e-7j * np.pi * hz * 2 * (last - first) * (weights / 2 @ total) * np.sign(cosine)
