"""Electrical terms of the score at any position: what siting asks while it chooses.

The voltage is taken from a fan (5 degrees by 10 m) of phasors; between its points it is interpolated, which from 50 m
on is within 1 % of what the same load would induce in a lead along the line (2 % for leads nearer to its direction than
15 degrees, 7 % nearer than 5). The bias is that of two leads of one length on opposite sides, H there: the partner is
not known while a position is judged.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.exposure.coupling import CouplingTable
from layoutplan.exposure.induced import fan_emf
from layoutplan.exposure.measured import Measured
from layoutplan.exposure.network import Network
from layoutplan.exposure.readings import bias_between, bias_ohm, coupled_share

BEARING_STEP_DEG = 5.0
DISTANCE_STEP_M = 10.0
BIAS_STEP_DEG = 15.0


@dataclass(frozen=True, slots=True)
class FanTerms:
    """Terms for a section of towers, ready to be looked up.

    Attributes
    ----------
    distance_m : ndarray, shape (d,)
        Equally spaced.
    emf_v : ndarray of complex, shape (t, b, d, states)
        At the greatest load, by equal steps of bearing from north all round. [V]
    bias_pct : ndarray, shape (t, b, d)
        Size at the worst test frequency, by equal steps of bearing from north all round.
    coupled_share_pct : ndarray, shape (f, t)
        What 1 ohm of mutual impedance between the leads makes of the reading, at each test frequency.
    coupling : CouplingTable
    network : Network
    measured : Measured
    tower : ndarray of int, shape (t,)
        Rows of the network's towers.
    """

    distance_m: FloatArray
    emf_v: np.ndarray
    bias_pct: FloatArray
    coupled_share_pct: FloatArray
    coupling: CouplingTable
    network: Network
    measured: Measured
    tower: IntArray

    def __call__(self, tower: IntArray, bearing_deg: FloatArray, distance_m: FloatArray) -> dict[str, FloatArray]:
        """Look up positions.

        Parameters
        ----------
        tower : ndarray of int, shape (n,)
            Rows of the section.
        bearing_deg : ndarray, shape (n,)
        distance_m : ndarray, shape (n, k)

        Returns
        -------
        dict of ndarray, shape (n, k)
            ``induced_v`` and ``bias_pct``; NaN where unknown.
        """
        if len(distance_m) and (distance_m == distance_m[0]).all():
            distance_m = distance_m[:1]  # a fan asks for the same distances on every bearing
        place = np.clip((distance_m - self.distance_m[0]) / DISTANCE_STEP_M, 0, len(self.distance_m) - 1)
        low = np.minimum(place.astype(np.int64), len(self.distance_m) - 2)
        part = place - low
        return {
            "induced_v": _between(np.abs(self._phasors(tower, bearing_deg)).sum(axis=-1), low, part),
            "bias_pct": _between(self._bias(tower, bearing_deg), low, part),
        }

    def _bias(self, tower: IntArray, bearing_deg: FloatArray) -> FloatArray:
        """Bias on any bearings (n, d), straight between those of the fan: it changes slowly."""
        turn = bearing_deg / BIAS_STEP_DEG
        first = np.floor(turn).astype(np.int64)
        part, every = (turn - first)[:, None], self.bias_pct.shape[1]
        return (1 - part) * self.bias_pct[tower, first % every] + part * self.bias_pct[tower, (first + 1) % every]

    def _phasors(self, tower: IntArray, bearing_deg: FloatArray) -> np.ndarray:
        """Phasors on any bearings (n, d, states), by the cubic through the four bearings about each."""
        turn = bearing_deg / BEARING_STEP_DEG
        first = np.floor(turn).astype(np.int64)
        s = turn - first
        near, far = s * (s - 1) / 6, (s + 1) * (s - 2) / 2
        weights = (-near * (s - 2), far * (s - 1), -far * s, near * (s + 1))
        total = np.zeros((len(tower), *self.emf_v.shape[2:]), dtype=complex)
        for step, weight in enumerate(weights, start=-1):
            total += weight[:, None, None] * self.emf_v[tower, (first + step) % self.emf_v.shape[1]]
        return total

    def coupling_pct(self, tower: int, bearing_deg: FloatArray, distance_m: FloatArray) -> FloatArray:
        """Coupling between the leads to every two of n positions of one tower, at the worst test frequency.

        Parameters
        ----------
        tower : int
            Row of the section.
        bearing_deg, distance_m : ndarray, shape (n,)
            The positions, from the tower point. [deg], [m]

        Returns
        -------
        ndarray, shape (n, n)
            Share of the expected impedance; NaN where unknown. [%]
        """
        share = self.coupled_share_pct[:, tower, None, None]
        return np.asarray((self.coupling.ohm(bearing_deg, distance_m) * share).max(axis=0))

    def pair_bias_pct(self, tower: int, bearing_deg: FloatArray, distance_m: FloatArray) -> FloatArray:
        """Size of the bias for every two of n positions of one tower, H the farther one.

        Parameters
        ----------
        tower : int
            Row of the section.
        bearing_deg, distance_m : ndarray, shape (n,)
            The positions, from the tower point. [deg], [m]

        Returns
        -------
        ndarray, shape (n, n)
            At the worst test frequency; NaN where unknown, and for a position with itself. [%]
        """
        radians = np.radians(bearing_deg)
        place = distance_m[:, None] * np.column_stack((np.sin(radians), np.cos(radians)))
        first, second = np.nonzero(~np.eye(len(place), dtype=bool) & (distance_m[:, None] >= distance_m))
        row = self.tower[tower : tower + 1]
        expected = self.measured.expected_ohm[:, row[0], None]
        at = self.network.near.transfer_resistance_ohm(self.network.footings, row, place[None])
        apart = np.linalg.norm(place[first] - place[second], axis=-1)[None]
        found = bias_between(self.network, self.measured, row, at[:, first], at[:, second], apart)[:, 0]
        bias = np.full((len(place), len(place)), np.nan)
        bias[first, second] = 100 * np.abs(found / expected).max(axis=0)
        return np.fmax(bias, bias.T)

    def rows(self, index: IntArray) -> FanTerms:
        """Return the terms of some of the towers.

        Parameters
        ----------
        index : ndarray of int
            Rows of the section to keep.

        Returns
        -------
        FanTerms
        """
        mine = {name: getattr(self, name)[index] for name in ("emf_v", "bias_pct", "tower")}
        return replace(self, **mine, coupled_share_pct=self.coupled_share_pct[:, index])


def fan_terms(network: Network, towers: Measured, tower: IntArray, reach_m: float, coupling: CouplingTable) -> FanTerms:
    """Prepare the terms of some towers.

    Parameters
    ----------
    network : Network
        Of the job.
    towers : Measured
        From `measured`.
    tower : ndarray of int, shape (t,)
        Rows of the network's towers.
    reach_m : float
        Farthest position that will be asked for. [m]
    coupling : CouplingTable
        As far as the same reach.

    Returns
    -------
    FanTerms
        To be asked for positions of these towers.
    """
    distance: FloatArray = DISTANCE_STEP_M * np.arange(1.0, max(np.ceil(reach_m / DISTANCE_STEP_M), 2.0) + 1)
    bearing = np.arange(0.0, 360.0, BEARING_STEP_DEG)
    emf = fan_emf(network, tower, np.broadcast_to(bearing, (len(tower), len(bearing))), distance)
    emf = emf.reshape(*emf.shape[:3], -1) if network.sources else np.zeros((*emf.shape[:3], 1), dtype=complex)
    emf[network.by_unknown_lines(tower)] = np.nan
    turn = np.radians(np.arange(0.0, 360.0, BIAS_STEP_DEG))
    place = distance[:, None] * np.stack((np.sin(turn), np.cos(turn)), axis=-1)[:, None]
    stake = np.broadcast_to(place, (len(tower), *place.shape))
    expected = towers.expected_ohm[:, tower]
    bias = bias_ohm(network, towers, tower, stake, -stake) / expected[..., None, None]
    share = 100 * np.abs(bias).max(axis=0)
    coupled = 100 * coupled_share(network, towers, tower, stake[:, 0, -1]) / expected
    return FanTerms(distance, emf, share, coupled, coupling, network, towers, tower)


def _between(values: FloatArray, low: IntArray, part: FloatArray) -> FloatArray:
    """Straight between the values (n, d) at the places low + part, (n, k) or (1, k) where all rows ask for the same."""
    if len(low) == 1:
        below, above = values[:, low[0]], values[:, low[0] + 1]
    else:
        below, above = np.take_along_axis(values, low, axis=1), np.take_along_axis(values, low + 1, axis=1)
    return np.asarray(below + (above - below) * part)
