"""What loads and faults of lines beside a tower, which do not hang on it, do to it and its leads."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from layoutplan.electrical import exposure_ratio, look_both_ways
from layoutplan.exposure.axis import Axis
from layoutplan.exposure.chain import SEQUENCE_COUNT, ComplexArray
from layoutplan.exposure.faults import Faults
from layoutplan.exposure.ground import Ground
from layoutplan.exposure.induced import beside_emf, line_load_emf
from layoutplan.exposure.limits import Limit, touch_limit
from layoutplan.exposure.network import UNKNOWN_MATTERS_M, Network, Source
from layoutplan.exposure.windows import FAR_M, see
from layoutplan.line.geodesy import FloatArray, local_axes, to_ecef
from layoutplan.line.model import IntArray

# a fault of 40 kA of a line without earth wire so far off still lifts a tower with some by 20 V at 100 ohm m, and by
# 220 V at 1,000 ohm m: no nearer may a line of unknown currents be left out
MATTERS_M = FAR_M
_TOWERS = 3  # nearest ones of a line whose faults lift the ground


@dataclass(frozen=True, slots=True)
class BesideFaults:
    """The worst of the lines beside each of some towers.

    Attributes
    ----------
    value_v : ndarray, shape (t, 2)
        Induced in the lead, of the tower by its earth wires, and between tower and stake by the ground, added
        arithmetically; NaN if unknown, 0 without such a line. [V]
    limit : Limit
        For that line's clearing time.
    near : ndarray of bool, shape (t,)
        Whether there is such a line.
    line_id : list of str
        Its name; empty if unknown.
    """

    value_v: FloatArray
    limit: Limit
    near: NDArray[np.bool_]
    line_id: list[str]


def beside_faults(network: Network, tower: IntArray, stake_xy_m: FloatArray) -> BesideFaults:
    """Find the worst that a fault of a line beside does to each lead.

    Parameters
    ----------
    network : Network
    tower : ndarray of int, shape (t,)
    stake_xy_m : ndarray, shape (t, 2, 2)
        H and S in the towers' frames. [m]

    Notes
    -----
    The fault drives a current in the earth wires of the tower under test, which goes into the ground by the towers
    near by. The faulted tower lifts the ground as a point electrode: for that the tower under test is anywhere between
    remote earth and the ground that it stands in, and the worse of the two ends counts. A line of unknown currents
    counts as just at its limit: worse than one known to keep it, less than one known to exceed it.
    """
    place = network.towers.lonlat_deg[tower]
    worst, value = np.full(len(tower), -1.0), np.zeros(stake_xy_m.shape[:2])
    line, limit = np.full(len(tower), -1), touch_limit(network, tower, np.full(len(tower), np.nan), "")
    lead = np.stack((np.zeros_like(stake_xy_m), stake_xy_m), axis=2)
    for number, source in enumerate(network.sources):
        away, _ = source.course.axis.nearest(place)
        rows = np.flatnonzero((source.vertex[tower] < 0) & (away <= MATTERS_M))
        if not len(rows):
            continue
        clearing_s = source.line.fault.clearing_time_s if source.line.fault else np.nan
        mine = touch_limit(network, tower[rows], np.full(len(rows), clearing_s), source.line.id)
        found = np.full((len(rows), 2), np.nan)
        if source.faults is not None:
            found = np.abs(beside_emf(network, source, tower[rows], lead[rows])).max(axis=-1)
            for own in network.sources:
                here = np.flatnonzero(own.vertex[tower[rows]] >= 0)
                if len(here):
                    emf_of = partial(beside_emf, network, source, height_m=_height_m(own, source))
                    driven = _driven_v(network, own, tower[rows[here]], emf_of)
                    found[here] += np.abs(driven).max(axis=-1)[:, None]
            found += _lifted_v(network, source, source.faults, tower[rows], stake_xy_m[rows])
        ratio = exposure_ratio(found, mine.value[:, None]).max(axis=1)
        rank = np.where(np.isnan(ratio), 1.0, ratio)
        better = rank > worst[rows]
        at = rows[better]
        worst[at], value[at], line[at] = rank[better], found[better], number
        limit.value[at], limit.duration_s[at] = mine.value[better], mine.duration_s[better]
    dark = np.zeros(len(tower), dtype=bool)
    for axis in network.dark:
        dark |= (axis.nearest(place)[0] <= MATTERS_M) & network.known[tower]
    hidden = dark & (worst <= 1)
    value[hidden], limit.value[hidden], limit.duration_s[hidden], line[hidden] = np.nan, np.nan, np.nan, -1
    names = [network.sources[i].line.id if i >= 0 else "" for i in line.tolist()]
    return BesideFaults(value, limit, (worst >= 0) | dark, names)


def driven_by_loads_v(network: Network) -> ComplexArray:
    """Potential of every tower by what the greatest load of each other line induces in the tower's own earth wires.

    Returns
    -------
    ndarray of complex, shape (towers, sources, 3)
        By line and sequence, 0 by lines too far off and by those whose own earth wires count at the tower; NaN where
        unknown. [V]
    """
    lonlat = network.towers.lonlat_deg
    out = np.zeros((len(lonlat), len(network.sources), SEQUENCE_COUNT), dtype=complex)
    for number, source in enumerate(network.sources):
        away, _ = source.course.axis.nearest(lonlat)
        counted = (source.vertex >= 0) & ~np.isinf(source.chain.span_ohm).all()
        rows = np.flatnonzero(~counted & (away <= MATTERS_M))
        for own in network.sources:
            here = rows[own.vertex[rows] >= 0]
            if own is source:
                continue
            if not source.load.known:
                out[_reached(own, source.course.axis) & ~counted, number] = np.nan
            elif len(here):
                emf_of = partial(line_load_emf, network, source, height_m=_height_m(own, source))
                out[here, number] += _driven_v(network, own, here, emf_of)
    for axis in network.dark:
        for own in network.sources:
            out[_reached(own, axis)] = np.nan
    return out


def _reached(own: Source, axis: Axis) -> NDArray[np.bool_]:
    """Mark towers of a line with earth wires to which these may carry what an unknown load beside them drives."""
    found = np.zeros(len(own.vertex), dtype=bool)
    near = np.flatnonzero(axis.nearest(own.course.axis.lonlat_deg)[0] <= UNKNOWN_MATTERS_M)
    if len(near) and not np.isinf(own.chain.span_ohm).all():
        chainage = own.course.axis.chainage_m
        rows = np.flatnonzero(own.vertex >= 0)
        away = np.abs(chainage[own.vertex[rows], None] - chainage[near]).min(axis=1)
        found[rows] = away <= MATTERS_M
    return found


def _driven_v(
    network: Network, own: Source, tower: IntArray, emf_of: Callable[[IntArray, FloatArray], ComplexArray]
) -> ComplexArray:
    """Potential of towers by voltages in the spans of a line that they carry, shape (t, k). [V].

    Parameters
    ----------
    network : Network
    own : Source
    tower : ndarray of int, shape (t,)
    emf_of : callable
        Voltages (t, m, k) along leads (t, m, 2, 2).

    Notes
    -----
    The voltage along the earth wires of a span is that along a lead at `_height_m`. What it does to the tower follows
    by reciprocity from the currents in the spans for 1 A put into the tower. Against Carson's matrix of both lines 35 m
    apart it is right to 5 % where it is greatest and the stations' grids are given, up to a fifth low where it is less
    than half of that, and high, by half near a line's end, for faults where no grid is given.
    """
    if np.isinf(own.chain.span_ohm).all():
        return np.zeros((len(tower), 1), dtype=complex)
    window = see(own.course, network.towers.lonlat_deg[tower], network.ground.deep_ohm_m)
    emf = emf_of(tower, np.stack((window.axis_m[:, :-1], window.axis_m[:, 1:]), axis=2))
    share = span_shares(own, own.vertex[tower], window.vertex)
    return np.asarray((share[..., None] * emf).sum(axis=1), dtype=complex)


def _height_m(own: Source, source: Source) -> float:
    """Height at which a line's field is that at the earth wires of another, as far below its phases as they are above.

    The field is known below the conductors only; the images lie so deep that for them both heights are alike.
    """
    wires, phases = [], []
    for section in own.course.sections:
        wires += section.array("effective_height_m")[section.is_earth_wire].tolist()
    for section in source.course.sections:
        phases += section.array("effective_height_m")[~section.is_earth_wire].tolist()
    if not wires:
        return 0.0
    lowest = float(source.course.hold_m[:, 1].min())
    return float(np.clip(2 * np.mean(phases) - np.mean(wires), 0.0, 0.9 * lowest))


def span_shares(source: Source, vertex: IntArray, ends: IntArray) -> ComplexArray:
    """Potential of vertices per volt along pieces of their chain, between ``ends`` (t, w + 1), shape (t, w). [-].

    The currents for 1 A put into each vertex are found by walking outwards from all of them side by side.
    """
    chain, chainage = source.chain, source.course.axis.chainage_m
    seen, span_s = look_both_ways(chain.footing_ohm, chain.span_ohm), 1 / chain.span_ohm
    rightward_s = span_s / (span_s + 1 / chain.footing_ohm[1:] + seen.right_admittance_s[1:])
    leftward_s = span_s / (span_s + 1 / chain.footing_ohm[:-1] + seen.left_admittance_s[:-1])
    start, reach, last = chain.driving_point_ohm()[vertex], int(np.abs(ends - vertex[:, None]).max()), len(span_s) - 1
    along = np.zeros((len(vertex), 2 * reach + 1), dtype=complex)  # current times length, summed up from the vertex
    for way, kept in ((1, rightward_s), (-1, leftward_s)):
        potential = start
        for step in range(reach):
            span = vertex + step if way > 0 else vertex - 1 - step
            inside, span = (span >= 0) & (span <= last), np.clip(span, 0, last)
            beyond = np.where(inside, potential * kept[span], 0.0)
            current = way * span_s[span] * np.where(inside, potential - beyond, 0.0)  # positive in line order
            place = reach + way * step
            along[:, place + way] = along[:, place] - way * current * np.diff(chainage)[span]
            potential = beyond
    length = np.diff(chainage[ends], axis=1)
    change = np.diff(np.take_along_axis(along, ends - vertex[:, None] + reach, axis=1), axis=1)
    return np.divide(change, length, out=np.zeros(length.shape, dtype=complex), where=length > 0)


def _lifted_v(network: Network, source: Source, faults: Faults, tower: IntArray, stake_xy_m: FloatArray) -> FloatArray:
    """Between tower and stakes when a fault is at one of the line's towers nearest to either, shape (t, 2). [V]."""
    stations = source.course.towers
    if not len(stations):
        return np.full(stake_xy_m.shape[:2], np.nan)
    here = to_ecef(network.towers.lonlat_deg[tower])
    axes = np.stack(local_axes(network.towers.lonlat_deg[tower]), axis=1)
    stake = here[:, None] + np.einsum("tsk,tki->tsi", stake_xy_m, axes)
    place = source.course.axis.place_m[stations]
    tree, count = cKDTree(place), min(_TOWERS, len(stations))
    near = np.concatenate(
        [tree.query(point, k=[*range(1, count + 1)])[1] for point in (here, *stake.swapaxes(0, 1))], 1
    )
    rise = np.abs(faults.potential_v[stations[near]])[:, None]  # (t, 1, towers)
    current = rise / source.chain.footing_ohm[stations[near]][:, None]
    at_tower = _potential_v(network.ground, tower, here[:, None], place[near], current, rise)
    at_stake = _potential_v(network.ground, tower, stake, place[near], current, rise)
    return np.asarray(np.maximum(at_stake, np.abs(at_tower - at_stake)).max(axis=-1))


def _potential_v(
    ground: Ground,
    tower: IntArray,
    point_m: FloatArray,
    electrode_m: FloatArray,
    current_a: FloatArray,
    rise_v: FloatArray,
) -> FloatArray:
    """Potential of the ground at points (t, n, 3) by each of some towers (t, c, 3), never above theirs. [V]."""
    away = np.linalg.norm(point_m[:, :, None] - electrode_m[:, None], axis=-1).clip(1.0)
    row = np.broadcast_to(tower[:, None, None], away.shape)
    return np.minimum(current_a * ground.potential_ohm(row, away), rise_v)
