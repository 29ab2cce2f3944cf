"""One page for one tower."""

from __future__ import annotations

from dataclasses import dataclass, replace

from layoutplan.layout.reasons import why_no_layout
from layoutplan.layout.rules import ALL_MET, BREAKS, COMPROMISED, NEEDS_AGREEMENT, NO_LAYOUT, NOT_COVERED, TAKE_CARE
from layoutplan.outputs.sheets.blocks import Block, Item, draw, height, wrapped
from layoutplan.outputs.sheets.crossings import crossings_of
from layoutplan.outputs.sheets.division import GAP, GUTTER, MOST_MAP, PLACES, SIDE, SIZES, divided, map_entries
from layoutplan.outputs.sheets.facts import Sheet
from layoutplan.outputs.sheets.hatch import hatched
from layoutplan.outputs.sheets.legend import draw_rows, row_height
from layoutplan.outputs.sheets.marks import status_sign
from layoutplan.outputs.sheets.neighbours import nearest_road
from layoutplan.outputs.sheets.panel import tower_panel
from layoutplan.outputs.sheets.paragraphs import blocks_of
from layoutplan.outputs.sheets.pen import INK, SMALLEST_PT, WHITE, Box, Pen, cut, ops_of
from layoutplan.outputs.sheets.qr import place_code
from layoutplan.outputs.sheets.styles import PenStroke
from layoutplan.outputs.sheets.surroundings import Surroundings
from layoutplan.outputs.sheets.tables import draw_blanks, draw_notes, draw_places, draw_stakes
from layoutplan.outputs.sheets.tower_map import BELOW, STRIP, draw_map
from layoutplan.outputs.words import degrees, figure, may_stake

MARGIN = 12.0
_SIDE = 74.0  # column beside the map
_CODE, _CELL = 16.0, 24.0  # to be scanned from a sheet in the hand; with the words below it
_HEAD, _BAND, _FOOT = 19.0, 9.0, 7.0
_CONTINUED = "… more than fits: see the next page before going out."
_PART = 82.0  # at the foot
_ORDERS = {
    ALL_MET: ("ALL RULES MET, as far as the map shows", "Look before you stake."),
    TAKE_CARE: ("RULES MET: TAKE CARE", "Nobody need be asked; take care at what is listed below."),
    COMPROMISED: ("COMPROMISE", "Read what is off before staking."),
    NEEDS_AGREEMENT: (
        "NEEDS AGREEMENT: DO NOT STAKE YET",
        "Hollow stakes wait until everything numbered or ticked below is agreed and signed for.",
    ),
    NOT_COVERED: ("THE MAP DOES NOT COVER THIS PLACE: DO NOT STAKE YET", "What is there is unknown: survey it first."),
    BREAKS: ("BREAKS RULES: DO NOT STAKE", "A stake fixed by the job breaks hard rules; see the reasons."),
    NO_LAYOUT: ("NO LAYOUT: NOTHING TO STAKE HERE", "No pair of positions keeps the hard rules."),
}


@dataclass(frozen=True, slots=True)
class PageFrame:
    """What stands on every page.

    Attributes
    ----------
    page : (float, float)
        Width and height. [mm]
    title, plan_number, credits, magnetic, grid_crs : str
    part : str
        Which towers of how many, where these are not all.
    calls : str
        Whom the crew calls, or room to write it.
    pages : int
    """

    page: tuple[float, float]
    title: str
    part: str
    plan_number: str
    credits: str
    magnetic: str
    grid_crs: str
    calls: str
    pages: int

    def numbered(self, pages: int) -> PageFrame:
        """The same with its number of pages.

        Parameters
        ----------
        pages : int
            Of the whole document.

        Returns
        -------
        PageFrame
        """
        return replace(self, pages=pages)

    @property
    def content(self) -> Box:
        """The page within its margins."""
        return Box(MARGIN, MARGIN, self.page[0] - 2 * MARGIN, self.page[1] - 2 * MARGIN)


def draw_tower_page(pen: Pen, sheet: Sheet, number: int, frame: PageFrame, around: Surroundings) -> list[Block]:
    """Draw the page of a tower.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    sheet : Sheet
        Facts of the tower.
    number : int
        Of the page.
    frame : PageFrame
        What all pages have in common.
    around : Surroundings
        What lies around all towers.

    Returns
    -------
    list of Block
        What did not fit, for `draw_continued`; mostly empty.
    """
    rest = _begun(pen, sheet, frame)
    draw_rest = _with_stakes if sheet.stakes else _without_stakes
    left = draw_rest(pen, rest, sheet, frame, around)
    foot(pen, frame, str(number))
    return left


