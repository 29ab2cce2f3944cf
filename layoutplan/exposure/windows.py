"""The part of each line that matters to a tower, in the tower's own flat frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.electrical import span_windows, window_reach
from layoutplan.exposure.sources import LineConductors
from layoutplan.line.geodesy import local_axes, to_ecef

FAR_M = 5000.0  # a line that comes no nearer adds at most 0.2 V to a lead along it (800 kV, 4 kA, 1,000 ohm m)


@dataclass(frozen=True, slots=True)
class SpanWindow:
    """Conductors of one line as some towers see them.

    Attributes
    ----------
    row : ndarray of int, shape (t,)
        Rows of the places asked for that the line comes near to.
    vertex, span : ndarray of int, shapes (t, w + 1) and (t, w)
    points_m : ndarray, shape (t, w + 1, c, 3)
        In the frame of each place: east, north, height above ground. [m]
    axis_m : ndarray, shape (t, w + 1, 2)
        The line's axis. [m]
    nearest : ndarray of int, shape (t,)
        Span of the line nearest to each place.
    """

    row: IntArray
    vertex: IntArray
    span: IntArray
    points_m: FloatArray
    axis_m: FloatArray
    nearest: IntArray


def see(course: LineConductors, lonlat_deg: FloatArray, soil_ohm_m: float, *, far: bool = True) -> SpanWindow:
    """Cut out of a line what matters at each of some places.

    Parameters
    ----------
    course : LineConductors
        One line as it hangs.
    lonlat_deg : ndarray, shape (n, 2)
        Longitude and latitude of the places. [deg]
    soil_ohm_m : float
        With the line's frequency it sets how far the line matters. [Ω·m]
    far : bool
        Whether currents that return through the earth are to be right to 1 %; else those of a balanced load are.

    Returns
    -------
    SpanWindow
        Points in the frames of the places. [m]
    """
    line = course.axis
    away, along = line.nearest(lonlat_deg)
    row = np.flatnonzero(away <= FAR_M)
    reach = float(window_reach(soil_ohm_m, course.line.frequency_hz)) if far else 0.0
    windows = span_windows(line.chainage_m, along[row], reach_m=reach)
    points, height = course.conductor_points(windows.vertex)
    axes = np.stack(local_axes(lonlat_deg[row]), axis=1)
    start = to_ecef(lonlat_deg[row])[:, None]
    plan = np.einsum("twci,tki->twck", points - start[:, :, None], axes)
    axis = np.einsum("twi,tki->twk", line.place_m[windows.vertex] - start, axes)
    nearest = np.clip(np.searchsorted(line.chainage_m, along[row], side="right") - 1, 0, len(course.names) - 2)
    return SpanWindow(
        row, windows.vertex, windows.span, np.concatenate((plan, height[..., None]), axis=-1), axis, nearest
    )
