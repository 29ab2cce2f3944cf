"""Hatching: parallel lines seen through the shape of an area, so that edges within it do not show."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from layoutplan.outputs.sheets.pen import MM, Box, Pen


def hatched(pen: Pen, box: Box, ops: Sequence[str], angle_deg: float, spacing: float, color: str) -> None:
    """Draw lines ``spacing`` mm apart within a path; ``box`` is the map's frame, which the lines keep in step with.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    box : Box
        The map's frame, which the lines keep in step with. [mm]
    ops : sequence of str
        Path. [points]
    angle_deg : float
        Counter-clockwise from level. [deg]
    spacing : float
        Of the lines. [mm]
    color : str
        ``#rrggbb``.
    """
    if not ops:
        return
    with pen.within(ops):
        pen.path([hatch_path(box, angle_deg, spacing)], width=0.3, color=color)


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
    reach = float(np.hypot(box.width, box.height)) / 2 + spacing
    offsets = np.arange(-reach, reach, spacing)[:, None] * across
    ends = np.concatenate((middle + offsets - reach * along, middle + offsets + reach * along), axis=1) * MM
    return ("%.2f %.2f m %.2f %.2f l " * len(ends)) % tuple(ends.ravel().tolist())
