"""Contours of the ground, where the job's elevation files can be opened while the sheets are made."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from contourpy import LineType, contour_generator
from numpy.typing import NDArray
from scipy.ndimage import zoom

from layoutplan.arrays import FloatArray
from layoutplan.errors import InputError
from layoutplan.layout.model import Plan
from layoutplan.outputs.sheets.labels import Labels
from layoutplan.outputs.sheets.panel import Panel, line_ops
from layoutplan.outputs.sheets.pen import SMALLEST_PT, Pen
from layoutplan.outputs.sheets.styles import CONTOUR_COLOR, CONTOUR_WIDTHS
from layoutplan.terrain import Dem, elevation_m, open_terrain

_STEPS_M = (1, 2, 5, 10, 20, 50, 100)
_MOST_LINES = 14
_MOST_SAMPLES, _FINE = 48, 3


@dataclass(frozen=True, slots=True)
class ContourHeights:
    """Heights to draw from, and what the sheets print where there are none."""

    dem: Dem
    note: str


def ground_of(plan: Plan, lonlat: FloatArray, reach_m: float) -> ContourHeights:
    """Open the elevation files of a plan again; without them the sheets state so and have no contours.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    lonlat : ndarray, shape (n, 2)
        Towers. [deg]
    reach_m : float
        How far around them heights are needed. [m]

    Returns
    -------
    ContourHeights
        With a note where it has no heights.
    """
    if not plan.job.terrain.files:
        return ContourHeights(Dem(), "No elevation model was given: no contours.")
    try:
        return ContourHeights(open_terrain(plan.job.terrain, lonlat, reach_m).dem, "")
    except InputError:
        return ContourHeights(Dem(), "The elevation files could not be opened for drawing: no contours.")


def has_heights(panel: Panel, ground: ContourHeights) -> bool:
    """Whether the elevation model reaches a map.

    Parameters
    ----------
    panel : Panel
        The map.
    ground : ContourHeights
        The elevation model, if there is one.

    Returns
    -------
    bool
    """
    if not ground.dem.mosaics:
        return False
    west, south, east, north = panel.window()
    x, y = np.meshgrid(np.linspace(west, east, 3), np.linspace(south, north, 3))
    return bool(np.isfinite(elevation_m(ground.dem, np.column_stack((x.ravel(), y.ravel())))).any())


def draw_contours(pen: Pen, panel: Panel, ground: ContourHeights, labels: Labels) -> str:
    """Draw contours at a round step with heights on some of them.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    panel : Panel
        The map.
    ground : ContourHeights
        The elevation model, if there is one.
    labels : Labels
        Places that are taken already.

    Returns
    -------
    str
        What to print of them below the map.
    """
    if not ground.dem.mosaics:
        return ground.note
    x_m, y_m, heights = _heights(panel, ground.dem)
    known = heights[np.isfinite(heights)]
    if known.size == 0:
        return "No terrain data here: no contours."
    span = float(np.ptp(known))
    step = next((step for step in _STEPS_M if span / step <= _MOST_LINES), _STEPS_M[-1])
    levels = np.arange(np.ceil(known.min() / step), np.floor(known.max() / step) + 1) * step
    made = contour_generator(x_m, y_m, np.ma.masked_invalid(heights), line_type=LineType.Separate)
    lines: list[list[Any]] = [list(made.lines(level)) for level in levels.tolist()]
    for level, pieces in zip(levels.tolist(), lines, strict=True):
        shapes = _strings(pieces)
        main = round(level / step) % 5 == 0
        pen.path(line_ops(shapes, panel, metric=True), width=CONTOUR_WIDTHS[main], color=CONTOUR_COLOR)
    _write_heights(panel, labels, levels, lines)
    patchy = "" if known.size == heights.size else "; gaps: no terrain data there"
    return f"Contours every {step} m, heights in m{patchy}."


def _heights(panel: Panel, dem: Dem) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Heights on a lattice over the map, as fine as the model's cells and then smoothed to three times that."""
    west, south, east, north = panel.corners_m(2.0)
    step_m = max(min(dem.cell_m, (east - west) / 6, (north - south) / 6), (east - west) / _MOST_SAMPLES)
    x = np.linspace(west, east, int(np.ceil((east - west) / step_m)) + 1)
    y = np.linspace(south, north, int(np.ceil((north - south) / step_m)) + 1)
    places = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2) / panel.metres + panel.origin
    heights = elevation_m(dem, places).reshape(len(y), len(x))
    if np.isnan(heights).any():
        return x, y, heights  # a cubic would spread one unknown cell over all
    fine = np.asarray(zoom(heights, _FINE, order=3, mode="nearest", grid_mode=False))
    return np.linspace(west, east, fine.shape[1]), np.linspace(south, north, fine.shape[0]), fine


def _strings(pieces: list[Any]) -> NDArray[np.object_]:
    shapes = np.empty(len(pieces), dtype=object)
    shapes[:] = [shapely.LineString(piece) for piece in pieces]
    return shapes


def _write_heights(panel: Panel, labels: Labels, levels: FloatArray, lines: list[list[Any]]) -> None:
    """Write the height on every second contour, where it is long enough and there is room."""
    for level, pieces in zip(levels.tolist()[::2], lines[::2], strict=True):
        if not pieces:
            continue
        xy = panel.mm_of(max(pieces, key=len))
        places = [tuple(xy[int(share * (len(xy) - 1))].tolist()) for share in (0.5, 0.3, 0.7, 0.15, 0.85)]
        labels.write(places, f"{level:g}", SMALLEST_PT, color=CONTOUR_COLOR)
