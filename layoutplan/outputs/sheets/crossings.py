"""What leads cross, one by one, with numbers for the map and the list below it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from layoutplan.job.classes import ObstacleClass
from layoutplan.layout.crossings import LEAD, what
from layoutplan.layout.rules import BROKEN, CARE
from layoutplan.outputs.sheets.facts import Sheet


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
    verdict : str
    """

    number: int
    role: str
    what: str
    at_m: float
    verdict: str

    @property
    def forbidden(self) -> bool:
        """Whether nobody is asked to agree to it."""
        return self.verdict == BROKEN

    @property
    def minded(self) -> bool:
        """Whether it is enough to mind it."""
        return self.verdict == CARE


def crossings_of(sheet: Sheet, classes: Mapping[str, ObstacleClass]) -> list[Crossing]:
    """Crossings of both leads, H first, from the tower outwards.

    Parameters
    ----------
    sheet : Sheet
        Facts of the tower.
    classes : mapping of str to ObstacleClass
        Of the job.

    Returns
    -------
    list of Crossing
        Numbered as on the map.
    """
    found: list[Crossing] = []
    number = 0
    for row in sheet.crossings:
        if row.met_by == LEAD:
            at_m = row.at_m or 0.0
            number += at_m > 0
            found.append(Crossing(number if at_m > 0 else 0, row.role, what(row, classes), at_m, row.verdict))
    return found
