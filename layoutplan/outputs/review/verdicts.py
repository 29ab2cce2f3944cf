"""Verdicts as the page shows them: by a sign and a word, with a letter for the filters."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

import pandas as pd

from layoutplan.layout.rules import (
    AGREE,
    BROKEN,
    CARE,
    COMPROMISE,
    KEPT,
)
from layoutplan.layout.rules import UNKNOWN as UNKNOWN_WORD
from layoutplan.outputs.columns import as_lists

_PLAIN = ("k", "w", "v")


class Verdict(NamedTuple):
    """Letter for filters and style, sign, word."""

    letter: str
    sign: str
    word: str

    @property
    def html(self) -> str:
        """The verdict as it stands in a cell; only what needs the eye is set off."""
        word = f"\N{NO-BREAK SPACE}{self.word}"
        return f"<b class={self.letter}>{self.sign}<span>{word}</span></b>" if self.open else f"{self.sign}{word}"

    @property
    def open(self) -> bool:
        """Whether it needs the reviewer's eye; only that is printed."""
        return self.letter not in _PLAIN


UNKNOWN = Verdict("u", "?", "unknown")
CHECKS: Mapping[str, Verdict] = MappingProxyType(
    {
        BROKEN: Verdict("b", "✗", "broken"),
        UNKNOWN_WORD: UNKNOWN,
        AGREE: Verdict("a", "▲", "to be agreed"),
        COMPROMISE: Verdict("c", "◆", "compromise"),
        CARE: Verdict("t", "!", "take care"),
        KEPT: Verdict("k", "✓", "kept"),
    }
)
# of exposures in each state of the line: a filter for one does not find the other
_LETTERS = (("x", "n", "w"), ("y", "z", "v"))
OPEN = tuple(verdict for verdict in CHECKS.values() if verdict.word != KEPT)  # what needs the reviewer's eye


class Exposed(NamedTuple):
    """Verdicts on the exposures in one state of the line."""

    beyond: Verdict
    unknown: Verdict
    within: Verdict

    def of(self, ratio: float | None) -> Verdict:
        """Verdict on a share of the limit.

        Parameters
        ----------
        ratio : float or None
            Of the exposure to its limit; None or NaN if unknown. [-]

        Returns
        -------
        Verdict

        Examples
        --------
        >>> [exposed(0).of(ratio).word for ratio in (0.4, 1.2, None)]
        ['within', 'beyond limit', 'unknown']
        """
        if ratio is None or ratio != ratio:
            return self.unknown
        return self.beyond if ratio > 1.0 else self.within


def exposed(state: int) -> Exposed:
    """Verdicts on the exposures in a state of the line, by its place in the table.

    Parameters
    ----------
    state : int
        0 for the first.

    Returns
    -------
    Exposed
    """
    beyond, unknown, within = _LETTERS[min(state, len(_LETTERS) - 1)]
    return Exposed(
        Verdict(beyond, "✗", "beyond limit"), Verdict(unknown, "?", "unknown"), Verdict(within, "✓", "within")
    )


def of_checks(checks: pd.DataFrame) -> list[Verdict]:
    """Verdicts of checks.

    Parameters
    ----------
    checks : DataFrame
        With ``verdict``.

    Returns
    -------
    list of Verdict
        A word that is not known here is unknown, never kept.
    """
    (words,) = as_lists(checks, ["verdict"])
    return [CHECKS.get(word, UNKNOWN) for word in words]
