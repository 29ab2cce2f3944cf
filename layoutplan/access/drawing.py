"""Features, roads and barriers drawn on the lattice about a tower."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from layoutplan.access.ground import NO_ENTRY, PERMIT, YES, WalkingGround
from layoutplan.access.lattice import Geometries, along_lines, inside_areas, outline_segments, shut_moves
from layoutplan.access.placed import CutShapes
from layoutplan.arrays import BoolArray, FloatArray
from layoutplan.job.classes import PERMITTED

OFF_PATH = 1 / 0.6  # time against that on a path: Tobler 1993, see :func:`layoutplan.access.cost.pace_s_per_m`


@dataclass(frozen=True, slots=True)
class Drawing:
    """Draws shapes on a lattice about a tower.

    Attributes
    ----------
    size : int
        Rows and columns.
    cell_m, half_m : float
        Between neighbouring places; from the tower to the outermost ones. [m]
    """

    size: int
    cell_m: float
    half_m: float

    def axis(self) -> FloatArray:
        """East of each column, and north of each row.

        Returns
        -------
        ndarray, shape (size,)
            From the tower. [m]

        Examples
        --------
        >>> print(Drawing(5, 10.0, 20.0).axis(), "m")
        [-20. -10.   0.  10.  20.] m
        """
        return np.asarray(np.arange(self.size) * self.cell_m - self.half_m, dtype=float)

    def drawn(self, shapes: Geometries) -> BoolArray:
        """Mark the places within areas and along lines.

        Parameters
        ----------
        shapes : ndarray of Geometry
            In the tower's frame. [m]

        Returns
        -------
        ndarray of bool, shape (size, size)
            By row and column.

        Examples
        --------
        A path through the tower to the east, on a lattice of 5 by 5 places 10 m apart:

        >>> path = shapely.linestrings([[[0.0, 0.0], [20.0, 0.0]]])
        >>> Drawing(5, 10.0, 20.0).drawn(path)[2]
        array([False, False,  True,  True,  True])
        """
        if len(shapes) == 0:
            return np.zeros((self.size, self.size), dtype=bool)
        start, end, ring = self._pieces(shapes)
        inside = inside_areas(start[ring], end[ring], self.size)
        return inside | along_lines(start[~ring], end[~ring], self.size)

    def shut(self, barriers: Geometries) -> BoolArray:
        """Mark the moves that meet a barrier's outline.

        Parameters
        ----------
        barriers : ndarray of Geometry
            In the tower's frame. [m]

        Returns
        -------
        ndarray of bool, shape (8, size, size)
            By move, row and column, see `shut_moves`.
        """
        start, end, _ = self._pieces(barriers)
        return shut_moves(start, end, self.size)

    def effort(self, ground: WalkingGround, body: CutShapes, roads: CutShapes, barriers: CutShapes) -> FloatArray:
        """Multiple of the time along a path; the slowest of several grounds counts, a path over them all.

        Parameters
        ----------
        ground : WalkingGround
            The whole map.
        body, roads, barriers : Placed
            Features, roads and what nobody passes near the tower. [m]

        Returns
        -------
        ndarray, shape (size, size)
            Infinite within barriers. [-]
        """
        factor = ground.factor[body.row]
        effort = np.ones((self.size, self.size))
        for value in np.unique(factor[np.isfinite(factor) & (factor > 1.0)]).tolist():  # ascending
            effort[self.drawn(body.shape[factor == value])] = value
        effort *= OFF_PATH
        effort[self.drawn(roads.shape[ground.is_open[roads.row]])] = 1.0
        areas = shapely.get_dimensions(barriers.shape) == 2
        effort[self.drawn(barriers.shape[areas])] = np.inf
        return effort

    def ask(self, ground: WalkingGround, body: CutShapes, roads: CutShapes) -> BoolArray:
        """Places where walking needs a permission; a public road or path needs none, save on no-entry land.

        Parameters
        ----------
        ground : WalkingGround
            The whole map.
        body, roads : Placed
            Features and roads near the tower. [m]

        Returns
        -------
        ndarray of bool, shape (size, size)
        """
        kind = ground.feature_class[body.row]
        ask = self.drawn(body.shape[ground.ask[body.row]])
        if ground.permitted_given:
            ask |= ~self.drawn(body.shape[kind == PERMITTED])
        public = ground.is_open[roads.row] & ~ground.is_private[roads.row]
        ask &= ~self.drawn(roads.shape[public])
        return ask | self.drawn(body.shape[(kind == NO_ENTRY) & ground.ask[body.row]])

    def stop(self, ground: WalkingGround, roads: CutShapes) -> BoolArray:
        """Places within a cell of a road's edge where the vehicle may stop, at once and with a permission.

        Parameters
        ----------
        ground : WalkingGround
            The whole map.
        roads : CutShapes
            Roads near the tower. [m]

        Returns
        -------
        ndarray of bool, shape (2, size, size)
            By level, ``YES`` and ``PERMIT``.
        """
        axis = self.axis()
        near = axis**2 + axis[:, None] ** 2 <= ground.settings.radius_m**2
        stop = np.zeros((2, self.size, self.size), dtype=bool)
        for level in (YES, PERMIT):
            here = ground.may_stop[roads.row] == level
            beside = ground.road_width_m[roads.row[here]] / 2 + self.cell_m
            stop[level] = self.drawn(shapely.buffer(roads.shape[here], beside, quad_segs=2)) & near
        return stop

    def _pieces(self, shapes: Geometries) -> tuple[FloatArray, FloatArray, BoolArray]:
        start, end, ring = outline_segments(shapes)
        return (start + self.half_m) / self.cell_m, (end + self.half_m) / self.cell_m, ring
