"""TrueType files looked through before they are used, so that none makes the library work without end."""

from __future__ import annotations

import struct
from io import BytesIO
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from reportlab.pdfbase.ttfonts import TTFError, TTFont, TTFontParser

_LARGEST = 100_000_000  # bytes; fonts for Chinese, Japanese and Korean have some 20 million
_MOST_LETTERS = 0x110000  # of Unicode
_MORE, _WORDS, _ONE_SCALE, _TWO_SCALES, _MATRIX = (
    0x20,
    0x01,
    0x08,
    0x40,
    0x80,
)  # flags in 'glyf', ISO/IEC 14496-22


def sound_font(name: str, path: Path) -> TTFont:
    """Return a font that can be embedded.

    Parameters
    ----------
    name : str
        What it is called in the document.
    path : Path
        Of the font.

    Returns
    -------
    TTFont
        Looked through.

    Raises
    ------
    OSError
        If it cannot be read.
    Exception
        Of many kinds: if it is cut off or damaged.
    """
    if not path.is_file() and path.exists():
        raise OSError(0, "no plain file")
    if path.stat().st_size > _LARGEST:
        raise OSError(0, f"larger than {_LARGEST // 1_000_000} MB")
    content = path.read_bytes()
    _require_few_letters(TTFontParser(BytesIO(content)).get_table("cmap"))
    font = TTFont(name, BytesIO(content))  # given bytes, the library cannot tell where the file lies
    if any(table["offset"] + table["length"] > len(content) for table in font.face.tables):
        raise TTFError("cut off")  # found otherwise only when the pages are put together
    _require_whole_glyphs(font.face.get_table("glyf"), font.face.glyphPos, len(font.face.hmetrics))
    font.face.makeSubset(list(font.face.charToGlyph)[:250])
    return font


def _require_few_letters(cmap: bytes) -> None:
    """Raise if a table from letters to glyphs holds more of them than there are."""
    count = max(struct.unpack_from(">HH", cmap))  # the library takes either order
    places = {struct.unpack_from(">L", cmap, 8 + 8 * number)[0] for number in range(min(count, (len(cmap) - 4) // 8))}
    for place in places:
        if place + 2 <= len(cmap) and _letters(cmap[place:]) > _MOST_LETTERS:
            raise TTFError("a letter has many glyphs")


def _letters(table: bytes) -> int:
    kind = struct.unpack_from(">H", table)[0]
    if kind == 2:
        keys = np.frombuffer(table, ">u2", 256, 6)
        _, entries = np.frombuffer(table, ">u2", 4 * (int(keys.max()) + 1), 518).reshape(-1, 4)[:, :2].T
        return int(entries[keys].sum(dtype=np.int64))
    if kind == 4:
        number = struct.unpack_from(">H", table, 6)[0] // 2
        last = np.frombuffer(table, ">u2", number, 14)
        return _spanned(np.frombuffer(table, ">u2", number, 16 + 2 * number), last)
    if kind == 10:
        return int(struct.unpack_from(">L", table, 16)[0])
    if kind in (12, 13):
        groups = np.frombuffer(table, ">u4", 3 * struct.unpack_from(">L", table, 12)[0], 16).reshape(-1, 3)
        return _spanned(groups[:, 0], groups[:, 1])
    return 0  # of 65,536 letters at most


def _spanned(first: NDArray[np.unsignedinteger], last: NDArray[np.unsignedinteger]) -> int:
    return int(np.maximum(last.astype(np.int64) - first.astype(np.int64) + 1, 0).sum())


def _require_whole_glyphs(glyphs: bytes, starts: list[int], number: int) -> None:
    """Raise unless glyphs lie one after the other, and those put together from others end where they should."""
    places = np.array(starts, dtype=np.int64)
    if (np.diff(places) < 0).any() or places[-1] > len(glyphs):
        raise TTFError("glyphs in disorder")
    for start, end in pairwise(starts):
        if end > start and struct.unpack_from(">h", glyphs, start)[0] < 0:
            _require_parts(glyphs[start:end], number)


def _require_parts(glyph: bytes, number: int) -> None:
    place, flags = 10, _MORE
    while flags & _MORE:
        flags, part = struct.unpack_from(">HH", glyph, place)
        if part >= number:
            raise TTFError("a part of a glyph is not there")
        place += 8 if flags & _WORDS else 6
        place += 2 if flags & _ONE_SCALE else 4 if flags & _TWO_SCALES else 8 if flags & _MATRIX else 0
