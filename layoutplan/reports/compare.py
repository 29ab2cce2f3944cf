"""What changed between two plans: towers, stakes, verdicts, crossings and exposures; settings, inputs and software."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.errors import OutputError
from layoutplan.layout.crossings import LEAD, described
from layoutplan.layout.rules import KEEP_OUT, KEPT, UNKNOWN, VERDICTS
from layoutplan.line.geodesy import inverse
from layoutplan.reports.compare_records import Record, compare_records
from layoutplan.reports.same_towers import with_new_ids
from layoutplan.text import clean

TOLERANCE_M = 0.05
Tables = Mapping[str, pd.DataFrame]
_TOWER = ["line_id", "tower_id"]
_STAKE = [*_TOWER, "role"]
_FURTHER = {"checks": "verdicts", "crossings": "crossings", "exposures": "exposures"}
_NOW = {verdict: f"newly {verdict}" for verdict in reversed(VERDICTS)}


@dataclass(frozen=True)
class Comparison:
    """Differences between an old and a new plan; every table holds only what differs, in the order of the new plan.

    Attributes
    ----------
    towers : GeoDataFrame
        Every tower at which anything differs: ``change`` (``added``, ``removed``, ``place unknown``, ``moved`` or
        empty), status before and now, reasons now, how many ``stakes``, ``rules``, ``crossings``, ``exposures`` differ.
    stakes : GeoDataFrame
        ``change`` (``new``, ``gone``, ``place unknown``, ``swapped``, ``moved`` or ``status``), distances and true
        bearings from the tower of the same plan; lines from the old place to the new one.
    checks, crossings, exposures : DataFrame
        Rules whose verdict, leads whose crossings, exposures whose level differs. Nothing of stakes that are gone; of
        new ones not what is kept, or below half of its limit.
    record : DataFrame
        Dotted key, old and new value of what differs in settings, obstacle classes, inputs and software.
    notes : tuple of str
        What could not be compared, and what to beware of.
    complete : bool
        Whether both plans hold all tables that are compared.
    """

    towers: gpd.GeoDataFrame
    stakes: gpd.GeoDataFrame
    checks: pd.DataFrame
    crossings: pd.DataFrame
    exposures: pd.DataFrame
    record: pd.DataFrame
    notes: tuple[str, ...]
    complete: bool

    @property
    def same(self) -> bool:
        """Whether nothing differs at any tower, and everything there could be compared."""
        tables = (self.towers, self.stakes, self.checks, self.crossings, self.exposures)
        return self.complete and not any(map(len, tables))


def compare_plans(
    old: Tables, new: Tables, old_record: Record | None, new_record: Record | None, tolerance_m: float = TOLERANCE_M
) -> Comparison:
    """Compare two plans.

    Parameters
    ----------
    old, new : mapping of DataFrame
        Their tables, as `read_plan_tables` gives them; each in a coordinate reference system of its own.
    old_record, new_record : mapping or None
        Their ``plan.json``; None where there is none.
    tolerance_m : float
        Up to which a tower or stake counts as where it was, > 0. [m]

    Returns
    -------
    Comparison
        Tables of what differs.

    Raises
    ------
    OutputError
        If a table lacks a column or its places, or names a row twice.
    """
    old, renamed = with_new_ids(old, new)
    towers = [_placed(tables, "towers", _TOWER, ["status", "reasons"]) for tables in (old, new)]
    planted = [_placed(tables, "electrodes", _STAKE, ["status", "side"]) for tables in (old, new)]
    pair = _Pair(_beside(towers, ["status", "reasons"]), *planted)
    common = [{name: tables[name] for name in _FURTHER if name in old and name in new} for tables in (old, new)]
    stakes, checks = _stakes(pair, tolerance_m), _checks(pair, *common)
    crossings, exposures = _crossings(pair, *common), _exposures(pair, *common)
    changed = _towers(pair, tolerance_m, stakes=stakes, rules=checks, crossings=crossings, exposures=exposures)
    notes = (*renamed, *_notes("old", old, old_record, planted[0]), *_notes("new", new, new_record, planted[1]))
    complete = len(common[0]) == len(_FURTHER)
    record = compare_records(old_record, new_record)
    return Comparison(changed, stakes, checks, crossings, exposures, record, notes, complete)


@dataclass(frozen=True, slots=True)
class _Pair:
    """Towers of both plans side by side, and the stakes of each."""

    towers: pd.DataFrame
    old: pd.DataFrame
    new: pd.DataFrame

    def in_order(self, table: pd.DataFrame) -> pd.DataFrame:
        """Rows in the order of the towers, their keys as columns."""
        flat = table.reset_index()
        rank = self.towers.index.get_indexer(pd.MultiIndex.from_frame(flat[_TOWER]))
        return flat.iloc[np.argsort(np.where(rank < 0, len(self.towers), rank), kind="stable")].reset_index(drop=True)

    def told(self, table: pd.DataFrame, differs: pd.Series, good: pd.Series) -> pd.DataFrame:
        """Rows that differ: none of stakes that are gone, and of new stakes none that is good."""
        stake = pd.MultiIndex.from_arrays([table.index.get_level_values(key) for key in _STAKE])
        before, now = stake.isin(self.old.index), stake.isin(self.new.index)
        shown = table[differs & ~(before & ~now) & ~(now & ~before & good)]
        return self.in_order(shown.drop(columns=["in_old", "in_new"]))


def _texts(column: pd.Series) -> NDArray[np.object_]:
    codes, values = pd.factorize(column)  # a missing value gets the code -1, hence the last of the texts
    return np.array([*map(clean, values), ""], dtype=object)[codes]


def _keyed(tables: Tables, name: str, keys: list[str], columns: list[str]) -> pd.DataFrame:
    """Columns of a table by its keys; no rows if there is no such table."""
    table = tables.get(name, pd.DataFrame(columns=[*keys, *columns]))
    if lacking := [column for column in [*keys, *columns] if column not in table.columns]:
        raise OutputError(f"layer '{name}' of a plan has no column {', '.join(lacking)}. Plan again into that folder.")
    index = pd.MultiIndex.from_arrays([_texts(table[key]) for key in keys], names=keys)
    if index.has_duplicates:
        twice = ", ".join(map(str, index[index.duplicated()][0]))
        raise OutputError(f"layer '{name}' of a plan holds more than one row of {twice}. Delete all but one there.")
    return pd.DataFrame({column: table[column].to_numpy() for column in columns}, index=index)


def _placed(tables: Tables, name: str, keys: list[str], columns: list[str]) -> pd.DataFrame:
    """Columns by keys, with ``x, y`` as drawn (NaN unless a point) beside ``lon, lat`` as planned. [deg]."""
    table = tables.get(name)
    if not isinstance(table, gpd.GeoDataFrame) or table.crs is None:
        raise OutputError(f"a plan.gpkg has no layer '{name}' with a reference system. Plan again into that folder.")
    points = table.geometry.to_crs(4326).mask(table.geometry.is_empty).to_numpy()
    xy = np.column_stack((shapely.get_x(points), shapely.get_y(points)))
    xy[~np.isfinite(xy).all(axis=1)] = np.nan
    return _keyed(tables, name, keys, [*columns, "lon", "lat"]).assign(x=xy[:, 0], y=xy[:, 1])


def _beside(tables: Iterable[pd.DataFrame], texts: list[str]) -> pd.DataFrame:
    """Both tables side by side, ``old_`` and ``new_`` before their columns, what is gone behind; no text is missing."""
    old, new = tables
    keys = new.index.append(old.index.difference(new.index, sort=False))
    pair = [table.reindex(keys).add_prefix(prefix) for table, prefix in ((old, "old_"), (new, "new_"))]
    both = pd.concat(pair, axis=1).assign(in_old=keys.isin(old.index), in_new=keys.isin(new.index))
    return both.assign(**{name: _texts(both[name]) for text in texts for name in (f"old_{text}", f"new_{text}")})


def _rows(old: Tables, new: Tables, name: str, keys: list[str], figures: list[str], texts: list[str]) -> pd.DataFrame:
    return _beside((_keyed(tables, name, keys, [*texts, *figures]) for tables in (old, new)), texts)


def _xy(table: pd.DataFrame, age: str = "") -> FloatArray:
    return table[[f"{age}x", f"{age}y"]].to_numpy(dtype=float)


def _way(start: FloatArray, end: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Bearing and distance, NaN where a place is unknown. [deg, m]."""
    known = np.asarray(~np.isnan(start + end).any(axis=1))
    bearing, distance = np.full(len(known), np.nan), np.full(len(known), np.nan)
    bearing[known], distance[known] = inverse(start[known], end[known])
    return np.round(bearing, 2) % 360, np.round(distance, 4)


