"""Where the ground falls on the small maps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.inputs.geodetic import metres_per_degree
from layoutplan.layout.model import Plan
from layoutplan.outputs.columns import turned_lon, west_deg
from layoutplan.outputs.review.pieces import tower_rows
from layoutplan.outputs.review.svg_path import SIDE

_SPARE = 1.3  # of the ground that tower and stakes take
_LEAST_M = 80.0


@dataclass(frozen=True, slots=True)
class Frame:
    """Where the ground falls on the maps, one row for each tower.

    Attributes
    ----------
    origin, metres : ndarray, shape (n, 2)
        Longitude and latitude of the tower [deg], and metres per degree of each.
    middle_m : ndarray, shape (n, 2)
        Middle of the map, east and north of the tower. [m]
    per_m : ndarray, shape (n,)
        Units of the map for a metre.
    """

    origin: FloatArray
    metres: FloatArray
    middle_m: FloatArray
    per_m: FloatArray

    def units(self, lonlat: FloatArray, tower: NDArray[np.int64]) -> FloatArray:
        """Places on the map, x to the right and y down.

        Parameters
        ----------
        lonlat : ndarray, shape (m, 2)
            [deg]
        tower : ndarray of int, shape (m,)
            Whose map.

        Returns
        -------
        ndarray, shape (m, 2)
        """
        return self.units_of_m((lonlat - self.origin[tower]) * self.metres[tower], tower)

    def units_of_m(self, east_north_m: FloatArray, tower: NDArray[np.int64]) -> FloatArray:
        """The same of places east and north of the tower. [m]."""
        units = (east_north_m - self.middle_m[tower]) * self.per_m[tower, None]
        return np.asarray(SIDE / 2 + units * [1.0, -1.0])

    def windows(self, margin: float) -> NDArray[np.object_]:
        """Ground of each map and some units around it. [deg]."""
        half = (SIDE / 2 + margin) / self.per_m[:, None]
        low, high = ((self.middle_m + sign * half) / self.metres + self.origin for sign in (-1, 1))
        return np.asarray(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]), dtype=object)


def frame_of(plan: Plan) -> Frame:
    """Tower and stakes in the middle of each map; without stakes the reach of the reel about the tower.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    Frame
    """
    west = west_deg(plan)
    origin = np.column_stack((turned_lon(plan.towers["lon"], west), plan.towers["lat"].to_numpy(dtype=float)))
    metres = np.column_stack(metres_per_degree(origin[:, 1]))
    low, high = np.zeros_like(origin), np.zeros_like(origin)
    tower = tower_rows(plan, plan.leads)
    stakes = np.column_stack((turned_lon(plan.leads["lon"], west), plan.leads["lat"].to_numpy(dtype=float)))
    xy = (stakes - origin[tower]) * metres[tower]
    np.minimum.at(low, tower, xy)
    np.maximum.at(high, tower, xy)
    alone = np.bincount(tower, minlength=len(origin)) == 0
    low[alone], high[alone] = -plan.job.rules.reach_m / 1.2, plan.job.rules.reach_m / 1.2
    side_m = np.maximum((high - low).max(axis=1, initial=0.0) * _SPARE, _LEAST_M)
    return Frame(origin, metres, (low + high) / 2, SIDE / side_m)
