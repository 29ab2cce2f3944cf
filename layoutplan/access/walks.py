"""All walks from a tower: the shortest times to every place about it, and where the vehicle best stops."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

from layoutplan.access.cost import CostWindow, Relief, move_times_s, open_window, pace_s_per_m
from layoutplan.access.drop_off import DropOff, connectors, growing, lines_to, nearest_roads, parted, tracks_at
from layoutplan.access.frame import TangentFrame
from layoutplan.access.ground import PERMIT, WalkingGround
from layoutplan.access.lattice import graph_places
from layoutplan.access.sharing import FREE
from layoutplan.arrays import FloatArray, IntArray
from layoutplan.job.access import SECOND_WINDOW_M

_NEVER_S = 1e11  # beyond any walk; what is infinite is not looked at
_SLACK_S = 1.0  # heights and slopes of a larger window differ a little from those at the edge of a smaller one


@dataclass(frozen=True, slots=True)
class Walks:
    """Shortest walks between a tower and the places about it.

    Attributes
    ----------
    window : CostWindow
    seconds : ndarray, shape (size²,)
        Infinite where nobody gets on foot.
    before : ndarray of int, shape (size²,)
        The place before each on the walk from the tower, negative where there is none.
    until_s : float
        Walks longer than this were not looked for.
    drop_off : DropOff or None
    """

    window: CostWindow
    seconds: FloatArray
    before: NDArray[np.int32]
    until_s: float = np.inf
    drop_off: DropOff | None = None

    @property
    def grid_s(self) -> FloatArray:
        """The seconds by row and column."""
        return self.seconds.reshape(self.window.size, self.window.size)

    @property
    def edge_s(self) -> float:
        """Least time to the window's edge, which is as deep as a move is long; infinite where the tower is shut in.

        No walk that is shorter can be bettered outside the window, or by looking longer.
        """
        grid = self.grid_s
        return float(min(self.until_s, *(part.min() for part in (grid[:2], grid[-2:], grid[:, :2], grid[:, -2:]))))

    def places_to(self, place: int) -> IntArray:
        """Return the places of the walk from the tower to a place.

        Parameters
        ----------
        place : int
            One that can be reached.

        Returns
        -------
        ndarray of int
            The tower's own place first.
        """
        way = [place]
        while (earlier := int(self.before[way[-1]])) >= 0:
            way.append(earlier)
        return np.array(way[::-1], dtype=np.int64)


def walk_out(ground: WalkingGround, frame: TangentFrame, relief: Relief, least_m: float = 0.0) -> Walks:
    """Find the shortest walks in the first surroundings of a tower: all that siting asks about.

    Parameters
    ----------
    ground : WalkingGround
    frame : TangentFrame
        Of the tower.
    relief : Relief
    least_m : float
        Half the side of the smallest window. [m]

    Returns
    -------
    Walks
        To every cell that is reached, and the drop-off. [s]
    """
    *inner, last = ground.settings.windows_m
    half_m = next((step for step in inner if step >= least_m), max(last, least_m))
    return search(open_window(ground, frame, half_m, relief))


def walk_on(walks: Walks, relief: Relief, targets_m: ArrayLike = ()) -> Walks:
    """Look farther, for the drop-off from which the tower is reached soonest and for the ways to some targets.

    The window grows until nothing outside it can be better: the walks found, to the drop-off and to all targets, take
    no longer than that to the window's edge. It need not grow where the tower is shut in, nor beyond 700 m for targets:
    they are within reach of a lead. What was found sets how far to look: walks that take longer are of no use, and
    nobody walks on from the edge faster than along a level path.

    Parameters
    ----------
    walks : Walks
        In the first surroundings, see :func:`walk_out`.
    relief : Relief
    targets_m : array_like, shape (n, 2)
        East and north of further places to walk to, the electrodes. [m]

    Returns
    -------
    Walks
        In a window as large as was needed. [s]
    """
    targets = np.asarray(targets_m, dtype=float).reshape(-1, 2)
    ground, frame = walks.window.ground, walks.window.frame
    least_m = float(np.abs(targets).max(initial=0.0)) + walks.window.cell_m
    if least_m > walks.window.half_m:  # a stake that the job fixes far out
        walks = walk_out(ground, frame, relief, least_m)
    for step_m in ground.settings.windows_m:
        half_m = walks.window.half_m
        if step_m <= half_m:
            continue
        stop_s, targets_s = _stop_s(walks), _longest_s(walks, targets)
        if stop_s <= walks.edge_s and (targets_s <= walks.edge_s or half_m >= SECOND_WINDOW_M):  # infinite: shut in
            break
        enough_s = max(stop_s, targets_s) + _SLACK_S
        enough_m = half_m + (enough_s - walks.edge_s) / float(pace_s_per_m(0.0))
        walks = search(open_window(ground, frame, min(step_m, enough_m), relief), until_s=enough_s)
        if max(_stop_s(walks), _longest_s(walks, targets)) > enough_s:  # a barrier cut off at the old edge was passed
            walks = search(open_window(ground, frame, step_m, relief))
    return walks


def _stop_s(walks: Walks) -> float:
    """Time that the walk to the drop-off takes, a permission counted as a detour."""
    drop = walks.drop_off
    detour_s = walks.window.ground.settings.permission_detour_min * 60
    return np.inf if drop is None else drop.seconds + drop.permit * detour_s


def _longest_s(walks: Walks, targets_m: FloatArray) -> float:
    """Time to the target that takes longest; infinite where one is not reached in this window."""
    return float(walk_minutes(walks, targets_m, from_tower=True).max(initial=0.0)) * 60


def search(window: CostWindow, *, until_s: float = np.inf, forced: bool = False) -> Walks:
    """Find the shortest walks in a window.

    Parameters
    ----------
    window : CostWindow
    until_s : float
        Walks that take longer are left out. [s]
    forced : bool
        Whether they cross barriers.

    Returns
    -------
    Walks
    """
    size = window.size
    ends, begins = graph_places(size)
    times = csr_matrix((move_times_s(window, forced=forced).reshape(-1), ends, begins), shape=(size**2, size**2))
    seconds, before = dijkstra(
        times, directed=False, indices=np.array([size**2 // 2]), return_predecessors=True, limit=min(until_s, _NEVER_S)
    )
    walks = Walks(window, seconds[0], before[0], until_s)
    return walks if forced else replace(walks, drop_off=_drop_off(walks))


def walk_minutes(walks: Walks, points_m: ArrayLike, *, from_tower: bool = False) -> FloatArray:
    """Minutes on foot to points, by way of the tower: that is where the lead is carried from.

    Parameters
    ----------
    walks : Walks
    points_m : array_like, shape (n, 2)
        East and north of the tower. [m]
    from_tower : bool
        Leave the walk from the drop-off to the tower out.

    Returns
    -------
    ndarray, shape (n,)
        Infinite where nobody gets on foot; NaN (unknown) outside the window and, from the drop-off, where there is
        none. The last metres to the point are walked straight from the best of the four places around it, barriers
        between them and the point disregarded.
    """
    points = np.asarray(points_m, dtype=float).reshape(-1, 2)
    place, away_m = places_around(walks.window, points)
    minutes = (walks.seconds[place] + last_steps_s(walks, place, away_m)).min(axis=0) / 60
    minutes[np.maximum(*np.abs(points).T) > walks.window.half_m] = np.nan
    if from_tower:
        return minutes
    return minutes + (np.nan if walks.drop_off is None else walks.drop_off.seconds / 60)


def places_around(window: CostWindow, points_m: FloatArray) -> tuple[IntArray, FloatArray]:
    """Find the four places around each of some points.

    Parameters
    ----------
    window : CostWindow
    points_m : ndarray, shape (n, 2)
        East and north of the tower. [m]

    Returns
    -------
    place : ndarray of int, shape (4, n)
    away_m : ndarray, shape (4, n)
        From the point to each of them. [m]
    """
    across = (np.ascontiguousarray(points_m.T) + window.half_m) / window.cell_m
    low = np.floor(across).astype(np.int64)
    col, row = np.clip(np.stack((low, low + 1), axis=1), 0, window.size - 1)  # two of each
    east_m, north_m = (col - across[0]) * window.cell_m, (row - across[1]) * window.cell_m
    place = row[:, None] * window.size + col
    away_m = np.sqrt(north_m[:, None] ** 2 + east_m**2)
    return place.reshape(4, -1), away_m.reshape(4, -1)


def last_steps_s(walks: Walks, place: IntArray, away_m: FloatArray) -> FloatArray:
    """Time for some metres beside a place, walked straight.

    Parameters
    ----------
    walks : Walks
    place : ndarray of int
    away_m : ndarray
        How far, of the same shape. [m]

    Returns
    -------
    ndarray
        Infinite beside places that nobody walks on. [s]
    """
    effort = walks.window.effort.reshape(-1)[place]
    there = np.isfinite(effort)
    return np.where(there, away_m * np.where(there, effort, 0.0) * float(pace_s_per_m(0.0)), np.inf)


def _drop_off(walks: Walks) -> DropOff | None:
    """Find the soonest place to stop from which no barrier parts the road."""
    window = walks.window
    level, place = np.nonzero(window.stop.reshape(2, -1) & np.isfinite(walks.seconds))
    wait_s = walks.seconds[place] + level * window.ground.settings.permission_detour_min * 60
    best, best_s = None, np.inf
    for some in growing(np.argsort(wait_s, kind="stable")):
        if wait_s[some[0]] >= best_s:
            break
        road, line = connectors(window, place[some], level[some])
        last_s = last_steps_s(walks, place[some], shapely.length(line))
        total_s = np.where(parted(window, road, line), np.inf, wait_s[some] + last_s)
        first = int(np.argmin(total_s))
        if total_s[first] < best_s:
            best_s, here = float(total_s[first]), some[first]
            point = shapely.get_coordinates(line[first])[-1]
            seconds = float(walks.seconds[place[here]] + last_s[first])
            best = DropOff(int(place[here]), point, int(road[first]), bool(level[here] == PERMIT), seconds)
    return best


def other_stops(walks: Walks) -> list[DropOff]:
    """Find, beside the drop-off, the soonest stop on every track that asking once would make worth while.

    Those from which the tower is reached sooner than from the drop-off, what asking counts for each tower included; and
    the soonest free one, where the drop-off itself needs a permission. One for each track, soonest first.

    Parameters
    ----------
    walks : Walks
        With its drop-off.

    Returns
    -------
    list of DropOff
    """
    window, drop = walks.window, walks.drop_off
    if drop is None:
        return []
    _, each_s = window.ground.settings.asking_s
    stop_s = drop.seconds + (0.0 if not drop.permit else each_s)
    level, place = np.nonzero(window.stop.reshape(2, -1) & np.isfinite(walks.seconds))
    worth = np.where(level == PERMIT, walks.seconds[place] + each_s < stop_s, drop.permit)
    level, place = level[worth], place[worth]
    found: dict[int, DropOff] = {}
    for some in growing(np.argsort(walks.seconds[place], kind="stable")):
        road, shape = nearest_roads(window, place[some], level[some])
        track = np.where(level[some] == PERMIT, window.ground.track[road], FREE)
        new = ~np.isin(track, [*found])
        some, road, track = some[new], road[new], track[new]
        line = lines_to(window, place[some], shape[new])
        seconds = walks.seconds[place[some]] + last_steps_s(walks, place[some], shapely.length(line))
        seconds[parted(window, road, line)] = np.inf
        for i in np.lexsort((place[some], seconds)).tolist():
            if np.isfinite(seconds[i]) and int(track[i]) not in found:
                point = shapely.get_coordinates(line[i])[-1]
                permit = bool(level[some[i]] == PERMIT)
                found[int(track[i])] = DropOff(int(place[some[i]]), point, int(road[i]), permit, float(seconds[i]))
        if len(found) == tracks_at(window, level):
            break
    return sorted(found.values(), key=lambda stop: (stop.seconds, stop.place))
