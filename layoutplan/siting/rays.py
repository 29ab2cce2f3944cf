"""Rays from towers: the fan of candidate bearings, and rays to given positions. Same rays, same rules."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.job import Rules
from layoutplan.line.geodesy import fold_deg, turn_deg
from layoutplan.line.model import Towers
from layoutplan.siting.obstacles import TOLERANCE_M

LEFT, RIGHT = 0, 1
ANGLE_TOLERANCE_DEG = 1e-6


@dataclass(frozen=True, slots=True)
class Rays:
    """Directions from towers, sorted by tower and bearing; one entry per ray.

    Attributes
    ----------
    tower : ndarray of int
    bearing_deg : ndarray
        From true north, in [0, 360).
    side : ndarray of int
        ``LEFT`` or ``RIGHT`` of the line, facing increasing order.
    angle_deg : ndarray
        Acute angle to the nearest in direction of all adjoining spans, 0 to 90.
    off_square_deg : ndarray
        Turn from the perpendicular to the line (to the bisector at angle towers).
    min_m, max_m : ndarray
        Distances between which the rules on distance and reel allow a stake; ``min_m`` may exceed ``max_m``.
    """

    tower: IntArray
    bearing_deg: FloatArray
    side: IntArray
    angle_deg: FloatArray
    off_square_deg: FloatArray
    min_m: FloatArray
    max_m: FloatArray

    def __len__(self) -> int:
        """Return the number of rays."""
        return len(self.tower)

    @property
    def direction(self) -> FloatArray:
        """Unit vectors east and north, shape (n, 2)."""
        bearing = np.radians(self.bearing_deg)
        return np.column_stack((np.sin(bearing), np.cos(bearing)))

    def take(self, rows: IntArray | NDArray[np.bool_]) -> Rays:
        """Return some of the rays.

        Parameters
        ----------
        rows : ndarray of int or bool
            Rows to keep.

        Returns
        -------
        Rays
        """
        return Rays(*(getattr(self, name)[rows] for name in self.__slots__))


def make_rays(towers: Towers, tower: IntArray, bearing_deg: FloatArray, rules: Rules) -> Rays:
    """Rays at any towers and bearings, with all that the rules depend on in their direction.

    Parameters
    ----------
    towers : Towers
        Of one section.
    tower : ndarray of int, shape (n,)
        Rows of ``towers``, ascending; bearings ascending within a tower.
    bearing_deg : ndarray, shape (n,)
        From true north, in [0, 360). [deg]
    rules : Rules
        Distances and reel.

    Returns
    -------
    Rays
        n of them, in the order given.
    """
    ahead, back = towers.ahead_deg[tower], towers.back_deg[tower]
    right = np.mod(bearing_deg - ahead, 360.0) < np.mod(back - ahead, 360.0)
    normal = towers.line_bearing_deg[tower] + np.where(right, 90.0, -90.0)
    angle = fold_deg(towers.adjoining_deg[tower] - bearing_deg[:, None])
    bearing = np.radians(bearing_deg)
    direction = np.column_stack((np.sin(bearing), np.cos(bearing)))
    return Rays(
        tower=tower,
        bearing_deg=bearing_deg,
        side=right.astype(np.int64),
        angle_deg=np.nanmin(angle, axis=1),
        off_square_deg=np.asarray(np.round(np.abs(turn_deg(bearing_deg - normal)), 9)),
        min_m=least_distance_m(towers, rules)[tower],
        max_m=reel_distance_m(direction, towers.leg_xy_m[tower], rules.reach_m),
    )


def nearest_span(towers: Towers, tower: IntArray, bearing_deg: FloatArray) -> NDArray[np.str_]:
    """Name, for each bearing, the adjoining span nearest to it in direction.

    Parameters
    ----------
    towers : Towers
        Of one section.
    tower : ndarray of int, shape (n,)
        Rows of ``towers``.
    bearing_deg : ndarray, shape (n,)
        From true north. [deg]

    Returns
    -------
    ndarray of str, shape (n,)
        As in ``towers.adjoining_name``.

    Examples
    --------
    Spans to the north and to the east; a lead at 100 degrees lies nearest to the latter:

    >>> from types import SimpleNamespace
    >>> tower = SimpleNamespace(adjoining_deg=np.array([[0.0, 90.0]]), adjoining_name=np.array([["T1", "T3"]]))
    >>> nearest_span(tower, np.array([0]), np.array([100.0])).tolist()
    ['T3']
    """
    angle = fold_deg(towers.adjoining_deg[tower] - bearing_deg[:, None])
    return np.asarray(towers.adjoining_name[tower, np.nanargmin(angle, axis=1)])


def circle(towers: Towers, rules: Rules, step_deg: float) -> Rays:
    """All bearings around each tower, counted from the perpendicular in equal steps.

    Parameters
    ----------
    towers : Towers
        Of one section.
    rules : Rules
        Distances and reel.
    step_deg : float
        Between neighbours. [deg]

    Returns
    -------
    Rays
        360 / step for each tower.
    """
    turns = np.arange(round(360.0 / step_deg)) * step_deg
    bearing = np.sort(np.mod(towers.line_bearing_deg[:, None] + 90.0 + turns, 360.0), axis=1)
    tower = np.repeat(np.arange(len(towers)), len(turns))
    return make_rays(towers, tower, bearing.ravel(), rules)


def keeping_angle(rays: Rays, rules: Rules) -> Rays:
    """Rays that keep the least angle to every adjoining span.

    Parameters
    ----------
    rays : Rays
        Any.
    rules : Rules
        Least angle of a lead to the spans. [deg]

    Returns
    -------
    Rays
        Those that keep it, in their order.

    Examples
    --------
    30 degrees are asked for, and a limit just met is kept:

    >>> whole, flat = np.arange(3), np.zeros(3)
    >>> fan = Rays(whole * 0, flat, whole * 0, np.array([29.9, 30.0, 90.0]), flat, flat, flat)
    >>> keeping_angle(fan, Rules(min_angle_deg=30.0)).angle_deg
    array([30., 90.])
    """
    return rays.take(rays.angle_deg >= rules.min_angle_deg - ANGLE_TOLERANCE_DEG)


def least_distance_m(towers: Towers, rules: Rules) -> FloatArray:
    """Least distance from the tower point that the rules can allow at all.

    Parameters
    ----------
    towers : Towers
        n of them.
    rules : Rules
        Least distance, clearance of the line, multiple of the electrode's size.

    Returns
    -------
    ndarray, shape (n,)
        The greatest of the three. [m]
    """
    return np.maximum.reduce(
        [
            np.full(len(towers), rules.min_distance_m),
            rules.line_clearance_m + towers.half_width_m,
            rules.electrode_size_multiple * towers.electrode_size_m,
        ]
    )


def lead_length_m(position_m: FloatArray, leg_m: FloatArray, slack_pct: float) -> FloatArray:
    """Lead to pull from the reel: straight from the leg to the stake, with slack.

    Parameters
    ----------
    position_m, leg_m : ndarray, shape (n, 2)
        Stakes and legs in the frames of their towers. [m]
    slack_pct : float
        Of the straight length. [%]

    Returns
    -------
    ndarray, shape (n,)
        [m]

    Examples
    --------
    A stake 100 m east of a tower whose leg stands 3 m nearer to it, with 5 % of slack:

    >>> print(lead_length_m(np.array([[100.0, 0.0]]), np.array([[3.0, 0.0]]), 5.0).round(2), "m")
    [101.85] m
    """
    return np.asarray(np.hypot(*(position_m - leg_m).T) * (1 + slack_pct / 100))


def reel_distance_m(direction: FloatArray, leg_m: FloatArray, reach_m: float) -> FloatArray:
    """Farthest distance from the tower point at which the straight lead from the leg is within reach.

    Parameters
    ----------
    direction : ndarray, shape (n, 2)
        Unit vectors of the rays.
    leg_m : ndarray, shape (n, 2)
        Legs in the frames of their towers. [m]
    reach_m : float
        Straight length that the reel allows. [m]

    Returns
    -------
    ndarray, shape (n,)
        [m]

    Examples
    --------
    From the near leg a lead reaches 3 m farther from the tower's middle, from the far leg 3 m less:

    >>> east = np.array([[1.0, 0.0]] * 2)
    >>> print(reel_distance_m(east, np.array([[3.0, 0.0], [-3.0, 0.0]]), 100.0).round(2), "m")
    [103.  97.] m
    """
    along = np.einsum("ij,ij->i", direction, leg_m)
    across2 = np.einsum("ij,ij->i", leg_m, leg_m) - along**2
    return along + np.sqrt(np.maximum(reach_m**2 - across2, 0.0)) + TOLERANCE_M
