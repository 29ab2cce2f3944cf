"""The physics once more, written apart from the package: slow, plain and dense.

Carson's integral by adaptive quadrature; chains of towers by a full nodal matrix, their footings by a full matrix of
resistances; voltages along leads by summing the complex images of short pieces of conductor (Deri et al. 1981), without
closed forms and without windows.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from scipy.integrate import quad

Surface = Callable[[np.ndarray], np.ndarray]
MU_0 = 4e-7 * np.pi
EPS_0 = 8.8541878128e-12
A = np.exp(2j * np.pi / 3)


def depth(rho: float, hz: float) -> complex:
    """Complex depth sqrt(rho / (j w mu0)). [m]."""
    return complex(np.sqrt(rho / (2j * np.pi * hz * MU_0)))


def carson(height: float, other: float, aside: float, rho: float, hz: float) -> complex:
    """Carson 1926 by quadrature in the scaled variable u = t |p|. [ohm/m]."""
    p = depth(rho, hz)
    size, phase = abs(p), (1 / p) ** 2 * abs(p) ** 2

    def part(u: float) -> complex:
        return np.exp(-(height + other) / size * u) * np.cos(aside / size * u) / (u + np.sqrt(u * u + phase))

    real, imag = (quad(lambda u, f=f: f(part(u)), 0, np.inf, limit=400)[0] for f in (np.real, np.imag))
    ratio = np.hypot(height + other, aside) / np.hypot(height - other, aside)
    return 1j * hz * MU_0 * (np.log(ratio) + 2 * complex(real, imag))


def series_matrix(x: Any, h: Any, gmr: Any, ohm_per_m: Any, rho: float, hz: float) -> np.ndarray:
    """Series impedances of parallel conductors with earth return, (c, c). [ohm/m]."""
    n = len(x)
    z = np.array([[carson(h[i], h[j], gmr[i] if i == j else x[i] - x[j], rho, hz) for j in range(n)] for i in range(n)])
    return z + np.diag(ohm_per_m)


def point_source(rho: float) -> Surface:
    """Potential of the surface of uniform soil per ampere into a point of it, by distance. [V/A]."""
    return lambda distance_m: rho / (2 * np.pi * distance_m)


def raised(places: Any, others: Any, surface: Surface) -> np.ndarray:
    """Potential of places (p, 2) per ampere into points (q, 2) of the surface, (p, q); no nearer than 1 m. [V/A]."""
    apart = np.hypot(*np.moveaxis(np.asarray(places)[:, None] - np.asarray(others), -1, 0))
    return surface(np.maximum(apart, 1.0))


def together(places: Any, own_ohm: Any, surface: Surface) -> np.ndarray:
    """Resistances (f, f) of electrodes: points to each other, never quite the lower of the two. [ohm]."""
    own = np.asarray(own_ohm, dtype=float)
    matrix = np.minimum(raised(places, places, surface), 0.98 * np.minimum.outer(own, own))
    np.fill_diagonal(matrix, own)
    return matrix


def chain(
    earth: np.ndarray, span: np.ndarray, drive: np.ndarray, injected: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Potentials of all nodes and currents in all spans by one dense matrix.

    ``earth`` (n, n) are the admittances of all towers together to remote earth, ``span`` (n - 1, e, e) the impedances
    of e earth wires bonded at every tower, ``drive`` (n - 1, e) the voltages in them in line order, ``injected`` (n,)
    the currents put into the towers.
    """
    n = len(earth)
    y = earth.astype(complex)
    source = injected.astype(complex)
    if not span.shape[1]:
        return np.linalg.solve(y, source), np.zeros((n - 1, 0), dtype=complex)
    admittance = np.linalg.inv(span)
    for k in range(n - 1):
        total = admittance[k].sum()
        y[np.ix_([k, k + 1], [k, k + 1])] += total * np.array([[1, -1], [-1, 1]])
        pushed = (admittance[k] @ drive[k]).sum()
        source[k] -= pushed
        source[k + 1] += pushed
    v = np.linalg.solve(y, source)
    wires = np.stack([admittance[k] @ (v[k] - v[k + 1] + drive[k]) for k in range(n - 1)])
    return v, wires


def driven_ohm(
    lead: np.ndarray, start: np.ndarray, end: np.ndarray, rho: float, hz: float, height_m: float = 0.0
) -> np.ndarray:
    """Voltage along a straight lead (2, 2) per ampere in each of the spans (n, 3) to (n, 3), (n,). [ohm]."""
    node, weight = np.polynomial.legendre.leggauss(8)
    pieces = 12
    t = ((np.arange(pieces)[:, None] + (node + 1) / 2) / pieces).ravel()
    tw = np.tile(weight / 2 / pieces, pieces)
    s = ((np.arange(5)[:, None] + (node + 1) / 2) / 5).ravel()
    sw = np.tile(weight / 2 / 5, 5)
    step = lead[1] - lead[0]
    points = lead[0] + s[:, None] * step
    found = []
    p = depth(rho, hz)
    for a, b in zip(start, end, strict=True):
        places = a + t[:, None] * (b - a)
        plan2 = ((points[:, None] - places[:, :2]) ** 2).sum(axis=-1)
        z = places[:, 2]
        kernel = 1 / np.sqrt(plan2 + (z - height_m) ** 2) - 1 / np.sqrt(plan2 + (z + height_m + 2 * p) ** 2)
        found.append((sw @ kernel @ tw) * np.dot(b[:2] - a[:2], step))
    return -1j * 2 * np.pi * hz * MU_0 / (4 * np.pi) * np.array(found)


def endless_emf(
    x: np.ndarray, h: np.ndarray, current: np.ndarray, angle_deg: float, length_m: float, rho: float, hz: float
) -> np.ndarray:
    """Voltage in a lead from the axis of an endless straight line, at an angle to the right of its direction.

    -sum I cos(angle) times the integral of Deri's mutual impedance along the lead, in closed form.
    """
    turn = np.radians(angle_deg)
    p = depth(rho, hz)

    def log_integral(u: np.ndarray, c: np.ndarray) -> np.ndarray:
        return u * np.log(u**2 + c**2) - 2 * u + 2 * c * np.arctan(u / c)

    far, near = length_m * np.sin(turn) - x, -x
    over = [log_integral(u, h + 2 * p) - log_integral(u, h + 0j) for u in (far, near)]
    integral = (over[0] - over[1]) / 2 / np.sin(turn)
    z = 1j * 2 * np.pi * hz * MU_0 / (2 * np.pi) * integral
    return -(z @ current) * np.cos(turn)


def sequence(currents: Any) -> np.ndarray:
    """Positive, negative and zero sequence of phases A, B, C."""
    a, b, c = currents
    return np.array([a + A * b + A**2 * c, a + A**2 * b + A * c, a + b + c]) / 3