def _first(kinds: Mapping[str, Any]) -> NDArray[np.object_]:
    """Name of the first kind that applies to each row, else an empty text."""
    return np.select(list(kinds.values()), list(kinds), "").astype(object)


def _towers(pair: _Pair, tolerance_m: float, **found: pd.DataFrame) -> gpd.GeoDataFrame:
    both = pair.towers
    bearing, moved = _way(_xy(both, "old_"), _xy(both, "new_"))
    far = ~(moved <= tolerance_m)
    change = {"added": ~both["in_old"], "removed": ~both["in_new"], "place unknown": np.isnan(moved), "moved": far}
    counts = {name: rows.groupby(_TOWER).size().reindex(both.index, fill_value=0) for name, rows in found.items()}
    ways = {"moved_m": moved, "move_bearing_deg": np.where(far, bearing, np.nan)}
    table = both[["old_status", "new_status", "new_reasons"]].assign(change=_first(change), **ways, **counts)
    differs = (table["change"] != "") | (table["old_status"] != table["new_status"]) | table[list(found)].any(axis=1)
    xy = np.where(both[["in_new"]], _xy(both, "new_"), _xy(both, "old_"))
    return gpd.GeoDataFrame(table, geometry=_shapes(shapely.points, xy), crs=4326)[differs].reset_index()


