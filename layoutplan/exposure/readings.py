"""What a pair of stakes makes of the reading: bias, coupling, electrodes; at every test frequency.

The test current enters the network at the tower and leaves the ground at H, which draws the ground down at every
footing about it. Neighbouring towers and stations send their parts of the current into the ground, too, and lift S. All
of it follows from a small matrix for each tower: what its potential and the currents of the footings near it are for
1 A into the tower, and for 1 V in the ground at each of those footings.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from layoutplan.arrays import ComplexArray, FloatArray, IntArray
from layoutplan.electrical import RodPlan, rods_for_target
from layoutplan.exposure.coupling import coupling_ohm
from layoutplan.exposure.measured import Measured
from layoutplan.exposure.network import Network


@dataclass(frozen=True, slots=True)
class ReadingFigures:
    """What the chosen pairs make of the reading; one entry for each tower with stakes.

    Attributes
    ----------
    bias_ohm, bias_pct : ndarray
        Of the reading against the expected one, negative where it is low; at the worst test frequency.
    expected_ohm, bias_frequency_hz : ndarray
        At that frequency.
    distance_for_target_m : ndarray
        How far out H would have to be, the layout keeping its shape, for the bias to stay within the job's target at
        every test frequency; to 0.1 %, 0 if it does from 1 m on, infinite if not even at 100 km.
    coupling_ohm, coupling_pct, coupling_frequency_hz : ndarray
        From lead to lead as it shows in the reading, at the test frequency at which that is worst.
    each_bias_pct, each_coupling_pct, each_expected_ohm : ndarray, shape (f, t)
        The same at each test frequency.
    """

    bias_ohm: FloatArray
    bias_pct: FloatArray
    expected_ohm: FloatArray
    bias_frequency_hz: FloatArray
    distance_for_target_m: FloatArray
    coupling_ohm: FloatArray
    coupling_pct: FloatArray
    coupling_frequency_hz: FloatArray
    each_bias_pct: FloatArray
    each_coupling_pct: FloatArray
    each_expected_ohm: FloatArray


def readings(
    network: Network, towers: Measured, tower: IntArray, h_xy_m: FloatArray, s_xy_m: FloatArray
) -> ReadingFigures:
    """Judge pairs of stakes.

    Parameters
    ----------
    network : Network
        Of the job.
    towers : Measured
        From `measured`.
    tower : ndarray of int, shape (t,)
        Rows of the network's towers.
    h_xy_m, s_xy_m : ndarray, shape (t, 2)
        Stakes in the towers' frames. [m]

    Returns
    -------
    ReadingFigures
        Bias and coupling; NaN where unknown. [Ω], [%]
    """
    expected = towers.expected_ohm[:, tower]
    bias = bias_ohm(network, towers, tower, h_xy_m, s_xy_m)
    far = np.hypot(*h_xy_m.T)

    def excess(distance_m: FloatArray) -> FloatArray:
        scale = (distance_m / far)[:, None]
        found = np.abs(bias_ohm(network, towers, tower, scale * h_xy_m, scale * s_xy_m)) / expected
        return np.asarray(found.max(axis=0) - network.job.method.bias_target_pct / 100)

    distance = _last_above_m(excess, len(tower))
    coupled = coupling_ohm(network, h_xy_m, s_xy_m) * coupled_share(network, towers, tower, h_xy_m)
    bias_at, coupled_at = (_worst(part / expected) for part in (bias, coupled))
    row = np.arange(len(tower))
    return ReadingFigures(
        bias_ohm=bias[bias_at, row],
        bias_pct=100 * (bias / expected)[bias_at, row],
        expected_ohm=expected[bias_at, row],
        bias_frequency_hz=np.where(np.isnan(bias[bias_at, row]), np.nan, towers.frequency_hz[bias_at]),
        distance_for_target_m=distance,
        coupling_ohm=coupled[coupled_at, row],
        coupling_pct=100 * (coupled / expected)[coupled_at, row],
        coupling_frequency_hz=np.where(np.isnan(coupled[coupled_at, row]), np.nan, towers.frequency_hz[coupled_at]),
        each_bias_pct=100 * bias / expected,
        each_coupling_pct=100 * coupled / expected,
        each_expected_ohm=expected,
    )


def _worst(share: FloatArray) -> IntArray:
    return np.asarray(np.where(np.isnan(share), -1.0, np.abs(share)).argmax(axis=0))


def bias_ohm(network: Network, towers: Measured, tower: IntArray, h_xy_m: FloatArray, s_xy_m: FloatArray) -> FloatArray:
    """Bias as it shows in the reading at each test frequency.

    Parameters
    ----------
    network : Network
        Of the job.
    towers : Measured
        From `measured`.
    tower : ndarray of int, shape (q,)
        Rows of the network's towers.
    h_xy_m, s_xy_m : ndarray, shape (q, ..., 2)
        Stakes in the towers' frames. [m]

    Returns
    -------
    ndarray, shape (f, q, ...)
        NaN where unknown. [Ω]

    Notes
    -----
    By the current in the legs the part in phase is taken; by the whole current the modulus, held against that of
    footing and earth wires together. Stakes count as points; so do footings more than their own size away.
    """
    at_h, at_s = (network.near.transfer_resistance_ohm(network.footings, tower, xy) for xy in (h_xy_m, s_xy_m))
    apart = np.linalg.norm(h_xy_m - s_xy_m, axis=-1)
    return bias_between(network, towers, tower, at_h, at_s, apart)


def bias_between(
    network: Network, towers: Measured, tower: IntArray, at_h: FloatArray, at_s: FloatArray, apart_m: FloatArray
) -> FloatArray:
    """Bias as `bias_ohm`, from the potentials that the footings near the towers give H and S, and their distance.

    Parameters
    ----------
    network : Network
        Of the job.
    towers : Measured
        From `measured`.
    tower : ndarray of int, shape (q,)
        Rows of the network's towers.
    at_h, at_s : ndarray, shape (q, ..., n)
        From `Near.transfer_resistance_ohm`. [V/A]
    apart_m : ndarray, shape (q, ...)
        From H to S; nearer than 0.5 m counts as 0.5 m. [m]

    Returns
    -------
    ndarray, shape (f, q, ...)
        Negative where the reading is low. [Ω]
    """
    apart = apart_m.clip(0.5)
    between = network.ground.potential_ohm(np.broadcast_to(_as(tower, apart.ndim), apart.shape), apart)
    return np.stack(
        [
            _bias(network, table[tower], at_h, at_s, between, _as(expected[tower], apart.ndim))
            for table, expected in zip(towers.response, towers.expected_ohm, strict=True)
        ]
    )


def _as(values: np.ndarray, dimensions: int) -> np.ndarray:
    return values.reshape(-1, *[1] * (dimensions - 1))


def _bias(
    network: Network,
    table: ComplexArray,
    at_h: FloatArray,
    at_s: FloatArray,
    between_ohm: FloatArray,
    expected_ohm: FloatArray,
) -> FloatArray:
    """Bias of readings (q, ...) with the footings' potentials per ampere at H and S, (q, ..., n)."""
    shape = at_h.shape[:-1]
    each = int(np.prod(shape[1:]))
    h, s = (part.reshape(len(table), each, part.shape[-1]) for part in (at_h, at_s))
    current = table[:, 1:, 0][:, None] - h @ table[:, 1:, 1:]  # symmetric: no transpose needed
    potential = table[:, :1, 0] - (h * table[:, None, 0, 1:]).sum(axis=-1)
    at_stake = (s * current).sum(axis=-1) - between_ohm.reshape(len(table), each)
    shown = (potential - at_stake).reshape(shape)
    if network.job.method.legs_only:
        with np.errstate(invalid="ignore"):  # NaN for unknown
            return np.asarray((shown / current[..., 0].reshape(shape)).real - expected_ohm)
    return np.asarray(np.abs(shown) - expected_ohm)


