"""How a length on the grid compares with the length on the ground, and grid north with true north."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyproj
from numpy.typing import ArrayLike

from layoutplan.arrays import FloatArray
from layoutplan.outputs.grid import Grid

MEAN_RADIUS_M = 6_372_161.0
"""Mean radius of the Earth for reducing lengths: 20,906,000 US survey feet. [m]

J. E. Stem, State Plane Coordinate System of 1983, NOAA Manual NOS NGS 5, section 4 (as quoted in public sources).
"""
_CONFORMAL = 1e-7  # by how much scales in two directions may differ: a tenth of a millimetre in a kilometre
_STEP_RAD = 5e-5  # some 300 m: neither the curvature of the grid nor the last digits of a position show


@dataclass(frozen=True, slots=True)
class GridFactors:
    """Figures of the grid at some points; NaN where unknown.

    Attributes
    ----------
    scale : ndarray
        Length on the grid over length on the ellipsoid; NaN where it depends on the direction.
    elevation : ndarray
        Length on the ellipsoid over horizontal length at the height of the ground.
    convergence_deg : ndarray
        Grid bearing = true bearing - convergence. [deg]
    largest : ndarray
        The scale in the direction in which it is largest.
    """

    scale: FloatArray
    elevation: FloatArray
    convergence_deg: FloatArray
    largest: FloatArray

    @property
    def combined(self) -> FloatArray:
        """Length on the grid over horizontal length on the ground."""
        return self.scale * self.elevation


def grid_factors(grid: Grid, positions: ArrayLike, elevation_m: ArrayLike) -> GridFactors:
    """Figures of the grid at points in it.

    Parameters
    ----------
    grid : Grid
        A projected system.
    positions : array_like, shape (n, 2)
        Easting and northing in the grid's unit.
    elevation_m : array_like, shape (n,)
        Height of the ground, taken as the height above the ellipsoid; NaN if unknown. [m]

    Returns
    -------
    GridFactors
        n of each. [-], convergence [deg]

    Examples
    --------
    On the middle meridian of a UTM zone lengths are 0.9996 of those on the ellipsoid, and grid north is true north:

    >>> import pyproj
    >>> from layoutplan.outputs.grid import Unit
    >>> utm = Grid(pyproj.CRS("EPSG:32632"), Unit("metre", "m", 1.0, 6, True))
    >>> found = grid_factors(utm, [[500000.0, 5200000.0]], [0.0])
    >>> print(found.scale.round(6), (found.convergence_deg + 0.0).round(6), "deg")
    [0.9996] [0.] deg
    """
    north, east = _derivatives(grid, positions)  # grid metres per metre on the ellipsoid
    along, across = np.hypot(*north.T), np.hypot(*east.T)
    area = east[:, 0] * north[:, 1] - east[:, 1] * north[:, 0]
    squares = along**2 + across**2
    conformal = (np.abs(along - across) < _CONFORMAL) & (np.abs(area - along * across) < _CONFORMAL)
    return GridFactors(
        scale=np.where(conformal, along, np.nan),
        elevation=elevation_factor(elevation_m),
        convergence_deg=np.degrees(-np.arctan2(north[:, 0], north[:, 1])) + 0.0,
        largest=(np.sqrt(squares + 2 * area) + np.sqrt(np.maximum(squares - 2 * area, 0.0))) / 2,
    )


def _derivatives(grid: Grid, positions: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Ways on the grid of a step to the north and of one to the east, each (n, 2), per length on the ellipsoid.

    Taken from steps to both sides on the system's own ellipsoid. PROJ's own factors are not asked: for web Mercator it
    gives those of a sphere, two thirds of a per cent off.
    """
    crs = grid.crs.source_crs if grid.crs.is_bound and grid.crs.source_crs else grid.crs
    base, ellipsoid = crs.geodetic_crs, crs.ellipsoid
    assert base is not None  # every projected system has one
    assert ellipsoid is not None
    transformer = pyproj.Transformer.from_crs(base, crs, always_xy=True)
    unit = base.axis_info[0].unit_conversion_factor  # radians; some old systems are in grads
    easting, northing = np.asarray(positions, dtype=float).reshape(-1, 2).T
    lon, lat = transformer.transform(easting, northing, direction="INVERSE")
    sin, cos = np.sin(lat * unit), np.cos(lat * unit)
    e2 = 1 - (ellipsoid.semi_minor_metre / ellipsoid.semi_major_metre) ** 2
    across_m = ellipsoid.semi_major_metre / np.sqrt(1 - e2 * sin**2)  # radii of curvature
    along_m = across_m * (1 - e2) / (1 - e2 * sin**2)
    step = _STEP_RAD / unit
    steps = []
    for dlon, dlat, radius_m in ((0.0, step, along_m), (step, 0.0, across_m * cos)):
        ends = [np.column_stack(transformer.transform(lon + sign * dlon, lat + sign * dlat)) for sign in (1, -1)]
        steps.append((ends[0] - ends[1]) * grid.unit.metres / (2 * _STEP_RAD * radius_m)[:, None])
    return steps[0], steps[1]


def elevation_factor(height_m: ArrayLike) -> FloatArray:
    r"""Length on the ellipsoid over the horizontal length at a height.

    Parameters
    ----------
    height_m : array_like
        Above the ellipsoid. [m]

    Returns
    -------
    ndarray
        Less than 1 above the ellipsoid; NaN in, NaN out. [-]

    Notes
    -----
    :math:`R / (R + h)` with the mean radius of the Earth; the radius along the line itself differs by up to half a
    per cent, which at 1000 m changes the factor by less than one part in a million. Source: see ``MEAN_RADIUS_M``.

    Examples
    --------
    At 1,000 m a length on the ground shrinks by 157 parts in a million on the ellipsoid:

    >>> print(f"{float(elevation_factor(1000.0)):.6f}")
    0.999843
    """
    return np.asarray(MEAN_RADIUS_M / (MEAN_RADIUS_M + np.asarray(height_m, dtype=float)))