def _stakes(pair: _Pair, tolerance_m: float) -> gpd.GeoDataFrame:
    both = pair.in_order(_beside((pair.old, pair.new), ["status", "side"]))
    old, new = _xy(both, "old_"), _xy(both, "new_")
    bearing, moved = _way(old, new)
    far = ~(moved <= tolerance_m)
    change = {"new": ~both["in_old"], "gone": ~both["in_new"], "place unknown": np.isnan(moved)}
    change |= {"swapped": far & _swapped(both, tolerance_m), "moved": far}
    change |= {"status": both["old_status"] != both["new_status"]}
    ways = {"moved_m": moved, "move_bearing_deg": np.where(far, bearing, np.nan)}
    table = both[[*_STAKE, "old_status", "new_status", "old_side", "new_side"]].assign(change=_first(change), **ways)
    towers = pair.towers.reindex(pd.MultiIndex.from_frame(both[_TOWER]))
    for age, place in (("old_", old), ("new_", new)):
        table[f"{age}bearing_true_deg"], table[f"{age}distance_m"] = _way(_xy(towers, age), place)
    placed = gpd.GeoDataFrame(table, geometry=_lines(old, new), crs=4326)[table["change"] != ""]
    return placed.reset_index(drop=True)


def _swapped(both: pd.DataFrame, tolerance_m: float) -> NDArray[np.bool_]:
    """Mark which stakes stand where the other one of their tower stood, and the other way round."""
    other = pd.MultiIndex.from_arrays([both["line_id"], both["tower_id"], both["role"].map({"H": "S", "S": "H"})])
    partner = pd.MultiIndex.from_frame(both[_STAKE]).get_indexer(other)
    there = np.where((partner < 0)[:, None], np.nan, _xy(both, "old_")[partner])
    taken = _way(there, _xy(both, "new_"))[1] <= tolerance_m
    return np.asarray(taken & taken[partner])


def _lines(start: FloatArray, end: FloatArray) -> NDArray[np.object_]:
    """Lines; across the antimeridian they run on beyond 180 degrees east."""
    ends = np.stack((start, end), axis=1)
    ends[:, 1, 0] += 360 * np.round((start[:, 0] - end[:, 0]) / 360)
    ends[ends[..., 0].min(axis=1) < -180, :, 0] += 360
    return _shapes(shapely.linestrings, ends)


def _shapes(make: Callable[[FloatArray], Any], lonlat_deg: FloatArray) -> NDArray[np.object_]:
    """Points or lines at positions, None where one is unknown."""
    known = np.asarray(~np.isnan(lonlat_deg).any(axis=tuple(range(1, lonlat_deg.ndim))))
    shapes = np.array([None] * len(known), dtype=object)
    shapes[known] = make(np.round(lonlat_deg[known], 9))
    return shapes


