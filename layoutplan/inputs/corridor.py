"""The strip of land that matters: boxes around the towers, and longitudes that run on across the antimeridian.

Where a tower lies within two degrees of the antimeridian, all longitudes of a job are counted continuously around the
towers' middle, so that they may exceed 180° either way. Elsewhere they are left as they are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from layoutplan.arrays import FloatArray
from layoutplan.inputs.geodetic import Geometries, cut_long
from layoutplan.inputs.systems import WGS84, from_wgs84, is_wgs84
from layoutplan.windows import margins_deg

_CELL_DEG = 0.05  # towers in one cell share a box; 0.05° to 0.1° read fastest from a GeoPackage
_NEAR_ANTIMERIDIAN_DEG = 2.0
_EDGE_POINTS = 9
_WIDEN = 0.01  # of a box's size, for the curvature between its edge points
_INSIDE_DEG = 1e-9


@dataclass(frozen=True)
class LongitudeFrame:
    """How longitudes are counted.

    Attributes
    ----------
    centre_deg : float or None
        Longitudes run from 180° west to 180° east of it; None leaves them as they are.
    """

    centre_deg: float | None = None

    @classmethod
    def around(cls, lonlat_deg: FloatArray) -> LongitudeFrame:
        """Choose the frame for towers.

        Parameters
        ----------
        lonlat_deg : ndarray, shape (n, 2)
            Longitude and latitude. [deg]

        Returns
        -------
        LongitudeFrame
            One that leaves longitudes as they are, away from the antimeridian.
        """
        lon = lonlat_deg[:, 0]
        if len(lon) == 0 or not (180.0 - np.abs(_shift(lon, 0.0)) <= _NEAR_ANTIMERIDIAN_DEG).any():
            return cls()
        return cls(float(np.degrees(np.angle(np.exp(1j * np.radians(lon)).mean()))))

    def points(self, lonlat_deg: FloatArray) -> FloatArray:
        """Return places with the frame's longitudes.

        Parameters
        ----------
        lonlat_deg : ndarray, shape (n, 2)
            Longitude and latitude. [deg]

        Returns
        -------
        ndarray, shape (n, 2)
            [deg]

        Examples
        --------
        Two towers on either side of the antimeridian lie 0.2 degrees apart, not 359.8:

        >>> towers = np.array([[179.9, -17.0], [-179.9, -17.0]])
        >>> print(LongitudeFrame.around(towers).points(towers)[:, 0].round(6), "deg")
        [179.9 180.1] deg
        """
        if self.centre_deg is None:
            return lonlat_deg
        return np.column_stack((_shift(lonlat_deg[:, 0], self.centre_deg), lonlat_deg[:, 1]))

    def geometries(self, geometry: Geometries) -> Geometries:
        """Return the geometries with the frame's longitudes, vertex by vertex, long segments cut.

        What would be torn apart (it lies on the far side of the Earth) stays as it is.

        Parameters
        ----------
        geometry : ndarray of Geometry, shape (n,)
            EPSG:4326.

        Returns
        -------
        ndarray of Geometry, shape (n,)
        """
        if self.centre_deg is None or len(geometry) == 0:
            return geometry
        moved: Geometries = shapely.transform(geometry, self.points)
        whole = np.where(_width(moved) > np.maximum(_width(geometry), 180.0), geometry, moved)
        return cut_long(whole, WGS84)


def _width(geometry: Geometries) -> FloatArray:
    west, _, east, _ = shapely.bounds(geometry).T
    with np.errstate(invalid="ignore"):
        return np.asarray(east - west)


def _shift(lon_deg: FloatArray, centre_deg: float) -> FloatArray:
    """Move longitudes by whole turns to within half a turn of the centre; what is there already stays to the bit."""
    return np.asarray(lon_deg + 360.0 * np.round((centre_deg - lon_deg) / 360.0))


@dataclass(frozen=True)
class Corridor:
    """What is read of a map.

    Attributes
    ----------
    windows_deg : ndarray, shape (n, 4)
        West, south, east, north of each group of towers with the margin, longitudes as in ``frame``.
    frame : LongitudeFrame
    """

    windows_deg: FloatArray
    frame: LongitudeFrame

    @classmethod
    def around(cls, lonlat_deg: FloatArray, margin_m: float, frame: LongitudeFrame) -> Corridor:
        """Lay boxes around towers.

        Parameters
        ----------
        lonlat_deg : ndarray, shape (n, 2)
            Towers, longitudes as in ``frame``. [deg]
        margin_m : float
            Nothing nearer than this to a tower is missed. [m]
        frame : LongitudeFrame
            How longitudes are counted.

        Returns
        -------
        Corridor
            One window for each group of neighbouring towers.
        """
        cell = np.floor(lonlat_deg / _CELL_DEG).astype(np.int64)
        _, group = np.unique(cell, axis=0, return_inverse=True)
        order = np.argsort(group, kind="stable")
        first = np.flatnonzero(np.diff(group[order], prepend=-1))
        low = np.minimum.reduceat(lonlat_deg[order], first)
        high = np.maximum.reduceat(lonlat_deg[order], first)
        east, north = margins_deg(np.maximum(np.abs(low[:, 1]), np.abs(high[:, 1])), margin_m)
        margin = np.column_stack((east, np.full(len(east), north)))
        return cls(np.hstack((low - margin, high + margin)), frame)

    def widened(self, by_m: float) -> Corridor:
        """Return the corridor with windows that reach farther on all sides.

        Parameters
        ----------
        by_m : float
            How much farther. [m]

        Returns
        -------
        Corridor
        """
        east, north = margins_deg(np.abs(self.windows_deg[:, [1, 3]]).max(axis=1), by_m)
        by = np.column_stack((east, np.full(len(east), north)))
        return Corridor(self.windows_deg + np.hstack((-by, by)), self.frame)

    @cached_property
    def _tree(self) -> STRtree:
        west, south, east, north = self.windows_deg.T
        return STRtree(np.atleast_1d(shapely.box(west, south, east, north)))

    def meets(self, geometry: Geometries) -> NDArray[np.bool_]:
        """Mark geometries whose bounding box meets a window.

        Parameters
        ----------
        geometry : ndarray of Geometry, shape (n,)
            Longitudes as in the frame.

        Returns
        -------
        ndarray of bool, shape (n,)
        """
        met = np.zeros(len(geometry), dtype=bool)
        met[self._tree.query(geometry)[0]] = True
        return met

    def meets_box(self, bounds_deg: Sequence[float]) -> bool:
        """Whether a box meets a window.

        Parameters
        ----------
        bounds_deg : sequence of float
            West, south, east, north. [deg]

        Returns
        -------
        bool

        Examples
        --------
        >>> towers = np.array([[8.0, 47.0], [8.01, 47.0]])
        >>> corridor = Corridor.around(towers, 500.0, LongitudeFrame())
        >>> corridor.meets_box((7.0, 46.0, 9.0, 48.0)), corridor.meets_box((8.1, 47.0, 8.2, 47.1))
        (True, False)
        """
        west, south, east, north = bounds_deg
        parts = self.on_globe
        return bool(
            ((parts[:, 0] <= east) & (parts[:, 2] >= west) & (parts[:, 1] <= north) & (parts[:, 3] >= south)).any()
        )

    @cached_property
    def on_globe(self) -> FloatArray:
        """The windows, near the antimeridian in all the ways their longitudes can be counted."""
        if self.frame.centre_deg is None:
            return self.windows_deg
        turned = np.concatenate([self.windows_deg + np.array([turn, 0.0, turn, 0.0]) for turn in (-360.0, 0.0, 360.0)])
        return turned[(turned[:, 0] < 360.0) & (turned[:, 2] > -360.0)]

    def cut(self, geometry: Geometries) -> Geometries:
        """Cut areas in EPSG:4326 that span more than half the Earth to the windows; all else stays as it is.

        Their edges are too long to be drawn straight from one end to the other. Near the antimeridian one that is not
        as wide as the Earth is taken to cross it, as all other things there are.

        Parameters
        ----------
        geometry : ndarray of Geometry, shape (n,)
            EPSG:4326.

        Returns
        -------
        ndarray of Geometry, shape (n,)
        """
        wide = (shapely.get_dimensions(geometry) == 2) & (_width(geometry) > self._widest_deg)
        if not wide.any():
            return geometry
        parts = geometry.copy()
        windows = shapely.union_all(shapely.box(*self.on_globe.T))
        parts[wide] = shapely.intersection(shapely.make_valid(geometry[wide]), windows)
        return parts

    @property
    def _widest_deg(self) -> float:
        return 180.0 if self.frame.centre_deg is None else 360.0 - _INSIDE_DEG

    def boxes(self, crs: pyproj.CRS) -> FloatArray:
        """Return the windows as boxes in a layer's own system.

        Parameters
        ----------
        crs : CRS
            Of the layer.

        Returns
        -------
        ndarray, shape (n, 4)
            Least x and y, greatest x and y, in the system's units.
        """
        if is_wgs84(crs):
            return self.on_globe
        if self.frame.centre_deg is None:
            return _projected(self.windows_deg, crs)
        half = 180.0 - _INSIDE_DEG
        inside = self.on_globe.copy()
        inside[:, [0, 2]] = np.clip(inside[:, [0, 2]], -half, half)
        return _projected(inside[inside[:, 0] < inside[:, 2]], crs)


def _projected(boxes_deg: FloatArray, crs: pyproj.CRS) -> FloatArray:
    """Bounds of boxes in another system, from points along their edges; boxes it cannot express are left out."""
    step = np.linspace(0.0, 1.0, _EDGE_POINTS)
    zero, one = np.zeros_like(step), np.ones_like(step)
    share = np.column_stack((np.r_[step, step, zero, one], np.r_[zero, one, step, step]))
    size = boxes_deg[:, 2:] - boxes_deg[:, :2]
    edge = boxes_deg[:, None, :2] + share[None] * size[:, None]
    moved = np.stack(from_wgs84(crs).transform(edge[..., 0], edge[..., 1]), axis=-1)
    low, high = moved.min(axis=1), moved.max(axis=1)
    pad = (high - low) * _WIDEN
    boxes = np.hstack((low - pad, high + pad))
    return np.asarray(boxes[np.isfinite(boxes).all(axis=1)])
