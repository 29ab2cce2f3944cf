"""Minutes on foot to any position: what siting asks while it chooses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layoutplan.access.walks import Walks, walk_minutes
from layoutplan.arrays import FloatArray, IntArray

CUT_OFF_MIN = 60.0  # counted where nobody is known to get on foot: last choice, not forbidden (judgement)


@dataclass(frozen=True, slots=True)
class WalkFigures:
    """Walks of a section of towers; None, or an empty sequence, where no ways are looked for."""

    walks: Sequence[Walks | None] = ()

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
            ``walk_min``, from the tower; ``CUT_OFF_MIN`` where nobody gets on foot, NaN where unknown.
        """
        minutes = np.full(distance_m.shape, np.nan)
        if self.walks:
            for one in np.unique(tower).tolist():
                walks = self.walks[one]
                if walks is not None:
                    rows = tower == one
                    minutes[rows] = _minutes(walks, bearing_deg[rows], distance_m[rows])
        return {"walk_min": minutes}

    def rows(self, index: IntArray) -> WalkFigures:
        """Return the figures of some of the towers.

        Parameters
        ----------
        index : ndarray of int
            Rows to keep.

        Returns
        -------
        WalkFigures
        """
        return WalkFigures([self.walks[row] for row in index.tolist()] if self.walks else ())


def _minutes(walks: Walks, bearing_deg: FloatArray, distance_m: FloatArray) -> FloatArray:
    bearing = np.radians(bearing_deg)[:, None]
    xy = np.stack((distance_m * np.sin(bearing), distance_m * np.cos(bearing)), axis=-1)
    found = walk_minutes(walks, xy.reshape(-1, 2), from_tower=True).reshape(distance_m.shape)
    return np.where(np.isinf(found), CUT_OFF_MIN, found)


NO_WALKS = WalkFigures()
