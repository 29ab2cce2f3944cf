"""Texts on a terminal: wrapped at its width, verdicts in colour. Anywhere else they stay as they are."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterable, Iterator, Sequence
from textwrap import wrap

import click

from layoutplan.layout.rules import SEVERITY, STATUSES, VERDICTS

_OF_VERDICTS = dict(zip(VERDICTS, ("green", "green", "yellow", "magenta", "magenta", "red"), strict=True))
_COLOURS = {
    **{verdict: _OF_VERDICTS[VERDICTS[rank]] for verdict, rank in SEVERITY.items()},
    **dict(zip(STATUSES, (*_OF_VERDICTS.values(), "red"), strict=True)),
}
_NARROWEST = 40  # columns; below it nothing can be read anyway
_HANGING = 4


def paint(verdict: str, text: str) -> str:
    """Colour a text by the verdict or status that it stands for.

    Nothing is coloured where nobody looks, nor if ``NO_COLOR`` is set (a common practice, no standard), nor on a
    terminal that cannot.

    Parameters
    ----------
    verdict : str
        A verdict or a status (`layoutplan.layout.rules`); anything else stays as it is.
    text : str

    Returns
    -------
    str

    Examples
    --------
    >>> paint("kept", "within the limit")  # the output of an example is no terminal
    'within the limit'
    """
    if not _on_terminal() or os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
        return text
    return click.style(text, fg=_COLOURS.get(verdict))


def wrapped_lines(lines: Iterable[str], width: int | None = None) -> Iterator[str]:
    """Wrap lines at the terminal's width, what is continued set in; as they are where there is no terminal.

    Parameters
    ----------
    lines : iterable of str
    width : int, optional
        Columns; those of the terminal.

    Examples
    --------
    >>> for line in wrapped_lines(["  reading bias 15.2 % of the reading expected, at 110 Hz"], 40):
    ...     print(line)
      reading bias 15.2 % of the reading
          expected, at 110 Hz
    """
    if width is None:
        width = shutil.get_terminal_size().columns if _on_terminal() else 0
    for line in lines:
        if not 0 < width < len(shown := click.unstyle(line)):
            yield line
            continue
        indent = " " * (len(shown) - len(shown.lstrip()))
        unseen = len(line) - len(shown)  # what colours take, which stands in the first of the lines
        yield from wrap(
            line,
            max(width, _NARROWEST) + unseen,
            subsequent_indent=indent + " " * _HANGING,
            replace_whitespace=False,
            drop_whitespace=True,
            break_long_words=False,
            break_on_hyphens=False,
        )


def show(lines: Iterable[str]) -> None:
    """Print lines as people read them.

    Parameters
    ----------
    lines : iterable of str
    """
    click.echo("\n".join(wrapped_lines(lines)))


def caution_line(cautions: Sequence[str]) -> str:
    """First of some cautions, for commands that make something of a plan: its own run printed all of them.

    Parameters
    ----------
    cautions : sequence of str
        Of the plan, in their order.

    Returns
    -------
    str

    Examples
    --------
    >>> caution_line(["A proposal for competent persons.", "Treat every lead as live."])
    'caution: A proposal for competent persons. All other cautions of the plan apply here, too.'
    """
    return f"caution: {cautions[0]} All other cautions of the plan apply here, too."


def _on_terminal() -> bool:
    try:
        return sys.stdout.isatty()
    except ValueError:  # it was closed
        return False
