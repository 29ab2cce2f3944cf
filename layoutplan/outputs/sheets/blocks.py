"""Blocks of text: a heading and items, measured before they are drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from layoutplan.outputs.sheets.pen import INK, Box, Pen
from layoutplan.text import clean

_LEADING = 0.44  # mm of line height per point of size
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


Line = tuple[str, str, bool]  # mark, text, bold


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


def draw(pen: Pen, blocks: Sequence[Block], box: Box, size: float) -> bool:
    """Draw blocks from the top of a box down; what does not fit is left out with a word.

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

    Returns
    -------
    bool
        Whether all fitted.
    """
    step, y = _LEADING * size, box.top
    for block in blocks:
        lines = _lines(pen, block, box.width, size)
        y -= 1.35 * step
        if y < box.bottom:
            pen.fitted(box.left, box.bottom + 0.3, MORE, box.width, size, bold=True)
            return False
        pen.text(box.left, y, block.title, size + 0.5, bold=True)
        pen.line([(box.left, y - 0.25 * step), (box.right, y - 0.25 * step)], 0.4)
        y -= 0.2 * step
        for number, (mark, text, bold) in enumerate(lines):
            y -= step
            last_line = y - step < box.bottom
            if y < box.bottom or (last_line and (number + 1 < len(lines) or block is not blocks[-1])):
                pen.fitted(box.left, max(y, box.bottom), MORE, box.width, size, bold=True)
                return False
            if mark:
                pen.text(box.left, y, mark, size, bold=True)
            pen.text(box.left + _INDENT * size, y, text, size, bold=bold, color=INK)
        y -= 0.2 * step
    return True


def _lines(pen: Pen, block: Block, width: float, size: float) -> list[Line]:
    room = width - _INDENT * size
    return [
        (item.mark if number == 0 else "", line, item.bold)
        for item in block.items
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
    lines: list[str] = []
    space, line, used = pen.width(" ", size, bold), "", 0.0
    for word in clean(text).split():
        wide = pen.width(word, size, bold)
        if line and used + space + wide > width:
            lines.append(line)
            line, used = "", 0.0
        if wide > width:
            *whole, word = _broken(pen, word, width, size, bold)
            lines += whole
            wide = pen.width(word, size, bold)
        line, used = (f"{line} {word}", used + space + wide) if line else (word, wide)
    return [*lines, line] if line else lines


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