def coupled_share(network: Network, towers: Measured, tower: IntArray, h_xy_m: FloatArray) -> FloatArray:
    """What 1 ohm between the leads adds to the reading: injected current over the current it is divided by.

    Parameters
    ----------
    network : Network
        Of the job.
    towers : Measured
        Of the same network.
    tower : ndarray of int, shape (q,)
        Rows of the network's towers.
    h_xy_m : ndarray, shape (q, 2)
        Places of H in the towers' frames. [m]

    Returns
    -------
    ndarray, shape (f, q)
        1 where the whole current is taken; NaN where unknown. [-]
    """
    if not network.job.method.legs_only:
        return np.where(np.isnan(towers.expected_ohm[:, tower]), np.nan, 1.0)
    at_h = network.near.transfer_resistance_ohm(network.footings, tower, h_xy_m)
    table = towers.response[:, tower]
    with np.errstate(invalid="ignore"):  # NaN for unknown
        return np.asarray(1 / np.abs(table[..., 1, 0] - (table[..., 1, 1:] * at_h).sum(axis=-1)))


def _last_above_m(curve: Callable[[FloatArray], FloatArray], count: int) -> FloatArray:
    """Largest of the distances from 1 m to 100 km at which each of some curves is above 0."""
    steps = np.geomspace(1.0, 1e5, 81)
    value = np.stack([curve(np.full(count, step)) for step in steps])
    last = len(steps) - 1 - np.argmax(value[::-1] > 0, axis=0)
    near, far = steps[last], steps[np.minimum(last + 1, len(steps) - 1)]
    for _ in range(9):
        middle = np.sqrt(near * far)
        above = curve(middle) > 0
        near, far = np.where(above, middle, near), np.where(above, far, middle)
    found = np.where(value[-1] > 0, np.inf, np.where((value > 0).any(axis=0), far, 0.0))
    return np.where(np.isnan(value).any(axis=0), np.nan, found)


def electrodes(network: Network, tower: IntArray) -> RodPlan:
    """Rods that bring an auxiliary electrode at each of some towers to the job's target resistance.

    Parameters
    ----------
    network : Network
        Of the job.
    tower : ndarray of int, shape (q,)
        Rows of the network's towers.

    Returns
    -------
    RodPlan
        Number of rods and resistance. [Ω]
    """
    method = network.job.method
    return rods_for_target(
        network.ground.soil_ohm_m[tower],
        target_ohm=method.electrode_target_ohm,
        length_m=method.rod_length_m,
        radius_m=method.rod_diameter_mm / 2000,
        spacing_m=method.rod_spacing_multiple * method.rod_length_m,
        available=method.rods_available,
    )
