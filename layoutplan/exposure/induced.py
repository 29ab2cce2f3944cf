"""Voltages that the lines of the corridor induce in leads."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import ComplexArray, FloatArray, IntArray
from layoutplan.electrical import lead_emf, ray_emf, span_transfer_impedance
from layoutplan.exposure.loads import SEQUENCE_COUNT, Driven
from layoutplan.exposure.mutual import Transfer
from layoutplan.exposure.network import UNKNOWN_MATTERS_M, Network, Source
from layoutplan.exposure.windows import SpanWindow, see

_AT_ONCE = 500  # towers whose windows are held at the same time
_ORDER = 4  # Gauss points per panel of a ray; within 0.1 % of ten for leads that keep clear of the conductors


def load_emf(network: Network, tower: IntArray, lead_xy_m: FloatArray) -> ComplexArray:
    """Voltage that the greatest load of every line induces in leads, through all lines' earth wires as well.

    Parameters
    ----------
    network : Network
        Of the job.
    tower : ndarray of int, shape (t,)
        Rows of the network's towers.
    lead_xy_m : ndarray, shape (t, m, v, 2)
        Leads in the towers' frames, from the tower outwards. [m]

    Returns
    -------
    ndarray of complex, shape (t, m, lines, 3)
        By line and sequence: their angles to each other are not known; NaN where unknown. [V]
    """

    def of_window(rows: IntArray, window: SpanWindow, driven: Driven) -> ComplexArray:
        return lead_emf(
            lead_xy_m[rows],
            window.points_m,
            driven.current_a[window.span],
            soil_resistivity_ohm_m=network.ground.deep_ohm_m,
            frequency_hz=driven.frequency_hz,
        )

    return _by_loads(network, tower, lead_xy_m.shape[1:2], of_window)


def fan_emf(network: Network, tower: IntArray, bearing_deg: FloatArray, distance_m: FloatArray) -> ComplexArray:
    """Voltage that the greatest load of every line induces in straight leads on many bearings, of many lengths.

    Parameters
    ----------
    network : Network
        Of the job.
    tower : ndarray of int, shape (t,)
        Rows of the network's towers.
    bearing_deg : ndarray, shape (t, b)
        Clockwise from true north. [deg]
    distance_m : ndarray, shape (d,)
        Lengths of the leads. [m]

    Returns
    -------
    ndarray of complex, shape (t, b, d, lines, 3)
        By line and sequence, as `load_emf`; NaN where unknown. [V]
    """

    def of_window(rows: IntArray, window: SpanWindow, driven: Driven) -> ComplexArray:
        return ray_emf(
            np.zeros((len(rows), 2)),
            bearing_deg[rows],
            distance_m,
            window.points_m,
            driven.current_a[window.span],
            soil_resistivity_ohm_m=network.ground.deep_ohm_m,
            frequency_hz=driven.frequency_hz,
            order=_ORDER,
        )

    return _by_loads(network, tower, (bearing_deg.shape[1], len(distance_m)), of_window)


def _by_loads(
    network: Network,
    tower: IntArray,
    shape: tuple[int, ...],
    of_window: Callable[[IntArray, SpanWindow, Driven], ComplexArray],
) -> ComplexArray:
    """Add up what flows in the conductors of all lines by the load of each, shape (t, *shape, lines, 3). [V]."""
    out = np.zeros((len(tower), *shape, len(network.sources), SEQUENCE_COUNT), dtype=complex)
    known = network.loads.known
    for source, states in zip(network.sources, network.loads.driven, strict=True):
        for driven in states:
            mine = known[driven.by]
            if not mine.any():
                continue
            kept = Driven(driven.frequency_hz, driven.by[mine], driven.current_a[:, :, mine])
            for rows, window in _windows(network, source, tower):
                found = of_window(rows, window, kept)
                for column, line in enumerate(kept.by.tolist()):
                    out[rows, ..., line, :] += found[..., column, :]
    for line, source in enumerate(network.sources):
        if not known[line]:
            out[_is_near(network, source, tower), ..., line, :] = np.nan
    return out


def emf_by_loads(network: Network, tower: IntArray, leads: int, made: Mapping[float, list[Transfer]]) -> ComplexArray:
    """Voltages as `load_emf`, for leads of which `lead_transfers` are known by frequency.

    Parameters
    ----------
    network : Network
        Of the job.
    tower : ndarray of int, shape (t,)
        Rows of the network's towers.
    leads : int
        m of each tower.
    made : mapping of float to list of Transfer
        By frequency, for the same leads.

    Returns
    -------
    ndarray of complex, shape (t, m, lines, 3)
        By line and sequence; NaN where unknown. [V]
    """
    out = np.zeros((len(tower) * leads, len(network.sources), SEQUENCE_COUNT), dtype=complex)
    known = network.loads.known
    for line, (source, states) in enumerate(zip(network.sources, network.loads.driven, strict=True)):
        for driven in states:
            current = driven.current_a[:, :, known[driven.by]]
            found = made[driven.frequency_hz][line].driven_v(current.reshape(*current.shape[:2], -1))
            out[:, driven.by[known[driven.by]]] += found.reshape(len(out), current.shape[2], SEQUENCE_COUNT)
        if not known[line]:
            out[np.repeat(_is_near(network, source, tower), leads), line] = np.nan
    return out.reshape(len(tower), leads, *out.shape[1:])


def lead_transfers(network: Network, tower: IntArray, lead_xy_m: FloatArray, frequency_hz: float) -> list[Transfer]:
    """Voltage in straight leads per ampere in each span of each line.

    Parameters
    ----------
    network : Network
        Of the job.
    tower : ndarray of int, shape (t,)
        Rows of the network's towers.
    lead_xy_m : ndarray, shape (t, m, 2, 2)
        Both ends of the leads in the towers' frames, from the tower outwards. [m]
    frequency_hz : float
        Of the currents. [Hz]

    Returns
    -------
    list of Transfer
        One for each line; the t·m leads are what is driven, tower by tower. [Ω]
    """
    leads = lead_xy_m.shape[1]
    made = []
    for source in network.sources:
        row, vertex, ohm = [], [], []
        for rows, window in _windows(network, source, tower):
            found = span_transfer_impedance(
                lead_xy_m[rows],
                window.points_m,
                soil_resistivity_ohm_m=network.ground.deep_ohm_m,
                frequency_hz=frequency_hz,
            )
            row.append((leads * rows[:, None] + np.arange(leads)).ravel())
            vertex.append(np.repeat(window.vertex, leads, axis=0))
            ohm.append(found.reshape(-1, *found.shape[2:]))
        spans = (leads * len(tower), len(source.course.span_section))
        made.append(Transfer.of_parts(spans, row, vertex, ohm, len(source.course.hold_m)))
    return made


def _is_near(network: Network, source: Source, tower: IntArray) -> NDArray[np.bool_]:
    """Whether an unknown current of a line matters to the leads of towers."""
    away, _ = source.course.axis.nearest(network.towers.lonlat_deg[tower])
    return np.asarray(away <= UNKNOWN_MATTERS_M)


def _windows(network: Network, source: Source, tower: IntArray) -> Iterator[tuple[IntArray, SpanWindow]]:
    """Windows of a source for the towers it comes near to, some at a time, with the rows of ``tower``."""
    for begin in range(0, len(tower), _AT_ONCE):
        part = tower[begin : begin + _AT_ONCE]
        window = see(source.course, network.towers.lonlat_deg[part], network.ground.deep_ohm_m)
        if len(window.row):
            yield begin + window.row, window
