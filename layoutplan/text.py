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
    r"""Text as it enters: no control characters or direction overrides, Unicode NFC, single spaces.

    Missing values (``None``, NaN) become the empty string.

    Parameters
    ----------
    value : object
        As it came out of a file.

    Returns
    -------
    str
        One line.

    Examples
    --------
    >>> clean("  Mill\tLane\u202e "), clean(float("nan"))
    ('Mill Lane', '')
    """
    if value is None or value != value:
        return ""
    text = str(value).translate(_NOT_SHOWN)
    return " ".join(unicodedata.normalize("NFC", text).split())


def three_figures(value: float | None, unit: str = "") -> str:
    """Return a number to three figures, at most three decimals; volts below 1 to one; ``unknown`` if it is missing.

    Parameters
    ----------
    value : float or None
        Quantity in its unit.
    unit : str
        ``V`` for volts; others are treated alike.

    Returns
    -------
    str
        Without the unit.

    Examples
    --------
    >>> [three_figures(value) for value in (1234.5, 12.345, 0.0123, 0.0001, None)]
    ['1234', '12.3', '0.012', '<0.001', 'unknown']
    >>> three_figures(0.123, "V")
    '0.1'
    """
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

    Parameters
    ----------
    value : object
        Foreign text.

    Returns
    -------
    str
        Safe within HTML text and attributes.

    Examples
    --------
    >>> page_text("<b>{{7*7}}</b>")
    '&lt;b&gt;&#123;&#123;7*7&#125;&#125;&lt;/b&gt;'
    """
    return html.escape(str(value)).translate(_INERT)


def xml_text(value: object) -> str:
    r"""Clean text without the characters that no XML file may hold, escaped or not; the writer escapes the rest.

    Parameters
    ----------
    value : object
        Foreign text.

    Returns
    -------
    str
        Not escaped.

    References
    ----------
    .. [1] W3C, Extensible Markup Language (XML) 1.0, section 2.2, characters.

    Examples
    --------
    >>> xml_text("a\ufffeb & c")
    'ab & c'
    """
    return clean(value).translate(_NO_XML)


def csv_cell(value: object) -> object:
    """A table cell that a spreadsheet shows instead of running; numbers pass unchanged.

    Some spreadsheets run what begins with a full-width or small form of the signs (＝, ﹢) as well.

    Parameters
    ----------
    value : object
        A cell of a table.

    Returns
    -------
    object
        Text that would be run as a formula gets an apostrophe before it.

    Examples
    --------
    >>> csv_cell("=1+1"), csv_cell("Mill Lane"), csv_cell(-3.5)
    ("'=1+1", 'Mill Lane', -3.5)
    """
    if isinstance(value, str) and unicodedata.normalize("NFKC", value[:1]) in _FORMULA_START:
        return "'" + value
    return value


def file_stem(value: object) -> str:
    """Part of a file name in letters, digits, hyphens and underscores; never empty, never a path.

    Other scripts are spelt out; of a long name the end is kept, in which towers differ.

    Parameters
    ----------
    value : object
        Name of a line or tower.

    Returns
    -------
    str
        At most 60 characters.

    Examples
    --------
    >>> file_stem("../12 Ä/β"), file_stem("")
    ('12_A_v', 'unnamed')
    """
    plain = re.sub(r"[^A-Za-z0-9-]+", "_", anyascii(clean(value))).strip("_-")
    return plain[-60:].lstrip("_-") or "unnamed"


def label_text(value: object) -> str:
    """XML text for the labels of desktop programs, which would run what stands between ``[%`` and ``%]``.

    Parameters
    ----------
    value : object
        Foreign text.

    Returns
    -------
    str
        For the labels of a GIS project.

    Examples
    --------
    >>> label_text("[% now() %]")
    '[ % now() %]'
    """
    return xml_text(value).replace("[%", "[ %")
