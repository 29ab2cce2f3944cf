"""From longitude and latitude to a reference system, and on to columns and rows of a raster."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pyproj

from layoutplan.arrays import FloatArray
from layoutplan.inputs.systems import WGS84, from_wgs84, same_crs
from layoutplan.line.geodesy import direct
from layoutplan.terrain.raster_file import RasterFile

_STEP_M = 50.0  # for derivatives by differences
_MOST_BEND = 0.01  # of the difference over twice that step
_SAME_CELL = 0.01  # cells


class Projection:
    """A reference system as seen from longitude and latitude.

    Parameters
    ----------
    crs : CRS

    Raises
    ------
    pyproj.exceptions.ProjError
        Longitude and latitude cannot be turned into it.
    """

    def __init__(self, crs: pyproj.CRS) -> None:
        self.crs = crs
        self._change = None if same_crs(crs, WGS84) else from_wgs84(crs)
        # a full turn of longitude, 360 as a rule; 0 where x is no longitude
        self.turn = 2 * np.pi / crs.axis_info[0].unit_conversion_factor if crs.is_geographic else 0.0

    def xy(self, lonlat_deg: FloatArray) -> FloatArray:
        """Coordinates of places.

        Parameters
        ----------
        lonlat_deg : ndarray, shape (n, 2)
            Longitude and latitude. [deg]

        Returns
        -------
        ndarray, shape (n, 2)
            In the units of the system's axes; longitudes run on like those given; NaN where there are none.
        """
        lon, lat = lonlat_deg.T
        x, y = (lon, lat) if self._change is None else self._change.transform(lon, lat)
        if self.turn:
            x = x + self.turn * np.round(lon / 360.0 - np.asarray(x) / self.turn)
        xy = np.column_stack((x, y))
        return np.where(np.isfinite(xy), xy, np.nan)

    def xy_per_m(self, lonlat_deg: FloatArray) -> FloatArray:
        """Change of the coordinates per metre on the ground.

        Parameters
        ----------
        lonlat_deg : ndarray, shape (n, 2)
            Longitude and latitude. [deg]

        Returns
        -------
        ndarray, shape (n, 2, 2)
            Rows: x, y; columns: per metre east, per metre north. NaN where the system is torn or bent within 50 m (at
            its border, at a pole), so that nothing is known there.

        Examples
        --------
        The scale factor of UTM on its middle meridian is 0.9996; there x runs east and y north:

        >>> print(projection(pyproj.CRS("EPSG:32632")).xy_per_m(np.array([[9.0, 47.0]])).round(4)[0] + 0.0)
        [[0.9996 0.    ]
         [0.     0.9996]]
        """
        here = self.xy(lonlat_deg)
        derivative = np.empty((len(lonlat_deg), 2, 2))
        for axis, bearing_deg in enumerate((90.0, 0.0)):
            ahead, back = self._away(lonlat_deg, bearing_deg), self._away(lonlat_deg, bearing_deg + 180.0)
            bend = np.abs(ahead + back - 2 * here).max(axis=1)
            smooth = bend < _MOST_BEND * np.abs(ahead - back).max(axis=1)
            derivative[:, :, axis] = np.where(smooth[:, None], (ahead - back) / (2 * _STEP_M), np.nan)
        return derivative

    def _away(self, lonlat_deg: FloatArray, bearing_deg: float) -> FloatArray:
        count = len(lonlat_deg)
        return self.xy(direct(lonlat_deg, np.full(count, bearing_deg), np.full(count, _STEP_M)))


@lru_cache(maxsize=32)
def projection(crs: pyproj.CRS) -> Projection:
    """Projection of a system, made once: it takes longer than many look-ups.

    Parameters
    ----------
    crs : CRS
        Of a file.

    Returns
    -------
    Projection

    Raises
    ------
    pyproj.exceptions.ProjError
        Longitude and latitude cannot be turned into it.

    Examples
    --------
    The middle meridian of UTM zone 32 has an easting of 500 km:

    >>> print(projection(pyproj.CRS("EPSG:32632")).xy(np.array([[9.0, 0.0]])).round(3) + 0.0, "m")
    [[500000.      0.]] m
    """
    return Projection(crs)


@dataclass(frozen=True, slots=True)
class Chart:
    """Columns and rows of a raster; 0, 0 is the centre of its first cell.

    Attributes
    ----------
    projection : Projection
    centre : ndarray, shape (2,)
        Coordinates of the centre of the first cell.
    step : ndarray, shape (2, 2)
        Rows: x, y; columns: per column, per row.
    """

    projection: Projection
    centre: FloatArray
    step: FloatArray

    def cell(self, xy: FloatArray) -> FloatArray:
        """Column and row of coordinates.

        Parameters
        ----------
        xy : ndarray, shape (n, 2)
            In the units of the system's axes.

        Returns
        -------
        ndarray, shape (n, 2)
            Fractions of a cell; 0, 0 is the centre of the first cell.

        Examples
        --------
        Cells of 10 m from the north-west; 25 m east and 10 m south of the centre of the first one:

        >>> chart = Chart(projection(pyproj.CRS("EPSG:32632")), np.array([500000.0, 5200000.0]), np.diag([10.0, -10.0]))
        >>> chart.cell(np.array([[500025.0, 5199990.0]]))
        array([[2.5, 1. ]])
        """
        return np.asarray(np.linalg.solve(self.step, (xy - self.centre).T).T, dtype=float)

    def cell_at(self, lonlat_deg: FloatArray) -> FloatArray:
        """Column and row of places.

        Parameters
        ----------
        lonlat_deg : ndarray, shape (n, 2)
            Longitude and latitude. [deg]

        Returns
        -------
        ndarray, shape (n, 2)
            Fractions of a cell; NaN where the reference system has no such place.
        """
        return self.cell(self.projection.xy(lonlat_deg))

    def jacobian(self, lonlat_deg: FloatArray) -> FloatArray:
        """Columns and rows (rows of the matrices) per metre east and north (their columns).

        Parameters
        ----------
        lonlat_deg : ndarray, shape (n, 2)
            Longitude and latitude. [deg]

        Returns
        -------
        ndarray, shape (n, 2, 2)
            Cells per metre; NaN where the reference system is torn.
        """
        return np.asarray(np.linalg.solve(self.step, self.projection.xy_per_m(lonlat_deg)))

    def offset_of(self, other: Chart, cells: int) -> tuple[int, int] | None:
        """Row and column of another chart's first cell, or None if its cells are not those of this one.

        Parameters
        ----------
        other : Chart
            Of another file.
        cells : int
            Along the longer side of the other; cells must agree to a hundredth over all of it.

        Returns
        -------
        row, col : int
            In cells of this chart; None in place of both where the cells are not the same.

        Examples
        --------
        A file of the same cells, 20 of them to the east, and one shifted by half a cell:

        >>> utm, cell = projection(pyproj.CRS("EPSG:32632")), np.diag([10.0, -10.0])
        >>> here, there, beside = (Chart(utm, np.array([x, -50.0]), cell) for x in (0.0, 200.0, 205.0))
        >>> here.offset_of(there, 100), here.offset_of(beside, 100)
        ((0, 20), None)
        """
        col, row = place = self.cell(other.centre[None])[0]
        stretch = np.abs(np.linalg.solve(self.step, other.step) - np.eye(2)).max() * cells
        if max(np.abs(place - np.round(place)).max(), stretch) > _SAME_CELL:
            return None
        alike = self.projection is other.projection or same_crs(self.projection.crs, other.projection.crs)
        return (round(row), round(col)) if alike else None


def chart_of(file: RasterFile, turns: int = 0) -> Chart:
    """Chart of a file, moved by whole turns of longitude to meet longitudes that run on beyond 180 degrees.

    Parameters
    ----------
    file : RasterFile
        The file's header.
    turns : int
        Whole turns of longitude to move it by.

    Returns
    -------
    Chart
    """
    a, b, c, d, e, f = file.transform
    step, of = np.array([[a, b], [d, e]]), projection(file.crs)
    return Chart(of, np.array([c + turns * of.turn, f]) + step @ [0.5, 0.5], step)
