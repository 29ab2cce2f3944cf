"""One tower and all that candidates meet there: what gives way, by how much, and how it is called."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.job import Job
from layoutplan.job.classes import OUTSIDE_WORDS
from layoutplan.line.model import Towers
from layoutplan.siting.capsule import segment_distance
from layoutplan.siting.figures import Figures
from layoutplan.siting.judge import DistanceSteps
from layoutplan.siting.near import NearPairs
from layoutplan.siting.obstacles import Obstacles
from layoutplan.siting.rays import Rays
from layoutplan.siting.relaxation import (
    Relaxation,
)
from layoutplan.siting.trace import OUTSIDE_PERMITTED, Trace


@dataclass(frozen=True, slots=True)
class Blocker:
    """One reason: where it excludes candidates, and how much it would have to give way.

    Attributes
    ----------
    ray, enter_m, leave_m : ndarray
        Stretches of the rays; they may overlap.
    change : callable
        From ray and distance step numbers to the change that would admit the candidate.
    relaxed : callable
        From a change to the relaxation in words.
    """

    ray: IntArray
    enter_m: FloatArray
    leave_m: FloatArray
    change: Callable[[IntArray, IntArray], FloatArray]
    relaxed: Callable[[float], Relaxation]


@dataclass(frozen=True, slots=True)
class Scene:
    """One tower's widened fan and all that it meets."""

    tower: Towers
    rays: Rays
    trace: Trace
    steps: DistanceSteps
    near: NearPairs
    obstacles: Obstacles
    job: Job
    figures: Figures

    def points_m(self, ray: IntArray, step_no: IntArray) -> FloatArray:
        """Places of candidates.

        Parameters
        ----------
        ray, step_no : ndarray of int, shape (n,)

        Returns
        -------
        ndarray, shape (n, 2)
            East and north of the tower. [m]
        """
        return self.rays.direction[ray] * self.steps.distance_m[ray, step_no][:, None]

    def edge_distance_m(self, ray: IntArray, step_no: IntArray, feature: IntArray) -> FloatArray:
        """Distance of candidates from the edge of the nearest of some features.

        Parameters
        ----------
        ray, step_no : ndarray of int, shape (n,)
        feature : ndarray of int
            Any number of them.

        Returns
        -------
        ndarray, shape (n,)
            0 within one; infinite where none is near. [m]
        """
        points = self.points_m(ray, step_no)
        least = np.full(len(points), np.inf)
        for pair in np.flatnonzero(np.isin(self.near.feature, feature)):
            away = segment_distance(points, self.near.start_m[pair], self.near.end_m[pair])
            np.minimum(least, away - self.obstacles.body_m[self.near.feature[pair]], out=least)
        return np.maximum(least, 0.0)

    def describe(self, feature: int) -> str:
        """Words for a feature: what it is, and its name."""
        return describe(self.obstacles, self.job, feature)


def describe(obstacles: Obstacles, job: Job, feature: int) -> str:
    """Words for a feature: what it is, and its name.

    Parameters
    ----------
    obstacles : Obstacles
    job : Job
        With the labels of its classes.
    feature : int
        ``OUTSIDE_PERMITTED`` for land outside what is permitted.

    Returns
    -------
    str
    """
    if feature == OUTSIDE_PERMITTED:
        return OUTSIDE_WORDS
    row = job.obstacle_classes[obstacles.class_names[obstacles.class_code[feature]]]
    return row.describe(obstacles.name[feature])


def reference(obstacles: Obstacles, feature: int) -> str:
    """Number of a feature in the table of obstacles.

    Parameters
    ----------
    obstacles : Obstacles
    feature : int

    Returns
    -------
    str
        Empty for land outside what is permitted.
    """
    return "" if feature == OUTSIDE_PERMITTED else str(obstacles.feature_id[feature])
