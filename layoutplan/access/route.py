"""Ways on foot: from the drop-off point to the tower, and from the tower to the electrodes."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from layoutplan.access.cost import CostWindow
from layoutplan.access.crossings import barring, to_ask, way_crossings
from layoutplan.access.drop_off import connectors, met
from layoutplan.access.verdicts import NOT_ON_FOOT, PERMISSION, REACHABLE
from layoutplan.access.walks import Walks, last_steps_s, places_around, search
from layoutplan.arrays import FloatArray, IntArray
from layoutplan.job.classes import ROADS
from layoutplan.job.roles import Road

_STRAIGHT_M = 1e-6
_UNNAMED = {Road.MAIN: "a main road", Road.MINOR: "a minor road", Road.TRACK: "a track"}


@dataclass(frozen=True, slots=True)
class Route:
    """One way on foot.

    Attributes
    ----------
    verdict : str
    because : tuple of str
        Whom to ask, or what stands in the way.
    line : LineString or None
        In the tower's frame, in walking direction; None where there is no way. [m]
    walk_m, climb_m, walk_min : float
        Along the ground; upward only, NaN where heights are unknown; one way, the mean of in and out.
    crossings : tuple of str
        What is crossed, in order.
    """

    verdict: str
    because: tuple[str, ...] = ()
    line: shapely.LineString | None = None
    walk_m: float = float("nan")
    climb_m: float = float("nan")
    walk_min: float = float("nan")
    crossings: tuple[str, ...] = ()


def to_tower(walks: Walks) -> Route:
    """Return the way from the drop-off to the tower.

    Its verdict is ``REACHABLE``, ``PERMISSION``, ``NOT_ON_FOOT``, or ``no road within … m``.

    Parameters
    ----------
    walks : Walks
        In the surroundings of a tower.

    Returns
    -------
    Route
        Its line [m], length [m], time [min], verdict and what it crosses.
    """
    window, drop = walks.window, walks.drop_off
    if drop is None:
        return _no_way(walks)
    places = walks.places_to(drop.place)[::-1]
    route = _route(window, places, drop.point_m, np.zeros(2), drop.seconds)
    if not drop.permit:
        return route
    stop = f"stopping on {window.ground.road_name[drop.road] or _label(window, drop.road)}"
    return replace(route, verdict=PERMISSION, because=(stop, *route.because))


def to_point(walks: Walks, point_m: FloatArray) -> Route:
    """Return the way from the tower to an electrode.

    Parameters
    ----------
    walks : Walks
        In the surroundings of a tower.
    point_m : ndarray, shape (2,)
        Within the window, in the tower's frame. [m]

    Returns
    -------
    Route
        Its line [m], length [m], time [min], verdict and what it crosses.
    """
    window = walks.window
    places, far_m = places_around(window, point_m[None])
    place, away_m = places[:, 0], far_m[:, 0]
    last = np.asarray(shapely.linestrings(np.stack((window.places_m(place), np.tile(point_m, (4, 1))), axis=1)))
    parted = np.zeros(4, dtype=bool)
    parted[met(last, window.barriers.shape)[0]] = True
    seconds = np.where(parted, np.inf, walks.seconds[place] + last_steps_s(walks, place, away_m))
    best = int(np.argmin(seconds))
    if not np.isfinite(seconds[best]):
        forced = search(window, forced=True)
        best = int(np.argmin(forced.seconds[place]))
        return _barred(window, forced.places_to(int(place[best])), np.zeros(2), point_m)
    return _route(window, walks.places_to(int(place[best])), np.zeros(2), point_m, float(seconds[best]))


def _no_way(walks: Walks) -> Route:
    """State why there is no way to the tower: no road, or what stands between it and the road."""
    window = walks.window
    level, place = np.nonzero(window.stop.reshape(2, -1))
    if len(place) == 0:
        if np.isfinite(walks.edge_s):
            return Route(f"no road within {window.ground.settings.radius_m:g} m")
        place = _edge(window)
    forced = search(window, forced=True)
    best = int(np.argmin(forced.seconds[place]))
    start = window.places_m(place[best])[0]
    if len(level):
        start = shapely.get_coordinates(connectors(window, place[[best]], level[[best]])[1][0])[-1]
    return _barred(window, forced.places_to(int(place[best]))[::-1], start, np.zeros(2))


def _barred(window: CostWindow, places: IntArray, start_m: FloatArray, end_m: FloatArray) -> Route:
    line = shapely.LineString(np.vstack((start_m, window.places_m(places), end_m)))
    return Route(NOT_ON_FOOT, barring(window, line))


def _route(window: CostWindow, places: IntArray, start_m: FloatArray, end_m: FloatArray, seconds: float) -> Route:
    """Measure a way through places; its drawn line is straightened."""
    points = np.vstack((start_m, window.places_m(places), end_m))
    line = _straightened(window, shapely.LineString(points))
    walk_m, climb_m = _along(window, points, places)
    ask = to_ask(window, places, shapely.LineString(points))
    return Route(
        PERMISSION if ask else REACHABLE, ask, line, walk_m, climb_m, seconds / 60, way_crossings(window, line)
    )


def _along(window: CostWindow, points_m: FloatArray, places: IntArray) -> tuple[float, float]:
    """Length along the ground and climb of a way; level ground where heights are unknown, and at its ends. [m]."""
    step = np.hypot(*np.diff(points_m, axis=0).T)
    if window.height_m is None:
        return float(step.sum()), float("nan")
    height = window.height_m.reshape(-1)[places]
    rise = np.diff(height[np.r_[0, np.arange(len(places)), -1]])
    walk_m = float(np.hypot(step, np.nan_to_num(rise)).sum())
    return walk_m, float(np.maximum(rise, 0.0).sum())


def _straightened(window: CostWindow, line: shapely.LineString) -> shapely.LineString:
    """Leave out corners within half a cell, unless a barrier would be met then."""
    simple = shapely.simplify(line, window.cell_m / 2, preserve_topology=False)
    if shapely.intersects(window.barriers.shape, simple).any():
        return shapely.simplify(line, _STRAIGHT_M, preserve_topology=False)
    return simple


def _edge(window: CostWindow) -> IntArray:
    """Places on the window's edge."""
    grid = np.arange(window.size**2).reshape(window.size, window.size)
    return np.unique(np.concatenate((grid[0], grid[-1], grid[:, 0], grid[:, -1])))


def _label(window: CostWindow, road: int) -> str:
    return _UNNAMED[ROADS[window.ground.road_class[road]]]
