"""What is known of positions beside where they are: put together once for checks, statuses and words."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.inputs.gaps import GAPS, REACH, causes_of
from layoutplan.planning.crossings import Met
from layoutplan.planning.on_foot import StakeWalks
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
    least_m : ndarray
        Least distance from the tower: the rule's, or so many times the size of its earthing. [m]
    same_side, covered : ndarray of bool
        Both stakes on one side; the map shows what is about the tower and under the lead.
    gaps : list of str
        Why it does not, as codes (:func:`layoutplan.inputs.gaps.joined`).
    uncovered : list of str
        The same in words.
    crossed, stood_on : Met
        What the leads cross, and the stakes stand on, that is forbidden, to be agreed or to be minded.
    beside : list of str
        What each lead passes within the margin that it must not cross, in words.
    one_side : list of str
        Why both stakes of a tower are on one side of the line, where they are; empty elsewhere.
    bias_pct, coupling_pct : ndarray
        Of the tower's pair.
    slope_deg, aspect_deg : ndarray
        At the stakes; NaN where unknown.
    ground : Profiles
        Along the leads.
    fixed : ndarray of bool
        The job fixes the stake there.
    on_foot : StakeWalks, optional
        Ways to the stakes, where they were looked for.
    """

    lead_m: FloatArray
    between_deg: FloatArray
    least_m: FloatArray
    same_side: NDArray[np.bool_]
    covered: NDArray[np.bool_]
    gaps: list[str]
    uncovered: list[str]
    crossed: Met
    stood_on: Met
    beside: list[str]
    one_side: list[str]
    bias_pct: FloatArray
    coupling_pct: FloatArray
    slope_deg: FloatArray
    aspect_deg: FloatArray
    ground: Profiles
    fixed: NDArray[np.bool_]
    on_foot: StakeWalks | None = None

    def known(self, themes: Collection[str]) -> NDArray[np.bool_]:
        """Stakes about which the map reaches and is silent of none of some themes.

        Parameters
        ----------
        themes : collection of str
            As in :mod:`layoutplan.inputs.gaps`.

        Returns
        -------
        ndarray of bool, shape (n,)
        """
        asked = {REACH, *themes}
        stored, stake = np.unique(np.array(self.gaps, dtype=str), return_inverse=True)
        tells = [asked.isdisjoint(GAPS[cause].theme for cause in causes_of(text)) for text in stored.tolist()]
        return np.array(tells, dtype=bool)[stake]
