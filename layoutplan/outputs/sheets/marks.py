"""Signs on the map: towers, stakes, numbers, north arrow, scale bar."""

from __future__ import annotations

import numpy as np

from layoutplan.outputs.sheets.pen import INK, SMALLEST_PT, WHITE, Box, Pen
from layoutplan.outputs.sheets.styles import ROLE_COLOR
from layoutplan.outputs.words import STATUS_SIGNS

_BAR_M = (5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000, 50000, 100000)
_LONGEST_BAR = 46.0


def status_sign(status: str) -> str:
    """Sign of a status, distinct without colour.

    Parameters
    ----------
    status : str
        Of a tower.

    Returns
    -------
    str
        ``?`` for an unknown status.

    Examples
    --------
    >>> status_sign("all rules met"), status_sign("of another version")
    ('●', '?')
    """
    return STATUS_SIGNS.get(status, "?")


def tower_sign(pen: Pen, x: float, y: float, half: float, turn_deg: float = 0.0, width: float = 1.3) -> None:
    """Square with a cross, turned with the line.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    x, y : float
        From the left and the lower edge. [mm]
    half : float
        Half the side. [mm]
    turn_deg : float
        Bearing of the line. [deg]
    width : float
        Of the line. [points]
    """
    turn = np.radians(-turn_deg)
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    corners = (half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])) @ spin.T + [x, y]
    pen.polygon(corners.tolist(), WHITE, width)
    for first, last in ((0, 2), (1, 3)):
        pen.line([tuple(corners[first]), tuple(corners[last])], width * 0.7)


def stake_sign(pen: Pen, x: float, y: float, role: str, radius: float = 2.1, *, settled: bool = True) -> None:
    """H a square, S a pennant with its point down to the ground; hollow where it must not be staked yet.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    x, y : float
        From the left and the lower edge. [mm]
    role : str
        ``"H"`` or ``"S"``.
    radius : float
        Half the sign. [mm]
    settled : bool
        Whether the stake may be staked.
    """
    color = ROLE_COLOR[role]
    if role == "H":
        shape, middle = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)], 0.0
    else:
        shape, middle = [(-1.3, 1.0), (1.3, 1.0), (0, -1.45)], 0.22
    points = [(x + radius * dx, y + radius * dy) for dx, dy in shape]
    pen.polygon(points, color if settled else WHITE, 1.0, INK if settled else color)
    size = max(radius * 3.2, SMALLEST_PT)
    pen.text(x, y + middle * radius - size * 0.125, role, size, bold=True, align="centre",
             color=WHITE if settled else color)  # fmt: skip


def number_sign(pen: Pen, x: float, y: float, number: int) -> None:
    """Number in a circle.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    x, y : float
        Middle of the circle. [mm]
    number : int
        To be written.
    """
    pen.circle(x, y, 1.9, WHITE, 0.9)
    pen.text(x, y - 0.95, str(number), 7.5, bold=True, align="centre")


def single_sign(pen: Pen, x: float, y: float, radius: float) -> None:
    """What is mapped as a single place.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    x, y : float
        Its middle. [mm]
    radius : float
        [mm]
    """
    pen.circle(x, y, radius, "#9a938d", 0.5, "#333333")


def true_north(pen: Pen, x: float, y: float, length: float) -> None:
    """Arrow to true north from its foot at ``x, y``.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    x, y : float
        From the left and the lower edge. [mm]
    length : float
        Of the arrow. [mm]
    """
    pen.line([(x, y), (x, y + length)], 0.9)
    pen.polygon([(x, y + length + 1.2), (x - 0.9, y + length - 1.4), (x + 0.9, y + length - 1.4)], INK, 0.3)
    pen.text(x, y + length + 1.6, "N", 8, bold=True, align="centre")


def bar_length_m(mm_per_m: float) -> int:
    """Longest round length that the scale bar has room for.

    Parameters
    ----------
    mm_per_m : float
        Scale of the map. [mm/m]

    Returns
    -------
    int
        [m]

    Examples
    --------
    >>> print(bar_length_m(1000 / 2500), "m at 1:2500")
    100 m at 1:2500
    """
    return next((length for length in reversed(_BAR_M) if length * mm_per_m <= _LONGEST_BAR), _BAR_M[0])


def scale_bar(pen: Pen, x: float, y: float, mm_per_m: float, scale: int) -> Box:
    """Bar of four parts, black and white by turns, from its left end.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    x, y : float
        From the left and the lower edge. [mm]
    mm_per_m : float
        Scale of the map. [mm/m]
    scale : int
        The same as 1 : ``scale``.

    Returns
    -------
    Box
        The bar itself. [mm]
    """
    length_m = bar_length_m(mm_per_m)
    whole = length_m * mm_per_m
    for part in range(4):
        fill = INK if part % 2 == 0 else WHITE
        pen.box(Box(x + part * whole / 4, y, whole / 4, 1.6), 0.5, INK, fill)
    for share in (0, 0.5, 1):
        pen.text(x + share * whole, y + 2.3, f"{share * length_m:g}", SMALLEST_PT, align="centre")
    pen.text(x + whole + pen.width(f"{length_m:g}", SMALLEST_PT) / 2 + 0.9, y + 2.3, "m", SMALLEST_PT)
    pen.text(x, y - 4.0, f"Scale 1:{scale:,}", 8, bold=True)
    return Box(x, y, whole, 1.6)
