"""Towers of two plans that are one: by their ids, and by their place where ids were changed."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from layoutplan.arrays import FloatArray
from layoutplan.line.geodesy import to_ecef
from layoutplan.text import clean

SAME_PLACE_M = 1.0  # two structures hardly stand nearer (judgement); coordinates are typed anew to a decimetre or so
_NAMED = 5
_KEYS = ["line_id", "tower_id"]
Key = tuple[str, str]


def with_new_ids(
    old: Mapping[str, pd.DataFrame], new: Mapping[str, pd.DataFrame]
) -> tuple[dict[str, pd.DataFrame], list[str]]:
    """Tables of an old plan with its towers called as the new plan calls them.

    A tower that bears the same id at the same place is the same; then one at the same place, whatever its id; then one
    of the same id elsewhere, which was moved.

    Parameters
    ----------
    old, new : mapping of DataFrame
        Tables of both plans; left as they are.

    Returns
    -------
    tables : dict of str to DataFrame
        Of the old plan.
    notes : list of str
        Which towers were renamed.
    """
    if not all(isinstance(tables.get("towers"), gpd.GeoDataFrame) and tables["towers"].crs for tables in (old, new)):
        return dict(old), []
    before, now = _keys(old["towers"]), _keys(new["towers"])
    changed = _changed(before, now, _places(old["towers"]), _places(new["towers"]))
    if not changed:
        return dict(old), []
    names = {**{key: key for key in before}, **changed}
    taken = set(changed.values())
    for key in before:  # an id that the new plan gives to another tower
        if key not in changed and key in taken:
            names[key] = (key[0], f"{key[1]} (of the old plan)")
    told = [f"{_word(key)} is now {_word(other)}" for key, other in list(changed.items())[:_NAMED]]
    more = f" and {len(changed) - _NAMED} more" if len(changed) > _NAMED else ""
    notes = f"ids of {len(changed)} towers at the same place changed; they are compared: {', '.join(told)}{more}"
    return {name: _renamed(table, names) for name, table in old.items()}, [notes]


def _changed(before: list[Key], now: list[Key], old_m: FloatArray, new_m: FloatArray) -> dict[Key, Key]:
    """Old keys with the new ones of towers at the same place that are called otherwise."""
    rows = {key: row for row, key in enumerate(now)}
    same = {
        row
        for row, key in enumerate(before)
        if key in rows and np.linalg.norm(old_m[row] - new_m[rows[key]]) <= SAME_PLACE_M
    }
    settled = {rows[before[row]] for row in same}
    rest = [row for row in range(len(before)) if row not in same and np.isfinite(old_m[row]).all()]
    free = [row for row in range(len(now)) if row not in settled and np.isfinite(new_m[row]).all()]
    if not rest or not free:
        return {}
    away, nearest = cKDTree(new_m[free]).query(old_m[rest])
    _, back = cKDTree(old_m[rest]).query(new_m[free])
    return {
        before[row]: now[free[there]]
        for i, (row, there) in enumerate(zip(rest, nearest.tolist(), strict=True))
        if away[i] <= SAME_PLACE_M and back[there] == i
    }


def _keys(table: pd.DataFrame) -> list[Key]:
    return list(zip(*(table[key].map(clean) for key in _KEYS), strict=True)) if set(_KEYS) <= set(table) else []


def _places(table: gpd.GeoDataFrame) -> FloatArray:
    points = table.geometry.to_crs(4326).mask(table.geometry.is_empty).to_numpy()
    lonlat = np.column_stack((shapely.get_x(points), shapely.get_y(points)))
    return np.asarray(to_ecef(lonlat))


def _renamed(table: pd.DataFrame, names: Mapping[Key, Key]) -> pd.DataFrame:
    if not set(_KEYS) <= set(table):
        return table
    keys = [names.get(key, key) for key in _keys(table)]
    return table.assign(line_id=[line for line, _ in keys], tower_id=[tower for _, tower in keys])


def _word(key: Key) -> str:
    return f"{key[1]} of '{key[0]}'"
