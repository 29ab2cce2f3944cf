"""Where a line runs on the ground, and how near it comes to places."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from layoutplan.arrays import FloatArray
from layoutplan.line.geodesy import inverse, to_ecef

STATION_M = 50.0  # a line is searched by points so far apart: distances are at most half of it too large


@dataclass(frozen=True, slots=True)
class Axis:
    """Towers, bends and ends of a line in order.

    Attributes
    ----------
    lonlat_deg : ndarray, shape (n, 2)
    bearing_deg : ndarray, shape (n - 1,)
        Of each span at its start.
    chainage_m : ndarray, shape (n,)
    place_m : ndarray, shape (n, 3)
        Geocentric.
    station_m : ndarray, shape (s,)
        Chainage of the points that ``tree`` holds.
    tree : cKDTree
    """

    lonlat_deg: FloatArray
    bearing_deg: FloatArray
    chainage_m: FloatArray
    place_m: FloatArray
    station_m: FloatArray
    tree: cKDTree

    def nearest(self, lonlat_deg: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Distance from places to the line, towers and spans alike, and the chainage there.

        Parameters
        ----------
        lonlat_deg : ndarray, shape (n, 2)
            Longitude and latitude. [deg]

        Returns
        -------
        away_m, chainage_m : ndarray, shape (n,)
            Distances are up to ``STATION_M / 2`` too large. [m]

        Examples
        --------
        A span of 607.9 m to the east, and a place 111 m north of its middle:

        >>> axis = build_axis(np.array([[8.0, 47.0], [8.008, 47.0]]))
        >>> away, chainage = axis.nearest(np.array([[8.004, 47.001]]))
        >>> print(away.round(1), chainage, "m")
        [111.2] [300.] m
        """
        away, station = self.tree.query(to_ecef(lonlat_deg))
        return np.asarray(away, dtype=float), self.station_m[np.asarray(station, dtype=np.int64)]


def build_axis(lonlat_deg: FloatArray) -> Axis:
    """Axis through points in order, no two neighbours at one place.

    Parameters
    ----------
    lonlat_deg : ndarray, shape (n, 2)
        Longitude and latitude. [deg]

    Returns
    -------
    Axis
        Lengths in metres.

    Examples
    --------
    Two spans to the east, and a place 0.001 degrees north of the tower between them:

    >>> axis = build_axis(np.array([[8.0, 47.0], [8.004, 47.0], [8.008, 47.0]]))
    >>> away, _ = axis.nearest(np.array([[8.004, 47.001]]))
    >>> print(away.round(1), "m")
    [111.2] m
    """
    bearing, length = inverse(lonlat_deg[:-1], lonlat_deg[1:])
    chainage = np.concatenate(([0.0], np.cumsum(length)))
    place = to_ecef(lonlat_deg)
    station = np.union1d(chainage, np.arange(0.0, chainage[-1], STATION_M))
    points = np.column_stack([np.interp(station, chainage, part) for part in place.T])
    return Axis(lonlat_deg, bearing, chainage, place, station, cKDTree(points))
