"""Voltage induced in leads of any shape near a line of finite spans with angles.

The field of the spans (`layoutplan.electrical.induced_field`) is integrated along each lead by Gauss-Legendre panels
no longer than twice their distance from the nearest conductor, so a lead that passes under the line is divided finely
there by itself. Leads on one bearing are prefixes of one integral, see `ray_emf`.

Every place where a current enters or leaves the earth adds a conductive part, the potential of its electrode, which
this integral leaves out: it comes from the chain of towers (`earth_wire_chain`, `tower_faults`) and the soil (`soil`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import ComplexArray, FloatArray, IntArray
from layoutplan.electrical._arrays import finite, positive
from layoutplan.electrical._quadrature import DEFAULT_ORDER, Panels, gauss_rule, graded_panels, partial_weights
from layoutplan.electrical.earth_return import skin_depth
from layoutplan.electrical.induced_field import Sources
from layoutplan.errors import InputRangeError

_RAYS_AT_ONCE = 2_000


def window_reach(soil_resistivity_ohm_m: ArrayLike, frequency_hz: ArrayLike) -> FloatArray:
    """Length of line each way beyond which earth-return currents change an induced voltage by less than 1 %.

    Parameters
    ----------
    soil_resistivity_ohm_m : array_like
        Resistivity of uniform soil, > 0. [Ω·m]
    frequency_hz : array_like
        Frequency, > 0. [Hz]

    Returns
    -------
    numpy.ndarray
        The larger of 2 km and ten skin depths; see `span_windows`. [m]

    Raises
    ------
    InputRangeError
        If a value is zero, negative or NaN.

    Notes
    -----
    What a line beyond s adds falls as (δ/s)²: for zero-sequence current and a lead within 200 m, cutting at three
    skin depths loses up to 8 %, at four up to 5 %. For balanced currents 2 km either way loses less than 1 %.

    References
    ----------
    Own choice, no published source: the tests hold it against the whole line.

    Examples
    --------
    >>> print(window_reach([10, 100, 1000], 50).round(), "m")
    [ 2251.  7118. 22508.] m
    """
    return np.maximum(2000.0, 10 * skin_depth(soil_resistivity_ohm_m, frequency_hz))


def lead_emf(
    lead_xy_m: ArrayLike,
    vertices_m: ArrayLike,
    current_a: ArrayLike,
    *,
    soil_resistivity_ohm_m: ArrayLike,
    frequency_hz: float,
    lead_height_m: float = 0.0,
    order: int = DEFAULT_ORDER,
) -> ComplexArray:
    r"""Voltage induced along leads by the currents of one line; add the results of the lines of a corridor.

    Parameters
    ----------
    lead_xy_m : array_like, shape (t, m, v, 2) or (v, 2)
        Corners of m leads at each of t places, or of one lead, first corner at the tower; corners may repeat. [m]
    vertices_m : array_like, shape (t, w + 1, c, 3) or (w + 1, c, 3)
        Points of the c conductors near each place: x, y, height above ground; see `conductor_vertices` and
        `span_windows`. Spans of no length have no effect. [m]
    current_a : array_like, shape (t, w, c, ...) or (w, c, ...)
        Phasors in the spans, positive in the order of the vertices; more axes are more states (load, fault). [A]
    soil_resistivity_ohm_m : array_like, shape () or (t,)
        Resistivity of uniform soil, > 0. [Ω·m]
    frequency_hz : float
        Frequency, > 0. [Hz]
    lead_height_m : float
        Height of the leads above ground, >= 0, below every conductor. [m]
    order : int
        Gauss points per panel.

    Returns
    -------
    numpy.ndarray of complex, shape (t, m, ...) or (...)
        Voltage driven from the first corner to the last, NaN where a current is NaN. [V]

    Raises
    ------
    InputRangeError
        If shapes do not belong together, a conductor is not above the leads, or soil or frequency are not positive.

    Notes
    -----
    :math:`E = -\frac{j\omega\mu_0}{4\pi}\sum_k I_k\int (\mathbf t\cdot\mathbf u_k)\,G_k\,ds` with the closed form of
    `span_kernel`: the magnetic vector potential of straight spans and of their images at a complex depth. Flat
    ground and uniform soil; spans nearly level; below about 5 kHz. The inductive part of Foster's and Sunde's
    kernel for earthed wires has the same limits near to and far from the span.

    References
    ----------
    .. [1] R. M. Foster, "Mutual impedance of grounded wires lying on the surface of the earth," Bell Syst. Tech.
       J., vol. 10, pp. 408-419, 1931.
    .. [2] E. D. Sunde, Earth Conduction Effects in Transmission Systems, Van Nostrand, 1949, ch. 4.
    .. [3] A. Deri, G. Tevan, A. Semlyen, A. Castanheira, "The complex ground return plane, a simplified model for
       homogeneous and multi-layer earth return," IEEE Trans. Power App. Syst., vol. PAS-100, pp. 3686-3693, 1981.

    Examples
    --------
    100 m of lead 40 m beside the middle of a long straight line with 100 A, first along it, then perpendicular to it:

    >>> from layoutplan.electrical import conductor_vertices
    >>> turn = np.exp(2j * np.pi / 3)
    >>> hung = conductor_vertices([[0, -60e3], [0, 60e3]], [-8, 0, 8], 15)
    >>> balanced = 100 * np.array([[1, turn**2, turn]])
    >>> soil = {"soil_resistivity_ohm_m": 100, "frequency_hz": 50}
    >>> print(f"{abs(lead_emf([[40, -50], [40, 50]], hung, balanced, **soil)):.4f} V")
    0.1921 V
    >>> print(f"{abs(lead_emf([[0, 0], [100, 0]], hung, balanced, **soil)):.4f} V")
    0.0000 V
    """
    lead, vertices, current = finite("lead_xy_m", lead_xy_m), np.asarray(vertices_m), np.asarray(current_a)
    single = lead.ndim == 2
    if single:
        lead, vertices, current = lead[None, None], vertices[None], current[None]
    if lead.ndim != 4 or len(lead) != len(vertices):
        raise InputRangeError(f"lead_xy_m {lead.shape} and vertices_m {vertices.shape} do not belong together.")
    places, leads, corners, _ = lead.shape
    sources = Sources.build(vertices, current, soil_resistivity_ohm_m, frequency_hz, lead_height_m)
    start, step = lead[:, :, :-1].reshape(-1, 2), np.diff(lead, axis=2).reshape(-1, 2)
    row = np.repeat(np.arange(places), leads * (corners - 1))
    panels, along = _field_along(sources, row, start, step, order)
    per_piece = np.zeros((len(row), along.shape[-1]), dtype=complex)
    np.add.at(per_piece, panels.piece, _whole(panels, along))
    emf = np.asarray(per_piece.reshape(places, leads, corners - 1, *current.shape[3:]).sum(axis=2), dtype=complex)
    return emf[0, 0] if single else emf


def ray_emf(
    origin_xy_m: ArrayLike,
    bearing_deg: ArrayLike,
    distance_m: ArrayLike,
    vertices_m: ArrayLike,
    current_a: ArrayLike,
    *,
    soil_resistivity_ohm_m: ArrayLike,
    frequency_hz: float,
    lead_height_m: float = 0.0,
    order: int = DEFAULT_ORDER,
) -> ComplexArray:
    """Voltage induced in straight leads of many lengths on many bearings from each tower.

    The field is evaluated once along each ray; the voltage of every length is a prefix of one integral.

    Parameters
    ----------
    origin_xy_m : array_like, shape (t, 2)
        Where the leads begin. [m]
    bearing_deg : array_like, shape (b,) or (t, b)
        Bearings clockwise from the y axis. [°]
    distance_m : array_like, shape (d,)
        Lead lengths, > 0, in any order. [m]
    vertices_m : array_like, shape (t, w + 1, c, 3)
        Points of the c conductors near each place, as for `lead_emf`. [m]
    current_a : array_like, shape (t, w, c, ...)
        Phasors in the spans, positive in the order of the vertices. [A]
    soil_resistivity_ohm_m : array_like, shape () or (t,)
        Resistivity of uniform soil, > 0. [Ω·m]
    frequency_hz : float
        Frequency, > 0. [Hz]
    lead_height_m : float
        Height of the leads above ground, >= 0, below every conductor. [m]
    order : int
        Gauss points per panel.

    Returns
    -------
    numpy.ndarray of complex, shape (t, b, d, ...)
        Voltage driven from the tower outwards. [V]

    Raises
    ------
    InputRangeError
        As `lead_emf`; also if a distance is not positive.

    References
    ----------
    .. [1] A. Deri, G. Tevan, A. Semlyen, A. Castanheira, "The complex ground return plane, a simplified model for
       homogeneous and multi-layer earth return," IEEE Trans. Power App. Syst., vol. PAS-100, pp. 3686-3693, 1981.
    .. [2] R. M. Foster, "Mutual impedance of grounded wires lying on the surface of the earth," Bell Syst. Tech.
       J., vol. 10, pp. 408-419, 1931.

    Examples
    --------
    50 and 100 m perpendicular to a straight line, and 10° off it, with 100 A:

    >>> from layoutplan.electrical import conductor_vertices
    >>> turn = np.exp(2j * np.pi / 3)
    >>> hung = conductor_vertices([[0, -60e3], [0, 60e3]], [-8, 0, 8], 15)
    >>> balanced = 100 * np.array([[1, turn**2, turn]])
    >>> soil = {"soil_resistivity_ohm_m": 100, "frequency_hz": 50}
    >>> found = ray_emf([[0, 0]], [90, 100], [50, 100], hung[None], balanced[None], **soil)
    >>> print(abs(found[0]).round(3), "V")
    [[0.    0.   ]
     [0.018 0.028]] V
    """
    origin, distance = finite("origin_xy_m", origin_xy_m), positive("distance_m", distance_m)
    bearing = np.atleast_1d(finite("bearing_deg", bearing_deg))
    azimuth = np.radians(np.broadcast_to(bearing, (len(origin), bearing.shape[-1])))
    current = np.asarray(current_a)
    sources = Sources.build(vertices_m, current, soil_resistivity_ohm_m, frequency_hz, lead_height_m)
    if origin.shape != (len(sources.vertices_m), 2):
        raise InputRangeError(f"origin_xy_m {origin.shape} does not belong to {len(sources.vertices_m)} places.")
    reach = distance.max()
    step = reach * np.stack([np.sin(azimuth), np.cos(azimuth)], axis=-1).reshape(-1, 2)
    row = np.repeat(np.arange(len(origin)), azimuth.shape[1])
    emf = np.empty((len(row), len(distance), sources.states), dtype=complex)
    for begin in range(0, len(row), _RAYS_AT_ONCE):
        part = slice(begin, begin + _RAYS_AT_ONCE)
        panels, along = _field_along(sources, row[part], origin[row[part]], step[part], order)
        emf[part] = _prefixes(panels, along, len(row[part]), distance / reach)
    return emf.reshape(*azimuth.shape, len(distance), *current.shape[3:])


def _field_along(
    sources: Sources, row: IntArray, start: FloatArray, step: FloatArray, order: int
) -> tuple[Panels, ComplexArray]:
    """Panels of the pieces start + t·step and, at their Gauss nodes, the field times the step (q, order, k)."""

    def distance(piece: IntArray, fraction: FloatArray) -> FloatArray:
        return sources.distance(row[piece], start[piece] + fraction[:, None] * step[piece])

    panels = graded_panels(np.hypot(*step.T), distance)
    ways = step[panels.piece, None]
    fraction = panels.start[:, None] + panels.width[:, None] * gauss_rule(order)[0]
    field = sources.field(row[panels.piece], start[panels.piece, None] + fraction[..., None] * ways)
    return panels, field[:, :, 0] * ways[..., :1] + field[:, :, 1] * ways[..., 1:]


def _whole(panels: Panels, along: ComplexArray) -> ComplexArray:
    """Integral over each panel (q, k)."""
    total: ComplexArray = np.einsum("qnk,n,q->qk", along, gauss_rule(along.shape[1])[1], panels.width)
    return total


def _prefixes(panels: Panels, along: ComplexArray, pieces: int, fraction: FloatArray) -> ComplexArray:
    """Integral from the start of every piece to each fraction of it (pieces, fractions, k)."""
    whole = _whole(panels, along)
    before = np.cumsum(whole, axis=0) - whole
    first = np.searchsorted(panels.piece, np.arange(pieces))
    piece, wanted = np.repeat(np.arange(pieces), len(fraction)), np.tile(fraction, pieces)
    panel = np.searchsorted(panels.piece + panels.end, piece + wanted)
    width = panels.width[panel]
    weights = partial_weights((wanted - panels.start[panel]) / width, along.shape[1]) * width[:, None]
    part = np.matmul(weights[:, None], along[panel])[:, 0]
    total: ComplexArray = before[panel] - before[first[piece]] + part
    return total.reshape(pieces, len(fraction), -1)
