"""Where the leads start: one and the same leg of the tower (common practice, no published source)."""

from __future__ import annotations

import numpy as np

from layoutplan.arrays import FloatArray, StrArray

# Legs by structure kind, as (name, metres to the right, metres ahead) for a base width of 1 m, facing increasing order.
# A three-legged tower is taken to stand with one leg ahead, at the corners of an equilateral triangle.
_LEGS: dict[str, list[tuple[str, float, float]]] = {
    "lattice_4": [
        ("right ahead", 0.5, 0.5),
        ("right back", 0.5, -0.5),
        ("left back", -0.5, -0.5),
        ("left ahead", -0.5, 0.5),
    ],
    "lattice_3": [
        ("right back", 0.5, -(3**0.5) / 6),
        ("left back", -0.5, -(3**0.5) / 6),
        ("ahead", 0.0, 3**0.5 / 3),
    ],
    "frame_2": [("right", 0.5, 0.0), ("left", -0.5, 0.0)],
}


def leg_offsets(
    structure: StrArray, base_width_m: FloatArray, line_bearing_deg: FloatArray, wanted: str
) -> tuple[StrArray, FloatArray]:
    """Name and place of the leg at which both leads of each tower start.

    Parameters
    ----------
    structure : ndarray of str, shape (n,)
        Kind of each tower: lattice_4, lattice_3, frame_2, or another without named legs.
    base_width_m : ndarray, shape (n,)
        Between adjacent legs; NaN where unknown. [m]
    line_bearing_deg : ndarray, shape (n,)
        Direction of the line at the tower. [deg]
    wanted : str
        The leg the job asks for; a structure without such a leg gets the one nearest to it.

    Returns
    -------
    leg : ndarray of str, shape (n,)
        Empty where no leg can be named.
    leg_xy_m : ndarray, shape (n, 2)
        East and north of the tower point; 0 where no leg is named. [m]

    Examples
    --------
    A tower of 6 m base on a line to the east: its right leg ahead stands 3 m east and 3 m south.

    >>> leg, xy = leg_offsets(np.array(["lattice_4"]), np.array([6.0]), np.array([90.0]), "right ahead")
    >>> print(leg, xy.round(3), "m")
    ['right ahead'] [[ 3. -3.]] m
    """
    name = np.full(len(structure), "", dtype="<U11")
    right, ahead = np.zeros(len(structure)), np.zeros(len(structure))
    for kind, legs in _LEGS.items():
        chosen = _nearest_leg(legs, wanted)
        mine = (structure == kind) & ~np.isnan(base_width_m)
        name[mine] = chosen[0]
        right[mine], ahead[mine] = chosen[1] * base_width_m[mine], chosen[2] * base_width_m[mine]
    bearing = np.radians(line_bearing_deg)
    east = ahead * np.sin(bearing) + right * np.cos(bearing)
    north = ahead * np.cos(bearing) - right * np.sin(bearing)
    return name, np.column_stack((east, north))


def from_leg(leg_xy_m: FloatArray, bearing_deg: FloatArray, distance_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Bearing and distance of places from the leg at which the leads start.

    Parameters
    ----------
    leg_xy_m : ndarray, shape (n, 2)
        East and north of the tower point; 0 for the tower's middle. [m]
    bearing_deg, distance_m : ndarray, shape (n,)
        From the tower point. [deg], [m]

    Returns
    -------
    bearing_deg, distance_m : ndarray, shape (n,)

    Examples
    --------
    A stake 50 m to the north, seen from a leg 3 m east and 4 m north of the tower's middle:

    >>> bearing, distance = from_leg(np.array([[3.0, 4.0]]), np.array([0.0]), np.array([50.0]))
    >>> print(bearing.round(2), "deg", distance.round(3), "m")
    [356.27] deg [46.098] m
    """
    bearing = np.radians(bearing_deg)
    east, north = distance_m * np.sin(bearing) - leg_xy_m[:, 0], distance_m * np.cos(bearing) - leg_xy_m[:, 1]
    return np.mod(np.degrees(np.arctan2(east, north)), 360.0), np.hypot(east, north)


def _nearest_leg(legs: list[tuple[str, float, float]], wanted: str) -> tuple[str, float, float]:
    across = (wanted.startswith("right")) - (wanted.startswith("left"))
    along = wanted.endswith("ahead") - wanted.endswith("back")
    return min(legs, key=lambda leg: np.hypot(leg[1] - 0.5 * across, leg[2] - 0.5 * along))
