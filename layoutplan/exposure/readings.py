"""What a pair of stakes makes of the reading: bias, coupling, electrodes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from layoutplan.electrical import (
    RodPlan,
    injected_current_ratio,
    reading_bias,
    rods_for_target,
)
from layoutplan.exposure.chain import ComplexArray, build_chain
from layoutplan.exposure.coupling import coupling_ohm
from layoutplan.exposure.network import Network
from layoutplan.line.geodesy import FloatArray
from layoutplan.line.model import IntArray


@dataclass(frozen=True, slots=True)
class Measured:
    """What is to be measured at each tower, at the first test frequency; one entry for each of the network's towers.

    Attributes
    ----------
    expected_ohm : ndarray
        What the reading should be: the footing alone if only the legs' current is taken, else footing and earth wires.
    rest_ohm : ndarray of complex
        What hangs on the footing; infinite without earth wire, NaN where the line is not known. [Ω]
    """

    expected_ohm: FloatArray
    rest_ohm: ComplexArray


def measured(network: Network) -> Measured:
    """Say for every tower what the reading should be. NaN for whole-current readings where the line is not known."""
    footing = network.ground.footing_ohm
    others = np.where(network.owner >= 0, 0j, np.nan)
    frequency = network.job.method.test_frequencies_hz[0]
    for source in network.sources:
        chain = build_chain(source.course, source.chain.footing_ohm, frequency, network.ground.deep_ohm_m)
        mine = source.vertex >= 0
        at = source.vertex[mine]
        # a station's grid at the tower's vertex counts with the rest, and so does a further line on the tower
        others[mine] += 1 / chain.driving_point_ohm()[at] - 1 / footing[mine]
    with np.errstate(divide="ignore", invalid="ignore"):
        rest = np.where(np.abs(others) < 1e-12, np.inf, 1 / others)
    if network.job.method.legs_only:
        return Measured(footing, rest)
    with np.errstate(invalid="ignore"):  # NaN for unknown
        whole = np.abs(1 / (1 / footing + np.where(np.isinf(rest), 0, 1 / rest)))
    return Measured(np.where(np.isnan(rest), np.nan, whole), rest)


@dataclass(frozen=True, slots=True)
class Reading:
    """What the chosen pairs make of the reading; one entry for each tower with stakes.

    Attributes
    ----------
    bias_ohm, bias_pct : ndarray
        Of the reading against the expected one, negative where it is low.
    distance_for_target_m : ndarray
        How far out H would have to be, the layout keeping its shape, for the bias to stay within the job's target; to
        0.1 %, 0 if it does from 1 m on, infinite if not even at 100 km.
    coupling_ohm, coupling_pct : ndarray
        From lead to lead at the worst of the test frequencies, as it shows in the reading.
    """

    bias_ohm: FloatArray
    bias_pct: FloatArray
    distance_for_target_m: FloatArray
    coupling_ohm: FloatArray
    coupling_pct: FloatArray


def readings(network: Network, towers: Measured, tower: IntArray, h_xy_m: FloatArray, s_xy_m: FloatArray) -> Reading:
    """Judge pairs of stakes.

    Parameters
    ----------
    network : Network
    towers : Measured
        From `measured`.
    tower : ndarray of int, shape (t,)
        Rows of the network's towers.
    h_xy_m, s_xy_m : ndarray, shape (t, 2)
        Stakes in the towers' frames. [m]
    """
    expected = towers.expected_ohm[tower]
    big, small = np.hypot(*h_xy_m.T), np.hypot(*s_xy_m.T)
    cross = h_xy_m[:, 0] * s_xy_m[:, 1] - h_xy_m[:, 1] * s_xy_m[:, 0]
    angle = np.degrees(np.arctan2(np.abs(cross), np.einsum("ij,ij->i", h_xy_m, s_xy_m)))
    bias = bias_ohm(network, towers, tower, big, small, angle)

    def excess_ohm(distance_m: FloatArray) -> FloatArray:
        found = bias_ohm(network, towers, tower, distance_m, distance_m * small / big, angle)
        return np.abs(found) - network.job.method.bias_target_pct / 100 * expected

    distance = _last_above_m(excess_ohm, len(tower))
    coupled = coupling_ohm(network, h_xy_m, s_xy_m) * coupled_share(network, towers, tower, big)
    return Reading(bias, 100 * bias / expected, distance, coupled, 100 * coupled / expected)


def current_ratio(network: Network, towers: Measured, tower: IntArray, distance_m: FloatArray) -> ComplexArray:
    """Injected current over the current in the tower's legs, H at a distance. [-]."""
    footing, rest = network.ground.footing_ohm[tower], towers.rest_ohm[tower]
    at_stake = network.ground.potential_ohm(tower, distance_m)
    return injected_current_ratio(footing, rest, at_stake)


def bias_ohm(
    network: Network,
    towers: Measured,
    tower: IntArray,
    big_m: FloatArray,
    small_m: FloatArray,
    angle_deg: FloatArray,
) -> FloatArray:
    """Bias as it shows in the reading; H and S so far from the tower, at an angle. Arrays broadcast. [Ω].

    Notes
    -----
    By the current in the legs the reading is R + b with b of `reading_bias`, of which the part in phase is taken. By
    the whole current k times that in the legs it is the modulus of (R + b)/k, held against that of Z, footing and
    earth wires together: H lowers the tower's potential the less, the more of the current leaves by the earth wires.
    That it lowers the neighbouring towers, too, is left out. Against 41 towers 300 m apart with all mutual resistances
    the bias by the legs' current is right to 5 % of itself for H at 60 to 150 m. That by the whole current comes out
    higher, by 3 to 4 % of the impedance at 100 ohm m, 10 % at 300, 20 % at 1,000: a small one may have the wrong sign.
    """
    ratio = current_ratio(network, towers, tower, big_m)
    bias = reading_bias(
        big_m,
        small_m,
        angle_deg,
        current_ratio=ratio,
        **network.ground.layers(tower),  # type: ignore[arg-type]
    )
    if network.job.method.legs_only:
        return np.asarray(bias.real, dtype=float)
    with np.errstate(invalid="ignore"):  # NaN for unknown
        shown = np.abs((network.ground.footing_ohm[tower] + bias) / ratio)
    return np.asarray(shown - towers.expected_ohm[tower], dtype=float)


def coupled_share(network: Network, towers: Measured, tower: IntArray, distance_m: FloatArray) -> FloatArray:
    """What 1 ohm between the leads makes of the reading: the injected over the current it is divided by. [-]."""
    ratio = current_ratio(network, towers, tower, distance_m)
    share = np.abs(ratio) if network.job.method.legs_only else np.where(np.isnan(ratio), np.nan, 1.0)
    return np.asarray(share, dtype=float)


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
    """Rods that bring an auxiliary electrode at each of some towers to the job's target resistance."""
    method = network.job.method
    return rods_for_target(
        network.ground.soil_ohm_m[tower],
        target_ohm=method.electrode_target_ohm,
        length_m=method.rod_length_m,
        radius_m=method.rod_diameter_mm / 2000,
        spacing_m=method.rod_spacing_multiple * method.rod_length_m,
        available=method.rods_available,
    )
