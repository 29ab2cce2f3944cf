"""What leads cross, one by one, with numbers for the map and the list below it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from layoutplan.outputs.sheets.facts import Sheet
from layoutplan.planning.model import FORBIDDEN

# as planning writes them: what, and where on the lead; joined by semicolons
_ONE = re.compile(r"(.+?) (?:at (\d+(?:\.\d+)?) m|from the start: the tower stands in it)(?:; |$)")


@dataclass(frozen=True, slots=True)
class Crossing:
    """Something that a lead crosses.

    Attributes
    ----------
    number : int
        On this page; 0 for what the tower itself stands in, which has no place of its own on the map.
    role : str
    what : str
    at_m : float
        From the tower. [m]
    """

    number: int
    role: str
    what: str
    at_m: float

    @property
    def forbidden(self) -> bool:
        """Whether nobody is asked to agree to it."""
        return self.what.startswith(FORBIDDEN)


def crossings_of(sheet: Sheet) -> list[Crossing]:
    """Crossings of both leads, H first, from the tower outwards."""
    found: list[Crossing] = []
    number = 0
    for stake in sheet.stakes:
        for what, at in _parts(stake):
            number += bool(at)
            found.append(Crossing(number if at else 0, stake.role, what, float(at) if at else 0.0))
    return found


def _parts(stake: Any) -> list[tuple[str, str]]:
    text = stake.crossings or ""
    parts = [(match[1], match[2] or "") for match in _ONE.finditer(text)]
    whole = sum(len(match[0]) for match in _ONE.finditer(text))
    return parts if whole == len(text) else [(text, "")]  # written by other hands: shown as it is
