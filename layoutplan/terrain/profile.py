"""The ground along leads: how long they are when they follow it, how steep it is, where it drops."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.line.geodesy import direct
from layoutplan.terrain.cells import Cells, bilinear
from layoutplan.terrain.dem import Dem, Rows
from layoutplan.terrain.frames import Frames

_POINTS_TOGETHER = 250_000


@dataclass(frozen=True, slots=True)
class Profiles:
    """Ground along leads, one entry per lead; NaN where a height on the way is unknown.

    Attributes
    ----------
    length_m : ndarray
        Along the ground: sum of the straight pieces between neighbouring points.
    steepest_deg : ndarray
        Of the steepest piece, up or down.
    start_height_m, end_height_m : ndarray
        NaN only if unknown themselves.
    lowest_m, highest_m : ndarray
    cliff_drop_m : ndarray
        Height of the largest cliff, 0 if there is none; see :func:`profiles`.
    known : ndarray of bool
        Whether the height is known all the way.
    """

    length_m: FloatArray
    steepest_deg: FloatArray
    start_height_m: FloatArray
    end_height_m: FloatArray
    lowest_m: FloatArray
    highest_m: FloatArray
    cliff_drop_m: FloatArray
    known: NDArray[np.bool_]

    @property
    def height_difference_m(self) -> FloatArray:
        """End above start. [m]."""
        return self.end_height_m - self.start_height_m


def profile_points(
    start_lonlat_deg: ArrayLike, bearing_deg: ArrayLike, distance_m: ArrayLike, step_m: float
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Points along leads, evenly spaced on each, both ends included.

    Parameters
    ----------
    start_lonlat_deg : array_like, shape (n, 2)
    bearing_deg, distance_m : array_like, shape (n,)
        True bearing and length of each lead. [deg], [m]
    step_m : float
        Largest distance between neighbours. [m]

    Returns
    -------
    lead : ndarray of int, shape (k,)
        Row of the lead of each point.
    along_m : ndarray, shape (k,)
        From the start. [m]
    lonlat_deg : ndarray, shape (k, 2)

    Examples
    --------
    A lead of 10 m to the north, a point at least every 4 m:

    >>> lead, along, place = profile_points([[8.0, 47.0]], [0.0], [10.0], 4.0)
    >>> print(along.round(2), "m", place[-1].round(6), "deg")
    [ 0.    3.33  6.67 10.  ] m [ 8.      47.00009] deg
    """
    start, bearing, distance = _leads(start_lonlat_deg, bearing_deg, distance_m)
    pieces = pieces_in(distance, step_m)
    lead = np.repeat(np.arange(len(start)), pieces + 1)
    first = np.cumsum(pieces + 1) - (pieces + 1)
    along = (np.arange(len(lead)) - first[lead]) * (distance / pieces)[lead]
    return lead, along, direct(start[lead], bearing[lead], along)


def profiles(
    dem: Dem,
    start_lonlat_deg: ArrayLike,
    bearing_deg: ArrayLike,
    distance_m: ArrayLike,
    step_m: float | None = None,
    *,
    cliff_slope_deg: float,
) -> Profiles:
    """Ground along straight leads.

    Parameters
    ----------
    dem : Dem
        Heights.
    start_lonlat_deg : array_like, shape (n, 2)
        Longitude and latitude where the leads start. [deg]
    bearing_deg, distance_m : array_like, shape (n,)
        True bearing and length of each lead, up to about a kilometre. [deg], [m]
    step_m : float, optional
        Largest distance between neighbouring points; ``dem.step_m`` if left out. [m]
    cliff_slope_deg : float
        A stretch of pieces steeper than this, all up or all down, is a cliff. Its height includes the piece before and
        the piece after it, since the edge lies somewhere within them. [deg]

    Returns
    -------
    Profiles
        A distance or bearing of NaN gives NaN, and ``known`` False.

    Notes
    -----
    Places are reckoned flat about each start, which is right to a few centimetres, see
    :class:`layoutplan.terrain.frames.Frames`.
    """
    start, bearing, distance = _leads(start_lonlat_deg, bearing_deg, distance_m)
    pieces = pieces_in(distance, dem.step_m if step_m is None else step_m)
    parts = []
    for some in _chunks(pieces):
        # leads with fewer pieces wait at their end
        piece = np.minimum(np.arange(pieces[some].max(initial=1) + 1), pieces[some, None])
        along = piece * (distance[some] / pieces[some])[:, None]
        height = _heights(dem, start[some], bearing[some], along)
        parts.append(_measured(height, np.diff(along), float(np.tan(np.radians(cliff_slope_deg)))))
    return Profiles(*(np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(Profiles)))


