"""Hatching: parallel lines seen through the shape of an area, so that edges within it do not show."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from layoutplan.outputs.sheets.pen import MM, WHITE, Box, Pen
from layoutplan.outputs.sheets.styles import PenStroke


def hatched(
    pen: Pen, box: Box, ops: Sequence[str], strokes: Sequence[PenStroke], color: str, ground: str | None = None
) -> None:
    """Draw a pattern within a path.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    box : Box
        The map's frame, which the lines keep in step with. [mm]
    ops : sequence of str
        Path. [points]
    strokes : sequence of PenStroke
        The pattern.
    color : str
        ``#rrggbb``.
    ground : str, optional
        Colour of what lies below; white if left out.
    """
    if not ops or not strokes:
        return
    with pen.within(ops):
        for stroke in strokes:
            pen.path(
                [hatch_path(box, stroke.angle_deg, stroke.spacing)],
                width=stroke.width,
                color=(ground or WHITE) if stroke.hole else color,
                dash=stroke.dash,
                phase=sum(stroke.dash[:1]) / 2,
                round_ends=stroke.round,
            )


def hatch_path(box: Box, angle_deg: float, spacing: float) -> str:
    """Path of parallel lines over a box.

    Parameters
    ----------
    box : Box
        On the page. [mm]
    angle_deg : float
        Counter-clockwise from level. [deg]
    spacing : float
        Of the lines. [mm]

    Returns
    -------
    str
        Path operators. [points]
    """
    angle = np.radians(angle_deg)
    along, across = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    middle = np.array([box.left + box.width / 2, box.bottom + box.height / 2])
    count = int(np.hypot(box.width, box.height) / 2 / spacing) + 1
    reach = count * spacing  # lines across these meet them at their dashes
    offsets = np.arange(-count, count + 1)[:, None] * spacing * across
    ends = np.concatenate((middle + offsets - reach * along, middle + offsets + reach * along), axis=1) * MM
    return ("%.2f %.2f m %.2f %.2f l " * len(ends)) % tuple(ends.ravel().tolist())
