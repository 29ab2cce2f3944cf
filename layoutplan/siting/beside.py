"""What leads pass that they must not cross, and how closely: maps are off by metres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.siting.capsule import ray_interval, segment_distance
from layoutplan.siting.measure import against
from layoutplan.siting.near import NearPairs
from layoutplan.siting.obstacles import Obstacles
from layoutplan.siting.rays import Rays
from layoutplan.siting.trace import may_not_pass


@dataclass(frozen=True, slots=True)
class Beside:
    """The nearest feature that each lead must not cross.

    Attributes
    ----------
    edge_m : ndarray, shape (n,)
        From the lead to its edge, 0 where it is crossed; infinite where none lies near. [m]
    feature : ndarray of int, shape (n,)
        -1 where none lies near.
    """

    edge_m: FloatArray
    feature: IntArray


def beside(rays: Rays, distance_m: FloatArray, near: NearPairs, obstacles: Obstacles) -> Beside:
    """Measure leads, which run straight from the towers, against everything near that they must not cross.

    Parameters
    ----------
    rays : Rays
        Directions of the n leads.
    distance_m : ndarray, shape (n,)
        Their straight lengths on the ground. [m]
    near : NearPairs
        What lies near the same towers.
    obstacles : Obstacles
        Of the whole job.

    Returns
    -------
    Beside
        One entry for each lead. [m]
    """
    lead, pair = against(rays, near)
    mine = may_not_pass(near, obstacles)[pair]
    lead, pair = lead[mine], pair[mine]
    edge = np.maximum(_apart_m(rays, distance_m, near, lead, pair) - obstacles.body_m[near.feature[pair]], 0.0)
    order = np.lexsort((near.feature[pair], edge, lead))
    first = np.unique(lead[order], return_index=True)[1]
    found = Beside(np.full(len(rays), np.inf), np.full(len(rays), -1))
    rows = order[first]
    found.edge_m[lead[rows]], found.feature[lead[rows]] = edge[rows], near.feature[pair[rows]]
    return found


def _apart_m(rays: Rays, distance_m: FloatArray, near: NearPairs, lead: IntArray, pair: IntArray) -> FloatArray:
    """Least distance between leads and segments, pair by pair. [m]."""
    direction = rays.direction[lead]
    tower, stake = np.zeros_like(direction), direction * distance_m[lead, None]
    start, end = near.start_m[pair], near.end_m[pair]
    enter, leave = ray_interval(direction, start, end, np.zeros(len(pair)))  # NaN where they do not meet
    meet = (leave >= 0) & (enter <= distance_m[lead])
    ends = [segment_distance(point, start, end) for point in (tower, stake)]
    ends += [segment_distance(point, tower, stake) for point in (start, end)]
    return np.where(meet, 0.0, np.min(ends, axis=0))
