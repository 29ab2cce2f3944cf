"""The facts of each page, gathered from the plan's tables once for all towers."""

from __future__ import annotations

from collections import defaultdict, namedtuple
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from layoutplan.arrays import FloatArray
from layoutplan.inputs.geodetic import metres_per_degree
from layoutplan.layout.model import Plan
from layoutplan.layout.silence import gap_text
from layoutplan.line.declination import Declination, magnetic_declination
from layoutplan.line.legs import leg_offsets
from layoutplan.outputs.columns import records, turned, turned_lon

_KEYS = ["line_id", "tower_id", "role"]
_TOWER = (
    "line_id", "tower_id", "order", "chainage_m", "line_bearing_deg", "deflection_deg", "status", "reasons", "lon",
    "lat", "easting", "northing", "elevation_m", "structure", "leg", "base_width_m", "earth_potential_rise_kv",
    "fault_location",
    "standing_current_a_low", "standing_current_a_high", "expected_resistance_ohm", "bias_ohm", "bias_pct",
    "coupling_ohm", "coupling_pct", "leg_east_m", "leg_north_m", "map_covers", "map_gaps",
)  # fmt: skip
_STAKE = (
    *_KEYS, "waypoint", "lon", "lat", "easting", "northing", "distance_m", "leg", "set_out_from",
    "set_out_level_m", "set_out_ground_m", "set_out_bearing_deg", "set_out_bearing_magnetic_deg",
    "lead_length_m", "bearing_true_deg", "bearing_grid_deg", "angle_to_line_deg", "distance_to_line_m", "side",
    "elevation_m", "slope_deg", "status", "reasons", "ground_length_m", "height_difference_m", "steepest_deg",
    "cliff_drop_m", "crossings", "map_gaps", "emf_load_v", "emf_fault_v", "transferred_fault_v", "stake_touch_v",
    "stake_step_v", "fault_location", "expected_reading_v_low",
    "expected_reading_v_high", "service_ratio", "fault_ratio", "handling", "handling_fault", "rods",
    "rod_resistance_ohm", "rods_note",
)  # fmt: skip
_CHECK = (*_KEYS, "rule", "measured", "limit", "unit", "verdict", "detail")
_CROSSING = (*_KEYS, "met_by", "obstacle_class", "name", "feature_id", "at_m", "verdict")
_EXCLUDED = ("line_id", "tower_id", "side", "rule", "detail", "candidates", "of")
_WAY = (
    "line_id", "tower_id", "to", "drop_off_lon", "drop_off_lat", "road_name", "road_class", "walk_m", "climb_m",
    "walk_min", "crossings", "verdict", "reason", "note", "shape",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Sheet:
    """One tower's page.

    Attributes
    ----------
    tower : named tuple
        Columns ``_TOWER``.
    stakes : tuple of named tuple
        H before S, columns ``_STAKE``; none where there is no layout.
    checks, crossings : tuple of named tuple
        Rows of the plan's tables of these names.
    excluded : tuple of named tuple
        Rows of the table of exclusions.
    silence : str
        Why the map does not show what is about the tower, in words; empty where it does.
    ways : tuple of named tuple
        On foot, columns ``_WAY``, the one to the tower first; none where ways were not looked for.
    changes : tuple of str
        Single changes that would give a layout.
    declination_deg : float
        NaN where there is none.
    declination_note, declination_model : str
        Why there is none, or what to beware of; model and day.
    grid : ndarray, shape (2, 2)
        Easting and northing per metre to the true east (first column) and north (second).
    """

    tower: Any
    stakes: tuple[Any, ...]
    checks: tuple[Any, ...]
    crossings: tuple[Any, ...]
    excluded: tuple[Any, ...]
    silence: str
    ways: tuple[Any, ...]
    changes: tuple[str, ...]
    declination_deg: float
    declination_note: str
    declination_model: str
    grid: FloatArray

    @property
    def unmapped(self) -> str:
        """What the map must say of ground that looks clear; empty where it shows all about the tower and its leads."""
        if not self.tower.map_covers:
            return "WHAT IS HERE IS NOT KNOWN"
        return "NOT ALL THAT IS HERE IS MAPPED" if self.tower.map_gaps else ""


def sheets_of(plan: Plan, west_deg: float) -> tuple[list[Sheet], Declination]:
    """Gather all pages, and the magnetic model they rest on.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    west_deg : float
        Longitudes of the pages begin here.

    Returns
    -------
    sheets : list of Sheet
        In the order of the towers.
    magnetic : Declination
        At each tower. [deg]
    """
    towers = plan.towers.assign(lon=turned_lon(plan.towers["lon"], west_deg))
    lonlat = towers[["lon", "lat"]].to_numpy(dtype=float)
    days = plan.job.work.days
    magnetic = magnetic_declination(lonlat, days[0] if days else None)
    towers, grid = _with_grid(_with_legs(towers), lonlat, plan.grid_crs)
    stakes = _grouped(records(_stake_table(plan, west_deg), *_STAKE))
    checks = _grouped(records(plan.checks, *_CHECK))
    crossings = _grouped(records(plan.crossings, *_CROSSING))
    excluded = _grouped(records(plan.exclusions, *_EXCLUDED))
    ways = _grouped(_ways(plan, west_deg))
    changes = _grouped(records(plan.relaxations, "line_id", "tower_id", "text"))
    rows = zip(records(towers, *_TOWER), magnetic.deg.tolist(), magnetic.notes, grid, strict=True)
    return [
        Sheet(
            tower=tower,
            stakes=tuple(stakes.get(_key(tower), ())),
            checks=tuple(checks.get(_key(tower), ())),
            crossings=tuple(crossings.get(_key(tower), ())),
            excluded=tuple(excluded.get(_key(tower), ())),
            silence=gap_text(tower.map_gaps or "", plan.job),
            ways=tuple(sorted(ways.get(_key(tower), ()), key=lambda way: way.to != "tower")),
            changes=tuple(row.text for row in changes.get(_key(tower), ())),
            declination_deg=declination,
            declination_note=note,
            declination_model=magnetic.brief,
            grid=axes,
        )
        for tower, declination, note, axes in rows
    ], magnetic


def _key(row: Any) -> Hashable:
    return row.line_id, row.tower_id


def _grouped(rows: Iterable[Any]) -> Mapping[Hashable, Sequence[Any]]:
    groups: dict[Hashable, list[Any]] = defaultdict(list)
    for row in rows:
        groups[_key(row)].append(row)
    return groups


def _ways(plan: Plan, west_deg: float) -> Iterator[Any]:
    """Ways on foot with their shapes, None where there is none."""
    table = plan.approaches.assign(drop_off_lon=turned_lon(plan.approaches["drop_off_lon"], west_deg))
    shapes = turned(table.geometry.array, west_deg)
    row = namedtuple("row", _WAY)  # type: ignore[misc]  # the names are known where the rows are used
    for way, shape in zip(records(table, *_WAY[:-1]), shapes, strict=True):
        yield row._make((*way, shape))


def _with_legs(towers: pd.DataFrame) -> pd.DataFrame:
    """Add where the leads start, east and north of the tower point; 0 where no leg is named."""
    xy = np.zeros((len(towers), 2))
    leg = towers["leg"].fillna("").to_numpy(dtype=str)
    structure = towers["structure"].fillna("").to_numpy(dtype=str)
    width, bearing = (towers[name].to_numpy(dtype=float) for name in ("base_width_m", "line_bearing_deg"))
    for name in np.unique(leg[leg != ""]):
        rows = leg == name
        xy[rows] = leg_offsets(structure[rows], width[rows], bearing[rows], str(name))[1]
    return towers.assign(leg_east_m=xy[:, 0], leg_north_m=xy[:, 1])


def _with_grid(towers: pd.DataFrame, lonlat: FloatArray, crs: str) -> tuple[pd.DataFrame, list[FloatArray]]:
    """Add easting and northing, and give the grid's axes at each tower, from short steps on the ground."""
    from pyproj import Transformer

    transform = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    per_deg = np.column_stack(metres_per_degree(lonlat[:, 1]))
    places = []
    for east_m, north_m in ((0, 0), (50, 0), (-50, 0), (0, 50), (0, -50)):
        lon = (lonlat[:, 0] + east_m / per_deg[:, 0] + 180.0) % 360.0 - 180.0
        there = np.column_stack(transform.transform(lon, lonlat[:, 1] + north_m / per_deg[:, 1]))
        places.append(np.where(np.isfinite(there), there, np.nan))  # beyond the system's reach
    axes = np.stack(((places[1] - places[2]) / 100.0, (places[3] - places[4]) / 100.0), axis=2)
    return towers.assign(easting=places[0][:, 0], northing=places[0][:, 1]), list(axes)


def _stake_table(plan: Plan, west_deg: float) -> pd.DataFrame:
    """Stakes with their leads' figures."""
    rods = plan.electrodes[[*_KEYS, "rods", "rod_resistance_ohm", "rods_note"]]
    table = pd.DataFrame(plan.leads.drop(columns="geometry")).merge(rods, on=_KEYS, how="left", validate="1:1")
    return table.assign(lon=turned_lon(table["lon"], west_deg))
