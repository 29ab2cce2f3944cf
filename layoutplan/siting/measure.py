"""Measured values of given positions: how far to what, class by class, and what holds them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.siting.capsule import segment_distance
from layoutplan.siting.meet import Stretches
from layoutplan.siting.near import NearPairs
from layoutplan.siting.obstacles import POWER_LINE, Obstacles
from layoutplan.siting.ragged import expand, group_starts
from layoutplan.siting.rays import Rays
from layoutplan.siting.trace import Trace


@dataclass(frozen=True, slots=True)
class Clearances:
    """Least distance from positions to features: one entry for each position and obstacle class near it.

    A class of which the nearest feature is further from the position than anything is known there has no entry, but
    for power lines: the planned ones are always near.

    Attributes
    ----------
    position, class_code, feature : ndarray of int
        The feature is the nearest of its class.
    edge_m : ndarray
        To the feature's edge (the outermost conductor of a power line); 0 within an area. [m]
    depth_m : ndarray
        How far the position would have to go to leave the area of the class that holds it deepest, infinite where that
        is beyond what is known; 0 where none holds it. [m]
    """

    position: IntArray
    class_code: IntArray
    feature: IntArray
    edge_m: FloatArray
    depth_m: FloatArray


def clearances(rays: Rays, distance_m: FloatArray, near: NearPairs, obstacles: Obstacles, trace: Trace) -> Clearances:
    """Measure positions (one on each ray) against everything near their towers.

    Parameters
    ----------
    rays : Rays
        Directions to the n positions, one each.
    distance_m : ndarray, shape (n,)
        From the tower points. [m]
    near : NearPairs
        What lies near the same towers.
    obstacles : Obstacles
        Of the whole job.
    trace : Trace
        Of these rays; it states which areas hold a position.

    Returns
    -------
    Clearances
        One entry for each position and class near it. [m]
    """
    position, pair = against(rays, near)
    feature = near.feature[pair]
    axis = segment_distance((rays.direction * distance_m[:, None])[position], near.start_m[pair], near.end_m[pair])
    edge = np.maximum(axis - obstacles.body_m[feature], 0.0)
    held, area = holding(trace.inside, distance_m)
    depth = np.concatenate((np.zeros(len(edge)), _depths(held, area, position, feature, axis)))
    position, feature = np.concatenate((position, held)), np.concatenate((feature, area))
    edge = np.concatenate((edge, np.zeros(len(held))))
    code = obstacles.class_code[feature]
    order = np.lexsort((feature, -depth, edge, code, position))
    key = (position * len(obstacles.class_names) + code)[order]
    best = order[group_starts(key)]
    known = near.reach_m - distance_m[position] + np.nan_to_num(obstacles.keep_out_m - obstacles.body_m)[feature]
    best = best[((edge <= known) | (code == obstacles.code(POWER_LINE)))[best]]
    return Clearances(position[best], code[best], feature[best], edge[best], depth[best])


def _depths(held: IntArray, area: IntArray, position: IntArray, feature: IntArray, to_edge_m: FloatArray) -> FloatArray:
    """Distance of held positions to the edge of the area that holds them, infinite if none of it is near. [m]."""
    count = max(int(area.max(initial=0)), int(feature.max(initial=0))) + 1
    keys, place = np.unique(position * count + feature, return_inverse=True)
    least = np.full(len(keys) + 1, np.inf)
    np.minimum.at(least, place, to_edge_m)
    wanted = held * count + area
    found = np.searchsorted(keys, wanted)
    there = np.append(keys, -1)[found] == wanted
    return np.where(there, least[found], np.inf)


def distance_to_axis_m(rays: Rays, distance_m: FloatArray, near: NearPairs, obstacles: Obstacles) -> FloatArray:
    """Distance of positions (one on each ray) from the nearest axis of the planned lines.

    Parameters
    ----------
    rays : Rays
        Directions from the towers to the positions, one each.
    distance_m : ndarray, shape (n,)
        Of the positions from the tower points. [m]
    near : NearPairs
        What lies near the same towers.
    obstacles : Obstacles
        Of the whole job.

    Returns
    -------
    ndarray, shape (n,)
        Infinite where none lies near. [m]
    """
    position, pair = against(rays, near)
    planned = obstacles.is_planned[near.feature[pair]]
    position, pair = position[planned], pair[planned]
    axis = segment_distance((rays.direction * distance_m[:, None])[position], near.start_m[pair], near.end_m[pair])
    least = np.full(len(rays), np.inf)
    np.minimum.at(least, position, axis)
    return least


def holding(stretches: Stretches, distance_m: FloatArray) -> tuple[IntArray, IntArray]:
    """Positions (by ray) that lie in a stretch, and the features these are due to.

    Parameters
    ----------
    stretches : Stretches
        Parts of rays. [m]
    distance_m : ndarray, shape (rays,)
        One position on each ray. [m]

    Returns
    -------
    ray, feature : ndarray of int, shape (k,)

    Examples
    --------
    >>> parts = Stretches(np.array([0, 1]), np.array([5, 6]), np.array([10.0, 20.0]), np.array([15.0, 90.0]))
    >>> holding(parts, np.array([30.0, 30.0]))
    (array([1]), array([6]))
    """
    at = distance_m[stretches.ray]
    rows = (stretches.enter_m <= at) & (at <= stretches.leave_m)
    return stretches.ray[rows], stretches.feature[rows]


def against(rays: Rays, near: NearPairs) -> tuple[IntArray, IntArray]:
    """Pair every position with everything near its tower: numbers of both.

    Parameters
    ----------
    rays : Rays
        To the positions, one each.
    near : NearPairs
        What lies near the same towers.

    Returns
    -------
    position, pair : ndarray of int, shape (k,)
        Rows of ``rays`` and of ``near``.

    Examples
    --------
    Two positions of tower 0 and one of tower 1, near which lie one segment and two:

    >>> from types import SimpleNamespace
    >>> rays, near = SimpleNamespace(tower=np.array([0, 0, 1])), SimpleNamespace(tower=np.array([0, 1, 1]))
    >>> against(rays, near)
    (array([0, 1, 2, 2]), array([0, 0, 1, 2]))
    """
    first = np.searchsorted(near.tower, rays.tower, "left")
    count = np.searchsorted(near.tower, rays.tower, "right") - first
    position, number = expand(count)
    return position, first[position] + number
