"""Voltages that the lines of the corridor induce in leads."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from layoutplan.electrical import lead_emf, ray_emf
from layoutplan.exposure.chain import SEQUENCE_COUNT, ComplexArray
from layoutplan.exposure.network import UNKNOWN_MATTERS_M, Network, Source
from layoutplan.exposure.windows import Window, see
from layoutplan.line.geodesy import FloatArray, to_ecef
from layoutplan.line.model import IntArray

_AT_ONCE = 500  # towers whose windows are held at the same time
_ORDER = 4  # Gauss points per panel of a ray; within 0.1 % of ten for leads that keep clear of the conductors


def load_emf(network: Network, tower: IntArray, lead_xy_m: FloatArray) -> ComplexArray:
    """Voltage that the greatest load of every line induces in leads.

    Parameters
    ----------
    network : Network
    tower : ndarray of int, shape (t,)
        Rows of the network's towers.
    lead_xy_m : ndarray, shape (t, m, v, 2)
        Leads in the towers' frames, from the tower outwards. [m]

    Returns
    -------
    ndarray of complex, shape (t, m, lines, 3)
        By line and sequence: their angles to each other are not known; NaN where unknown. [V]
    """
    out = np.zeros((*lead_xy_m.shape[:2], len(network.sources), SEQUENCE_COUNT), dtype=complex)
    for number, source in enumerate(network.sources):
        out[:, :, number] = line_load_emf(network, source, tower, lead_xy_m)
    return out


def line_load_emf(
    network: Network, source: Source, tower: IntArray, lead_xy_m: FloatArray, height_m: float = 0.0
) -> ComplexArray:
    """Voltage that the greatest load of one line induces in leads at a height, as `load_emf`, shape (t, m, 3). [V]."""
    out = np.zeros((*lead_xy_m.shape[:2], SEQUENCE_COUNT), dtype=complex)
    if not source.load.known:
        out[_is_near(network, source, tower)] = np.nan
        return out
    for rows, window in _windows(network, source, tower):
        out[rows] = lead_emf(
            lead_xy_m[rows],
            window.points_m,
            source.load.current_a[window.span],
            soil_resistivity_ohm_m=network.ground.deep_ohm_m,
            frequency_hz=source.line.frequency_hz,
            lead_height_m=height_m,
        )
    return out


def fan_emf(network: Network, tower: IntArray, bearing_deg: FloatArray, distance_m: FloatArray) -> ComplexArray:
    """Voltage that the greatest load of every line induces in straight leads on many bearings, of many lengths.

    Parameters
    ----------
    network : Network
    tower : ndarray of int, shape (t,)
    bearing_deg : ndarray, shape (t, b)
    distance_m : ndarray, shape (d,)

    Returns
    -------
    ndarray of complex, shape (t, b, d, lines, 3)
        NaN where unknown. [V]
    """
    shape = (*bearing_deg.shape, len(distance_m), len(network.sources), SEQUENCE_COUNT)
    out = np.zeros(shape, dtype=complex)
    for number, source in enumerate(network.sources):
        if not source.load.known:
            out[_is_near(network, source, tower), :, :, number] = np.nan
            continue
        for rows, window in _windows(network, source, tower):
            out[rows, :, :, number] = ray_emf(
                np.zeros((len(rows), 2)),
                bearing_deg[rows],
                distance_m,
                window.points_m,
                source.load.current_a[window.span],
                soil_resistivity_ohm_m=network.ground.deep_ohm_m,
                frequency_hz=source.line.frequency_hz,
                order=_ORDER,
            )
    return out


def fault_emf(network: Network, tower: IntArray, lead_xy_m: FloatArray) -> FloatArray:
    """Greatest voltage induced in leads by a fault of a line that the tower carries, there or at its neighbours.

    Returns
    -------
    ndarray, shape (t, m)
        NaN where unknown. [V]
    """
    out = np.zeros(lead_xy_m.shape[:2])
    out[~network.known[tower]] = np.nan
    for source in network.sources:
        own = np.flatnonzero(source.vertex[tower] >= 0)
        if source.faults is None:
            out[own] = np.nan
            continue
        number_on_line = np.searchsorted(source.course.towers, source.vertex[tower[own]])
        emf = _fault_emf(network, source, tower[own], lead_xy_m[own], number_on_line)
        out[own] = np.maximum(out[own], np.abs(emf).max(axis=-1))
    return out


def beside_emf(
    network: Network, source: Source, tower: IntArray, lead_xy_m: FloatArray, height_m: float = 0.0
) -> ComplexArray:
    """Voltage induced in leads at a height by faults of a line beside, at its nearest tower and those next to it.

    Returns
    -------
    ndarray of complex, shape (t, m, faults)
        NaN where unknown. [V]
    """
    stations = source.course.towers
    if source.faults is None or not len(stations):
        return np.full((*lead_xy_m.shape[:2], 1), np.nan, dtype=complex)
    _, nearest = cKDTree(source.course.axis.place_m[stations]).query(to_ecef(network.towers.lonlat_deg[tower]))
    number_on_line = np.asarray(nearest, dtype=np.int64)
    return _fault_emf(network, source, tower, lead_xy_m, number_on_line, least=1, height_m=height_m)


def _fault_emf(
    network: Network,
    source: Source,
    tower: IntArray,
    lead_xy_m: FloatArray,
    number_on_line: IntArray,
    *,
    least: int = 0,
    height_m: float = 0.0,
) -> ComplexArray:
    """Voltage in leads (t, m, v, 2) by faults at a tower of a line and some each way, (t, m, faults). [V]."""
    faults, fault, stations = source.faults, source.line.fault, source.course.towers
    assert faults is not None, "asked only where there is a fault"
    assert fault is not None, "asked only where there is a fault"
    reach = max(fault.neighbours, least)
    out = np.zeros((*lead_xy_m.shape[:2], 2 * reach + 1), dtype=complex)
    for rows, window in _windows(network, source, tower):
        around = number_on_line[rows, None] + np.arange(-reach, reach + 1)
        places = stations[np.clip(around, 0, len(stations) - 1)]
        current = np.stack([faults.currents(place, window.span) for place in places.T], axis=-1)
        out[rows] = lead_emf(
            lead_xy_m[rows],
            window.points_m,
            current,
            soil_resistivity_ohm_m=network.ground.deep_ohm_m,
            frequency_hz=source.line.frequency_hz,
            lead_height_m=height_m,
        )
    return out


def _is_near(network: Network, source: Source, tower: IntArray) -> NDArray[np.bool_]:
    """Whether an unknown current of a line matters to the leads of towers."""
    away, _ = source.course.axis.nearest(network.towers.lonlat_deg[tower])
    return np.asarray(away <= UNKNOWN_MATTERS_M)


def _windows(network: Network, source: Source, tower: IntArray) -> Iterator[tuple[IntArray, Window]]:
    """Windows of a source for the towers it comes near to, some at a time, with the rows of ``tower``."""
    for begin in range(0, len(tower), _AT_ONCE):
        part = tower[begin : begin + _AT_ONCE]
        window = see(source.course, network.towers.lonlat_deg[part], network.ground.deep_ohm_m)
        if len(window.row):
            yield begin + window.row, window
