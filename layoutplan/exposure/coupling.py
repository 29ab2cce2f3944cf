"""Coupling from lead to lead: exact for given leads, from a table where every two of many positions are compared."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from layoutplan.arrays import FloatArray
from layoutplan.electrical import lead_mutual_impedance
from layoutplan.exposure.network import Network
from layoutplan.line.geodesy import turn_deg

_LENGTHS, _LEAST_M = 8, 20.0
_ANGLE_DEG = np.array([5, 7, 10, 14, 19, 26, 35, 47, 62, 80, 98, 118, 138, 158, 180.0])  # 90 is none of them
_MARGIN = 1.02  # a pair that the table admits keeps the limit


def coupling_ohm(network: Network, h_xy_m: FloatArray, s_xy_m: FloatArray) -> FloatArray:
    """Mutual impedance of straight leads at each of the job's test frequencies.

    Parameters
    ----------
    network : Network
        Of the job: soil and test frequencies.
    h_xy_m, s_xy_m : ndarray, shape (..., 2)
        Stakes in the tower's frame; both leads start at the tower. [m]

    Returns
    -------
    ndarray, shape (f, ...)
        Modulus. [Ω]
    """
    return np.moveaxis(np.abs(_by_frequency(network, h_xy_m, s_xy_m)), -1, 0)


def _by_frequency(network: Network, h_xy_m: FloatArray, s_xy_m: FloatArray) -> np.ndarray:
    h, s = (np.stack((np.zeros_like(end), end), axis=-2)[..., None, :, :] for end in (h_xy_m, s_xy_m))
    return lead_mutual_impedance(
        h,
        s,
        soil_resistivity_ohm_m=network.ground.deep_ohm_m,
        frequency_hz=np.array(network.job.method.test_frequencies_hz),
    )


@dataclass(frozen=True)
class CouplingTable:
    """Mutual impedance of two straight leads from one tower by their lengths and the angle between them.

    Made when it is first used, up to ``reach_m``. For leads from 20 m to 300 m and angles from 20 degrees on, its
    values are at most 4 % above the exact figure and never below it; for smaller angles they may be 3 % below.
    """

    network: Network
    reach_m: float

    def ohm(self, bearing_deg: FloatArray, distance_m: FloatArray) -> FloatArray:
        """Coupling of the leads to every two of n positions; leads less than 5 degrees apart count as 5 degrees apart.

        Parameters
        ----------
        bearing_deg : ndarray, shape (n,)
            From the tower, clockwise. [deg]
        distance_m : ndarray, shape (n,)
            Lengths of the leads, taken as those at the table's ends where they are beyond them. [m]

        Returns
        -------
        ndarray, shape (f, n, n)
            Modulus at each test frequency. [Ω]
        """
        angle = np.abs(turn_deg(bearing_deg[:, None] - bearing_deg)).clip(_ANGLE_DEG[0], _ANGLE_DEG[-1])
        length = distance_m.clip(np.exp(self._table.grid[0][0]), np.exp(self._table.grid[0][-1]))
        first, second = np.broadcast_arrays(length[:, None], length)
        along = np.abs(np.cos(np.radians(angle))) * np.sqrt(first * second)
        smooth = self._table((np.log(first), np.log(second), np.log(angle)))
        return np.moveaxis(_MARGIN * along[..., None] * np.abs(smooth), -1, 0)

    @cached_property
    def _table(self) -> RegularGridInterpolator:
        """Impedance over the cosine of the angle and the root of both lengths: what is left changes slowly."""
        length = np.geomspace(min(_LEAST_M, self.reach_m / 2), self.reach_m, _LENGTHS)
        first, second, angle = np.meshgrid(length, length, np.radians(_ANGLE_DEG), indexing="ij")
        h = np.stack((np.zeros_like(first), first), axis=-1)
        s = np.stack((second * np.sin(angle), second * np.cos(angle)), axis=-1)
        smooth = _by_frequency(self.network, h, s) / (np.cos(angle) * np.sqrt(first * second))[..., None]
        return RegularGridInterpolator((np.log(length), np.log(length), np.log(_ANGLE_DEG)), smooth)
