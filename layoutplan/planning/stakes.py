"""The tables of stakes and leads."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from layoutplan.job import Job
from layoutplan.line.geodesy import direct, octant, turn_deg
from layoutplan.line.model import Towers
from layoutplan.planning.checks import Facts, check_rows
from layoutplan.planning.tables import frame, grid_position, lead_lengths, leg_distances, lines, points
from layoutplan.planning.words import (
    SIDES,
    crossing_texts,
    ground_texts,
    other_side_texts,
    side_texts,
    stake_reasons,
    stake_status,
)
from layoutplan.siting.judge import TERMS
from layoutplan.siting.obstacles import Obstacles
from layoutplan.siting.site import Sited


def stake_tables(
    sited: Sited, towers: Towers, obstacles: Obstacles, job: Job, covers: Any, uncovered: list[str], grid_crs: str
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, pd.DataFrame]:
    """Build the tables of electrodes, leads and checks, in tower order with H before S."""
    chosen, rays = sited.chosen, sited.chosen.rays
    facts = _facts(sited, towers, obstacles, job, covers, uncovered)
    checks = check_rows(chosen, facts, obstacles, job)
    status = stake_status(chosen, sited, covers, job)
    other = other_side_texts(sited, side_texts(sited.exclusions))
    reasons = stake_reasons(chosen, sited, facts.crossings, facts.grounds, uncovered, other, job)
    origin = towers.lonlat_deg[rays.tower]
    place = direct(origin, rays.bearing_deg, chosen.distance_m)
    easting, northing, _ = grid_position(place, grid_crs)
    _, _, at_tower = grid_position(origin, grid_crs)
    columns = {
        "line_id": towers.line_id[rays.tower],
        "tower_id": towers.tower_id[rays.tower],
        "role": sited.role,
        "waypoint": _names(towers, rays.tower, sited.role, job),
        "lon": place[:, 0],
        "lat": place[:, 1],
        "easting": easting,
        "northing": northing,
        "distance_m": chosen.distance_m,
        "leg": towers.leg[rays.tower],
        "distance_from_leg_m": leg_distances(towers, rays.tower, rays.bearing_deg, chosen.distance_m),
        "lead_length_m": facts.lead_m,
        "bearing_true_deg": rays.bearing_deg,
        "bearing_grid_deg": np.mod(rays.bearing_deg - at_tower, 360.0),
        "angle_to_line_deg": rays.angle_deg,
        "distance_to_line_m": chosen.axis_m,
        "side": SIDES[rays.side],
        "octant": octant(rays.bearing_deg),
        "status": status,
        "reasons": reasons,
        "score": chosen.score,
        **{name: chosen.terms[name] for name in TERMS},
    }
    order = np.lexsort((sited.role, rays.tower))
    electrodes = frame(columns, points(place)).iloc[order].reset_index(drop=True)
    leads = frame(columns | {"crossings": facts.crossings}, lines(origin, place)).iloc[order].reset_index(drop=True)
    return electrodes, leads, _named(checks, electrodes, order)


def _facts(sited: Sited, towers: Towers, obstacles: Obstacles, job: Job, covers: Any, uncovered: list[str]) -> Facts:
    chosen, rays = sited.chosen, sited.chosen.rays
    size = job.rules.electrode_size_multiple * towers.electrode_size_m[rays.tower]
    # positions are sorted by tower and come in pairs: the partner is the other one of the two
    partner = np.arange(len(chosen)) ^ 1
    return Facts(
        lead_m=lead_lengths(towers, rays.tower, rays.bearing_deg, chosen.distance_m, job),
        between_deg=np.abs(turn_deg(rays.bearing_deg - rays.bearing_deg[partner])),
        least_m=np.maximum(job.rules.min_distance_m, size),
        same_side=sited.same_side[rays.tower],
        covered=covers[rays.tower],
        uncovered=[uncovered[tower] for tower in rays.tower],
        crossings=crossing_texts(chosen, obstacles, job),
        grounds=ground_texts(chosen, obstacles, job),
    )


def _names(towers: Towers, tower: Any, role: Any, job: Job) -> list[str]:
    """Waypoint names of stakes; all towers take part, so that a name does not depend on which have a layout."""
    from layoutplan.outputs.waypoint_names import waypoint_names

    line_ids, tower_ids = np.repeat(towers.line_id, 2).tolist(), np.repeat(towers.tower_id, 2).tolist()
    names = waypoint_names(line_ids, tower_ids, ["H", "S"] * len(towers), job.output.waypoint_length)
    return [names[2 * row + (which == "S")] for row, which in zip(tower.tolist(), role.tolist(), strict=True)]


def _named(checks: pd.DataFrame, electrodes: gpd.GeoDataFrame, order: Any) -> pd.DataFrame:
    """Replace the position numbers of the checks by the stakes' names, in the stakes' order."""
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    row = place[checks["position"].to_numpy()]
    sort = np.argsort(row, kind="stable")
    keys = electrodes[["line_id", "tower_id", "role", "waypoint"]].iloc[row[sort]].reset_index(drop=True)
    return pd.concat([pd.DataFrame(keys), checks.drop(columns="position").iloc[sort].reset_index(drop=True)], axis=1)
