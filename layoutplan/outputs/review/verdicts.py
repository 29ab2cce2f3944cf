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

_PLAIN = ("k", "w")


class Verdict(NamedTuple):
    """Letter for filters and style, sign, word."""

    letter: str
    sign: str
    word: str

    @property
    def html(self) -> str:
        """The verdict as it stands in a cell; only what needs the eye is set off."""
        text = f"{self.sign}\N{NO-BREAK SPACE}{self.word}"
        return text if self.letter in _PLAIN else f"<b class={self.letter}>{text}</b>"


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
BEYOND, WITHIN = Verdict("x", "✗", "beyond limit"), Verdict("w", "✓", "within")
ALL = (*CHECKS.values(), BEYOND, WITHIN)
OPEN = (*(verdict for verdict in CHECKS.values() if verdict.word != KEPT), BEYOND)  # what needs the reviewer's eye


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


def of_exposures(exposures: pd.DataFrame) -> list[Verdict]:
    """Verdicts of exposures by their share of the limit.

    Parameters
    ----------
    exposures : DataFrame
        With ``ratio``.

    Returns
    -------
    list of Verdict
        One that is not known is unknown.

    Examples
    --------
    >>> [verdict is BEYOND for verdict in of_exposures(pd.DataFrame({"ratio": [0.4, 1.2, float("nan")]}))]
    [False, True, False]
    """
    (shares,) = as_lists(exposures, ["ratio"])
    return [UNKNOWN if share is None else BEYOND if share > 1.0 else WITHIN for share in shares]
