"""One evaluation for every position: what each ray meets, as stretches and touches along it.

Candidates of the fan, moved positions and staked points all come through :func:`trace_rays`; which points of the rays
are asked is decided afterwards (:mod:`layoutplan.siting.judge`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.job.classes import PERMITTED
from layoutplan.siting.meet import RaySegments, Stretches, capsule_stretches, crossings, joined_stretches, meet
from layoutplan.siting.near import NearPairs
from layoutplan.siting.obstacles import CAUTION, FREE, NO, TOLERANCE_M, Obstacles
from layoutplan.siting.ragged import expand, first_of_each, group_starts, union_of_stretches
from layoutplan.siting.rays import Rays

OUTSIDE_PERMITTED = -1  # stands for a feature: the land beyond what is permitted
STUB_M = 1e-3  # what a lead meets on its first millimetre is met by the tower, not by the lead
_BEHIND_M = 9e3  # further than any reel; stands for "for ever" along a ray


@dataclass(frozen=True, slots=True)
class Touches:
    """Features that a lead must not (``NO``), or only with caution, cross: one entry for each ray and feature.

    ``at_m`` is the distance from the tower at which the lead first touches the feature.
    """

    ray: IntArray
    feature: IntArray
    at_m: FloatArray
    level: IntArray


@dataclass(frozen=True, slots=True)
class Passes:
    """Places where a ray passes within the margin of a mapped feature that it must not cross.

    ``short_m`` is by how much the ray is nearer than the margin at ``at_m`` from the tower: at a corner of the feature,
    where it crosses, or at the tower itself. Where a stake at the end of the lead stands is its keep-out's concern.
    """

    ray: IntArray
    at_m: FloatArray
    short_m: FloatArray


@dataclass(frozen=True, slots=True)
class Trace:
    """What the rays meet.

    Attributes
    ----------
    blocked : Stretches
        Where no stake may stand, by feature (``OUTSIDE_PERMITTED`` for land that is not permitted).
    close : Stretches
        Where a stake would stand within the margin of a keep-out.
    inside : Stretches
        Within the areas of the map, whatever their class.
    agreed_ground : Stretches
        Where a stake needs somebody's agreement.
    soft : Stretches
        Over woodland or crops, merged; the feature has no meaning.
    touches : Touches
    passes : Passes
    """

    blocked: Stretches
    close: Stretches
    inside: Stretches
    agreed_ground: Stretches
    soft: Stretches
    touches: Touches
    passes: Passes


def trace_rays(rays: Rays, near: NearPairs, obstacles: Obstacles, *, reach_m: float, margin_m: float) -> Trace:
    """Follow each ray and note what it meets.

    Parameters
    ----------
    rays : Rays
        Sorted by tower and bearing.
    near : NearPairs
        What lies within ``reach_m + margin_m`` of the same towers.
    obstacles : Obstacles
        Of the whole job.
    reach_m : float
        How far the rays are followed. [m]
    margin_m : float
        A stake nearer than this to a keep-out, or a lead to what it must not cross, counts as close. [m]

    Returns
    -------
    Trace
        Blocked stretches, first touches and insides, by ray. [m]
    """
    keep_out = obstacles.keep_out_m[near.feature]
    pairs = meet(rays, near, np.where(np.isnan(keep_out), obstacles.body_m[near.feature], keep_out) + margin_m)
    hit, at = crossings(pairs)
    inside = _inside(rays, near, obstacles, pairs, hit, at)
    stay_out = inside.take(obstacles.stake[inside.feature] == NO).shrunk(TOLERANCE_M)
    keep_out = obstacles.keep_out_m[pairs.feature]
    blocked, close = capsule_stretches(pairs, keep_out - TOLERANCE_M, keep_out + margin_m)
    touches = [_line_touches(near, obstacles, pairs, hit, at), _area_touches(inside, obstacles)]
    if obstacles.permitted_given:
        permitted = obstacles.class_code[inside.feature] == obstacles.code(PERMITTED)
        beyond = _complement(inside.take(permitted).within(reach_m), len(rays), reach_m)
        blocked = joined_stretches(blocked, beyond)
        ray, start = first_of_each(beyond.ray, beyond.enter_m)
        count = len(ray)
        touches.append(Touches(ray, np.full(count, OUTSIDE_PERMITTED), start, np.full(count, CAUTION)))
    return Trace(
        blocked=joined_stretches(blocked, stay_out).within(reach_m),
        close=joined_stretches(close, stay_out).within(reach_m),
        inside=inside,
        agreed_ground=inside.take(obstacles.stake[inside.feature] == CAUTION).within(reach_m),
        soft=_soft(inside, obstacles).within(reach_m),
        touches=Touches(*(np.concatenate([getattr(t, n) for t in touches]) for n in Touches.__slots__)),
        passes=_passes(rays, near, obstacles, pairs, hit, at, margin_m),
    )


def _passes(
    rays: Rays,
    near: NearPairs,
    obstacles: Obstacles,
    pairs: RaySegments,
    hit: np.ndarray,
    at: FloatArray,
    margin_m: float,
) -> Passes:
    """Where rays pass what they must not cross: short of a crossing, the nearest point is an end of the segment."""
    if margin_m == 0.0:
        nothing = np.zeros(0)
        return Passes(nothing.astype(np.int64), nothing, nothing)
    barred = may_not_pass(near, obstacles)
    mine = np.flatnonzero(barred[pairs.near])
    near_m = margin_m + obstacles.body_m[pairs.feature[mine]]
    crossed = barred[pairs.near[hit]]
    found = [(pairs.ray[hit][crossed], at[crossed], np.full(int(crossed.sum()), margin_m))]
    for end in (pairs.start_m, pairs.end_m):
        (along_x, along_y), (x, y) = pairs.direction[mine].T, end[mine].T
        at, short = along_x * x + along_y * y, near_m - np.abs(along_x * y - along_y * x)
        keep = np.flatnonzero((short > 0) & (at > 0))
        found.append((pairs.ray[mine[keep]], at[keep], short[keep]))
    from_tower = np.zeros(int(rays.tower.max(initial=-1)) + 1)
    short = margin_m + obstacles.body_m[near.feature] - near.distance_m
    rows = np.flatnonzero(barred & (short > 0) & (near.tower < len(from_tower)))
    np.maximum.at(from_tower, near.tower[rows], short[rows])
    ray = np.flatnonzero(from_tower[rays.tower] > 0)
    found.append((ray, np.zeros(len(ray)), from_tower[rays.tower[ray]]))
    ray, at, short = (np.concatenate(part) for part in zip(*found, strict=True))
    return Passes(ray, at, np.minimum(short, margin_m))


def may_not_pass(near: NearPairs, obstacles: Obstacles) -> NDArray[np.bool_]:
    """Mark the segments near towers that leads must not cross; a line that ends at the tower is a span of it.

    Parameters
    ----------
    near : NearPairs
        Segments near the towers.
    obstacles : Obstacles
        Of the whole job.

    Returns
    -------
    ndarray of bool, one for each entry of ``near``
        True where a lead must not cross.

    Examples
    --------
    A power line that passes, the same one where it ends at the tower, and a track that needs care:

    >>> from types import SimpleNamespace
    >>> near = SimpleNamespace(feature=np.array([0, 0, 1]), fastened=np.array([False, True, False]))
    >>> map_ = SimpleNamespace(crossing=np.array([NO, CAUTION]), is_planned=np.array([False, False]))
    >>> may_not_pass(near, map_)
    array([ True, False, False])
    """
    barred = (obstacles.crossing == NO) & ~obstacles.is_planned
    return np.asarray(barred[near.feature] & ~near.fastened)


def _inside(
    rays: Rays, near: NearPairs, obstacles: Obstacles, pairs: RaySegments, hit: np.ndarray, at: FloatArray
) -> Stretches:
    """Stretches within areas: every crossing of an edge changes inside and outside.

    Where the tower stands on an area's edge, a lead starts inside if an odd number of crossings lies ahead of it.
    """
    on_edge = near.on_edge[pairs.near[hit]]
    edge = obstacles.is_area[pairs.feature[hit]] & ~(on_edge & (at <= STUB_M))
    ahead = on_edge & edge
    key, crossed = np.unique(
        pairs.ray[hit][ahead] * len(obstacles.class_code) + pairs.feature[hit][ahead], return_counts=True
    )
    key = key[crossed % 2 == 1]
    edge &= at < _BEHIND_M
    first = np.searchsorted(rays.tower, near.inside_tower, "left")
    count = np.searchsorted(rays.tower, near.inside_tower, "right") - first
    row, number = expand(count)
    starts = len(key) + len(row)
    ray = np.concatenate((pairs.ray[hit][edge], key // len(obstacles.class_code), first[row] + number))
    feature = np.concatenate((pairs.feature[hit][edge], key % len(obstacles.class_code), near.inside_feature[row]))
    place = np.concatenate((at[edge], np.full(starts, -1.0)))  # the tower inside comes before any crossing
    order = np.lexsort((place, feature, ray))
    ray, feature, place = ray[order], feature[order], place[order]
    fresh = group_starts(ray * len(obstacles.class_code) + feature)
    number = np.arange(len(ray)) - np.maximum.accumulate(np.where(fresh, np.arange(len(ray)), 0))
    enters = number % 2 == 0
    goes_on = np.append(~fresh[1:], False) if len(ray) else fresh
    leave = np.where(goes_on, np.append(place[1:], 0.0), _BEHIND_M) if len(ray) else place
    return Stretches(ray[enters], feature[enters], np.maximum(place[enters], 0.0), leave[enters])


def _line_touches(
    near: NearPairs, obstacles: Obstacles, pairs: RaySegments, hit: np.ndarray, at: FloatArray
) -> Touches:
    """First contact with features mapped as lines: with their body, or with their axis.

    The axis counts where the tower itself stands within the (mostly estimated) width, and for planned spans: a lead
    that goes away from the line does not cross it. A power line that ends at the tower is not crossed there.
    """
    feature = pairs.feature
    body = np.where(obstacles.is_planned, 0.0, obstacles.body_m)
    matters = ((obstacles.crossing != FREE) & ~obstacles.is_area)[feature] & ~near.fastened[pairs.near]
    within = _holds_tower(near, obstacles, body)[pairs.near]
    (bodies,) = capsule_stretches(pairs, np.where(matters & ~within, body[feature] - TOLERANCE_M, np.nan))
    by_axis = matters & (within | (body[feature] <= TOLERANCE_M))
    axis = by_axis[hit] & (at > STUB_M)
    return _first_touches(
        np.concatenate((bodies.ray, pairs.ray[hit][axis])),
        np.concatenate((bodies.feature, feature[hit][axis])),
        np.concatenate((bodies.enter_m, at[axis])),
        obstacles,
    )


def _holds_tower(near: NearPairs, obstacles: Obstacles, body_m: FloatArray) -> NDArray[np.bool_]:
    """Mark the segments near a tower of which the feature's body holds it, at any of the feature's segments."""
    key = near.tower * len(obstacles.class_code) + near.feature
    return np.isin(key, key[near.distance_m <= body_m[near.feature]])


def _area_touches(inside: Stretches, obstacles: Obstacles) -> Touches:
    matters = obstacles.crossing[inside.feature] != FREE
    return _first_touches(inside.ray[matters], inside.feature[matters], inside.enter_m[matters], obstacles)


def _first_touches(ray: IntArray, feature: IntArray, at_m: FloatArray, obstacles: Obstacles) -> Touches:
    count = len(obstacles.class_code)
    key, first = first_of_each(ray * count + feature, at_m)
    return Touches(key // count, key % count, first, obstacles.crossing[key % count])


def _complement(inside: Stretches, ray_count: int, reach_m: float) -> Stretches:
    """What of each ray lies outside all of the stretches."""
    ray, enter, leave = union_of_stretches(inside.ray, inside.enter_m, inside.leave_m)
    everyone = np.arange(ray_count)
    ray = np.concatenate((ray, everyone, everyone))
    begin = np.concatenate((leave, np.zeros(ray_count), np.full(ray_count, reach_m)))
    stop = np.concatenate((enter, np.zeros(ray_count), np.full(ray_count, reach_m)))
    order = np.lexsort((begin, stop, ray))
    ray, begin, stop = ray[order], begin[order], stop[order]
    gap = (ray[1:] == ray[:-1]) & (stop[1:] - begin[:-1] > 3 * TOLERANCE_M)
    count = int(gap.sum())
    return Stretches(
        ray[1:][gap],
        np.full(count, OUTSIDE_PERMITTED),
        begin[:-1][gap] + TOLERANCE_M,
        stop[1:][gap] - TOLERANCE_M * (stop[1:][gap] < reach_m),
    )


def _soft(inside: Stretches, obstacles: Obstacles) -> Stretches:
    soft = inside.take(obstacles.is_growth[inside.feature])
    ray, enter, leave = union_of_stretches(soft.ray, soft.enter_m, soft.leave_m)
    return Stretches(ray, np.zeros(len(ray), dtype=np.int64), enter, leave)
