"""What siting asks about positions beside the map: voltages, readings, the ground; and what if nobody knows."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.job import Job

FIGURE_TERMS = ("induced_v", "bias_pct", "steep_deg", "walk_min")  # those that are terms of the score


@dataclass(frozen=True, slots=True)
class Limited:
    """A figure with a limit.

    Attributes
    ----------
    figure : str
        Its name among the figures of positions.
    rule : str
        As it is named among exclusions and relaxations.
    unit : str
        Of figure and limit.
    limit : callable
        From the job; None where it sets none.
    unknown_breaks : bool
        Whether an unknown figure breaks the rule. One that the user asked for must be known to hold; what nobody can
        know without an elevation model is reported, not forbidden.
    way_out : str
        What raising the limit means, with ``needed`` and ``limit``.
    own_means : bool
        Whether the crew itself can raise it; else the asset owner has to allow it.
    """

    figure: str
    rule: str
    unit: str
    limit: Callable[[Job], float | None]
    unknown_breaks: bool
    way_out: str
    own_means: bool = False


def _slope_limit(job: Job) -> float | None:
    return job.terrain.max_stake_slope_deg if job.terrain.files else None


def _over_reel_limit(job: Job) -> float | None:
    return 0.0 if job.terrain.files else None


_OWNER = ", if the asset owner's rules allow it"
LIMITED = (
    Limited("induced_v", "induced_voltage", "V", lambda job: job.rules.max_induced_v, True,
            "induced voltage of {needed:g} V instead of {limit:g} V" + _OWNER),
    Limited("bias_pct", "reading_bias", "%", lambda job: job.rules.max_bias_pct, True,
            "reading bias of {needed:g} % instead of {limit:g} %" + _OWNER),
    Limited("slope_deg", "slope", "deg", _slope_limit, False,
            "a stake on a slope of {needed:g} degrees instead of {limit:g}, if the crew finds it safe to stand there",
            True),
    Limited("over_reel_m", "reel", "m", _over_reel_limit, False,
            "a reel {needed:g} m longer: the lead follows steep ground", True),
)  # fmt: skip


class Figures(Protocol):
    """Figures of any positions of some towers."""

    def __call__(self, tower: IntArray, bearing_deg: FloatArray, distance_m: FloatArray) -> Mapping[str, FloatArray]:
        """Figures of (n, k) positions on n bearings, by name; NaN where unknown."""

    def coupling_pct(self, tower: int, bearing_deg: FloatArray, distance_m: FloatArray) -> FloatArray:
        """Coupling between the leads to every two of n positions of one tower.

        Parameters
        ----------
        tower : int
            Row of the tower.
        bearing_deg, distance_m : ndarray, shape (n,)
            The positions, from the tower point. [deg], [m]

        Returns
        -------
        ndarray, shape (n, n)
            Share of the expected impedance; NaN where unknown. [%]
        """

    def pair_bias_pct(self, tower: int, bearing_deg: FloatArray, distance_m: FloatArray) -> FloatArray:
        """Bias of the reading for every two of n positions of one tower.

        Parameters
        ----------
        tower : int
            Row of the tower.
        bearing_deg, distance_m : ndarray, shape (n,)
            The positions, from the tower point. [deg], [m]

        Returns
        -------
        ndarray, shape (n, n)
            Share of the expected resistance; NaN where unknown. [%]
        """

    def rows(self, index: IntArray) -> Figures:
        """Return the figures of some of the towers.

        Parameters
        ----------
        index : ndarray of int
            Rows of the towers to keep.

        Returns
        -------
        Figures
            Its tower numbers count ``index``.
        """


class NothingKnown:
    """Every figure is unknown."""

    def __call__(self, tower: IntArray, bearing_deg: FloatArray, distance_m: FloatArray) -> Mapping[str, FloatArray]:
        """Return NaN for every term of the score."""
        del tower, bearing_deg
        return {term: np.full(distance_m.shape, np.nan) for term in FIGURE_TERMS}

    def coupling_pct(self, tower: int, bearing_deg: FloatArray, distance_m: FloatArray) -> FloatArray:
        """Return NaN for every pair."""
        del tower, distance_m
        return np.full((len(bearing_deg), len(bearing_deg)), np.nan)

    pair_bias_pct = coupling_pct

    def rows(self, index: IntArray) -> NothingKnown:
        """Return the same."""
        del index
        return self


NOTHING_KNOWN = NothingKnown()


def sets_limits(job: Job) -> bool:
    """Whether the job limits any figure of single positions.

    Parameters
    ----------
    job : Job
        With its limits.

    Returns
    -------
    bool
        False where figures only weigh in the score.

    Examples
    --------
    The sample's rules do without limits of their own, but its elevation model brings the limit on slopes:

    >>> from layoutplan.job import load_job
    >>> sets_limits(load_job("sample_gis/job.toml"))
    True
    """
    return any(item.limit(job) is not None for item in LIMITED)


def beyond_limits(figures: Mapping[str, FloatArray], job: Job) -> dict[str, NDArray[np.bool_]]:
    """Where positions break the rules on figures that the job sets, by rule.

    Parameters
    ----------
    figures : mapping of str to ndarray
        Figures of positions by name; NaN where unknown.
    job : Job
        With its limits.

    Returns
    -------
    dict of str to ndarray of bool
        Only rules for which the job sets a limit; an unknown figure breaks those that must be known to hold.

    Examples
    --------
    A limit of 10 V on the lead, and leads at 4 V, at 12 V and at an unknown voltage, which breaks it too:

    >>> from layoutplan.job import load_job
    >>> job = load_job("sample_gis/job.toml")
    >>> job = job.model_copy(update={"rules": job.rules.model_copy(update={"max_induced_v": 10.0})})
    >>> beyond_limits({"induced_v": np.array([4.0, 12.0, np.nan])}, job)
    {'induced_voltage': array([False,  True,  True])}
    """
    beyond = {}
    for item in LIMITED:
        limit = item.limit(job)
        if limit is None or item.figure not in figures:
            continue
        values = figures[item.figure]
        beyond[item.rule] = ~(values <= limit) if item.unknown_breaks else values > limit
    return beyond
