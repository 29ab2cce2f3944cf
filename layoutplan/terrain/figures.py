"""Slope at any position and length of its lead on the ground, looked up from a fan: what siting asks while it chooses.

The fan has a ray for every degree, counted from the perpendicular like siting's own, and a point for every metre, so
that siting's default candidates are its points; between them it is interpolated.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.job import Job
from layoutplan.line.model import Towers
from layoutplan.terrain.dem import Dem
from layoutplan.terrain.fan import fan_lengths, fan_slopes

_RAYS = 360
_POINT_M = 1.0


@dataclass(frozen=True, slots=True)
class SlopeFigures:
    """Figures of a section of towers; without an elevation model all are unknown.

    Attributes
    ----------
    first_deg : ndarray, shape (t,)
        Bearing of the first ray.
    slope_deg, extra_m : ndarray, shape (t, 360, d), or None
        Slope, and length on the ground beyond the horizontal distance, every metre from 0; NaN where unknown.
    leg_xy_m : ndarray, shape (t, 2)
    easy_slope_deg, reach_m : float
    """

    first_deg: FloatArray
    slope_deg: FloatArray | None
    extra_m: FloatArray | None
    leg_xy_m: FloatArray
    easy_slope_deg: float
    reach_m: float

    def __call__(self, tower: IntArray, bearing_deg: FloatArray, distance_m: FloatArray) -> dict[str, FloatArray]:
        """Look up positions.

        Parameters
        ----------
        tower : ndarray of int, shape (n,)
        bearing_deg : ndarray, shape (n,)
        distance_m : ndarray, shape (n, k)

        Returns
        -------
        dict of ndarray, shape (n, k)
            ``slope_deg``; ``steep_deg``, beyond easy ground; ``over_reel_m``, how much the lead would miss on the reel.
        """
        if self.slope_deg is None or self.extra_m is None:
            return {"steep_deg": np.full(distance_m.shape, np.nan)}
        slope = self._between(self.slope_deg, tower, bearing_deg, distance_m)
        extra = self._between(self.extra_m, tower, bearing_deg, distance_m)
        bearing = np.radians(bearing_deg)[:, None]
        leg = self.leg_xy_m[tower]
        straight = np.hypot(distance_m * np.sin(bearing) - leg[:, :1], distance_m * np.cos(bearing) - leg[:, 1:])
        return {
            "steep_deg": np.where(np.isnan(slope), np.nan, np.maximum(slope - self.easy_slope_deg, 0.0)),
            "slope_deg": slope,
            "over_reel_m": straight + extra - self.reach_m,
        }

    def rows(self, index: IntArray) -> SlopeFigures:
        """Return the figures of some of the towers.

        Parameters
        ----------
        index : ndarray of int
            Rows to keep.

        Returns
        -------
        SlopeFigures
        """
        slope, extra = (None if values is None else values[index] for values in (self.slope_deg, self.extra_m))
        return replace(
            self, first_deg=self.first_deg[index], slope_deg=slope, extra_m=extra, leg_xy_m=self.leg_xy_m[index]
        )

    def _between(
        self, values: FloatArray, tower: IntArray, bearing_deg: FloatArray, distance_m: FloatArray
    ) -> FloatArray:
        turn = np.round(np.mod(bearing_deg - self.first_deg[tower], 360.0), 9) % 360.0
        ray = turn.astype(np.int64)
        share: FloatArray = np.asarray(turn - ray, dtype=np.float64)
        along = _mixed(values[tower, ray], lambda: values[tower, (ray + 1) % _RAYS], share[:, None])
        if len(distance_m) and (distance_m == distance_m[0]).all():
            distance_m = distance_m[:1]  # a fan asks for the same distances on every bearing
        place = np.clip(distance_m / _POINT_M, 0, values.shape[2] - 1)
        low = np.minimum(np.floor(place).astype(np.int64), values.shape[2] - 2)
        rows = slice(None) if len(low) == 1 else np.arange(len(low))[:, None]
        column = low[0] if len(low) == 1 else low
        return _mixed(along[rows, column], lambda: along[rows, column + 1], place - low)


def slope_figures(dem: Dem, towers: Towers, job: Job, reach_m: float) -> SlopeFigures:
    """Prepare the figures of a section of towers.

    Parameters
    ----------
    dem : Dem
        Heights.
    towers : Towers
        Some tens.
    job : Job
        Its terrain section and reel.
    reach_m : float
        Farthest position that will be asked for. [m]

    Returns
    -------
    SlopeFigures
        To be asked for positions of these towers. [deg], [m]
    """
    first = np.mod(towers.line_bearing_deg + 90.0, 360.0)
    plain = (towers.leg_xy_m, job.terrain.easy_slope_deg, job.rules.reach_m)
    if not dem.mosaics:
        return SlopeFigures(first, None, None, *plain)
    bearing = np.mod(first[:, None] + np.arange(_RAYS), 360.0)
    distance = np.arange(0.0, np.ceil(reach_m) + 1.0, _POINT_M)
    slope = fan_slopes(dem, towers.lonlat_deg, bearing, distance)
    extra = fan_lengths(dem, towers.lonlat_deg, bearing, distance) - distance
    return SlopeFigures(first, slope, np.maximum(extra, 0.0), *plain)


def _mixed(here: FloatArray, beyond: Callable[[], FloatArray], share: FloatArray) -> FloatArray:
    """Values between two neighbours; where all lie on the first, the second is not asked for."""
    if not (share > 0).any():
        return here
    return np.asarray(np.where(share > 0, here + (beyond() - here) * share, here))
