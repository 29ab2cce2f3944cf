"""What siting asks about voltages and readings, and the answer of those who know nothing of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from layoutplan.job import Rules
from layoutplan.line.geodesy import FloatArray
from layoutplan.siting.ragged import IntArray

# terms of the score that may also be hard rules: term, key of the job's rules, name of the rule
LIMITED = (("induced_v", "max_induced_v", "induced voltage"), ("bias_pct", "max_bias_pct", "reading bias"))


class Electrics(Protocol):
    """Voltages and readings at any positions of some towers."""

    def __call__(self, tower: IntArray, bearing_deg: FloatArray, distance_m: FloatArray) -> Mapping[str, FloatArray]:
        """Terms ``induced_v`` and ``bias_pct`` of (n, k) positions on n bearings; NaN where unknown."""

    def coupling_pct(self, tower: int, bearing_deg: FloatArray, distance_m: FloatArray) -> FloatArray:
        """Coupling between the leads to every two of n positions of one tower, (n, n); NaN where unknown."""

    def rows(self, index: IntArray) -> Electrics:
        """Return the same for some of the towers."""


class NothingKnown:
    """Every figure is unknown."""

    def __call__(self, tower: IntArray, bearing_deg: FloatArray, distance_m: FloatArray) -> Mapping[str, FloatArray]:
        """Return NaN for every term."""
        del tower, bearing_deg
        return {term: np.full(distance_m.shape, np.nan) for term, _, _ in LIMITED}

    def coupling_pct(self, tower: int, bearing_deg: FloatArray, distance_m: FloatArray) -> FloatArray:
        """Return NaN for every pair."""
        del tower, distance_m
        return np.full((len(bearing_deg), len(bearing_deg)), np.nan)

    def rows(self, index: IntArray) -> NothingKnown:
        """Return the same."""
        del index
        return self


NOTHING_KNOWN = NothingKnown()


def sets_limits(rules: Rules) -> bool:
    """Whether the job makes a voltage or a bias of single positions a hard rule."""
    return any(getattr(rules, key) is not None for _, key, _ in LIMITED)


def beyond_limits(terms: Mapping[str, FloatArray], rules: Rules) -> dict[str, NDArray[np.bool_]]:
    """Where positions break the rules on voltage and reading that the job sets, by rule; unknown breaks them, too."""
    limits = {rule: (term, getattr(rules, key)) for term, key, rule in LIMITED}
    return {rule: ~(terms[term] <= limit) for rule, (term, limit) in limits.items() if limit is not None}
