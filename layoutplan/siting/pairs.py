"""Pairs on one side of the line that would do better than the best pair on opposite sides."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.job import Job
from layoutplan.siting.choose import Choice, RayBest, far_apart
from layoutplan.siting.figures import Figures

_DIGITS = 6  # as positions are compared


@dataclass(frozen=True, slots=True)
class StakePairs:
    """At most one pair of each tower, on one side of the line; one entry each.

    Attributes
    ----------
    tower, side : ndarray of int
    bearing_deg, distance_m : ndarray, shape (n, 2)
        Of H and S.
    caution_crossings : ndarray of int
        Of both leads.
    score, chosen_score : ndarray
        Points of the pair, and of the best pair on opposite sides.
    bias_pct, coupling_pct, chosen_bias_pct, chosen_coupling_pct : ndarray
        How the two pairs would read.
    """

    tower: IntArray
    side: IntArray
    bearing_deg: FloatArray
    distance_m: FloatArray
    caution_crossings: IntArray
    score: FloatArray
    chosen_score: FloatArray
    bias_pct: FloatArray
    coupling_pct: FloatArray
    chosen_bias_pct: FloatArray
    chosen_coupling_pct: FloatArray

    def __len__(self) -> int:
        """Return the number of pairs."""
        return len(self.tower)

    def reads_as_well(self, target_pct: float) -> NDArray[np.bool_]:
        """Whether bias and coupling together keep a target, or are no greater than those of the opposite pair.

        Parameters
        ----------
        target_pct : float
            Share of the expected resistance. [%]

        Returns
        -------
        ndarray of bool, shape (n,)
            False where bias or coupling is unknown.

        Examples
        --------
        The target is 5 %. Bias and coupling come to 4 %, to 7 % where the opposite pair has 8 %, and to an unknown sum:

        >>> whole, flat, two = np.zeros(3, dtype=int), np.zeros(3), np.zeros((3, 2))
        >>> bias, chosen = np.array([3.0, 6.0, np.nan]), np.array([2.0, 8.0, 2.0])
        >>> pairs = StakePairs(whole, whole, two, two, whole, flat, flat, bias, flat + 1.0, chosen, flat)
        >>> pairs.reads_as_well(5.0)
        array([ True,  True, False])
        """
        chosen = np.nan_to_num(self.chosen_bias_pct + self.chosen_coupling_pct)
        return np.asarray(self.bias_pct + self.coupling_pct <= np.maximum(chosen, target_pct))

    def take(self, rows: IntArray | NDArray[np.bool_]) -> StakePairs:
        """Return some of the pairs.

        Parameters
        ----------
        rows : ndarray of int or bool
            Rows to keep.

        Returns
        -------
        StakePairs
        """
        return StakePairs(*(getattr(self, name)[rows] for name in self.__slots__))


def better_on_one_side(best: RayBest, choice: Choice, job: Job, figures: Figures) -> tuple[StakePairs, Choice]:
    """Find for towers with a pair on opposite sides the best pair on one side that has fewer points.

    Parameters
    ----------
    best : RayBest
        Positions of all towers, sorted by tower, side and score.
    choice : Choice
        As the best pair of each side goes.
    job : Job
        Its rules, limits and weights.
    figures : Figures
        Bias and coupling of pairs.

    Returns
    -------
    pairs : StakePairs
        Those that read as well; none where only points decide, or opposite sides are required.
    choice : Choice
        Where only points decide, with the pairs that have fewer.
    """
    if job.rules.sides == "required":
        return _joined([]), choice
    found = []
    for tower in np.flatnonzero(choice.opposite & ~choice.same_side & (choice.h >= 0)).tolist():
        rows = np.flatnonzero(best.tower == tower)
        h, s = (int(np.flatnonzero(rows == which[tower])[0]) for which in (choice.h, choice.s))
        pair = _best_pair(best.take(rows), h, s, job, figures)
        if pair is not None:
            found.append((rows[list(pair[0])], pair[1]))
    pairs = _joined([item for _, item in found])
    if job.rules.sides == "preferred":
        return pairs.take(pairs.reads_as_well(job.method.bias_target_pct)), choice
    h_row, s_row, same_side = choice.h.copy(), choice.s.copy(), choice.same_side.copy()
    for chosen, item in found:
        h_row[item.tower], s_row[item.tower], same_side[item.tower] = chosen[0], chosen[1], True
    return _joined([]), replace(choice, h=h_row, s=s_row, same_side=same_side)


def _best_pair(best: RayBest, h: int, s: int, job: Job, figures: Figures) -> tuple[tuple[int, int], StakePairs] | None:
    """Rows of the best pair on one side of one tower, H first, and its figures; None unless it has fewer points."""
    fits = np.triu(far_apart(best, job) & (best.side[:, None] == best.side))
    alone = figures(best.tower, best.bearing_deg, best.distance_m[:, None])["bias_pct"][:, 0]
    bare = best.score - job.score.bias_per_pct * np.nan_to_num(alone)  # each counts the bias as if of opposite leads
    least = np.where(fits, bare[:, None] + bare, np.inf)
    goal = float(np.round(best.score[h] + best.score[s], _DIGITS))
    rows = np.unique(np.concatenate(np.nonzero(least < goal)))
    if len(rows) == 0:
        return None
    rows = np.unique(np.concatenate((rows, [h, s])))
    some, tower = best.take(rows), int(best.tower[0])
    where = tower, some.bearing_deg, some.distance_m
    bias, coupled = figures.pair_bias_pct(*where), figures.coupling_pct(*where)
    more = np.where(np.isnan(bias), np.nan_to_num(alone[rows][:, None] + alone[rows]), 2 * bias)
    points = least[np.ix_(rows, rows)] + job.score.bias_per_pct * more
    points = points + job.score.coupling_per_pct * np.nan_to_num(coupled)
    for values, limit in ((bias, job.rules.max_bias_pct), (coupled, job.rules.max_coupling_pct)):
        if limit is not None:
            points = np.where(values <= limit, points, np.inf)  # unknown is not within a limit
    points = np.round(points, _DIGITS)
    i, j = (int(k) for k in np.unravel_index(np.argmin(points), points.shape))
    if not points[i, j] < goal:
        return None
    far, near = (i, j) if some.distance_m[i] >= some.distance_m[j] else (j, i)
    chosen = int(np.searchsorted(rows, h)), int(np.searchsorted(rows, s))
    both = np.array([far, near])
    return (int(rows[far]), int(rows[near])), StakePairs(
        tower=np.array([tower]),
        side=np.array([int(some.side[i])]),
        bearing_deg=some.bearing_deg[both][None],
        distance_m=some.distance_m[both][None],
        caution_crossings=np.array([int(some.caution_crossings[both].sum())]),
        score=np.array([points[i, j]]),
        chosen_score=np.array([goal]),
        bias_pct=np.array([bias[far, near]]),
        coupling_pct=np.array([coupled[far, near]]),
        chosen_bias_pct=np.array([bias[chosen]]),
        chosen_coupling_pct=np.array([coupled[chosen]]),
    )


def _joined(parts: list[StakePairs]) -> StakePairs:
    if parts:
        return StakePairs(*(np.concatenate([getattr(part, name) for part in parts]) for name in StakePairs.__slots__))
    whole, flat, two = np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros((0, 2))
    return StakePairs(whole, whole, two, two, whole, *([flat] * 6))
