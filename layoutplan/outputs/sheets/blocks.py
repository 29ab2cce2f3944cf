"""Blocks of text: a heading and items, measured before they are drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from layoutplan.outputs.sheets.pen import INK, MM, Box, Pen

_LEADING = 0.42  # mm of line height per point of size
_INDENT = 0.5  # mm of indent per point of size
MORE = "… and more than fits here: see review.html before going out."


@dataclass(frozen=True, slots=True)
class Item:
    """A paragraph; ``mark`` stands before it (a number, a bullet, a box to tick)."""

    text: str
    mark: str = "–"
    bold: bool = False


@dataclass(frozen=True, slots=True)
class Block:
    """A heading and what stands below it."""

    title: str
    items: tuple[Item, ...]


Line = tuple[int, str, str, bool]  # number of its item, mark, text, bold


def height(pen: Pen, blocks: Sequence[Block], width: float, size: float) -> float:
    """Height that blocks take below each other.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    blocks : sequence of Block
        Below each other.
    width : float
        Of the column. [mm]
    size : float
        Of the letters. [points]

    Returns
    -------
    float
        [mm]
    """
    lines = sum(len(_lines(pen, block, width, size)) for block in blocks)
    return _LEADING * size * (lines + 1.75 * len(blocks))


def draw(pen: Pen, blocks: Sequence[Block], box: Box, size: float, more: str = MORE) -> list[Block]:
    """Draw blocks from the top of a box down; where not all fits, a line says so.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    blocks : sequence of Block
        Below each other.
    box : Box
        On the page. [mm]
    size : float
        Of the letters. [points]
    more : str
        What to say where not all fits.

    Returns
    -------
    list of Block
        What did not fit; an item that was begun is in it whole.
    """
    step, y = _LEADING * size, box.top
    for place, block in enumerate(blocks):
        y -= 1.35 * step
        if y < box.bottom:
            pen.fitted(box.left, box.bottom + 0.3, more, box.width, size, bold=True)
            return list(blocks[place:])
        pen.text(box.left, y, block.title, size + 0.5, bold=True)
        pen.line([(box.left, y - 0.25 * step), (box.right, y - 0.25 * step)], 0.4)
        y -= 0.2 * step
        lines = _lines(pen, block, box.width, size)
        for number, (item, mark, text, bold) in enumerate(lines):
            y -= step
            last_line = y - step < box.bottom
            if y < box.bottom or (last_line and (number + 1 < len(lines) or place + 1 < len(blocks))):
                pen.fitted(box.left, max(y, box.bottom), more, box.width, size, bold=True)
                return [Block(block.title, block.items[item:]), *blocks[place + 1 :]]
            if mark:
                pen.text(box.left, y, mark, size, bold=True)
            pen.text(box.left + _INDENT * size, y, text, size, bold=bold, color=INK)
        y -= 0.2 * step
    return []


def _lines(pen: Pen, block: Block, width: float, size: float) -> list[Line]:
    room = width - _INDENT * size
    return [
        (place, item.mark if number == 0 else "", line, item.bold)
        for place, item in enumerate(block.items)
        for number, line in enumerate(wrapped(pen, item.text, room, size, item.bold))
    ]


def wrapped(pen: Pen, text: str, width: float, size: float, bold: bool = False) -> list[str]:
    """Text in lines no wider than ``width`` mm; words that are too long are broken.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    text : str
        To be written.
    width : float
        Of the column. [mm]
    size : float
        Of the letters. [points]
    bold : bool
        Whether the letters are bold.

    Returns
    -------
    list of str
        Lines.
    """
    room = width * MM / size  # of letters of one point
    lines: list[str] = []
    begun: list[str] = []
    space, used = pen.fonts.width(" ", bold), 0.0
    for word, wide in pen.fonts.words(text, bold):
        if begun and used + space + wide > room:
            lines.append(" ".join(begun))
            begun, used = [], 0.0
        if wide > room:
            *whole, word = _broken(pen, word, width, size, bold)
            lines += whole
            wide = pen.fonts.width(word, bold)
        used += space + wide if begun else wide
        begun.append(word)
    return [*lines, " ".join(begun)] if begun else lines


def _broken(pen: Pen, word: str, width: float, size: float, bold: bool) -> list[str]:
    """Break a word into pieces that fit, letter by letter; a letter that is wider than a line stands alone."""
    pieces, piece, used = [], "", 0.0
    for char in word:
        wide = pen.width(char, size, bold)
        if piece and used + wide > width:
            pieces.append(piece)
            piece, used = "", 0.0
        piece, used = piece + char, used + wide
    return [*pieces, piece]
