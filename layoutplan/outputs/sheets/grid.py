"""Crosses of the projected grid, with coordinates along the map's edges."""

from __future__ import annotations

from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from layoutplan.arrays import FloatArray
from layoutplan.outputs.sheets.facts import Sheet
from layoutplan.outputs.sheets.labels import Labels
from layoutplan.outputs.sheets.panel import Panel
from layoutplan.outputs.sheets.pen import SMALLEST_PT, Box, Pen

_STEPS = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000)
_APART = 22.0  # mm, at least
_ARM = 1.3
_SIZE = SMALLEST_PT
_LEAST_SCALE = 1e-6


def has_grid(sheet: Sheet) -> bool:
    """Whether the projected system reaches this tower.

    Parameters
    ----------
    sheet : Sheet
        Of the tower.

    Returns
    -------
    bool
    """
    return bool(np.isfinite(sheet.grid).all() and abs(np.linalg.det(sheet.grid)) > _LEAST_SCALE)


def grid_bearing_deg(sheet: Sheet) -> float:
    """True bearing of grid north.

    Parameters
    ----------
    sheet : Sheet
        Of the tower.

    Returns
    -------
    float
        NaN where the projected system does not reach. [deg]

    Examples
    --------
    A grid whose north points 2 degrees east of true north:

    >>> from types import SimpleNamespace
    >>> turn = np.radians(2.0)
    >>> axes = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    >>> print(round(grid_bearing_deg(SimpleNamespace(grid=axes)), 6), "deg")
    2.0 deg
    """
    if not has_grid(sheet):
        return float("nan")
    back = np.linalg.inv(sheet.grid)
    east, north = back[:, 1]
    return float(np.degrees(np.arctan2(east, north)))


class GridLabel(NamedTuple):
    """A coordinate at the map's edge: where its grid line meets it [mm], 0 for the lower edge and 1 for the left."""

    x: float
    y: float
    axis: int
    text: str


class GridOnMap(NamedTuple):
    """Crosses of the grid [mm], the arms of each, and the coordinates along the edges."""

    crosses: list[tuple[float, float]]
    arms: list[tuple[float, float]]
    labels: list[GridLabel]


def grid_on(pen: Pen, panel: Panel, sheet: Sheet, labels: Labels) -> GridOnMap:
    """Lay out a cross at every round pair of coordinates, with eastings below and northings at the left edge.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    panel : Panel
        The map.
    sheet : Sheet
        Facts of the tower.
    labels : Labels
        Places that are taken already; those of the coordinates are added, and one that meets a sign is left out.

    Returns
    -------
    GridOnMap
        Empty where the projected system does not reach.
    """
    if not has_grid(sheet):
        return GridOnMap([], [], [])
    origin = np.array([sheet.tower.easting, sheet.tower.northing], dtype=float)
    west, south, east, north = panel.corners_m()
    corners = np.array([(west, south), (east, south), (east, north), (west, north)]) @ sheet.grid.T + origin
    unit_mm = panel.mm_per_m / float(np.linalg.norm(sheet.grid[:, 0]))  # on paper for a unit of the grid
    step = next((step for step in _STEPS if step * unit_mm >= _APART), _STEPS[-1])
    rounds = [
        np.arange(np.ceil(corners[:, axis].min() / step), np.floor(corners[:, axis].max() / step) + 1) * step
        for axis in (0, 1)
    ]
    back = np.linalg.inv(sheet.grid)

    def place(pairs: Any) -> FloatArray:
        return panel.mm_of((np.asarray(pairs, dtype=float) - origin) @ back.T)

    turn = np.radians(grid_bearing_deg(sheet))
    arms = _ARM * np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    box = panel.box
    every = place([(e, n) for e in rounds[0] for n in rounds[1]]).reshape(-1, 2).tolist()
    crosses = [(x, y) for x, y in every if box.inset(_ARM).holds(Box(x, y, 0, 0))]
    made = []
    for axis, values, edge in ((0, rounds[0], box.bottom), (1, rounds[1], box.left)):
        for value in values.tolist():
            ends = [(value, corners[:, 1].min()), (value, corners[:, 1].max())]
            if axis:
                ends = [(corners[:, 0].min(), value), (corners[:, 0].max(), value)]
            label = _label(pen, box, labels, place(ends).tolist(), axis, edge, f"{'EN'[axis]} {value:.0f}")
            made += [label] if label else []
    return GridOnMap(crosses, [(dx, dy) for dx, dy in arms.tolist()], made)


def _label(
    pen: Pen, box: Box, labels: Labels, ends: list[list[float]], axis: int, edge: float, text: str
) -> GridLabel | None:
    """Label where a grid line meets the lower (axis 0) or the left edge."""
    for (x1, y1), (x2, y2) in pairwise(ends):
        run = (edge - (x1, y1)[1 - axis]) / ((x2, y2)[1 - axis] - (x1, y1)[1 - axis])
        x, y = x1 + run * (x2 - x1), y1 + run * (y2 - y1)
    width = pen.width(text, _SIZE)
    if axis == 0:
        within, room = box.left + width / 2 + 1 < x < box.right - width / 2 - 1, Box(x - width / 2, y, width, 4.2)
    else:
        within, room = box.bottom + 7 < y < box.top - 3, Box(x, y - 1.2, width + 2.4, 2.4)
    if not within or not labels.free(room):
        return None
    labels.take(room)
    return GridLabel(x, y, axis, text)


def draw_grid(pen: Pen, grid: GridOnMap) -> None:
    """Draw what was laid out.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    grid : GridOnMap
        From `grid_on`.
    """
    for x, y in grid.crosses:
        for dx, dy in grid.arms:
            pen.line([(x - dx, y - dy), (x + dx, y + dy)], 0.4, "#444444")
    for x, y, axis, text in grid.labels:
        if axis:
            pen.line([(x, y), (x + 1.6, y)], 0.5)
            pen.text(x + 2.0, y - 0.7, text, _SIZE, halo=2)
        else:
            pen.line([(x, y), (x, y + 1.6)], 0.5)
            pen.text(x, y + 2.0, text, _SIZE, align="centre", halo=2)