def _checks(pair: _Pair, old: Tables, new: Tables) -> pd.DataFrame:
    both = _rows(old, new, "checks", [*_STAKE, "rule"], ["measured", "limit"], ["verdict", "unit", "detail"])
    for age in ("old", "new"):  # whatever else somebody wrote there is not known
        known = both[f"{age}_verdict"].isin(_NOW) | ~both[f"in_{age}"]
        both[f"{age}_verdict"] = both[f"{age}_verdict"].where(known, UNKNOWN)
    before, now = both["old_verdict"], both["new_verdict"]
    first = {"newly checked and kept": ~both["in_old"] & (now == KEPT), "no longer checked": ~both["in_new"]}
    both["change"] = _first(first | {name: now == verdict for verdict, name in _NOW.items()})
    nearby = both.index.get_level_values("rule").str.startswith(KEEP_OUT)  # listed for classes within reach only
    same = (now == before) | (nearby & before.isin([KEPT, ""]) & now.isin([KEPT, ""]))
    return pair.told(both, ~same, now == KEPT)


def _crossings(pair: _Pair, old: Tables, new: Tables) -> pd.DataFrame:
    """What the lead of each stake crosses newly, and no longer; how far from the tower is of no account."""
    met = [_met_by_leads(tables) for tables in (old, new)]
    keys = pd.MultiIndex.from_tuples(list(dict.fromkeys([*met[1], *met[0]])), names=_STAKE)
    before, now = ([found.get(key, Counter()) for key in keys] for found in met)
    columns = {
        "newly_crossed": [_listed(these - those) for these, those in zip(now, before, strict=True)],
        "no_longer_crossed": [_listed(those - these) for these, those in zip(now, before, strict=True)],
    }
    both = pd.DataFrame(columns, index=keys, dtype=object).assign(in_old=True, in_new=True)
    nothing = pd.Series([not found for found in now], index=keys, dtype=bool)
    return pair.told(both, both["newly_crossed"] + both["no_longer_crossed"] != "", nothing)


def _met_by_leads(tables: Tables) -> dict[tuple[str, str, str], Counter[str]]:
    """What each lead crosses, by line, tower and role."""
    columns = [*_STAKE, "met_by", "obstacle_class", "name", "feature_id"]
    table = tables.get("crossings", pd.DataFrame(columns=columns))
    if lacking := [column for column in columns if column not in table.columns]:
        raise OutputError(f"layer 'crossings' of a plan has no column {', '.join(lacking)}. Plan again into it.")
    found: dict[tuple[str, str, str], Counter[str]] = {}
    for *stake, met_by, kind, name, number in zip(*(_texts(table[column]) for column in columns), strict=True):
        if met_by == LEAD:
            found.setdefault((stake[0], stake[1], stake[2]), Counter())[_numbered(described(kind, name), number)] += 1
    return found


def _numbered(words: str, number: str) -> str:
    """Words with the number of the map: of two things without a name it tells which."""
    return f"{words} ({number})" if number else words


def _listed(things: Counter[str]) -> str:
    return "; ".join(things.elements())


def _exposures(pair: _Pair, old: Tables, new: Tables) -> pd.DataFrame:
    both = _rows(old, new, "exposures", [*_STAKE, "exposure", "state"], ["value", "limit", "ratio"], ["unit"])
    for age in ("old", "new"):
        ratio = both[f"{age}_ratio"].to_numpy(dtype=float)
        levels = [~both[f"in_{age}"], np.isnan(ratio), ratio > 1, ratio > 0.5]  # the steps of how a lead is handled
        both[f"{age}_level"] = np.select(levels, ["", UNKNOWN, "above the limit", "above half"], "below half")
    return pair.told(both, both["old_level"] != both["new_level"], both["new_level"] == "below half")


def _notes(age: str, tables: Tables, record: Record | None, electrodes: pd.DataFrame) -> Iterator[str]:
    """What could not be compared, and stakes that were moved by hand."""
    for name, what in _FURTHER.items():
        if name not in tables:
            yield f"the {age} plan.gpkg has no layer '{name}': {what} could not be compared"
    if record is None:
        yield f"the {age} plan has no plan.json: settings, obstacle classes, software and inputs could not be compared"
    away_m = _way(electrodes[["lon", "lat"]].to_numpy(dtype=float), _xy(electrodes))[1]
    if edited := int((~(away_m <= TOLERANCE_M)).sum()):
        yield f"{edited} stake(s) of the {age} plan were moved by hand: verdicts and figures are of the planned places"
