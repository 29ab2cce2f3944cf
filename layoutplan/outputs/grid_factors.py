"""How a length on the grid compares with the length on the ground, and grid north with true north."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyproj
from numpy.typing import ArrayLike

from layoutplan.outputs.grid import FloatArray, Grid

MEAN_RADIUS_M = 6_372_161.0
"""Mean radius of the Earth for reducing lengths: 20,906,000 US survey feet. [m]

J. E. Stem, State Plane Coordinate System of 1983, NOAA Manual NOS NGS 5, section 4 (as quoted in public sources).
"""
_CONFORMAL = 1e-7  # by how much scales in two directions may differ; PROJ takes them from small steps


@dataclass(frozen=True, slots=True)
class Factors:
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


def grid_factors(grid: Grid, positions: ArrayLike, elevation_m: ArrayLike) -> Factors:
    """Figures of the grid at points in it.

    Parameters
    ----------
    grid : Grid
    positions : array_like, shape (n, 2)
        Easting and northing in the grid's unit.
    elevation_m : array_like, shape (n,)
        Height of the ground, taken as the height above the ellipsoid; NaN if unknown. [m]

    Returns
    -------
    Factors
    """
    easting, northing = np.asarray(positions, dtype=float).reshape(-1, 2).T
    projection = pyproj.Proj(grid.crs)
    lon, lat = projection(easting, northing, inverse=True)  # on the grid's own datum
    found = projection.get_factors(lon, lat)
    along, across, area = (np.asarray(value) for value in
                           (found.meridional_scale, found.parallel_scale, found.areal_scale))  # fmt: skip
    conformal = (np.abs(along - across) < _CONFORMAL) & (np.abs(area - along * across) < _CONFORMAL)
    return Factors(
        scale=np.where(conformal, along, np.nan),
        elevation=elevation_factor(elevation_m),
        convergence_deg=np.asarray(found.meridian_convergence),
        largest=np.asarray(found.tissot_semimajor),
    )


def elevation_factor(height_m: ArrayLike) -> FloatArray:
    r"""Length on the ellipsoid over the horizontal length at a height.

    Parameters
    ----------
    height_m : array_like
        Above the ellipsoid. [m]

    Notes
    -----
    :math:`R / (R + h)` with the mean radius of the Earth; the radius along the line itself differs by up to half a
    per cent, which at 1000 m changes the factor by less than one part in a million. Source: see ``MEAN_RADIUS_M``.
    """
    return np.asarray(MEAN_RADIUS_M / (MEAN_RADIUS_M + np.asarray(height_m, dtype=float)))
