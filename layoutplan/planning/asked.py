"""Everything that siting asks beside the map, put together."""

from __future__ import annotations

from dataclasses import dataclass

from layoutplan.access import NO_WALKS, WalkFigures
from layoutplan.arrays import FloatArray, IntArray
from layoutplan.exposure import FanTerms
from layoutplan.terrain import SlopeFigures


@dataclass(frozen=True, slots=True)
class Asked:
    """Voltages, readings, ground and walks of a section of towers; see :class:`layoutplan.siting.figures.Figures`."""

    electrics: FanTerms
    ground: SlopeFigures
    walks: WalkFigures = NO_WALKS

    def __call__(self, tower: IntArray, bearing_deg: FloatArray, distance_m: FloatArray) -> dict[str, FloatArray]:
        """Figures of (n, k) positions on n bearings, by name; NaN where unknown."""
        places = tower, bearing_deg, distance_m
        return self.electrics(*places) | self.ground(*places) | self.walks(*places)

    def coupling_pct(self, tower: int, bearing_deg: FloatArray, distance_m: FloatArray) -> FloatArray:
        """Coupling between the leads to every two of n positions of one tower, see `Figures`.

        Parameters
        ----------
        tower : int
            Row of the section.
        bearing_deg, distance_m : ndarray, shape (n,)
            The positions, from the tower point. [deg], [m]

        Returns
        -------
        ndarray, shape (n, n)
            NaN where unknown. [%]
        """
        return self.electrics.coupling_pct(tower, bearing_deg, distance_m)

    def pair_bias_pct(self, tower: int, bearing_deg: FloatArray, distance_m: FloatArray) -> FloatArray:
        """Bias of the reading for every two of n positions of one tower, see `Figures`.

        Parameters
        ----------
        tower : int
            Row of the section.
        bearing_deg, distance_m : ndarray, shape (n,)
            The positions, from the tower point. [deg], [m]

        Returns
        -------
        ndarray, shape (n, n)
            NaN where unknown. [%]
        """
        return self.electrics.pair_bias_pct(tower, bearing_deg, distance_m)

    def rows(self, index: IntArray) -> Asked:
        """Return the figures of some of the towers.

        Parameters
        ----------
        index : ndarray of int
            Rows to keep.

        Returns
        -------
        Asked
        """
        return Asked(self.electrics.rows(index), self.ground.rows(index), self.walks.rows(index))
