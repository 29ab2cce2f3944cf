"""Electric field along the ground induced by currents in spans of finite length."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import ComplexArray, FloatArray, IntArray
from layoutplan.constants import MU_0_H_PER_M
from layoutplan.electrical._arrays import finite, refuse
from layoutplan.electrical.earth_return import complex_depth
from layoutplan.errors import InputRangeError

_CHUNK = 40_000
"""Pairs of field point and conductor point worked on at once: the temporaries stay in the processor's cache."""

_UNTHREADED = 40_000
"""Multiplications in one matrix product that OpenBLAS still does in the calling thread (it spreads from 65,536)."""


@dataclass(frozen=True, slots=True)
class Sources:
    """Conductors seen from one place per row: their points, the phasors in their spans, the soil.

    ``vertices_m`` (r, w + 1, c, 3), ``flow_am`` (r, w·c, 2·k) = unit direction times current, ``image_m`` (r,) = 2 p.
    """

    vertices_m: FloatArray
    flow_am: ComplexArray
    image_m: ComplexArray
    omega: float
    point_height_m: float

    @classmethod
    def build(
        cls,
        vertices_m: ArrayLike,
        current_a: ArrayLike,
        soil_resistivity_ohm_m: ArrayLike,
        frequency_hz: float,
        point_height_m: float,
    ) -> Sources:
        """Check shapes and heights, and fold current and direction into one array.

        Parameters
        ----------
        vertices_m : array_like, shape (r, w + 1, c, 3)
            Points of c conductors seen from r places: x, y, height above ground. [m]
        current_a : array_like, shape (r, w, c, ...)
            Phasors in the spans. [A]
        soil_resistivity_ohm_m : array_like, shape () or (r,)
            Resistivity of uniform soil, > 0. [Ω·m]
        frequency_hz : float
            Frequency, > 0. [Hz]
        point_height_m : float
            Height of the points of the field, >= 0, below every conductor. [m]

        Returns
        -------
        Sources

        Raises
        ------
        InputRangeError
            If shapes do not belong together or a conductor is not above the points.

        References
        ----------
        .. [1] A. Deri, G. Tevan, A. Semlyen, A. Castanheira, "The complex ground return plane, a simplified model for
           homogeneous and multi-layer earth return," IEEE Trans. Power App. Syst., vol. PAS-100, pp. 3686-3693, 1981.
        """
        vertices = finite("vertices_m", vertices_m)
        current = np.asarray(current_a, dtype=complex)
        if vertices.ndim != 4 or vertices.shape[-1] != 3:
            raise InputRangeError(f"vertices_m has shape {vertices.shape}; places, vertices, conductors, 3 are needed.")
        spans = (vertices.shape[0], vertices.shape[1] - 1, vertices.shape[2])
        if current.shape[:3] != spans:
            raise InputRangeError(f"current_a has shape {current.shape}, but the vertices make {spans} spans.")
        low = vertices[..., 2] <= point_height_m
        refuse("Conductor height", vertices[..., 2], low, f"it must be above the lead at {point_height_m:g} m")
        step = np.diff(vertices, axis=1)
        length = np.linalg.norm(step, axis=-1, keepdims=True)
        unit = np.divide(step[..., :2], length, out=np.zeros_like(step[..., :2]), where=length > 0)
        flow = unit[..., :, None] * current.reshape(*spans, 1, -1)
        image = np.broadcast_to(2 * complex_depth(soil_resistivity_ohm_m, frequency_hz), spans[:1])
        flow = flow.reshape(spans[0], spans[1] * spans[2], -1)
        return cls(vertices, flow, image, 2 * np.pi * frequency_hz, point_height_m)

    @property
    def states(self) -> int:
        """How many sets of currents.

        References
        ----------
        Bookkeeping, no source.
        """
        return int(self.flow_am.shape[2]) // 2

    def field(self, row: IntArray, points_m: FloatArray) -> ComplexArray:
        """Horizontal field at points.

        Parameters
        ----------
        row : ndarray of int, shape (q,)
            Place from which each set of points is seen, ascending.
        points_m : ndarray, shape (q, n, 2)
            x and y. [m]

        Returns
        -------
        ndarray of complex, shape (q, n, 2, k)
            For each of k sets of currents. [V/m]

        References
        ----------
        .. [1] A. Deri, G. Tevan, A. Semlyen, A. Castanheira, "The complex ground return plane, a simplified model for
           homogeneous and multi-layer earth return," IEEE Trans. Power App. Syst., vol. PAS-100, pp. 3686-3693, 1981.
        """
        points = points_m.reshape(-1, 2)
        field = np.empty((len(points), self.flow_am.shape[2]), dtype=complex)
        rows, first = np.unique(row, return_index=True)
        edges = np.append(first, len(row)) * points_m.shape[1]
        for r, begin, end in zip(rows, edges[:-1], edges[1:], strict=True):
            vertices, flow = self._without_padding(r)
            size = max(1, _CHUNK // (vertices.shape[0] * vertices.shape[1]))
            for start in range(begin, end, size):
                part = slice(start, min(start + size, end))
                kernel = span_kernel(points[part], vertices, self.image_m[r], self.point_height_m)
                _project(kernel.reshape(len(flow), -1), flow, out=field[part])
        field *= -1j * self.omega * MU_0_H_PER_M / (4 * np.pi)
        return field.reshape(*points_m.shape, -1)

    def _without_padding(self, row: np.intp) -> tuple[FloatArray, ComplexArray]:
        """Vertices and flow of one row up to its last span that has a length."""
        vertices = self.vertices_m[row]
        moving = np.flatnonzero(np.any(vertices[1:] != vertices[:-1], axis=(1, 2)))
        spans = moving[-1] + 1 if len(moving) else 1
        return vertices[: spans + 1], self.flow_am[row, : spans * vertices.shape[1]]

    def distance(self, row: IntArray, points_m: FloatArray) -> FloatArray:
        """Lower bound of the distance from points to the nearest conductor of their row.

        Parameters
        ----------
        row : ndarray of int, shape (q,)
            Place from which each point is seen.
        points_m : ndarray, shape (q, 2)
            x and y. [m]

        Returns
        -------
        ndarray, shape (q,)
            [m]

        References
        ----------
        Plane geometry, no source.
        """
        return distance_to_conductors(self.vertices_m, row, points_m, self.point_height_m)


def distance_to_conductors(
    vertices_m: FloatArray, row: IntArray, points_m: FloatArray, point_height_m: float
) -> FloatArray:
    """Lower bound of the distance from points to the nearest conductor of their row; 0 at the height of any.

    Parameters
    ----------
    vertices_m : numpy.ndarray, shape (r, w + 1, c, 3)
        Points of the c conductors of each row. [m]
    row : numpy.ndarray of int, shape (q,)
        Row that each point is seen from.
    points_m : numpy.ndarray, shape (q, 2)
        At ``point_height_m``. [m]
    point_height_m : float
        Height of the points above ground. [m]

    Returns
    -------
    numpy.ndarray, shape (q,)
        Distance. [m]

    References
    ----------
    Elementary geometry, no published source.

    Examples
    --------
    A wire along the y axis at 15 m, seen from the ground below it and from 36 m aside:

    >>> wire = np.array([[[[0.0, -150, 15]], [[0, 150, 15]]]])
    >>> print(distance_to_conductors(wire, np.array([0, 0]), np.array([[0.0, 0], [36, 0]]), 0.0), "m")
    [15. 39.] m
    """
    axis = vertices_m[..., :2].mean(axis=2)
    half_width = np.linalg.norm(vertices_m[..., :2] - axis[:, :, None], axis=-1).max(axis=(1, 2))
    height = vertices_m[..., 2]
    clearance = np.maximum(height.min(axis=(1, 2)) - point_height_m, point_height_m - height.max(axis=(1, 2))).clip(0.0)
    nearest = np.empty(len(row))
    sets = max(1, 4 * _CHUNK // axis.shape[1])
    for begin in range(0, len(row), sets):
        part = slice(begin, begin + sets)
        nearest[part] = _distance_to_polyline(points_m[part], axis[row[part]])
    return np.asarray(np.hypot(np.maximum(nearest - half_width[row], 0), clearance[row]), dtype=float)


def span_kernel(
    points_m: FloatArray,
    vertices_m: FloatArray,
    image_m: np.complex128,
    point_height_m: float,
    least_m: float = 0.0,
) -> ComplexArray:
    r"""Integral of 1/r - 1/r' over every span, in closed form.

    Parameters
    ----------
    points_m : numpy.ndarray, shape (p, 2)
        Field points. [m]
    vertices_m : numpy.ndarray, shape (w + 1, c, 3)
        Points of the c conductors. [m]
    image_m : complex
        Twice the complex depth. [m]
    point_height_m : float
        Height of the field points. [m]
    least_m : float
        Added at right angles to every distance, so that points on a conductor count as if on its surface. [m]

    Returns
    -------
    numpy.ndarray of complex, shape (w, c, p)
        :math:`G = \ln\frac{r_a+r_b+L}{r_a+r_b-L} - \ln\frac{r'_a+r'_b+L}{r'_a+r'_b-L}`, 0 for a span of no length.

    Notes
    -----
    r' has the complex vertical offset z + z_P + 2 p. Each vertex serves the spans on both its sides. Root and
    logarithm are taken in real arithmetic, which is several times faster: the square of r' has a positive real
    part (p = δ(1-j)/2), so both stay on their principal branches.

    References
    ----------
    .. [1] A. Deri, G. Tevan, A. Semlyen, A. Castanheira, "The complex ground return plane, a simplified model for
       homogeneous and multi-layer earth return," IEEE Trans. Power App. Syst., vol. PAS-100, pp. 3686-3693, 1981.
       The image; the integral of 1/r along a straight wire is elementary.

    Examples
    --------
    A span of 300 m at 15 m, seen from the ground 40 m aside; 356 (1 - j) m is the complex depth:

    >>> wire = np.array([[[0.0, -150, 15]], [[0, 150, 15]]])
    >>> print(span_kernel(np.array([[40.0, 0]]), wire, np.complex128(2 * (356 - 356j)), 0.0).ravel().round(2))
    [3.73-0.21j]
    """
    x, y, z = np.moveaxis(vertices_m, -1, 0)[..., None]
    plan = (points_m[:, 0] - x) ** 2
    plan += (points_m[:, 1] - y) ** 2
    vertical = (z + point_height_m + image_m) ** 2
    r = np.sqrt(plan + (z - point_height_m) ** 2 + least_m**2)
    plan += vertical.real
    root = np.sqrt((np.sqrt(plan**2 + vertical.imag**2) + plan) * 0.5)
    slope = 0.5 * vertical.imag / root
    s, re, im = r[:-1] + r[1:], root[:-1] + root[1:], slope[:-1] + slope[1:]
    length = np.linalg.norm(np.diff(vertices_m, axis=0), axis=-1)[..., None]
    im2 = im**2
    kernel = np.empty(s.shape, dtype=complex)
    direct = (s + length) / (s - length)
    kernel.real = 0.5 * np.log(direct**2 * ((re - length) ** 2 + im2) / ((re + length) ** 2 + im2))
    kernel.imag = np.arctan2(2 * length * im, re**2 + im2 - length**2)
    return kernel


def _project(kernel: ComplexArray, flow: ComplexArray, out: ComplexArray) -> None:
    """Write kernel.T @ flow in blocks that a matrix library does not spread over threads.

    Spreading gains nothing at this size, and where other work keeps the processors busy it costs a thousandfold.
    """
    size = max(1, _UNTHREADED // flow.size)
    for start in range(0, len(out), size):
        block = slice(start, start + size)
        np.matmul(kernel[:, block].T, flow, out=out[block])


def _distance_to_polyline(points_m: FloatArray, line_m: FloatArray) -> FloatArray:
    start = line_m[:, :-1]
    step = np.diff(line_m, axis=1)
    square = np.sum(step**2, axis=-1)
    away = points_m[:, None] - start
    along = np.divide(np.sum(away * step, axis=-1), square, out=np.zeros_like(square), where=square > 0)
    foot = away - np.clip(along, 0, 1)[..., None] * step
    result: FloatArray = np.sqrt(np.sum(foot**2, axis=-1).min(axis=1))
    return result