def draw_continued(pen: Pen, sheet: Sheet, number: int, frame: PageFrame, blocks: list[Block]) -> list[Block]:
    """Draw what did not fit on a tower's page on one after it, with the tower's number on the page.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    sheet : Sheet
        Facts of the tower.
    number : int
        Of the tower's page.
    frame : PageFrame
        What all pages have in common.
    blocks : list of Block
        What is left.

    Returns
    -------
    list of Block
        What did not fit here either.
    """
    left = draw(pen, blocks, _begun(pen, sheet, frame), SIZES[0], _CONTINUED)
    foot(pen, frame, f"{number}, continued,")
    return left


def _begun(pen: Pen, sheet: Sheet, frame: PageFrame) -> Box:
    """Draw head and status; what is left of the page."""
    box = frame.content
    _head(pen, Box(box.left, box.top - _HEAD, box.width, _HEAD), sheet, frame)
    _band(pen, Box(box.left, box.top - _HEAD - _BAND, box.width, _BAND), sheet.tower.status)
    return Box(box.left, box.bottom + _FOOT, box.width, box.height - _FOOT - _HEAD - _BAND - GAP)


def _with_stakes(pen: Pen, box: Box, sheet: Sheet, frame: PageFrame, around: Surroundings) -> list[Block]:
    crossings = crossings_of(sheet, around.classes)
    road = nearest_road(tower_panel(sheet, box), around.features)
    wordings = [blocks_of(sheet, crossings, road, around.classes, brief=brief) for brief in (False, True)]
    page = divided(pen, box, sheet, wordings, crossings, around)
    fit = page.fit
    top = Box(box.left, box.top - page.upper, box.width, page.upper)
    note = draw_map(pen, Box(top.left, top.bottom, top.width - SIDE, top.height), sheet, crossings, around)
    _side(pen, Box(top.right - _SIDE, top.bottom, _SIDE, top.height), sheet, note)
    legend = Box(box.left, top.bottom - GAP / 2 - page.legend, box.width, page.legend)
    draw_rows(pen, legend, page.entries)
    places = Box(box.left, legend.bottom - GAP / 2 - PLACES, box.width, PLACES)
    draw_places(pen, places, sheet, frame.grid_crs)
    bottom = box.bottom + page.blanks + GAP
    below = Box(box.left, bottom, fit.left, places.bottom - bottom - 0.5 * GAP)
    left = draw(pen, fit.columns[0], below, fit.size, _CONTINUED)
    right = below.right + GUTTER
    column = Box(right, below.bottom, box.right - right, below.height)
    left += draw(pen, fit.columns[1], column, fit.size, _CONTINUED)
    draw_blanks(pen, Box(box.left, box.bottom, box.width, page.blanks), sheet)
    return left


def _side(pen: Pen, box: Box, sheet: Sheet, note: str) -> None:
    """Draw what stands beside the map: how the stakes lie, and notes on the map."""
    y = box.top - draw_stakes(pen, box, sheet) - 4.0
    for number, line in enumerate(wrapped(pen, note, box.width, SMALLEST_PT)[:2]):
        pen.text(box.left, y - number * 2.8, line, SMALLEST_PT)


def _without_stakes(pen: Pen, box: Box, sheet: Sheet, frame: PageFrame, around: Surroundings) -> list[Block]:
    """Draw the map, and the reasons in large letters."""
    upper = min(MOST_MAP, box.height * 0.5)
    note = draw_map(pen, Box(box.left, box.top - upper, box.width, upper), sheet, [], around)
    for number, line in enumerate(wrapped(pen, note, box.width - BELOW - 4, SMALLEST_PT)[:3]):
        pen.text(box.left + BELOW + 4, box.top - upper + STRIP - 4.0 - 2.8 * number, line, SMALLEST_PT)
    entries = map_entries(box.width, upper, sheet, [], around)
    legend = Box(box.left, box.top - upper - GAP / 2, box.width, 0.0)
    draw_rows(pen, legend, entries)
    places = Box(box.left, legend.bottom - row_height(pen, entries, box.width) - GAP / 2 - 8.5, box.width, 8.5)
    draw_places(pen, places, sheet, frame.grid_crs)
    notes = 32.0
    room = Box(box.left, box.bottom + notes + GAP, box.width, places.bottom - box.bottom - notes - 2 * GAP)
    changes = [Item(text, str(number)) for number, text in enumerate(sheet.changes, 1)]
    why = why_no_layout(sheet.excluded, sheet.silence)
    blocks = [
        Block("No stake at this tower. Reasons:", (Item(why, "✗", bold=True),)),
        Block("Any one of these would give a layout, after planning again:",
              tuple(changes) or (Item("No single change was found."),)),
    ]  # fmt: skip
    sizes = (12.0, 11.0, 10.0, 9.0, *SIZES)
    size = next((size for size in sizes if height(pen, blocks, box.width, size) <= room.height), sizes[-1])
    left = draw(pen, blocks, room, size, _CONTINUED)
    draw_notes(pen, Box(box.left, box.bottom, box.width, notes), "Notes from the site (not a place to stake):")
    return left


