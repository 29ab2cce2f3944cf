"""The stakes that a job fixes, found among the towers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import BoolArray, FloatArray, IntArray
from layoutplan.errors import JobError
from layoutplan.job import Job
from layoutplan.job.model import FixedStake
from layoutplan.line import Towers
from layoutplan.line.geodesy import inverse
from layoutplan.siting.fixed import Fixed

_SAME_PLACE_M = 0.05  # positions are written and read back to centimetres
_FARTHEST_REELS = 3.0  # a stake farther than so many reels from its tower is a mistake in the figures (judgement)


def fixed_stakes(job: Job, towers: Towers) -> Fixed:
    """Stakes of ``[[fixed]]`` as their towers see them.

    Parameters
    ----------
    job : Job
        Its fixed stakes.
    towers : Towers
        All of the plan.

    Returns
    -------
    Fixed

    Raises
    ------
    JobError
        If there is no such tower, or several, a role twice, or a place that cannot be meant.
    """
    rows = [_tower_of(number, job, towers) for number in range(len(job.fixed))]
    roles = [item.role for item in job.fixed]
    for number, key in enumerate(zip(rows, roles, strict=True)):
        if key in list(zip(rows, roles, strict=True))[:number]:
            raise JobError(f"fixed[{number}]: stake {key[1]} of tower {job.fixed[number].tower} is fixed twice.")
    tower = np.array(rows, dtype=np.int64)
    place = np.array([(item.lon, item.lat) for item in job.fixed], dtype=float).reshape(-1, 2)
    bearing, distance = inverse(towers.lonlat_deg[tower], place)
    for number, away in enumerate(distance.tolist()):
        if away > _FARTHEST_REELS * job.rules.reach_m or away < 1.0:
            raise JobError(
                f"fixed[{number}]: stake {roles[number]} would stand {away:,.0f} m from tower "
                f"{job.fixed[number].tower}. Check lon and lat, and that they are not swapped."
            )
    return Fixed(tower, np.array(roles, dtype="<U1"), bearing, distance)


def is_fixed(job: Job, towers: Towers, tower: IntArray, role: NDArray[np.str_], lonlat_deg: FloatArray) -> BoolArray:
    """Mark the stakes that stand where the job fixes them.

    Parameters
    ----------
    job : Job
        Its fixed stakes.
    towers : Towers
        All of the plan.
    tower : ndarray of int, shape (n,)
        Rows of ``towers``.
    role : ndarray of str, shape (n,)
        ``"H"`` or ``"S"``.
    lonlat_deg : ndarray, shape (n, 2)
        Longitudes may run on across the antimeridian. [deg]

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    wanted: dict[tuple[str, str], list[FixedStake]] = {}
    for item in job.fixed:
        wanted.setdefault((item.tower, item.role), []).append(item)
    ids, lines = towers.tower_id[tower].tolist(), towers.line_id[tower].tolist()
    place = [
        next(((item.lon, item.lat) for item in wanted.get(key, ()) if item.line in (None, line)), (np.nan, np.nan))
        for key, line in zip(zip(ids, role.tolist(), strict=True), lines, strict=True)
    ]
    fixed = np.array(place, dtype=float).reshape(-1, 2)
    named = np.flatnonzero(~np.isnan(fixed[:, 0]))
    _, away_m = inverse(lonlat_deg[named], fixed[named])
    return np.isin(np.arange(len(tower)), named[away_m <= _SAME_PLACE_M])


def _tower_of(number: int, job: Job, towers: Towers) -> int:
    item = job.fixed[number]
    mine = (towers.tower_id == item.tower) & ((towers.line_id == item.line) if item.line else True)
    rows = np.flatnonzero(mine)
    if len(rows) == 1:
        return int(rows[0])
    if len(rows) > 1:
        lines = ", ".join(towers.line_id[rows].tolist())
        raise JobError(f'fixed[{number}]: tower {item.tower} stands in lines {lines}; add line = "…".')
    near = ", ".join(towers.tower_id[:5].tolist())
    where = f" of line '{item.line}'" if item.line else ""
    raise JobError(f"fixed[{number}]: no tower '{item.tower}'{where}; there are for instance {near}.")
