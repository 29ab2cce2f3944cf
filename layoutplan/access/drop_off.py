"""Where the vehicle stops."""

from __future__ import annotations

from dataclasses import dataclass

from layoutplan.arrays import FloatArray


@dataclass(frozen=True, slots=True)
class DropOff:
    """Where the vehicle stops.

    Attributes
    ----------
    place : int
        Where the walk begins, beside the road.
    point_m : ndarray, shape (2,)
        On the road's centreline, in the tower's frame. [m]
    road : int
        Row of the job's roads.
    permit : bool
        Whether stopping, or driving there, needs a permission.
    seconds : float
        From the stop to the tower.
    """

    place: int
    point_m: FloatArray
    road: int
    permit: bool
    seconds: float
