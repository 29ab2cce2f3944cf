"""The note of a page for the record of the plan: how its base map was cut, for instance."""

from __future__ import annotations

import re
from pathlib import Path

_NAME = "layoutplan-note"
_HEAD = 4096  # characters; the note stands near the beginning of a page


def note_tag(text: str) -> str:
    """Return the note as an element for the head of a page.

    Parameters
    ----------
    text : str
        Without foreign text and without markup.

    Returns
    -------
    str

    Examples
    --------
    >>> note_tag("plan K7VK-Q03K").endswith('content="plan K7VK-Q03K">')
    True
    """
    return f'<meta name="{_NAME}" content="{text}">'


def page_note(path: Path) -> str:
    """Return the note of a page.

    Parameters
    ----------
    path : Path
        Of an HTML file.

    Returns
    -------
    str
        Empty if it has none.
    """
    with path.open(encoding="utf-8") as page:
        found = re.search(f'<meta name="{_NAME}" content="([^"]*)">', page.read(_HEAD))
    return found[1] if found else ""
