"""What leads cross and what stakes stand on, feature by feature: facts, from which words are made elsewhere."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layoutplan.arrays import IntArray
from layoutplan.job import Job
from layoutplan.layout.crossings import LEAD, OUTSIDE, STAKE
from layoutplan.layout.rules import AGREE, BROKEN, CARE
from layoutplan.layout.schema import TABLES
from layoutplan.planning.silence import is_silent
from layoutplan.planning.tables import rounded_columns
from layoutplan.siting.evaluate import Evaluated
from layoutplan.siting.obstacles import CAUTION, NO, Obstacles
from layoutplan.siting.scene import describe, reference
from layoutplan.siting.trace import OUTSIDE_PERMITTED


@dataclass(frozen=True, slots=True)
class Met:
    """Features that leads cross, or that hold stakes, one entry for each position and feature.

    Attributes
    ----------
    position, feature : ndarray of int
        ``feature`` is ``OUTSIDE_PERMITTED`` for land beyond what is permitted.
    at_m : ndarray
        From the tower to where the lead first meets it; 0 where the tower stands in it, NaN for a stake's ground. [m]
    verdict : ndarray of object
    """

    position: IntArray
    feature: IntArray
    at_m: NDArray[np.float64]
    verdict: NDArray[np.object_]

    def of(self, verdict: str, count: int) -> NDArray[np.int64]:
        """How many of a verdict each position has.

        Parameters
        ----------
        verdict : str
            One of the verdicts of checks.
        count : int
            How many positions there are.

        Returns
        -------
        ndarray of int, shape (count,)

        Examples
        --------
        >>> verdict = np.array([CARE, AGREE, AGREE], dtype=object)
        >>> Met(np.array([0, 2, 2]), np.array([5, 6, 7]), np.zeros(3), verdict).of(AGREE, 3)
        array([0, 0, 2])
        """
        return np.bincount(self.position[self.verdict == verdict], minlength=count)


def lead_crossings(chosen: Evaluated, obstacles: Obstacles, job: Job) -> Met:
    """What each lead crosses that its class has a rule for, in the order of the lead.

    Parameters
    ----------
    chosen : Evaluated
        The positions.
    obstacles : Obstacles
        Of the whole job.
    job : Job
        Its obstacle classes.

    Returns
    -------
    Met
        One entry for each lead and feature. [m]
    """
    touches = chosen.touches
    classes = [job.obstacle_classes[name] for name in obstacles.class_names]
    care = np.array([row.lead_crossing == "care" for row in classes])
    minded = care[obstacles.class_code[touches.feature]] & (touches.feature != OUTSIDE_PERMITTED)
    verdict = np.select([touches.level == NO, minded], [BROKEN, CARE], AGREE).astype(object)
    return Met(touches.ray, touches.feature, touches.at_m, verdict)


def stood_on(chosen: Evaluated, obstacles: Obstacles) -> Met:
    """Areas that hold a stake and need somebody's agreement.

    Parameters
    ----------
    chosen : Evaluated
        The positions.
    obstacles : Obstacles
        Of the whole job.

    Returns
    -------
    Met
        One entry for each stake and area.
    """
    mapped = chosen.held_feature >= 0
    agreed = mapped & (obstacles.stake[chosen.held_feature] == CAUTION)
    agreed &= ~is_silent(obstacles, chosen.held_feature)  # nobody can agree to what nobody knows
    position, feature = chosen.held_position[agreed], chosen.held_feature[agreed]
    return Met(position, feature, np.full(len(position), np.nan), np.full(len(position), AGREE, dtype=object))


def crossings_table(leads: Met, stakes: Met, obstacles: Obstacles) -> pd.DataFrame:
    """One row for each feature that a lead crosses or a stake stands on, by position.

    Parameters
    ----------
    leads, stakes : Met
        From `lead_crossings` and `stood_on`.
    obstacles : Obstacles
        Of the whole job.

    Returns
    -------
    DataFrame
        Table of crossings, with ``position`` for tower and role.
    """
    parts = [(LEAD, leads), (STAKE, stakes)]
    feature = np.concatenate([met.feature for _, met in parts])
    known, row = feature >= 0, np.maximum(feature, 0)
    classes = np.array(obstacles.class_names, dtype=object)[obstacles.class_code[row]]
    columns = rounded_columns(
        {
            "position": np.concatenate([met.position for _, met in parts]),
            "met_by": np.repeat([what for what, _ in parts], [len(met.feature) for _, met in parts]),
            "obstacle_class": np.where(known, classes, OUTSIDE),
            "name": np.where(known, obstacles.name[row], ""),
            "feature_id": np.where(known, obstacles.feature_id[row], ""),
            "at_m": np.concatenate([met.at_m for _, met in parts]),
            "verdict": np.concatenate([met.verdict for _, met in parts]),
        },
        TABLES["crossings"],
    )
    return pd.DataFrame(columns).sort_values("position", kind="stable", ignore_index=True)


def met_words(met: Met, verdict: str, obstacles: Obstacles, job: Job, count: int) -> tuple[list[str], list[str]]:
    """What each position meets with a verdict.

    Parameters
    ----------
    met : Met
    verdict : str
        The one that is asked for.
    obstacles : Obstacles
        Of the whole job.
    job : Job
        Its obstacle classes name them.
    count : int
        Of positions.

    Returns
    -------
    words, numbers : list of str
        For each position, each thing once: for people to read, and as the table of obstacles numbers it.
    """
    words: list[dict[str, None]] = [{} for _ in range(count)]
    numbers: list[dict[str, None]] = [{} for _ in range(count)]
    mine = met.verdict == verdict
    for position, feature in zip(met.position[mine].tolist(), met.feature[mine].tolist(), strict=True):
        words[position][describe(obstacles, job, feature)] = None
        numbers[position][reference(obstacles, feature)] = None
    return ["; ".join(found) for found in words], [", ".join(filter(None, found)) for found in numbers]
