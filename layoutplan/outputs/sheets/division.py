"""How the page of a tower is divided: the words in two columns, the legend, and the map in what they leave."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from layoutplan.outputs.sheets.blocks import Block, height
from layoutplan.outputs.sheets.crossings import Crossing
from layoutplan.outputs.sheets.facts import Sheet
from layoutplan.outputs.sheets.legend import Entry, class_looks, entries_of, row_height
from layoutplan.outputs.sheets.panel import tower_panel
from layoutplan.outputs.sheets.pen import SMALLEST_PT, Box, Pen
from layoutplan.outputs.sheets.surroundings import Surroundings
from layoutplan.outputs.sheets.tower_map import STRIP, signs_on

GAP, GUTTER = 2.0, 4.0
SIDE = 77.0  # column beside the map, with what is left between
PLACES = 17.5
SIZES = (9.0, 8.5, 8.0, 7.5, SMALLEST_PT)
MOST_MAP, _LEAST_MAP = 132.0, 80.0
_TIGHTER = ((_LEAST_MAP, 27.0, False), (75.0, 27.0, False), (75.0, 21.0, False), (75.0, 21.0, True))
"""Least height of the map, that of the fields to fill in, and whether what the table holds is not told again."""
_SHARES = (0.5, 0.53, 0.47, 0.56, 0.44, 0.59, 0.41, 0.62, 0.38)  # of the width, for the left column
_ROUNDS = 4


class TextFit(NamedTuple):
    """Size of the letters [points], width of the left column and height of both [mm], and what stands in them."""

    size: float
    left: float
    height: float
    columns: tuple[list[Block], list[Block]]


class PageDivision(NamedTuple):
    """How a page is divided: words; height of the map, of the fields to fill in, of the legend [mm]; its entries."""

    fit: TextFit
    upper: float
    blanks: float
    entries: list[Entry]
    legend: float


def divided(
    pen: Pen,
    box: Box,
    sheet: Sheet,
    wordings: Sequence[list[Block]],
    crossings: list[Crossing],
    around: Surroundings,
) -> PageDivision:
    """Divide a page: the words first, the map takes what they leave.

    What is on the map hangs on its height, and the height on how much there is to explain: at most a few rounds.
    """
    legend, upper, width = 0.0, _LEAST_MAP, box.width - SIDE
    entries = map_entries(width, upper, sheet, crossings, around)
    for _ in range(_ROUNDS):
        legend = max(row_height(pen, entries, box.width), legend)
        for least, blanks, brief in _TIGHTER:
            room = box.height - blanks - PLACES - 3 * GAP - legend
            fit = _fitted(pen, wordings[brief], box.width, room - least)
            if fit.height <= room - least:
                break
        last, upper = upper, min(max(room - fit.height, least), MOST_MAP)
        if upper != last:
            entries = map_entries(width, upper, sheet, crossings, around)
        if row_height(pen, entries, box.width) <= legend:
            break
    return PageDivision(fit, upper, blanks, entries, legend)


def map_entries(
    width: float, height_mm: float, sheet: Sheet, crossings: list[Crossing], around: Surroundings
) -> list[Entry]:
    """Signs on the map of a tower that is so wide and high."""
    panel = tower_panel(sheet, Box(0.0, 0.0, width, height_mm - STRIP))
    seen = around.features.seen(panel)
    return entries_of(signs_on(panel, sheet, crossings, around), class_looks(around.features, seen))


def _fitted(pen: Pen, blocks: list[Block], width: float, room: float) -> TextFit:
    """Largest letters with which two columns fit: the last block below either, one column wider if that helps."""
    for size in SIZES:
        fits = []
        for columns in ((blocks[:2], blocks[2:]), ([*blocks[:2], blocks[-1]], blocks[2:-1])):
            for share in _SHARES:
                left = share * (width - GUTTER)
                sides = zip(columns, (left, width - GUTTER - left), strict=True)
                needed = max(height(pen, column, side, size) for column, side in sides) + 1.0
                fits.append(TextFit(size, left, needed, columns))
        best = min(fits, key=lambda fit: fit.height)
        if best.height <= room:
            return best
    return best
