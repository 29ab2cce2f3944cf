"""The cover: what the plan is, where, what to beware of, and on which page each tower is."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from layoutplan.layout.model import Plan
from layoutplan.layout.rules import STATUSES
from layoutplan.outputs.columns import as_lists
from layoutplan.outputs.sheets.blocks import Block, Item, draw, height
from layoutplan.outputs.sheets.facts import Sheet
from layoutplan.outputs.sheets.grid import grid_bearing_deg, has_grid
from layoutplan.outputs.sheets.index_map import draw_index
from layoutplan.outputs.sheets.legend import ClassLook, draw_legend, legend_height
from layoutplan.outputs.sheets.marks import status_sign
from layoutplan.outputs.sheets.pen import INK, SMALLEST_PT, WHITE, Box, Pen
from layoutplan.outputs.sheets.surroundings import Surroundings
from layoutplan.outputs.sheets.tower_page import PageFrame, foot
from layoutplan.outputs.words import may_stake

_ROW, _COLUMNS = 4.4, 2
_MOST_TEXT = 112.0
_SIZES = (9.0, 8.5, 8.0, 7.5, SMALLEST_PT)
_USE = (
    "Print at 100 % (no fitting to the page): a ruler on the scale bar must give the length written there.",
    "Black band on top, hollow signs: not to be staked yet.",
    "Right and left are meant facing increasing tower order. Distances are level unless they are along the ground.",
    "A handheld receiver is good for some metres: it finds the place, tape and bearing set the stake. Hold the compass "
    "away from tower, vehicle and line.",
)
_PRECEDENCE = (
    "Local codes, the asset owner's rules and licensed practice take precedence over everything on these sheets."
)


def front_pages(frame_content: Box, towers: int, classes: int) -> int:
    """Pages before the first tower: the front, then legend and list of towers.

    Parameters
    ----------
    frame_content : Box
        What a page has room for. [mm]
    towers, classes : int
        How many there are to list, and to explain.

    Returns
    -------
    int
    """
    rest = towers - _rows_in(frame_content.height - _list_top(classes)) * _COLUMNS
    return 2 + max(-(-rest // (_rows_in(frame_content.height - 6.0) * _COLUMNS)), 0)


def _list_top(classes: int) -> float:
    """Height of the legend with its heading."""
    return legend_height(classes) + 12.0


def _rows_in(height_mm: float) -> int:
    return int((height_mm - 8.0 - 7.0) / _ROW)


def draw_front(
    pen: Pen, plan: Plan, sheets: list[Sheet], frame: PageFrame, around: Surroundings, notes: Sequence[str]
) -> None:
    """Draw the first page; ``notes`` are what the making of the sheets met with.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    sheets : list of Sheet
        Of all towers.
    frame : PageFrame
        What all pages have in common.
    around : Surroundings
        What lies around all towers.
    notes : sequence of str
        What the making of the sheets met with.
    """
    box = frame.content
    y = box.top - 8
    pen.fitted(box.left, y, frame.title, box.width, 20, bold=True)
    y -= 6.5
    pen.fitted(
        box.left, y, f"Staking sheets for auxiliary electrodes H and S   ·   plan {frame.plan_number}", box.width, 11
    )
    y -= 2.0
    pen.line([(box.left, y), (box.right, y)], 1.0)
    half = (box.width - 4) / 2
    about = [
        Block("The job", (*_about(plan, sheets, frame), *(Item(note, "!", bold=True) for note in notes))),
        Block("Towers by status", tuple(_counts(sheets))),
        Block("Using the sheets", tuple(Item(text) for text in _USE)),
    ]
    cautions = (Item(_PRECEDENCE, "!", bold=True), *(Item(text) for text in plan.cautions))
    warn = [Block("Before going out", tuple(_to_fill_in(plan))), Block("Cautions: they apply to every page", cautions)]
    columns = (about, warn)
    size = next(
        (s for s in _SIZES if max(height(pen, blocks, half, s) for blocks in columns) <= _MOST_TEXT), _SIZES[-1]
    )
    used = min(max(height(pen, blocks, half, size) for blocks in columns) + 1, _MOST_TEXT)
    draw(pen, about, Box(box.left, y - used, half, used), size)
    draw(pen, warn, Box(box.left + half + 4, y - used, half, used), size)
    if sheets:
        map_box = Box(box.left, box.bottom + 8, box.width, y - used - box.bottom - 10)
        draw_index(pen, map_box, plan, sheets, around)
    foot(pen, frame, "1")


def _about(plan: Plan, sheets: list[Sheet], frame: PageFrame) -> list[Item]:
    (lines,) = as_lists(plan.towers, ["line_id"])
    days = plan.job.work.days
    when = "not given in the job" if days is None else " to ".join(dict.fromkeys(str(day) for day in days))
    part = [Item(f"PART OF A PLAN: {frame.part}. The others have sheets of their own.", "!", bold=True)]
    return [
        *(part if frame.part else ()),
        Item(f"Lines: {', '.join(dict.fromkeys(lines)) or 'none'}"),
        Item(f"Days of work: {when}"),
        Item(f"Plan number {frame.plan_number}: sheets with another number are of another plan."),
        Item("Latitude and longitude: WGS 84. Bearings: from true north unless called magnetic or grid."),
        Item(_grid_note(plan, sheets)),
        Item(
            f"Magnetic declination: {frame.magnetic.rstrip('.')}. Bearings for the compass are given to half a degree."
        ),
    ]


def _to_fill_in(plan: Plan) -> list[Item]:
    """What the crew has to have in hand, given in the job or to be written in."""
    work, blank = plan.job.work, "_" * 22
    frequencies = ", ".join(f"{hz:g}" for hz in plan.job.method.test_frequencies_hz)
    return [
        Item(f"Permit to work: {work.permit_number or blank}", "☐"),
        Item(f"Control room: {work.control_room or blank}", "☐"),
        Item(f"In an emergency call: {work.emergency_phone or blank}", "☐"),
        Item(f"Instrument, serial number: {blank}", "☐"),
        Item(f"Test frequency, Hz ({frequencies} in the plan): {blank}", "☐"),
    ]


def _grid_note(plan: Plan, sheets: list[Sheet]) -> str:
    grid = f"Easting and northing: {plan.grid_crs}."
    reached = [sheet for sheet in sheets if has_grid(sheet)]
    if not reached:
        return grid
    scale = [float(np.sqrt(abs(np.linalg.det(sheet.grid)))) for sheet in reached]
    turn = [grid_bearing_deg(sheet) for sheet in reached]
    return (
        f"{grid} Distances are level distances on the ground (ellipsoid), not grid distances: grid = ground times "
        f"{min(scale):.6f} to {max(scale):.6f}. Grid north lies {min(turn):+.2f}° to {max(turn):+.2f}° from true north "
        "(east is positive)."
    )


def _counts(sheets: list[Sheet]) -> list[Item]:
    found = [sheet.tower.status for sheet in sheets]
    return [
        Item(f"{found.count(status)}: {status}{'' if may_stake(status) else ': DO NOT STAKE'}", status_sign(status))
        for status in STATUSES
        if status in found
    ]


def draw_lists(
    pen_of_page: Callable[[], Pen],
    sheets: list[Sheet],
    frame: PageFrame,
    classes: dict[str, tuple[str, ClassLook]],
) -> None:
    """Draw the pages with legend and list of towers; ``pen_of_page`` begins a new page.

    Parameters
    ----------
    pen_of_page : callable
        Begins a new page.
    sheets : list of Sheet
        Of all towers.
    frame : PageFrame
        What all pages have in common.
    classes : dict
        For each obstacle class on the maps, what it is in words and how it is drawn.
    """
    rows = _index_rows(sheets, frame)
    page, box = 2, frame.content
    pen = pen_of_page()
    pen.text(box.left, box.top - 5, "Signs on the maps", 11, bold=True)
    draw_legend(pen, Box(box.left, box.bottom, box.width, box.height - 8), classes)
    top = box.top - _list_top(len(classes))
    while True:
        foot(pen, frame, str(page))
        count = _rows_in(top - box.bottom) * _COLUMNS
        _list(pen, Box(box.left, box.bottom + 7, box.width, top - box.bottom - 7), rows[:count])
        rows, page, top = rows[count:], page + 1, box.top - 6.0
        if not rows:
            return
        pen = pen_of_page()


def _index_rows(sheets: list[Sheet], frame: PageFrame) -> list[tuple[str, str, str, str]]:
    """Sign, tower, status and page; those that need most work first."""
    rank = {status: number for number, status in enumerate(STATUSES[::-1])}
    first = frame.pages - len(sheets) + 1
    rows = [(rank.get(sheet.tower.status, 0), first + number, sheet.tower) for number, sheet in enumerate(sheets)]
    lines = len({tower.line_id for _, _, tower in rows}) > 1
    return [
        (
            tower.status,
            f"{tower.tower_id}" + (f"  ({tower.line_id})" if lines else ""),
            str(page),
            status_sign(tower.status),
        )
        for _, page, tower in sorted(rows, key=lambda row: row[:2])
    ]


def _list(pen: Pen, box: Box, rows: Sequence[tuple[str, str, str, str]]) -> None:
    pen.text(box.left, box.top - 4, "Towers by status, and their pages", 11, bold=True)
    width = (box.width - 4) / _COLUMNS
    per_column = _rows_in(box.height + 7)
    for number, (status, tower, page, sign) in enumerate(rows):
        column, row = divmod(number, per_column)
        x, y = box.left + column * (width + 4), box.top - 8 - (row + 1) * _ROW
        dark = not may_stake(status)
        pen.box(Box(x, y + 0.2, 5, _ROW - 0.4), 0.4, INK, INK if dark else WHITE)
        pen.text(x + 2.5, y + 1.2, sign, 7.5, bold=True, align="centre", color=WHITE if dark else INK)
        pen.fitted(x + 6.5, y + 1.2, tower, width - 55, 8.5, bold=True)
        pen.fitted(x + width - 47, y + 1.2, status, 34, 7.5)
        pen.text(x + width, y + 1.2, f"page {page}", 7.5, align="right")
        pen.line([(x, y), (x + width, y)], 0.2, "#888888")
