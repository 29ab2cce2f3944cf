"""What is known of positions beside where they are: put together once for checks, statuses and words."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layoutplan.inputs.gaps import GAPS, REACH, causes_of
from layoutplan.line.geodesy import FloatArray
from layoutplan.planning.on_foot import OnFoot
from layoutplan.terrain import Profiles


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known of the stakes beside :class:`Evaluated`; one entry each.

    Attributes
    ----------
    lead_m : ndarray
        Lead length with slack. [m]
    between_deg : ndarray
        Angle between the tower's two leads. [deg]
    same_side, covered : ndarray of bool
        Both stakes on one side; the map tells what is about the tower and under the lead.
    gaps : list of str
        Why it does not, as codes (:func:`layoutplan.inputs.gaps.joined`).
    uncovered, crossings, grounds, beside, margins : list of str
        Texts.
    bias_pct, coupling_pct : ndarray
        Of the tower's pair.
    slope_deg, aspect_deg : ndarray
        At the stakes; NaN where unknown.
    ground : Profiles
        Along the leads.
    fixed : ndarray of bool
        The job fixes the stake there.
    on_foot : OnFoot, optional
        Ways to the stakes, where they were looked for.
    """

    lead_m: FloatArray
    between_deg: FloatArray
    least_m: FloatArray
    same_side: NDArray[np.bool_]
    covered: NDArray[np.bool_]
    gaps: list[str]
    uncovered: list[str]
    crossings: list[str]
    grounds: list[str]
    beside: list[str]
    margins: list[str]
    bias_pct: FloatArray
    coupling_pct: FloatArray
    slope_deg: FloatArray
    aspect_deg: FloatArray
    ground: Profiles
    fixed: NDArray[np.bool_]
    on_foot: OnFoot | None = None

    def known(self, themes: Collection[str]) -> NDArray[np.bool_]:
        """Stakes about which the map reaches and is silent of none of some themes."""
        asked = {REACH, *themes}
        stored, stake = np.unique(np.array(self.gaps, dtype=str), return_inverse=True)
        tells = [asked.isdisjoint(GAPS[cause].theme for cause in causes_of(text)) for text in stored.tolist()]
        return np.array(tells, dtype=bool)[stake]

    @property
    def on_agreed_ground(self) -> NDArray[np.bool_]:
        """Stakes on land that needs somebody's agreement."""
        return np.array([text != "" for text in self.grounds], dtype=bool)
