"""The lines of a job as flat arrays: one row per tower, one row per straight piece of conductor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray, IntArray, StrArray


@dataclass(frozen=True, slots=True)
class Towers:
    """All towers to plan, line by line in line order; every array has one row per tower.

    Attributes
    ----------
    line_id, tower_id, structure, leg : ndarray of str
    order : ndarray of int
        1, 2, … within the line.
    lonlat_deg : ndarray, shape (n, 2)
    structure_no : ndarray of int
        Towers of several lines with the same number are one structure (:mod:`layoutplan.line.structures`).
    chainage_m : ndarray
        Distance along the line from its start.
    adjoining_deg : ndarray, shape (n, k)
        True bearings from the tower along every span that ends there (branches included), NaN where there are fewer.
    adjoining_name : ndarray of str, shape (n, k)
        Where those spans lead; empty where there are fewer.
    line_bearing_deg : ndarray
        Direction of the line at the tower in increasing order: of the bisector at an angle tower, of the only span at
        a terminal tower.
    back_deg, ahead_deg : ndarray
        True bearings towards the towers before and after; at a terminal tower the missing one continues the line.
    deflection_deg : ndarray
        Turn of the line, positive to the right; 0 at terminal towers.
    half_width_m, base_width_m, electrode_size_m : ndarray
        ``base_width_m`` is NaN where unknown; ``electrode_size_m`` never is, see ``size_assumed``.
    size_assumed : ndarray of bool
        Whether the size of the tower's earth electrode is an assumption.
    footing_ohm, soil_ohm_m : ndarray
        Resistance of the footing alone, and soil resistivity, as given; NaN where unknown.
    leg_xy_m : ndarray, shape (n, 2)
        Where the leads start, east and north of the tower point; 0 where no leg is named.
    """

    line_id: StrArray
    tower_id: StrArray
    structure: StrArray
    leg: StrArray
    order: IntArray
    lonlat_deg: FloatArray
    structure_no: IntArray
    chainage_m: FloatArray
    adjoining_deg: FloatArray
    adjoining_name: StrArray
    line_bearing_deg: FloatArray
    back_deg: FloatArray
    ahead_deg: FloatArray
    deflection_deg: FloatArray
    half_width_m: FloatArray
    base_width_m: FloatArray
    electrode_size_m: FloatArray
    size_assumed: NDArray[np.bool_]
    footing_ohm: FloatArray
    soil_ohm_m: FloatArray
    leg_xy_m: FloatArray

    def __len__(self) -> int:
        """Return the number of towers."""
        return len(self.order)

    def rows(self, index: NDArray[np.int64] | slice) -> Towers:
        """Return some of the towers.

        Parameters
        ----------
        index : ndarray of int, or slice
            Rows to keep.

        Returns
        -------
        Towers
        """
        return Towers(*(getattr(self, name)[index] for name in self.__slots__))


@dataclass(frozen=True, slots=True)
class Spans:
    """Straight pieces of the planned lines' axes; a span is one piece unless its centreline bends on the way.

    ``from_tower`` and ``to_tower`` are empty where the line goes on beyond the first or last tower; ``from_structure``
    and ``to_structure`` are the numbers of their structures, those of :class:`Towers`, -1 where the piece does not
    start or end at a tower.
    """

    line_id: StrArray
    from_tower: StrArray
    to_tower: StrArray
    start_deg: FloatArray
    end_deg: FloatArray
    half_width_m: FloatArray
    from_structure: IntArray
    to_structure: IntArray

    def __len__(self) -> int:
        """Return the number of pieces."""
        return len(self.half_width_m)


@dataclass(frozen=True, slots=True)
class LineModel:
    """Towers and spans of all lines, with warnings and assumptions."""

    towers: Towers
    spans: Spans
    offsets_m: FloatArray
    problems: tuple[str, ...]
    assumptions: tuple[str, ...]
