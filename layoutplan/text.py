"""Foreign text (tower ids, names from map data) made harmless, once for each place it ends up in."""

from __future__ import annotations

import html
import re
import unicodedata

from anyascii import anyascii

_CONTROL = dict.fromkeys((*range(32), *range(127, 160), 8232, 8233), " ")
_BIDI = dict.fromkeys((*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200E, 0x200F, 0xFEFF))
_NO_XML = dict.fromkeys((0xFFFE, 0xFFFF, *range(0xD800, 0xE000)))  # XML 1.0, section 2.2
_NOT_SHOWN = _CONTROL | _BIDI
_INERT = {ord(char): f"&#{ord(char)};" for char in "{}`\\"}
_FORMULA_START = frozenset("=+-@\t\r|%;")  # what follows a semicolon is a cell of its own where that parts them


def clean(value: object) -> str:
    """Text as it enters: no control characters or direction overrides, Unicode NFC, single spaces.

    Missing values (``None``, NaN) become the empty string.
    """
    if value is None or value != value:
        return ""
    text = str(value).translate(_NOT_SHOWN)
    return " ".join(unicodedata.normalize("NFC", text).split())


def three_figures(value: float | None, unit: str = "") -> str:
    """Return a number to three figures, at most three decimals; volts below 1 to one; ``unknown`` if it is missing."""
    if value is None or value != value:
        return "unknown"
    size = abs(value)
    if 0 < size < 0.0005:
        return "<0.001"
    if unit == "V" and size < 1:
        return f"{float(f'{value:.1g}'):g}"  # more is not known
    return f"{value:.{sum(size < bound for bound in (100, 10, 1))}f}"


def page_text(value: object) -> str:
    """Text made inert for HTML, for JavaScript template strings and for a second template pass.

    The map library compiles finished scripts again as templates, so braces in a name would run as code on the
    planner's machine; and pop-ups are set as HTML.
    """
    return html.escape(str(value)).translate(_INERT)


def xml_text(value: object) -> str:
    """Clean text without the characters that no XML file may hold, escaped or not; the writer escapes the rest."""
    return clean(value).translate(_NO_XML)


def csv_cell(value: object) -> object:
    """A table cell that a spreadsheet shows instead of running; numbers pass unchanged.

    Some spreadsheets run what begins with a full-width or small form of the signs (＝, ﹢) as well.
    """
    if isinstance(value, str) and unicodedata.normalize("NFKC", value[:1]) in _FORMULA_START:
        return "'" + value
    return value


def file_stem(value: object) -> str:
    """Part of a file name in letters, digits, hyphens and underscores; never empty, never a path.

    Other scripts are spelt out; of a long name the end is kept, for it tells towers apart.
    """
    plain = re.sub(r"[^A-Za-z0-9-]+", "_", anyascii(clean(value))).strip("_-")
    return plain[-60:].lstrip("_-") or "unnamed"


def label_text(value: object) -> str:
    """XML text for the labels of desktop programs, which would run what stands between ``[%`` and ``%]``."""
    return xml_text(value).replace("[%", "[ %")