def _head(pen: Pen, box: Box, sheet: Sheet, frame: PageFrame) -> None:
    tower = sheet.tower
    places = [_first_place(sheet), *((stake.role, stake.lon, stake.lat) for stake in sheet.stakes)]
    room = box.width - len(places) * _CELL - 3
    for number, (what, lon, lat) in enumerate(places):
        left = box.left + room + 3 + number * _CELL
        place_code(pen, Box(left + (_CELL - _CODE) / 2, box.top - _CODE, _CODE, _CODE), lon, lat)
        pen.text(left + _CELL / 2, box.top - _CODE - 1.6, f"scan for {what}", SMALLEST_PT, align="centre")
    _name(pen, Box(box.left, box.top - 8.0, room, 8.0), f"Tower {tower.tower_id}")
    line = f"Line {tower.line_id}, {figure(tower.chainage_m, 'm')} along it; {_turn(tower.deflection_deg)}"
    pen.fitted(box.left, box.top - 11.4, line, room, 8.5)
    pen.fitted(box.left, box.top - 15.0, f"{frame.title}  ·  plan {frame.plan_number}", room, 7.5)


def _first_place(sheet: Sheet) -> tuple[str, float, float]:
    """Where the crew goes first: to the drop-off where one is known, else to the tower."""
    for way in sheet.ways[:1]:
        if way.drop_off_lat is not None:
            return "the drop-off", way.drop_off_lon, way.drop_off_lat
    return "the tower", sheet.tower.lon, sheet.tower.lat


def _name(pen: Pen, box: Box, text: str) -> None:
    """Write the tower's id large; a very long one in two lines, for ids often differ at their ends."""
    if pen.width(text, 13, True) <= box.width:
        pen.fitted(box.left, box.top - 7.0, text, box.width, 20, bold=True)
        return
    lines = wrapped(pen, text, box.width, 10, True)
    if len(lines) != 2:
        lines = [f"{text[:50]}…", f"…{text[-50:]}"] if len(text) > 100 else [text, ""]
    for line, y in zip(lines, (box.top - 3.4, box.top - 7.4), strict=True):
        pen.fitted(box.left, y, line, box.width, 10, bold=True)


def _turn(deflection_deg: float | None) -> str:
    if deflection_deg is None or abs(deflection_deg) < 0.05:
        return "straight"
    return f"turns {degrees(abs(deflection_deg))} to the {'right' if deflection_deg > 0 else 'left'}"


def _band(pen: Pen, box: Box, status: str) -> None:
    """Draw the status as a band that cannot be missed: white where staking may go on, black where it may not."""
    order, more = _ORDERS.get(status, (status.upper(), "Do not stake before it is understood."))
    dark = not may_stake(status)
    inner = box.inset(0.4)
    pen.box(inner, 1.6, INK, INK if dark else WHITE)
    if status == COMPROMISED:
        end = Box(inner.right - 28, inner.bottom, 28, inner.height)
        hatched(pen, end, [ops_of(end)], (PenStroke(45.0, 2.0),), INK)
    color = WHITE if dark else INK
    pen.text(inner.left + 3, inner.bottom + 2.6, status_sign(status), 15, bold=True, color=color)
    room = inner.width - 42
    pen.fitted(inner.left + 11, inner.bottom + 3.9, order, room, 11.5, bold=True, color=color)
    pen.fitted(inner.left + 11, inner.bottom + 1.0, more, room, 7.5, color=color)


def foot(pen: Pen, frame: PageFrame, number: str) -> None:
    """Draw what stands at the bottom of every page.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    frame : PageFrame
        What all pages have in common.
    number : str
        Of the page.
    """
    box = frame.content
    pen.line([(box.left, box.bottom + 5.4), (box.right, box.bottom + 5.4)], 0.4)
    pages = f"plan {frame.plan_number}   page {number} of {frame.pages}"
    if frame.part:
        pages = f"{cut(pen, frame.part, _PART, 7.5, True)}   {pages}"
    pen.text(box.right, box.bottom + 2.4, pages, 7.5, bold=True, align="right")
    room = box.width - pen.width(pages, 7.5, True) - 4
    pen.fitted(box.left, box.bottom + 2.6, f"Map data: {frame.credits}", room, SMALLEST_PT)
    pen.text(box.right, box.bottom - 0.8, frame.calls, SMALLEST_PT, bold=True, align="right")
    room = box.width - pen.width(frame.calls, SMALLEST_PT, True) - 4
    pen.fitted(box.left, box.bottom - 0.8, f"Declination: {frame.magnetic}", room, SMALLEST_PT)
