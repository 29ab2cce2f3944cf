"""Which planned stake is each staked point? By its name, else by its place; in doubt none is matched."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.checking.matching_pairs import Found, pair_up
from layoutplan.checking.matching_words import match_warnings, unmatched_reasons, unmatched_words
from layoutplan.inputs.staked import Staked
from layoutplan.line.geodesy import inverse, to_ecef

TOLERANCE_M = 30.0  # a point without a name of the plan belongs to no stake farther off (judgement)
_STANDS_STILL_M = 0.001  # nearer than this a bearing means nothing
_KEYS = ["line_id", "tower_id", "role", "waypoint"]


@dataclass(frozen=True)
class Matches:
    """Staked points beside the plan; each point is in exactly one of the first three tables, with all its columns.

    Attributes
    ----------
    matched : GeoDataFrame
        In the order of the plan; also ``line_id, tower_id, role, waypoint`` of the planned stake, ``by`` (``name`` or
        ``place``), ``offset_m`` and ``bearing_deg`` (true, NaN within a millimetre) from the planned stake to the
        point, and ``warning``, empty if there is none.
    ambiguous : GeoDataFrame
        Points that share a name and lie apart; also ``nearest`` (waypoint of the nearest planned stake, whatever its
        name) and ``nearest_m``.
    unmatched : GeoDataFrame
        Points that belong to no planned stake, and repeats of other points; also ``nearest``, ``nearest_m``, ``why``.
    missing : DataFrame
        Planned stakes without a point: ``line_id, tower_id, role, waypoint, why``.
    warnings : tuple of str
        What the crew or the planner should look at.
    """

    matched: gpd.GeoDataFrame
    ambiguous: gpd.GeoDataFrame
    unmatched: gpd.GeoDataFrame
    missing: pd.DataFrame
    warnings: tuple[str, ...]


def match(staked: Staked, planned: pd.DataFrame, tolerance_m: float = TOLERANCE_M) -> Matches:
    """Match staked points to planned stakes, one to one.

    Names decide first; capitals, spaces, hyphens and underscores do not count, unless planned stakes differ by them
    alone. Then, among points without a name of the plan and stakes that no name claims, the nearest pair is matched,
    and the next nearest of what is left, up to the tolerance. The order of the points does not matter.

    Parameters
    ----------
    staked : Staked
        Points as they were read.
    planned : DataFrame
        ``line_id, tower_id, role, waypoint, lon, lat``, one row for each planned stake. [deg]
    tolerance_m : float
        For matching by place. [m]

    Returns
    -------
    Matches
        Every point is in one of its tables.
    """
    there = planned[["lon", "lat"]].to_numpy(dtype=float)
    points = _in_fixed_order(staked.points)
    points = points.assign(**_nearest(points, planned["waypoint"].to_numpy(dtype=object), there))
    names, waypoints = points["name"].tolist(), planned["waypoint"].tolist()
    found = pair_up(names, to_ecef(_lonlat(points)), waypoints, to_ecef(there), tolerance_m)
    matched, notes = _matched(points, planned, found, tolerance_m, staked.source)
    ambiguous = _rows(points, np.flatnonzero(found.ambiguous))
    unmatched = _unmatched(points, found, tolerance_m)
    missing = _missing(planned, found)
    notes += unmatched_words(ambiguous, unmatched, missing, staked.source)
    return Matches(matched, ambiguous, unmatched, missing, tuple(notes))


def _in_fixed_order(points: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Earliest first, however the rows came; points without a time behind, in the order of their file."""
    whole = points.reset_index(drop=True)
    place = {"lon": whole.geometry.x, "lat": whole.geometry.y}
    keys = pd.DataFrame({name: whole[name] for name in ("time", "row", "name")} | place)
    order = keys.sort_values(list(keys.columns), kind="stable", na_position="last").index.to_numpy()
    return _rows(whole, order)


def _rows(points: gpd.GeoDataFrame, index: IntArray) -> gpd.GeoDataFrame:
    return points.iloc[index].reset_index(drop=True)


def _lonlat(points: gpd.GeoDataFrame) -> FloatArray:
    return np.asarray(shapely.get_coordinates(points.geometry.to_numpy()), dtype=float).reshape(-1, 2)


def _nearest(points: gpd.GeoDataFrame, waypoints: NDArray[np.object_], there: FloatArray) -> dict[str, object]:
    """Planned stake nearest to each point, and how far that is; empty and NaN without a plan. [m]."""
    here = _lonlat(points)
    if len(there) == 0:
        return {"nearest": "", "nearest_m": np.nan}
    _, nearest = cKDTree(to_ecef(there)).query(to_ecef(here))
    return {"nearest": waypoints[nearest], "nearest_m": inverse(there[nearest], here)[1]}


def _matched(
    points: gpd.GeoDataFrame, planned: pd.DataFrame, found: Found, tolerance_m: float, where: str
) -> tuple[gpd.GeoDataFrame, list[str]]:
    mine = np.flatnonzero(found.stake >= 0)
    mine = mine[np.argsort(found.stake[mine], kind="stable")]
    table, plan = _rows(points, mine), planned.iloc[found.stake[mine]]
    bearing, offset = inverse(plan[["lon", "lat"]].to_numpy(dtype=float), _lonlat(table))
    again = np.bincount(found.repeat_of[found.repeat_of >= 0], minlength=len(points))[mine]
    facts = {
        **{name: plan[name].to_numpy() for name in _KEYS},
        "by": np.where(found.claim[mine] >= 0, "name", "place"),
        "offset_m": offset,
        "bearing_deg": np.where(offset < _STANDS_STILL_M, np.nan, bearing),
    }
    table = table.assign(**facts)
    each, together = match_warnings(table.assign(repeats=again), tolerance_m, where)
    return table.drop(columns=["nearest", "nearest_m"]).assign(warning=np.array(each, dtype=object)), together


def _unmatched(points: gpd.GeoDataFrame, found: Found, tolerance_m: float) -> gpd.GeoDataFrame:
    left = np.flatnonzero((found.stake < 0) & ~found.ambiguous)
    first = found.repeat_of[left]
    rows = np.where(first >= 0, points["row"].to_numpy()[first], -1)
    table = _rows(points, left)
    return table.assign(why=np.array(unmatched_reasons(table, rows, tolerance_m), dtype=object))


def _missing(planned: pd.DataFrame, found: Found) -> pd.DataFrame:
    doubt = np.isin(np.arange(len(planned)), found.claim[found.ambiguous])
    why = np.where(doubt, "several points, lying apart, bear its name", "not staked")
    table = planned[_KEYS].assign(why=why.astype(object))
    return pd.DataFrame(table)[~np.isin(np.arange(len(planned)), found.stake)].reset_index(drop=True)
