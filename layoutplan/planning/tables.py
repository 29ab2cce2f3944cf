"""From what was sited to the plan's tables. All rounding happens here, so the tables are the same on every machine."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from layoutplan.arrays import FloatArray
from layoutplan.inputs.gaps import causes_of, cures_of
from layoutplan.job import Job
from layoutplan.layout.schema import TABLES, TableSchema
from layoutplan.layout.set_out import MIDDLE
from layoutplan.line.declination import compass_bearing_deg, magnetic_declination
from layoutplan.line.geodesy import direct, inverse, turn_deg
from layoutplan.line.legs import from_leg
from layoutplan.line.model import Spans, Towers
from layoutplan.planning.places import WGS84, points, two_point_lines
from layoutplan.planning.words import SIDES
from layoutplan.siting.choose import RayBest
from layoutplan.siting.exclusions import Exclusions
from layoutplan.siting.pairs import StakePairs
from layoutplan.siting.ragged import expand
from layoutplan.siting.rays import lead_length_m
from layoutplan.terrain import Dem, Profiles, profiles


def rounded_columns(columns: dict[str, Any], table: TableSchema) -> dict[str, Any]:
    """Round the figures of a table as its schema says; voltages then carry no more digits than the model does."""
    out = dict(columns)
    for name in columns.keys() & table.columns.keys():
        column = table.columns[name]
        if column.decimals is not None:
            out[name] = np.round(np.asarray(columns[name], dtype=float), column.decimals) + 0.0
        if column.figures is not None:
            out[name] = carried_digits(out[name], column.figures)
        if column.type == "bearing":
            out[name] = np.mod(out[name], 360.0)  # 359.99997 is 0 when rounded, not 360
    return out


def carried_digits(voltage: Any, figures: int = 3) -> FloatArray:
    """So many significant digits, one below 1: inputs and model are not worth more (judgement)."""
    value = np.asarray(voltage, dtype=float)
    size = np.abs(value)
    with np.errstate(divide="ignore"):
        leading = np.floor(np.log10(np.where(np.isfinite(size) & (size > 0), size, 1.0)))
    scale = 10.0 ** (np.where(size < 1, 0, figures - 1) - leading)
    return np.where(np.isfinite(value), np.round(value * scale) / scale, value)


def frame(columns: dict[str, Any], geometry: Any, name: str) -> gpd.GeoDataFrame:
    """Make a table of the plan of rounded columns and WGS 84 geometry."""
    return gpd.GeoDataFrame(rounded_columns(columns, TABLES[name]), geometry=geometry, crs=WGS84)


def plain_table(rows: Sequence[Sequence[Any]], name: str) -> pd.DataFrame:
    """Make a table of the plan without geometry of rows that have all its columns in order."""
    columns = TABLES[name].columns
    kinds = {each: object if column.type == "text" else column.dtype for each, column in columns.items()}
    return pd.DataFrame(rows, columns=[*columns]).astype(kinds)


def towers_table(
    towers: Towers,
    status: Sequence[str],
    reasons: Sequence[str],
    covers: Any,
    gaps: Sequence[str],
    height_m: FloatArray,
) -> gpd.GeoDataFrame:
    """One row per tower; figures that were not given are NaN."""
    return frame(
        {
            "line_id": towers.line_id,
            "tower_id": towers.tower_id,
            "order": towers.order,
            "chainage_m": towers.chainage_m,
            "line_bearing_deg": towers.line_bearing_deg,
            "deflection_deg": towers.deflection_deg,
            "status": status,
            "reasons": reasons,
            "lon": towers.lonlat_deg[:, 0],
            "lat": towers.lonlat_deg[:, 1],
            "elevation_m": height_m,
            "structure": towers.structure,
            "leg": towers.leg,
            "map_covers": covers,
            **gap_columns(gaps),
            "base_width_m": towers.base_width_m,
            "earth_electrode_size_m": np.where(towers.size_assumed, np.nan, towers.electrode_size_m),
            "footing_resistance_ohm": towers.footing_ohm,
            "soil_resistivity_ohm_m": towers.soil_ohm_m,
        },
        points(towers.lonlat_deg),
        "towers",
    )


def gap_columns(gaps: Sequence[str]) -> dict[str, list[str]]:
    """Columns that say of what the map is silent and what would cure it, as codes."""
    return {"map_gaps": list(gaps), "map_cures": [cures_of(causes_of(stored)) for stored in gaps]}


def spans_table(spans: Spans) -> gpd.GeoDataFrame:
    """One row per straight piece of the planned lines."""
    bearing, length = inverse(spans.start_deg, spans.end_deg)
    return frame(
        {
            "line_id": spans.line_id,
            "from_tower": spans.from_tower,
            "to_tower": spans.to_tower,
            "length_m": length,
            "bearing_deg": bearing,
            "half_width_m": spans.half_width_m,
        },
        two_point_lines(spans.start_deg, spans.end_deg),
        "spans",
    )


def alternatives_table(found: RayBest, axis_m: FloatArray, towers: Towers, job: Job, dem: Dem) -> gpd.GeoDataFrame:
    """Further positions, ranked by score within tower and side."""
    place = direct(towers.lonlat_deg[found.tower], found.bearing_deg, found.distance_m)
    rank = expand(np.unique(found.tower * 2 + found.side, return_counts=True)[1])[1] + 1
    columns = {
        "line_id": towers.line_id[found.tower],
        "tower_id": towers.tower_id[found.tower],
        "side": SIDES[found.side],
        "rank": rank,
        "lon": place[:, 0],
        "lat": place[:, 1],
        "distance_m": found.distance_m,
        "bearing_true_deg": found.bearing_deg,
        "angle_to_line_deg": found.angle_deg,
        "distance_to_line_m": axis_m,
        "lead_length_m": lead_lengths(towers, found.tower, found.bearing_deg, found.distance_m, job)
        + lead_on_slope_m(_profiles(dem, towers, found), found.distance_m, job),
        "caution_crossings": found.caution_crossings,
        "score": found.score,
    }
    return frame(columns, points(place), "alternatives")[rank <= job.search.alternatives].reset_index(drop=True)


def pairs_table(found: StakePairs, towers: Towers) -> pd.DataFrame:
    """Pairs on one side of the line, with the readings and points of the chosen ones beside them."""
    columns: dict[str, Any] = {
        "line_id": towers.line_id[found.tower],
        "tower_id": towers.tower_id[found.tower],
        "side": SIDES[found.side],
    }
    for number, role in enumerate("hs"):
        bearing, distance = found.bearing_deg[:, number], found.distance_m[:, number]
        place = direct(towers.lonlat_deg[found.tower], bearing, distance)
        columns |= {
            f"{role}_lon": np.mod(place[:, 0] + 180.0, 360.0) - 180.0,
            f"{role}_lat": place[:, 1],
            f"{role}_distance_m": distance,
            f"{role}_bearing_true_deg": bearing,
        }
    columns |= {
        "between_deg": np.abs(turn_deg(found.bearing_deg[:, 0] - found.bearing_deg[:, 1])),
        "caution_crossings": found.caution_crossings,
        "score": found.score,
        "chosen_score": found.chosen_score,
        "bias_pct": found.bias_pct,
        "coupling_pct": found.coupling_pct,
        "chosen_bias_pct": found.chosen_bias_pct,
        "chosen_coupling_pct": found.chosen_coupling_pct,
    }
    return pd.DataFrame(rounded_columns(columns, TABLES["pairs"]))


def _profiles(dem: Dem, towers: Towers, found: RayBest) -> Profiles:
    start = towers.lonlat_deg[found.tower]
    return profiles(dem, start, found.bearing_deg, found.distance_m, cliff_slope_deg=90.0)


def lead_on_slope_m(ground: Profiles, distance_m: FloatArray, job: Job) -> FloatArray:
    """Lead that the ground asks for beyond the horizontal distance, with slack; 0 where the ground is unknown. [m]."""
    extra = np.where(ground.known, ground.length_m - distance_m, 0.0)
    return np.asarray(np.maximum(extra, 0.0) * (1 + job.rules.slack_pct / 100))


def set_out_columns(
    towers: Towers, tower: Any, bearing_deg: FloatArray, distance_m: FloatArray, ground_m: FloatArray, job: Job
) -> dict[str, Any]:
    """How stakes are set out: from the leg at which the leads start, the tower's middle where no leg is named.

    Parameters
    ----------
    towers : Towers
    tower : ndarray of int, shape (n,)
        Tower of each stake.
    bearing_deg, distance_m : ndarray, shape (n,)
        From the tower's middle. [deg], [m]
    ground_m : ndarray, shape (n,)
        Length on the ground from the tower's middle; NaN if unknown. [m]
    job : Job
        Its first day of work decides on the compass bearing.

    Returns
    -------
    mapping
        Columns by name; the compass bearing to half a degree, NaN where there is no declination.
    """
    bearing, level = from_leg(towers.leg_xy_m[tower], bearing_deg, distance_m)
    days = job.work.days
    declination = magnetic_declination(towers.lonlat_deg, days[0] if days else None).deg[tower]
    return {
        "set_out_from": np.where(towers.leg[tower] == "", MIDDLE, np.char.add("leg ", towers.leg[tower])),
        "set_out_level_m": level,
        "set_out_ground_m": level + np.maximum(ground_m - distance_m, 0.0),
        "set_out_bearing_deg": bearing,
        "set_out_bearing_magnetic_deg": compass_bearing_deg(bearing, declination),
    }


def lead_lengths(towers: Towers, tower: Any, bearing_deg: FloatArray, distance_m: FloatArray, job: Job) -> FloatArray:
    """Lead to pull from the reel, with slack. [m]."""
    bearing = np.radians(bearing_deg)
    place = distance_m[:, None] * np.column_stack((np.sin(bearing), np.cos(bearing)))
    return lead_length_m(place, towers.leg_xy_m[tower], job.rules.slack_pct)


def obstacles_table(features: gpd.GeoDataFrame, job: Job) -> gpd.GeoDataFrame:
    """Map features as the planner saw them, with what their class asks for."""
    table = job.obstacle_classes
    name = features["obstacle_class"].to_numpy()
    classes, code = np.unique(name.astype(str), return_inverse=True)

    def of(attribute: str) -> Any:
        return np.array([getattr(table[c], attribute) for c in classes], dtype=object)[code] if len(classes) else []

    columns = {
        "feature_id": features["feature_id"].to_numpy(),
        "obstacle_class": name,
        "label": of("label"),
        "name": features["name"].to_numpy(),
        "width_m": features["width_m"].to_numpy(),
        "keep_out_m": np.asarray(of("keep_out_m"), dtype=float),
        "stake": of("stake"),
        "lead_crossing": of("lead_crossing"),
        "road_class": features["road_class"].to_numpy(),
        "vehicle": features["vehicle"].to_numpy(),
        "basis": of("basis"),
        "source": features["source"].to_numpy(),
    }
    return frame(columns, features.geometry.to_numpy(), "obstacles")


def exclusions_table(exclusions: Exclusions, towers: Towers) -> pd.DataFrame:
    """How many candidates each rule excluded."""
    return pd.DataFrame(
        {
            "line_id": towers.line_id[exclusions.tower],
            "tower_id": towers.tower_id[exclusions.tower],
            "side": SIDES[exclusions.side],
            "rule": exclusions.rule,
            "detail": exclusions.detail,
            "candidates": exclusions.candidates,
            "of": exclusions.of,
        }
    )


def relaxations_table(relaxations: dict[int, Any], towers: Towers, unseen: Sequence[str]) -> pd.DataFrame:
    """Single changes that would give a layout, in the order of asking, with what the map does not show there."""
    rows = [
        (
            towers.line_id[t],
            towers.tower_id[t],
            rank,
            item.rule,
            item.needed,
            item.limit,
            item.unit,
            item.text + unseen[t],
            item.reference,
        )
        for t, found in sorted(relaxations.items())
        for rank, item in enumerate(found, 1)
    ]
    return plain_table(rows, "relaxations")
