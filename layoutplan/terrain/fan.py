"""Slopes and lengths on the ground for whole fans of candidates: towers by bearings by distances."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.terrain.cells import Cells, bilinear, gradient_between, on_the_ground, slope_deg
from layoutplan.terrain.dem import Dem, Rows
from layoutplan.terrain.frames import Frames
from layoutplan.terrain.profile import pieces_in


def fan_slopes(dem: Dem, tower_lonlat_deg: ArrayLike, bearing_deg: ArrayLike, distance_m: ArrayLike) -> FloatArray:
    """Slope of the ground at every candidate.

    Parameters
    ----------
    dem : Dem
        Heights.
    tower_lonlat_deg : array_like, shape (t, 2)
        Some tens of towers that follow each other, to keep memory small. [deg]
    bearing_deg : array_like, shape (t, b)
        True bearings from each tower. [deg]
    distance_m : array_like, shape (d,)
        From the tower, up to about a kilometre. [m]

    Returns
    -------
    ndarray, shape (t, b, d)
        As :func:`layoutplan.terrain.slope_aspect` gives it, places and cells reckoned flat about the tower;
        NaN where unknown. [deg]
    """
    tower, bearing, distance, frames = _fan(dem, tower_lonlat_deg, bearing_deg, distance_m)
    out = np.empty((len(tower), bearing.shape[1], len(distance)))

    def values(number: int, rows: Rows) -> Cells:
        row, col = frames.places(number, slice(i, i + 1), bearing[i], distance)
        gradient = dem.mosaics[number].at(row[rows], col[rows], gradient_between)
        return on_the_ground(gradient, frames.jacobian[number][i])

    for i in range(len(tower)):
        out[i] = slope_deg(dem.first_known(out[i].size, values)).reshape(out[i].shape)
    return out


def fan_lengths(
    dem: Dem,
    tower_lonlat_deg: ArrayLike,
    bearing_deg: ArrayLike,
    distance_m: ArrayLike,
    step_m: float | None = None,
) -> FloatArray:
    """Length along the ground from the tower to every candidate.

    Parameters
    ----------
    dem : Dem
        Heights.
    tower_lonlat_deg, bearing_deg, distance_m : array_like
        As for :func:`fan_slopes`.
    step_m : float, optional
        Largest distance between neighbouring points; ``dem.step_m`` if left out. Every candidate's place is one. [m]

    Returns
    -------
    ndarray, shape (t, b, d)
        Sum of the straight pieces between neighbouring points; NaN where a height on the way is unknown. [m]
    """
    tower, bearing, distance, frames = _fan(dem, tower_lonlat_deg, bearing_deg, distance_m)
    along, step_no = points_to_steps(distance, dem.step_m if step_m is None else step_m)
    out = np.empty((len(tower), bearing.shape[1], len(distance)))
    level2 = (np.diff(along) ** 2).astype(np.float32)
    length = np.zeros((bearing.shape[1], len(along)))

    def values(number: int, rows: Rows) -> Cells:
        row, col = frames.places(number, slice(i, i + 1), bearing[i], along)
        return dem.mosaics[number].at(row[rows], col[rows], bilinear)

    for i in range(len(tower)):
        height = dem.first_known(length.size, values).reshape(length.shape)
        np.cumsum(np.sqrt(np.diff(height) ** 2 + level2), axis=1, out=length[:, 1:])
        out[i] = length[:, step_no]
    return out


def points_to_steps(distance_m: FloatArray, step_m: float) -> tuple[FloatArray, IntArray]:
    """Points along a ray from 0 that meet every distance and lie no further apart than a step.

    Parameters
    ----------
    distance_m : ndarray, shape (d,)
        In any order. [m]
    step_m : float
        Largest distance between neighbouring points. [m]

    Returns
    -------
    along_m : ndarray, shape (m,)
        Ascending from 0. [m]
    distance step : ndarray of int, shape (d,)
        Which of them is each distance.

    Examples
    --------
    >>> along, at = points_to_steps(np.array([10.0, 4.0]), 3.0)
    >>> print(along, "m; those of 10 and 4 m:", at)
    [ 0.  2.  4.  7. 10.] m; those of 10 and 4 m: [4 2]
    """
    knots = np.unique(np.append(distance_m, 0.0))
    place = np.append(0, np.cumsum(pieces_in(np.diff(knots), step_m)))
    return np.interp(np.arange(place[-1] + 1), place, knots), place[np.searchsorted(knots, distance_m)]


def _fan(
    dem: Dem, tower_lonlat_deg: ArrayLike, bearing_deg: ArrayLike, distance_m: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray, Frames]:
    tower = np.asarray(tower_lonlat_deg, dtype=float).reshape(-1, 2)
    distance = np.asarray(distance_m, dtype=float).reshape(-1)
    frames = Frames.about(dem, tower)
    if dem.mosaics:  # the others are read where the first one knows nothing
        dem.mosaics[0].fetch(frames.boxes(0, distance.max(initial=0.0)))
    return tower, np.atleast_2d(np.asarray(bearing_deg, dtype=float)), distance, frames
