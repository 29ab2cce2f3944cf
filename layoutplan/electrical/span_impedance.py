"""Voltage along leads and wires per ampere in every single span of a line: what `lead_emf` adds up, not yet added up.

With it one integration serves every state of the line: each load, a fault at each tower, each phase.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import ComplexArray, FloatArray
from layoutplan.constants import MU_0_H_PER_M
from layoutplan.electrical._arrays import finite
from layoutplan.electrical._quadrature import gauss_rule, graded_panels
from layoutplan.electrical.earth_return import complex_depth
from layoutplan.electrical.induced_field import distance_to_conductors, span_kernel
from layoutplan.errors import InputRangeError

_POINTS_AT_ONCE = 400
_LEAST_M = 1.0  # panels are no finer than for a conductor so far off: wires of two lines may touch at a shared tower
_WIRE_M = 0.05  # no two wires come nearer: lines given on the same towers may have theirs at one place


def span_transfer_impedance(
    lead_xy_m: ArrayLike,
    vertices_m: ArrayLike,
    *,
    soil_resistivity_ohm_m: float,
    frequency_hz: float,
    lead_height_m: float = 0.0,
    order: int = 4,
) -> ComplexArray:
    r"""Voltage driven in leads per ampere in each span of each conductor near them.

    Parameters
    ----------
    lead_xy_m : array_like, shape (t, m, 2, 2)
        Both ends of m straight leads at each of t places. [m]
    vertices_m : array_like, shape (t, w + 1, c, 3)
        Points of the c conductors near each place, as for `lead_emf`. [m]
    soil_resistivity_ohm_m, frequency_hz : float
        Uniform soil, > 0; frequency, > 0. [Ω·m], [Hz]
    lead_height_m : float
        Height of the leads; they may be wires of another line, as high as the conductors or higher. [m]
    order : int
        Gauss points per panel.

    Returns
    -------
    numpy.ndarray of complex, shape (t, m, w, c)
        Driven from the first end to the second by 1 A in the order of the vertices; 0 for spans of no length. [Ω]

    Raises
    ------
    InputRangeError
        If shapes do not belong together.

    Notes
    -----
    :math:`-\frac{j\omega\mu_0}{4\pi}\int \mathbf t\cdot\mathbf u\,G\,ds` with G of `span_kernel`: Neumann's integral
    with the image at the complex depth. Minus this is the mutual impedance of two spans with the earth's return.

    References
    ----------
    .. [1] A. Deri, G. Tevan, A. Semlyen, A. Castanheira, "The complex ground return plane, a simplified model for
       homogeneous and multi-layer earth return," IEEE Trans. Power App. Syst., vol. PAS-100, pp. 3686-3693, 1981.
    .. [2] F. W. Grover, Inductance Calculations, Van Nostrand, 1946: Neumann's integral.

    Examples
    --------
    100 m of lead 50 m beside two spans of 150 m at 15 m; their sum is what `lead_emf` gives for 1 A.

    >>> hung = np.array([[[[0.0, -150, 15]], [[0, 0, 15]], [[0, 150, 15]]]])
    >>> found = span_transfer_impedance([[[[50, -50], [50, 50]]]], hung, soil_resistivity_ohm_m=100, frequency_hz=50)
    >>> print((1e3 * found[0, 0, :, 0]).round(2), "mΩ")
    [-0.32-5.2j -0.32-5.2j] mΩ
    """
    lead, vertices = finite("lead_xy_m", lead_xy_m), finite("vertices_m", vertices_m)
    if lead.ndim != 4 or lead.shape[2:] != (2, 2) or vertices.ndim != 4 or len(lead) != len(vertices):
        raise InputRangeError(f"lead_xy_m {lead.shape} and vertices_m {vertices.shape} do not belong together.")
    places, leads = lead.shape[:2]
    start, step = lead[:, :, 0].reshape(-1, 2), (lead[:, :, 1] - lead[:, :, 0]).reshape(-1, 2)
    row = np.repeat(np.arange(places), leads)

    def distance(piece: np.ndarray, fraction: FloatArray) -> FloatArray:
        points = start[piece] + fraction[:, None] * step[piece]
        away = distance_to_conductors(vertices, row[piece], points, lead_height_m)
        return np.maximum(away, _LEAST_M)

    panels = graded_panels(np.hypot(*step.T), distance)
    nodes, weights = gauss_rule(order)
    fraction = panels.start[:, None] + panels.width[:, None] * nodes
    points = start[panels.piece, None] + fraction[..., None] * step[panels.piece, None]
    ways = (panels.width[:, None] * weights)[..., None] * step[panels.piece, None]
    image = np.complex128(2 * complex_depth(soil_resistivity_ohm_m, frequency_hz))
    unit = _directions(vertices)
    out = np.zeros((len(row), *unit.shape[1:3]), dtype=complex)
    for begin, end in _stretches(row[panels.piece], max(1, _POINTS_AT_ONCE // order)):
        r = row[panels.piece[begin]]
        flat, way = points[begin:end].reshape(-1, 2), ways[begin:end].reshape(-1, 2)
        kernel = span_kernel(flat, vertices[r], image, lead_height_m, least_m=_WIRE_M)
        kernel *= unit[r, ..., 0, None] * way[:, 0] + unit[r, ..., 1, None] * way[:, 1]
        piece = np.repeat(panels.piece[begin:end], order)
        first = np.flatnonzero(np.diff(piece, prepend=-1))
        out[piece[first]] += np.moveaxis(np.add.reduceat(kernel, first, axis=-1), -1, 0)
    out *= -1j * 2 * np.pi * frequency_hz * MU_0_H_PER_M / (4 * np.pi)
    return out.reshape(places, leads, *unit.shape[1:3])


def _directions(vertices_m: FloatArray) -> FloatArray:
    """Horizontal part of the unit vectors along all spans (t, w, c, 2), 0 for a span of no length."""
    step = np.diff(vertices_m, axis=1)
    length = np.linalg.norm(step, axis=-1, keepdims=True)
    return np.divide(step[..., :2], length, out=np.zeros_like(step[..., :2]), where=length > 0)


def _stretches(row: np.ndarray, most: int) -> list[tuple[int, int]]:
    """Runs of one row in ascending rows, none longer than ``most``."""
    edges = np.append(np.flatnonzero(np.diff(row, prepend=-1)), len(row)).tolist()
    return [(begin, min(begin + most, last)) for first, last in pairwise(edges) for begin in range(first, last, most)]
