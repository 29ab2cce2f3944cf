"""Ways to the towers of a section and on to their electrodes: where to leave the vehicle, how to walk from there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutplan.access.cost import Relief
from layoutplan.access.figures import WalkFigures
from layoutplan.access.frame import TangentFrame
from layoutplan.access.ground import WalkingGround
from layoutplan.access.route import Route, to_point, to_tower
from layoutplan.access.sharing import FREE, Stops, choose_stops, shared_words
from layoutplan.access.verdicts import OFF_THE_MAP, PERMISSION, REACHABLE, TOWER
from layoutplan.access.walks import Walks, other_stops, walk_on, walk_out
from layoutplan.arrays import FloatArray, IntArray
from layoutplan.job.access import Access
from layoutplan.line.model import Towers

APPROACH_COLUMNS = (
    *("line_id", "tower_id", "to", "drop_off_lon", "drop_off_lat", "road_name", "road_class"),
    *("walk_m", "climb_m", "walk_min", "crossings", "verdict", "reason", "note", "shared_stop", "geometry"),
)
FLAT = "heights unknown: level ground assumed for walking"
PARTLY_FLAT = "heights partly unknown: level ground assumed there for walking"
# of a row: texts, from which its words are made last
_BECAUSE, _ASSUMED, _SERVES = "because", "assumed", "serves"
SHARED_STOP = "shared_stop"
STOPS = "stops"  # of a tower's row: the row itself and those from other stops, each with its track and its seconds
_TRACK, _SECONDS = "track", "seconds"
Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Walkable:
    """What the ways of a job are found on.

    Attributes
    ----------
    ground : WalkingGround
    relief : Relief
    complete_m : ndarray, shape (towers,)
        How far about each tower the map is known to be complete; 0 where it does not cover the tower. [m]
    """

    ground: WalkingGround
    relief: Relief
    complete_m: FloatArray

    def about(self, towers: Towers, rows: IntArray, least_m: float) -> WalkSection:
        """Walk out from some towers.

        Parameters
        ----------
        towers : Towers
            All towers of the job.
        rows : ndarray of int
            Those wanted.
        least_m : float
            Half the side of the smallest surroundings: how far away positions may be. [m]

        Returns
        -------
        WalkSection
            Walks around those towers; none where the map does not reach.
        """
        mine = towers.rows(rows)
        walks = [
            walk_out(self.ground, TangentFrame.at(place), self.relief, least_m) if complete > 0 else None
            for place, complete in zip(mine.lonlat_deg, self.complete_m[rows], strict=True)
        ]
        return WalkSection(mine, replace(self, complete_m=self.complete_m[rows]), walks)


@dataclass(frozen=True, slots=True)
class WalkSection:
    """Walks of some towers; None where the map does not cover."""

    towers: Towers
    walkable: Walkable
    walks: Sequence[Walks | None]

    @property
    def figures(self) -> WalkFigures:
        """What siting asks about."""
        return WalkFigures(self.walks)

    def ways(self, tower: IntArray, role: NDArray[np.str_], xy_m: FloatArray) -> list[Row]:
        """Find the way to every tower and on to its electrodes.

        Parameters
        ----------
        tower : ndarray of int, shape (n,)
            Of each electrode, counting the section's.
        role : ndarray of str, shape (n,)
            ``"H"`` or ``"S"``.
        xy_m : ndarray, shape (n, 2)
            East and north of their towers. [m]

        Returns
        -------
        list of dict
            For :func:`approaches_table`: a row for each tower and one for each of its electrodes, H first, whose way
            begins at the tower. The rows of towers hold further ones, from other stops, for :func:`share_stops`.
        """
        rows: list[Row] = []
        order = np.lexsort((role, tower))
        for number in range(len(self.towers)):
            mine = order[tower[order] == number]
            rows += self._of_tower(number, role[mine].tolist(), xy_m[mine])
        return rows

    def _of_tower(self, number: int, role: Sequence[str], xy_m: FloatArray) -> list[Row]:
        key = {"line_id": str(self.towers.line_id[number]), "tower_id": str(self.towers.tower_id[number])}
        targets = (TOWER, *role)
        walks, complete_m = self.walks[number], float(self.walkable.complete_m[number])
        if walks is None:
            return [_row(key, to, None, Route(OFF_THE_MAP)) for to in targets]
        walks = walk_on(walks, self.walkable.relief, xy_m)
        ways = (to_tower(walks), *(to_point(walks, point) for point in xy_m))
        known = (_within(way, walks, complete_m) for way in ways)
        rows = [_row(key, to, walks, way) for to, way in zip(targets, known, strict=True)]
        rows[0][STOPS] = list(_from_stops(key, walks, complete_m, rows[0]))
        return rows


def _from_stops(key: dict[str, str], walks: Walks, complete_m: float, chosen: Row) -> Iterator[Row]:
    """Rows of the way to a tower from its drop-off and from other stops; none where the map does not reach."""
    if chosen["verdict"] not in (REACHABLE, PERMISSION):
        return
    for stop in (walks.drop_off, *other_stops(walks)):
        if stop is None:
            continue
        own = replace(walks, drop_off=stop)
        row = chosen if stop is walks.drop_off else _row(key, TOWER, own, _within(to_tower(own), own, complete_m))
        if row["verdict"] in (REACHABLE, PERMISSION):
            track = int(walks.window.ground.track[stop.road]) if stop.permit else FREE
            yield {name: row[name] for name in row} | {_TRACK: track, _SECONDS: stop.seconds}


def share_stops(rows: Sequence[Row], settings: Access) -> list[Row]:
    """Let towers use stops for which a neighbour asks anyway, where that saves walking; see :func:`choose_stops`.

    A stop on a road where a stop has to be agreed for any vehicle is agreed place by place.

    Parameters
    ----------
    rows : sequence of dict
        Of all towers of the job.
    settings : Access
        What asking counts for.

    Returns
    -------
    list of dict
        In the same order.
    """
    number = [i for i, row in enumerate(rows) for _ in row.get(STOPS, ())]
    stops = [stop for row in rows for stop in row.get(STOPS, ())]
    track = np.array([stop[_TRACK] for stop in stops], dtype=np.int64)
    alone = np.array([stop["road_class"] in settings.stop_by_agreement for stop in stops], dtype=bool) & (track != FREE)
    track = np.where(alone, track.max(initial=0) + 1 + np.arange(len(stops)), track)
    seconds = np.array([stop[_SECONDS] for stop in stops], dtype=float)
    chosen = choose_stops(Stops(np.array(number, dtype=np.int64), track, seconds), *settings.asking_s)
    shared = list(rows)
    users: dict[int, list[int]] = {}
    for one in chosen.tolist():
        shared[number[one]] = stops[one]
        if track[one] != FREE:
            users.setdefault(int(track[one]), []).append(number[one])
    together = sorted(mine for mine in users.values() if len(mine) > 1)
    for stop, mine in enumerate(together, 1):
        words = shared_words([(shared[i]["line_id"], shared[i]["tower_id"]) for i in mine])
        for i in mine:
            shared[i] = shared[i] | {_SERVES: words, SHARED_STOP: stop}
    return shared


def approaches_table(rows: Sequence[Row]) -> gpd.GeoDataFrame:
    """Put rows together.

    Parameters
    ----------
    rows : sequence of dict
        One for each tower and electrode, with its way.

    Returns
    -------
    GeoDataFrame
        Columns ``APPROACH_COLUMNS``, EPSG:4326. ``reason`` states whom to ask or what stands in the way, ``note`` that
        and what was assumed. Lengths [m] and times [min] are NaN, and the geometry is None, where there is no way or
        nothing is known.
    """
    told = [{SHARED_STOP: 0} | row | {"reason": "; ".join(row[_BECAUSE]), "note": _note(row)} for row in rows]
    table = pd.DataFrame(told, columns=list(APPROACH_COLUMNS))
    return gpd.GeoDataFrame(table, geometry="geometry", crs="EPSG:4326")


def _note(row: Row) -> str:
    """Whom to ask, for which towers together, and what was assumed."""
    first, rest = row[_BECAUSE][:1], row[_BECAUSE][1:]
    return "; ".join((*first, *filter(None, (row.get(_SERVES),)), *rest, *row[_ASSUMED]))


def _within(way: Route, walks: Walks, complete_m: float) -> Route:
    """Keep a way only where the map is complete: beyond, a river may be missing."""
    far_m = walks.window.ground.settings.radius_m if walks.drop_off is None else 0.0
    if way.line is not None:
        far_m = float(np.hypot(*shapely.get_coordinates(way.line).T).max())
    if far_m <= complete_m:
        return way
    return Route(OFF_THE_MAP, (f"the map is known to be complete within {complete_m:g} m only",))


def _row(key: dict[str, str], to: str, walks: Walks | None, way: Route) -> Row:
    return {
        **key,
        "to": to,
        **_stop(walks if way.verdict != OFF_THE_MAP else None),
        "walk_m": way.walk_m,
        "climb_m": way.climb_m,
        "walk_min": way.walk_min,
        "crossings": "; ".join(way.crossings),
        "verdict": way.verdict,
        _BECAUSE: way.because,
        _ASSUMED: () if walks is None else _heights(walks),
        "geometry": None
        if walks is None or way.line is None
        else shapely.transform(way.line, walks.window.frame.to_lonlat),
    }


def _stop(walks: Walks | None) -> Row:
    """Where the vehicle stops: unknown where there is no such place."""
    if walks is None or walks.drop_off is None:
        return {"drop_off_lon": np.nan, "drop_off_lat": np.nan, "road_name": "", "road_class": ""}
    ground, road = walks.window.ground, walks.drop_off.road
    lon, lat = walks.window.frame.to_lonlat(walks.drop_off.point_m[None])[0].tolist()
    return {
        "drop_off_lon": lon,
        "drop_off_lat": lat,
        "road_name": ground.road_name[road],
        "road_class": ground.road_class[road],
    }


def _heights(walks: Walks) -> tuple[str, ...]:
    """State where level ground was assumed."""
    height: FloatArray | None = walks.window.height_m
    if height is None:
        return (FLAT,)
    return (PARTLY_FLAT,) if np.isnan(height).any() else ()
