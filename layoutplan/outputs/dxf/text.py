"""Foreign text made harmless for drawings."""

from __future__ import annotations

import re

from layoutplan.text import clean, file_stem

LONGEST = 250  # characters of a text that all programs take
_LOOKALIKES = str.maketrans({"\\": "/", "^": "~", "{": "(", "}": ")"})


def dxf_text(value: object) -> str:
    r"""Text that a drawing program shows as it is, in one line.

    It runs codes in texts: ``%%d`` is a degree sign, ``%<`` begins a field, ``^J`` is a new line, ``\U+0041`` a letter,
    ``\P`` and ``{`` are layout. There is no way to quote them that all programs know, so their signs are replaced.

    Parameters
    ----------
    value : object
        Foreign text.

    Returns
    -------
    str
        At most ``LONGEST`` letters.

    Examples
    --------
    >>> dxf_text("Mill %%d lane")
    'Mill % %d lane'
    """
    text = re.sub(r"%(?=[%<])", "% ", clean(value).translate(_LOOKALIKES))
    return text if len(text) <= LONGEST else text[: LONGEST - 3] + "..."


def layer_name(*parts: str) -> str:
    """Name of a layer in capital letters, digits, underscores and hyphens.

    Parameters
    ----------
    *parts : str
        Joined by hyphens.

    Returns
    -------
    str

    Examples
    --------
    >>> layer_name("keep out", "river_canal")
    'KEEP_OUT-RIVER_CANAL'
    """
    return "-".join(file_stem(part).upper() for part in parts)
