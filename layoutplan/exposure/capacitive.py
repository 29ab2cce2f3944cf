"""Electric field along leads, and what it drives through whoever connects them to earth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.electrical import (
    conductor_voltages,
    electric_field,
    lead_short_circuit_current,
    line_charges,
    space_potential,
)
from layoutplan.exposure.network import Network, Source
from layoutplan.exposure.windows import SpanWindow, see

# Gauss points along a lead: current within 1e-4, 3e-3 under a second line; greatest field up to 2 % low (low line 6 %)
_POINTS = 24
_FIELD_HEIGHT_M = 1.0
GROUND_CLEARANCE_M = 0.0008  # insulation between metal and ground of a lead that lies (judgement)


@dataclass(frozen=True, slots=True)
class Capacitive:
    """Per lead; the lines' shares are added arithmetically, for their angles are not known.

    Attributes
    ----------
    field_v_per_m : ndarray, shape (t, m)
        Greatest of some points along the lead, 1 m above ground, conductors at their mean height. [V/m]
    carried_a, on_ground_a : ndarray, shape (t, m)
        Current to earth at one point of a lead carried at the job's height, and lying on the ground. [A]
    """

    field_v_per_m: FloatArray
    carried_a: FloatArray
    on_ground_a: FloatArray


def capacitive(network: Network, tower: IntArray, end_xy_m: FloatArray) -> Capacitive:
    """Field and capacitive currents of straight leads.

    Parameters
    ----------
    network : Network
        Of the job.
    tower : ndarray of int, shape (t,)
        Rows of the network's towers.
    end_xy_m : ndarray, shape (t, m, 2)
        Stakes in the towers' frames. [m]

    Returns
    -------
    Capacitive
        Of t·m leads; NaN where the voltage of the tower's own line, or of one near it, is unknown. [V/m], [A]
    """
    node, weight = np.polynomial.legendre.leggauss(_POINTS)
    along = end_xy_m[:, :, None] * ((node + 1) / 2)[:, None]
    length = np.hypot(*np.moveaxis(end_xy_m, -1, 0))
    method = network.job.method
    radius = method.lead_diameter_mm / 2000
    field, carried, on_ground = (np.zeros(end_xy_m.shape[:2]) for _ in range(3))
    for source in network.sources:
        window = see(source.course, network.towers.lonlat_deg[tower], network.ground.deep_ohm_m, far=False)
        lateral = _lateral_m(window, along[window.row])
        for section, rows in _by_section(source, window):
            at = window.row[rows]
            seen = _seen(source, section)
            field[at] += electric_field(lateral[rows], *seen, point_height_m=_FIELD_HEIGHT_M).max(axis=-1)
            for total, height in (
                (carried, max(method.lead_height_m, 2 * radius)),
                (on_ground, radius + GROUND_CLEARANCE_M),
            ):
                mean = space_potential(lateral[rows], *seen, point_height_m=height) @ (weight / 2)
                total[at] += np.abs(
                    lead_short_circuit_current(
                        mean,
                        length[at],
                        lead_height_m=height,
                        lead_radius_m=radius,
                        frequency_hz=source.line.frequency_hz,
                    )
                )
    unknown = np.where(network.by_unknown_lines(tower), np.nan, 0.0)[:, None]
    return Capacitive(field + unknown, carried + unknown, on_ground + unknown)


def _seen(source: Source, section: int) -> tuple[FloatArray, FloatArray, np.ndarray]:
    found = source.course.sections[section]
    x, h = found.array("offset_m"), found.array("effective_height_m")
    return x, h, line_charges(x, h, found.array("equivalent_radius_m"), conductor_voltages(found))


def _by_section(source: Source, window: SpanWindow) -> list[tuple[int, IntArray]]:
    """Rows of the window by the cross-section of the nearest span."""
    section = source.course.span_section[window.nearest]
    return [(int(i), np.flatnonzero(section == i)) for i in np.unique(section)]


def _lateral_m(window: SpanWindow, points_m: FloatArray) -> FloatArray:
    """Signed distance of points (t, m, g, 2) from the nearest stretch of a line, positive on its right. [m]."""
    start, end = window.axis_m[:, :-1], window.axis_m[:, 1:]
    step = end - start
    size2 = np.einsum("twk,twk->tw", step, step)
    best = np.full(points_m.shape[:-1], np.inf)
    signed = best.copy()
    for w in range(step.shape[1]):
        real = size2[:, w] > 0
        away = points_m - start[:, None, None, w]
        way = step[:, None, None, w]
        scale = np.where(real, size2[:, w], 1.0)[:, None, None]
        fraction = np.clip((away * way).sum(axis=-1) / scale, 0, 1)
        gap = np.hypot(*np.moveaxis(away - fraction[..., None] * way, -1, 0))
        right = way[..., 1] * away[..., 0] - way[..., 0] * away[..., 1]
        nearer = real[:, None, None] & (gap < best)
        best = np.where(nearer, gap, best)
        signed = np.where(nearer, np.copysign(gap, right), signed)
    return signed
