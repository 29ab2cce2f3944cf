"""Heights, slopes and aspects of the ground at any places, from all elevation files of a job."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.terrain.cells import Cells, aspect_deg, bilinear, gradient_between, on_the_ground, slope_deg
from layoutplan.terrain.mosaic import Mosaic

Rows = IntArray | slice
_LONGEST_STEP_M = 2.0


@dataclass(frozen=True, slots=True)
class Dem:
    """Heights of the ground.

    Attributes
    ----------
    mosaics : tuple of Mosaic
        Asked in this order; without any, everything is unknown.
    cell_m : float
        Shortest side of a cell on the ground, infinite without mosaics. [m]
    """

    mosaics: tuple[Mosaic, ...] = ()
    cell_m: float = np.inf

    @property
    def step_m(self) -> float:
        """Distance between neighbouring points of a profile: half a cell, and no more than 2 m. [m].

        Between the cells the ground bends only where it crosses from one to the next, but there it does so sharply: in
        mountains at cells of 90 m, a profile of 142 m is 2.8 m short with half a cell, 0.2 m with 2 m.
        """
        return min(self.cell_m / 2, _LONGEST_STEP_M)

    def first_known(self, count: int, values: Callable[[int, Rows], Cells]) -> Cells:
        """For each of some places the value from the first mosaic that knows it.

        Parameters
        ----------
        count : int
            How many places.
        values : callable
            Takes the number of a mosaic and rows (a slice or indices) of the places, gives their values.

        Returns
        -------
        ndarray, shape (count,)
            NaN where no mosaic knows.
        """
        if not self.mosaics:
            return np.full(count, np.nan)
        out = values(0, slice(None))
        for number in range(1, len(self.mosaics)):
            missing = np.flatnonzero(np.isnan(out))
            if len(missing) == 0:
                break
            out[missing] = values(number, missing)
        return out


def elevation_m(dem: Dem, lonlat_deg: ArrayLike) -> FloatArray:
    """Height of the ground, bilinear between cell centres.

    Parameters
    ----------
    dem : Dem
        Opened by `open_terrain`.
    lonlat_deg : array_like, shape (n, 2)
        Within the reach of the towers that the files were opened for. [deg]

    Returns
    -------
    ndarray, shape (n,)
        Above the files' own datum; NaN where one of the four cells around has weight and is unknown. [m]

    Examples
    --------
    Without an elevation model nothing is known:

    >>> elevation_m(Dem(), [[8.0, 47.0]])
    array([nan])
    """
    lonlat = np.asarray(lonlat_deg, dtype=float).reshape(-1, 2)

    def values(number: int, rows: Rows) -> Cells:
        mosaic = dem.mosaics[number]
        col, row = mosaic.chart.cell_at(lonlat[rows]).T
        return mosaic.at(row, col, bilinear)

    return dem.first_known(len(lonlat), values).astype(float)


def slope_aspect(dem: Dem, lonlat_deg: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Slope and aspect of the ground: Horn's gradient at the cells, bilinear between their centres.

    Parameters
    ----------
    dem : Dem
        Opened by `open_terrain`.
    lonlat_deg : array_like, shape (n, 2)
        Within the reach of the towers that the files were opened for. [deg]

    Returns
    -------
    slope_deg : ndarray, shape (n,)
        0 to 90; NaN where one of the cells around, or a neighbour of theirs, is unknown.
    aspect_deg : ndarray, shape (n,)
        Direction the slope faces (downhill), clockwise from true north, in [0, 360); NaN on level ground, too.

    Notes
    -----
    Metres on the ground per cell are taken at each place, with the turn between the file's north and true north: cells
    may be oblong, in degrees, turned or stretched by the projection.

    References
    ----------
    B. K. P. Horn, "Hill shading and the reflectance map," Proc. IEEE, vol. 69, no. 1, pp. 14-47, Jan. 1981.

    Examples
    --------
    >>> slope_aspect(Dem(), [[8.0, 47.0]])
    (array([nan]), array([nan]))
    """
    lonlat = np.asarray(lonlat_deg, dtype=float).reshape(-1, 2)

    def values(number: int, rows: Rows) -> Cells:
        mosaic = dem.mosaics[number]
        col, row = mosaic.chart.cell_at(lonlat[rows]).T
        return on_the_ground(mosaic.at(row, col, gradient_between), mosaic.chart.jacobian(lonlat[rows]))

    gradient = dem.first_known(len(lonlat), values)
    return slope_deg(gradient), aspect_deg(gradient)
