"""The tables of a page: how the stakes lie, their coordinates, and the blank fields."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from layoutplan.layout.set_out import metres, three_digits
from layoutplan.outputs.columns import turned_lon
from layoutplan.outputs.sheets.facts import Sheet
from layoutplan.outputs.sheets.marks import stake_sign
from layoutplan.outputs.sheets.pen import INK, SMALLEST_PT, WHITE, Box, Pen
from layoutplan.outputs.words import degrees, may_stake
from layoutplan.text import clean

ROW, SET_OUT_ROW = 4.2, 5.2
_SHADE = "#f0f0f0"


def stake_rows(sheet: Sheet) -> list[tuple[str, list[str], bool]]:
    """Label, a text for each stake, and whether it is one of the figures to set out by.

    Parameters
    ----------
    sheet : Sheet
        Facts of the tower.

    Returns
    -------
    list of (str, list of str, bool)
        From the top down.
    """
    stakes = sheet.stakes

    def row(label: str, texts: Sequence[str], strong: bool = False) -> tuple[str, list[str], bool]:
        return label, list(texts), strong

    has_compass = any(s.set_out_bearing_magnetic_deg is not None for s in stakes)
    rows = [
        row("Waypoint", [s.waypoint for s in stakes], True),
        row("Set out from", [s.set_out_from for s in stakes], True),
        row("Tape on ground", [_or_unknown(metres(s.set_out_ground_m)) for s in stakes], True),
        row("Distance, level", [metres(s.set_out_level_m) for s in stakes], True),
        row("Compass bearing", [_magnetic(s) for s in stakes], has_compass),
        row("True bearing", [three_digits(s.set_out_bearing_deg) for s in stakes], not has_compass),
        row("Lead to pull", [metres(s.lead_length_m) for s in stakes], True),
        row("From tower middle", [f"{metres(s.distance_m)} {three_digits(s.bearing_true_deg)}" for s in stakes]),
        row("Angle, side of line", [f"{degrees(s.angle_to_line_deg)} {s.side}" for s in stakes]),
        row("Height difference", [_signed(s.height_difference_m) for s in stakes]),
        row("Slope, steepest", [_two(degrees(s.slope_deg), degrees(s.steepest_deg)) for s in stakes]),
        row("Rods to bring", [_rods(s) for s in stakes]),
    ]
    return rows


def _magnetic(stake: Any) -> str:
    value = stake.set_out_bearing_magnetic_deg
    return "none" if value is None else three_digits(value)


def _signed(value: float | None) -> str:
    return "unknown" if value is None else f"{round(value, 1) + 0.0:+.1f} m"


def _or_unknown(text: str) -> str:
    return "unknown" if text.startswith("?") else text


def _two(at_stake: str, on_the_way: str) -> str:
    return f"{_or_unknown(at_stake)}, {_or_unknown(on_the_way)}"


def _rods(stake: Any) -> str:
    return "unknown" if stake.rods is None else f"{stake.rods:.0f}"


def draw_stakes(pen: Pen, box: Box, sheet: Sheet) -> float:
    """Draw how the stakes lie.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    box : Box
        On the page. [mm]
    sheet : Sheet
        Facts of the tower.

    Returns
    -------
    float
        Height used. [mm]
    """
    rows = stake_rows(sheet)
    label = box.width * 0.34
    cell = (box.width - label) / 2
    y = box.top - 12.0
    pen.box(Box(box.left, y, box.width, 12.0), 0.6, INK, WHITE)
    pen.fitted(box.left + 0.8, y + 1.4, "Status", label - 1, 7.5)
    for number, stake in enumerate(sheet.stakes):
        left = box.left + label + number * cell
        stake_sign(pen, left + 3.4, y + 8.1, stake.role, 2.1, settled=may_stake(stake.status))
        name = "current" if stake.role == "H" else "potential"
        pen.fitted(left + 7.2, y + 7.1, name, cell - 7.8, 8.5, bold=True)
        dark = not may_stake(stake.status)
        pen.box(Box(left + 0.4, y + 0.4, cell - 0.8, 4.2), 0.3, INK, INK if dark else WHITE)
        text = "NOT YET" if dark else stake.status
        pen.fitted(left + 1, y + 1.5, text, cell - 2, 7, bold=dark, color=WHITE if dark else INK)
    for number, (text, cells, strong) in enumerate(rows):
        y -= SET_OUT_ROW if strong else ROW
        if number % 2 == 0:
            pen.box(Box(box.left, y, box.width, SET_OUT_ROW if strong else ROW), 0, fill=_SHADE)
        pen.fitted(box.left + 0.8, y + 1.25, text, label - 1.2, 7.5)
        for place, value in enumerate(cells):
            x = box.left + label + (place + 1) * cell - 0.8
            pen.fitted(x, y + 1.25, value, cell - 1.2, 10.5 if strong else 7.5, bold=strong, align="right")
    pen.box(Box(box.left, y, box.width, box.top - 12.0 - y), 0.6)
    for number in range(2):
        x = box.left + label + number * cell
        pen.line([(x, y), (x, box.top)], 0.3)
    return box.top - y


def draw_places(pen: Pen, box: Box, sheet: Sheet, grid_crs: str) -> None:
    """Draw the coordinates of tower and stakes in three forms.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    box : Box
        On the page. [mm]
    sheet : Sheet
        Facts of the tower.
    grid_crs : str
        System of eastings and northings.
    """
    columns = (("", 13), ("degrees and minutes, WGS 84", 56), ("decimal degrees, WGS 84", 45),
               (f"easting, northing ({grid_crs})", 50), ("height", 22))  # fmt: skip
    factor = box.width / sum(width for _, width in columns)
    y = box.top - ROW
    pen.box(Box(box.left, y, box.width, ROW), 0, fill="#dedede")
    x = box.left
    for title, width in columns:
        pen.fitted(x + 0.8, y + 1.25, title, width * factor - 1.2, SMALLEST_PT)
        x += width * factor
    for row in (*sheet.stakes, sheet.tower):
        y -= ROW
        texts = [getattr(row, "role", "Tower"), *_place_texts(row)]
        x = box.left
        for number, (text, (_, width)) in enumerate(zip(texts, columns, strict=True)):
            pen.fitted(x + 0.8, y + 1.2, text, width * factor - 1.2, 8, bold=number == 0)
            x += width * factor
        pen.line([(box.left, y), (box.right, y)], 0.25)
    pen.box(Box(box.left, y, box.width, box.top - y), 0.6)


def _place_texts(row: Any) -> list[str]:
    lon, lat = float(turned_lon([row.lon])[0]), row.lat
    height = "unknown" if row.elevation_m is None else f"{row.elevation_m:.1f} m"
    return [
        f"{minutes(lat, 'NS')}  {minutes(lon, 'EW')}",
        f"{lat:.6f}  {lon:.6f}",
        f"E {row.easting:.1f}  N {row.northing:.1f}" if _known(row.easting, row.northing) else "outside this system",
        height,
    ]


def _known(*values: float | None) -> bool:
    return all(value is not None and math.isfinite(value) for value in values)


def minutes(value_deg: float, letters: str) -> str:
    """Angle in degrees and decimal minutes.

    Parameters
    ----------
    value_deg : float
        [deg]
    letters : str
        For positive and negative angles: ``NS`` or ``EW``.

    Returns
    -------
    str

    Examples
    --------
    >>> minutes(47.12, "NS"), minutes(-8.99999999, "EW")
    ('47° 07.200′ N', '09° 00.000′ W')
    """
    thousandths = round(abs(value_deg) * 60_000)
    degree, rest = divmod(thousandths, 60_000)
    return f"{degree:02d}° {rest / 1000:06.3f}′ {letters[value_deg < 0]}"


def draw_blanks(pen: Pen, box: Box, sheet: Sheet) -> None:
    """Draw the fields that the crew fills in.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    box : Box
        On the page. [mm]
    sheet : Sheet
        Facts of the tower.
    """
    columns = (("as staked", 15), ("distance, m", 22), ("bearing mag/true", 27), ("GPS, if moved", 40),
               ("on arrival, V", 20), ("reading, ohm", 24), ("remarks, why moved", 38))  # fmt: skip
    factor = box.width / sum(width for _, width in columns)
    head, row = 4.0, (box.height - 4.0 - 6.0) / 2
    y = box.top - head
    x = box.left
    pen.box(Box(box.left, y, box.width, head), 0, fill="#dedede")
    for title, width in columns:
        pen.fitted(x + 0.8, y + 1.2, title, width * factor - 1.2, SMALLEST_PT)
        pen.line([(x, box.top), (x, box.bottom + 6.0)], 0.3)
        x += width * factor
    for stake in sheet.stakes:
        y -= row
        stake_sign(pen, box.left + 4.0, y + row / 2, stake.role, 1.9, settled=may_stake(stake.status))
        pen.line([(box.left, y), (box.right, y)], 0.3)
    pen.box(box, 0.6)
    blank = "Date ______________   Time __________   Weather, soil ______________________   Initials __________"
    pen.fitted(box.left + 1, box.bottom + 1.6, blank, box.width - 2, 8)


def draw_notes(pen: Pen, box: Box, title: str) -> None:
    """Draw lines to write on.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    box : Box
        On the page. [mm]
    title : str
        Above the lines.
    """
    pen.box(box, 0.6)
    pen.text(box.left + 1, box.top - 4, clean(title), 7.5)
    for number in range(1, int(box.height // 8)):
        y = box.top - 4 - number * 7.5
        if y > box.bottom + 1:
            pen.line([(box.left + 2, y), (box.right - 2, y)], 0.25, "#888888")
