"""The map's frame on the page: its scale, and where places on the ground fall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.inputs.geodetic import metres_per_degree
from layoutplan.outputs.sheets.facts import Sheet
from layoutplan.outputs.sheets.pen import MM, Box

SCALES = (500, 1000, 2000, 2500, 5000, 10000, 20000, 25000, 50000)
_TO_SPARE = 1.24  # 12 % on each side
_ALONE_M = 150.0  # shown around a tower without stakes


@dataclass(frozen=True, slots=True)
class Panel:
    """A map, true north up.

    Attributes
    ----------
    box : Box
        On the page. [mm]
    scale : int
    origin : ndarray, shape (2,)
        Longitude and latitude of the tower. [deg]
    metres : ndarray, shape (2,)
        Per degree of longitude and latitude at the tower.
    middle_m : ndarray, shape (2,)
        Middle of the map, east and north of the tower. [m]
    """

    box: Box
    scale: int
    origin: FloatArray
    metres: FloatArray
    middle_m: FloatArray

    @property
    def mm_per_m(self) -> float:
        """Millimetres on paper for a metre on the ground."""
        return 1000.0 / self.scale

    def metres_of(self, lonlat: FloatArray) -> FloatArray:
        """East and north of the tower.

        Parameters
        ----------
        lonlat : ndarray, shape (n, 2)
            Longitude and latitude. [deg]

        Returns
        -------
        ndarray, shape (n, 2)
            Flat about the tower. [m]
        """
        return np.asarray((lonlat - self.origin) * self.metres)

    def mm_of(self, xy_m: FloatArray) -> FloatArray:
        """Place on the page.

        Parameters
        ----------
        xy_m : ndarray, shape (n, 2)
            East and north of the tower. [m]

        Returns
        -------
        ndarray, shape (n, 2)
            [mm]

        Examples
        --------
        A map of 100 mm by 80 mm at 1:1000 with the tower in its middle; a stake 20 m to the east:

        >>> panel = Panel(Box(10.0, 10.0, 100.0, 80.0), 1000, np.zeros(2), np.ones(2), np.zeros(2))
        >>> print(panel.mm_of(np.array([[0.0, 0.0], [20.0, 0.0]])), "mm")
        [[60. 50.]
         [80. 50.]] mm
        """
        centre = np.array([self.box.left + self.box.width / 2, self.box.bottom + self.box.height / 2])
        return np.asarray(centre + (np.asarray(xy_m) - self.middle_m) * self.mm_per_m)

    def points_of(self, lonlat: FloatArray) -> FloatArray:
        """Place on the page.

        Parameters
        ----------
        lonlat : ndarray, shape (n, 2)
            Longitude and latitude. [deg]

        Returns
        -------
        ndarray, shape (n, 2)
            [points]
        """
        return self.mm_of(self.metres_of(lonlat)) * MM

    def corners_m(self, margin_m: float = 0.0) -> tuple[float, float, float, float]:
        """Edges from the tower.

        Parameters
        ----------
        margin_m : float
            Beyond the map. [m]

        Returns
        -------
        west, south, east, north : float
            [m]

        Examples
        --------
        >>> panel = Panel(Box(10.0, 10.0, 100.0, 80.0), 1000, np.zeros(2), np.ones(2), np.zeros(2))
        >>> panel.corners_m()
        (-50.0, -40.0, 50.0, 40.0)
        """
        half = np.array([self.box.width, self.box.height]) / 2 / self.mm_per_m + margin_m
        return (*(self.middle_m - half).tolist(), *(self.middle_m + half).tolist())

    def window(self, margin_m: float = 0.0) -> tuple[float, float, float, float]:
        """Edges of the map.

        Parameters
        ----------
        margin_m : float
            Beyond the map. [m]

        Returns
        -------
        west, south, east, north : float
            [deg]
        """
        corners = np.array(self.corners_m(margin_m)).reshape(2, 2) / self.metres + self.origin
        return tuple(corners.ravel().tolist())  # type: ignore[return-value]


def tower_panel(sheet: Sheet, box: Box) -> Panel:
    """Map of a tower: at the largest round scale that holds tower and stakes with 12 % to spare.

    Parameters
    ----------
    sheet : Sheet
        Facts of the tower.
    box : Box
        On the page. [mm]

    Returns
    -------
    Panel
    """
    lonlat = np.array([[row.lon, row.lat] for row in (sheet.tower, *sheet.stakes)])
    metres = np.array(metres_per_degree(lonlat[0, 1]))
    xy = (lonlat - lonlat[0]) * metres
    if len(xy) == 1:
        xy = np.array([[-1, -1], [1, 1]]) * _ALONE_M / _TO_SPARE
    return panel_around(xy, lonlat[0], metres, box)


def panel_around(
    xy_m: FloatArray,
    origin: FloatArray,
    metres: FloatArray,
    box: Box,
    scales: Sequence[int] = SCALES,
    spare: float = _TO_SPARE,
) -> Panel:
    """Map that holds points with room to spare, at the first of some scales or beyond them at one of two digits.

    Parameters
    ----------
    xy_m : ndarray, shape (n, 2)
        East and north of the origin. [m]
    origin : ndarray, shape (2,)
        Longitude and latitude. [deg]
    metres : ndarray, shape (2,)
        Per degree of longitude and latitude there. [m]
    box : Box
        On the page. [mm]
    scales : sequence of int
        Ascending.
    spare : float
        Multiple of what the points take.

    Returns
    -------
    Panel

    Examples
    --------
    160 m between two stakes need 198 m; on 100 mm of paper that is 1:2000:

    >>> points = np.array([[-80.0, 0.0], [80.0, 0.0]])
    >>> panel_around(points, np.zeros(2), np.ones(2), Box(0.0, 0.0, 100.0, 100.0)).scale
    2000
    """
    low, high = xy_m.min(axis=0), xy_m.max(axis=0)
    needed = float(np.max((high - low) * spare * 1000 / np.array([box.width, box.height])))
    scale = next((scale for scale in scales if scale >= needed), None)
    if scale is None:  # a whole line on the cover
        step = 10 ** (np.floor(np.log10(needed)) - 1)
        scale = int(step * np.ceil(needed / step))
    return Panel(box, scale, origin, metres, (low + high) / 2)


def lines_of(shapes: NDArray[np.object_]) -> NDArray[np.object_]:
    """All line strings in some geometries, rings of areas left out.

    Parameters
    ----------
    shapes : ndarray of Geometry
        Of any kind.

    Returns
    -------
    ndarray of LineString
    """
    parts = shapely.get_parts(shapely.get_parts(shapes))
    return np.asarray(parts[shapely.get_type_id(parts) == 1], dtype=object)


def areas_of(shapes: NDArray[np.object_]) -> NDArray[np.object_]:
    """All polygons in some geometries.

    Parameters
    ----------
    shapes : ndarray of Geometry
        Of any kind.

    Returns
    -------
    ndarray of Polygon
    """
    parts = shapely.get_parts(shapely.get_parts(shapes))
    return np.asarray(parts[shapely.get_type_id(parts) == 3], dtype=object)


def line_ops(lines: NDArray[np.object_], panel: Panel, *, metric: bool = False) -> list[str]:
    """Path operators of line strings; ``metric`` ones are in metres from the tower.

    Parameters
    ----------
    lines : ndarray of LineString
        Longitude and latitude. [deg]
    panel : Panel
        The map.
    metric : bool
        Whether they are in metres from the tower instead.

    Returns
    -------
    list of str
        [points]
    """
    return _ops(lines, panel, "", metric)


def area_ops(areas: NDArray[np.object_], panel: Panel, *, metric: bool = False) -> list[str]:
    """Path operators of polygons with their holes.

    Parameters
    ----------
    areas : ndarray of Polygon
        Longitude and latitude. [deg]
    panel : Panel
        The map.
    metric : bool
        Whether they are in metres from the tower instead.

    Returns
    -------
    list of str
        [points]
    """
    return _ops(shapely.get_rings(areas), panel, " h", metric)


def _ops(lines: NDArray[np.object_], panel: Panel, close: str, metric: bool) -> list[str]:
    if len(lines) == 0:
        return []
    coords, row = shapely.get_coordinates(lines, return_index=True)
    points = panel.mm_of(coords) * MM if metric else panel.points_of(coords)
    counts = np.bincount(row, minlength=len(lines))
    flat, ops, start = points.ravel().tolist(), [], 0
    for count in counts.tolist():
        end = start + 2 * count
        if count > 1:
            ops.append(("%.2f %.2f m" + " %.2f %.2f l" * (count - 1) + close) % tuple(flat[start:end]))
        start = end
    return ops
