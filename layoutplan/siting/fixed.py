"""Stakes that people have fixed: they stay, and the other stake of the tower is chosen around them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.job import Rules
from layoutplan.line.geodesy import turn_deg
from layoutplan.line.model import Towers
from layoutplan.siting.choose import Choice, RayBest
from layoutplan.siting.rays import ANGLE_TOLERANCE_DEG, make_rays


@dataclass(frozen=True, slots=True)
class Fixed:
    """Fixed stakes, at most one H and one S for each tower; one entry each."""

    tower: IntArray
    role: NDArray[np.str_]
    bearing_deg: FloatArray
    distance_m: FloatArray

    def __len__(self) -> int:
        """Return the number of stakes."""
        return len(self.tower)

    def take(self, rows: IntArray | NDArray[np.bool_]) -> Fixed:
        """Return some of the stakes.

        Parameters
        ----------
        rows : ndarray of int or bool
            Rows to keep.

        Returns
        -------
        Fixed
        """
        return Fixed(*(getattr(self, name)[rows] for name in self.__slots__))

    def of_section(self, first: int, count: int) -> Fixed:
        """Return the stakes of some towers; tower numbers then count from the first of them.

        Parameters
        ----------
        first, count : int
            First tower of the section, and how many it has.

        Returns
        -------
        Fixed
        """
        part = self.take((self.tower >= first) & (self.tower < first + count))
        return replace(part, tower=part.tower - first)


NO_FIXED = Fixed(np.zeros(0, dtype=np.int64), np.zeros(0, dtype="<U1"), np.zeros(0), np.zeros(0))


def around_fixed(choice: Choice, best: RayBest, fixed: Fixed, towers: Towers, rules: Rules) -> tuple[Choice, Fixed]:
    """Choose the other stake of every tower that has a fixed one.

    Parameters
    ----------
    choice : Choice
        What would be chosen if nothing were fixed.
    best : RayBest
        Positions to choose from.
    fixed : Fixed
        Stakes that stay where they are.
    towers : Towers
        Of the section.
    rules : Rules
        Whether stakes may stand on one side, and the angle between their leads.

    Returns
    -------
    choice : Choice
        Without the roles that are fixed.
    fixed : Fixed
        Sorted; stakes of towers where nothing goes with them are left out.
    """
    if not len(fixed):
        return choice, fixed
    fixed = fixed.take(np.lexsort((fixed.bearing_deg, fixed.tower)))
    side = make_rays(towers, fixed.tower, fixed.bearing_deg, rules).side
    h, s, same_side = choice.h.copy(), choice.s.copy(), choice.same_side.copy()
    keep = np.ones(len(fixed), dtype=bool)
    for tower in np.unique(fixed.tower).tolist():
        mine = np.flatnonzero(fixed.tower == tower)
        h[tower] = s[tower] = -1
        if len(mine) == 2:
            same_side[tower] = side[mine[0]] == side[mine[1]]
            continue
        row = _partner(best, tower, float(fixed.bearing_deg[mine[0]]), int(side[mine[0]]), rules)
        if row < 0:
            keep[mine] = False
            continue
        (s if fixed.role[mine[0]] == "H" else h)[tower] = row
        same_side[tower] = best.side[row] == side[mine[0]]
    return replace(choice, h=h, s=s, same_side=same_side & _complete(h, s, fixed.take(keep))), fixed.take(keep)


def _partner(best: RayBest, tower: int, bearing_deg: float, side: int, rules: Rules) -> int:
    """Best position on the other side, or, as the job lets it, on the same side with enough angle; -1 if none."""
    rows = np.flatnonzero(best.tower == tower)
    opposite = best.side[rows] != side
    apart = (
        np.abs(turn_deg(best.bearing_deg[rows] - bearing_deg)) >= rules.same_side_min_angle_deg - ANGLE_TOLERANCE_DEG
    )
    other = rows[opposite]
    if rules.sides == "scored":
        other = rows[opposite | apart]
    elif len(other) == 0 and rules.sides == "preferred":
        other = rows[apart]
    return int(other[np.argmin(best.score[other])]) if len(other) else -1


def _complete(h: IntArray, s: IntArray, fixed: Fixed) -> NDArray[np.bool_]:
    count = (h >= 0).astype(np.int64) + (s >= 0)
    np.add.at(count, fixed.tower, 1)
    return np.asarray(count == 2)
