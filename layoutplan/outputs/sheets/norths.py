"""The three norths below a map: true, grid and magnetic, drawn to be told apart, with their figures beside."""

from __future__ import annotations

import math

import numpy as np

from layoutplan.outputs.sheets.blocks import wrapped
from layoutplan.outputs.sheets.facts import Sheet
from layoutplan.outputs.sheets.grid import grid_bearing_deg
from layoutplan.outputs.sheets.marks import true_north
from layoutplan.outputs.sheets.pen import INK, SMALLEST_PT, Box, Pen

_STEP_DEG = 22.0  # between arrows: far more than between the norths, for half a degree is not seen
_LENGTH, _WORDS, _LINE = 8.0, 12.0, 2.75
_DASH = {"GN": (1.4, 1.0), "MN": ()}


def drawn_angles_deg(bearings_deg: dict[str, float]) -> dict[str, float]:
    """Angles to draw arrows at: on their side of true north and in their order, but evenly apart.

    Parameters
    ----------
    bearings_deg : dict of str to float
        East of true north. [deg]

    Returns
    -------
    dict of str to float
        [deg]

    Examples
    --------
    >>> drawn_angles_deg({"GN": 0.6, "MN": 4.0}), drawn_angles_deg({"GN": -0.9, "MN": -2.0})
    ({'GN': 22.0, 'MN': 44.0}, {'GN': -22.0, 'MN': -44.0})
    """
    drawn: dict[str, float] = {}
    for side in (1, -1):
        mine = sorted((abs(value), name) for name, value in bearings_deg.items() if (value >= 0) == (side > 0))
        drawn |= {name: side * _STEP_DEG * number for number, (_, name) in enumerate(mine, 1)}
    return drawn


def draw_norths(pen: Pen, box: Box, sheet: Sheet) -> None:
    """Draw arrows to the norths of a tower; a north that is not known has none, but the reason.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    box : Box
        On the page. [mm]
    sheet : Sheet
        Facts of the tower.
    """
    bearings = {"GN": grid_bearing_deg(sheet), "MN": sheet.declination_deg}
    known = {name: value for name, value in bearings.items() if math.isfinite(value)}
    drawn = drawn_angles_deg(known)
    x, y = box.left + _WORDS - 2 - max(sum(drawn.values()), 0) / 12, box.bottom + 0.8
    for name, angle in drawn.items():
        _arrow(pen, x, y, angle, name)
    true_north(pen, x, y, _LENGTH)
    words = [
        "N true north, up",
        f"GN grid {_east_west(known['GN'], 2)}" if "GN" in known else "grid: none",
        *_magnetic(pen, sheet, box.right - box.left - 2 * _WORDS),
        "angles not to scale" if drawn else "",
    ]
    for number, text in enumerate(filter(None, words)):
        top = box.top - 3.0 - _LINE * number
        pen.fitted(box.left + 2 * _WORDS, top, text, box.width - 2 * _WORDS, SMALLEST_PT)


def _magnetic(pen: Pen, sheet: Sheet, width: float) -> list[str]:
    """The figure with model and day, or why there is none, as far as there is room; all of it stands elsewhere too."""
    if math.isfinite(sheet.declination_deg):
        half = round(sheet.declination_deg * 2) / 2
        return [f"MN magnetic {_east_west(half, 1)}", sheet.declination_model]
    first, *more = wrapped(pen, f"magnetic left out: {sheet.declination_note}", width, SMALLEST_PT)
    return [first, " ".join(more)]


def _arrow(pen: Pen, x: float, y: float, angle_deg: float, name: str) -> None:
    """An arrow with half a head, on the side away from true north, and its letters beyond."""
    along = np.radians(angle_deg)
    tip = (x + _LENGTH * np.sin(along), y + _LENGTH * np.cos(along))
    pen.line([(x, y), tip], 0.7, INK, _DASH[name])
    back = np.radians(angle_deg + (155 if angle_deg >= 0 else -155))
    pen.line([tip, (tip[0] + 2.2 * np.sin(back), tip[1] + 2.2 * np.cos(back))], 0.9)
    side = "left" if angle_deg >= 0 else "right"
    away = 0.7 if angle_deg >= 0 else -0.7
    pen.text(tip[0] + away, tip[1] + (0.3 if abs(angle_deg) < 40 else -0.9), name, SMALLEST_PT, align=side)


def _east_west(value_deg: float, decimals: int) -> str:
    return f"{abs(value_deg):.{decimals}f}° {'E' if value_deg >= 0 else 'W'}"