def _leads(
    start_lonlat_deg: ArrayLike, bearing_deg: ArrayLike, distance_m: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    start = np.asarray(start_lonlat_deg, dtype=float).reshape(-1, 2)
    bearing = np.broadcast_to(np.asarray(bearing_deg, dtype=float), len(start))
    return start, bearing, np.broadcast_to(np.asarray(distance_m, dtype=float), len(start))


def pieces_in(distance_m: FloatArray, step_m: float) -> IntArray:
    """Number of equal pieces, no longer than a step, that each distance is divided into; at least one.

    Parameters
    ----------
    distance_m : ndarray
        NaN counts as 0. [m]
    step_m : float
        Longest piece. [m]

    Returns
    -------
    ndarray of int

    Examples
    --------
    >>> pieces_in(np.array([0.0, 10.0, 10.1]), 5.0)
    array([1, 2, 3])
    """
    return np.maximum(np.ceil(np.nan_to_num(distance_m) / step_m - 1e-9), 1).astype(np.int64)


def _chunks(pieces: IntArray) -> Iterator[slice]:
    """Leads whose points are looked at together; at least one chunk."""
    count = max(_POINTS_TOGETHER // (int(pieces.max(initial=1)) + 1), 1)
    yield from (slice(first, first + count) for first in range(0, max(len(pieces), 1), count))


def _heights(dem: Dem, start: FloatArray, bearing_deg: FloatArray, along_m: FloatArray) -> FloatArray:
    frames = Frames.about(dem, start)

    def values(number: int, rows: Rows) -> Cells:
        row, col = frames.places(number, slice(None), bearing_deg, along_m)
        return dem.mosaics[number].at(row[rows], col[rows], bilinear)

    return dem.first_known(along_m.size, values).reshape(along_m.shape).astype(float)


def _measured(height_m: FloatArray, piece_m: FloatArray, cliff_tangent: float) -> Profiles:
    """Measure profiles from heights, shape (n, m), and the level lengths of the pieces between, (n, m - 1)."""
    rise = np.diff(height_m)
    tangent = np.divide(np.abs(rise), piece_m, out=rise * 0.0, where=piece_m > 0)  # rise * 0 keeps NaN
    return Profiles(
        length_m=np.hypot(piece_m, rise).sum(axis=1),
        steepest_deg=np.degrees(np.arctan(tangent.max(axis=1))),
        start_height_m=height_m[:, 0],
        end_height_m=height_m[:, -1],
        lowest_m=height_m.min(axis=1),
        highest_m=height_m.max(axis=1),
        cliff_drop_m=largest_cliff_m(rise, tangent > cliff_tangent),
        known=np.asarray(np.isfinite(height_m).all(axis=1)),
    )


def largest_cliff_m(rise_m: FloatArray, steep: NDArray[np.bool_]) -> FloatArray:
    """Height of the largest cliff of each profile.

    Parameters
    ----------
    rise_m : ndarray, shape (n, k)
        Of each piece. [m]
    steep : ndarray of bool, shape (n, k)
        Whether the piece belongs to a cliff; neighbours that do, and rise or fall alike, make up one.

    Returns
    -------
    ndarray, shape (n,)
        The cliff's own pieces, with what the pieces before and after it rise or fall in the same sense; 0 without a
        cliff, NaN where a rise is unknown. [m]

    Examples
    --------
    Down by 1, 6, 7 and 1 m, the middle two of them steep:

    >>> print(largest_cliff_m(np.array([[-1.0, -6, -7, -1]]), np.array([[False, True, True, False]])), "m")
    [15.] m
    """
    sense = np.where(steep, np.sign(rise_m), 0.0)
    first, last = np.ones(sense.shape, dtype=bool), np.ones(sense.shape, dtype=bool)
    first[:, 1:] = last[:, :-1] = sense[:, 1:] != sense[:, :-1]
    nothing = np.zeros((len(rise_m), 1))
    before, after = np.hstack((nothing, rise_m[:, :-1])), np.hstack((rise_m[:, 1:], nothing))
    start, sense_of = np.flatnonzero(first), sense[first]
    height = np.add.reduceat(np.abs(sense * rise_m).reshape(-1), start)
    height += np.maximum(sense_of * before[first], 0.0) + np.maximum(sense_of * after[last], 0.0)
    return np.maximum.reduceat(height, np.searchsorted(start, np.arange(len(rise_m)) * rise_m.shape[1]))
