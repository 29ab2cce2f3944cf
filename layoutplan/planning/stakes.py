"""The tables of stakes and leads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.exposure import Assessment
from layoutplan.inputs.gaps import joined
from layoutplan.job import Job
from layoutplan.layout.crossings import LEAD as BY_LEAD
from layoutplan.layout.crossings import crossing_list
from layoutplan.layout.reasons import reason_text, reasons_of
from layoutplan.layout.rules import KEPT
from layoutplan.layout.set_out import warning
from layoutplan.layout.silence import gap_text
from layoutplan.line.geodesy import direct, octant, turn_deg
from layoutplan.line.model import Towers
from layoutplan.outputs.waypoint_names import waypoint_names
from layoutplan.planning.checks import check_rows, statuses, with_grace
from layoutplan.planning.crossings import crossings_table, lead_crossings, stood_on
from layoutplan.planning.facts import Facts
from layoutplan.planning.fixed import is_fixed
from layoutplan.planning.on_foot import on_foot
from layoutplan.planning.places import grid_position, points, two_point_lines
from layoutplan.planning.silence import silent_on_the_way
from layoutplan.planning.tables import (
    frame,
    gap_columns,
    lead_lengths,
    lead_on_slope_m,
    set_out_columns,
)
from layoutplan.planning.words import (
    SIDES,
    beside_texts,
    other_side_texts,
    side_texts,
)
from layoutplan.siting.evaluate import Evaluated
from layoutplan.siting.judge import TERMS
from layoutplan.siting.obstacles import Obstacles
from layoutplan.siting.site import Sited
from layoutplan.terrain import Dem, profiles, slope_aspect


@dataclass(frozen=True, slots=True)
class Stakes:
    """Positions with their roles, chosen or given.

    Attributes
    ----------
    chosen : Evaluated
        n positions, at most one H and one S for each tower.
    role : ndarray of str, shape (n,)
    same_side : ndarray of bool, shape (towers,)
        Both stakes on one side of the line.
    other_side : mapping
        For towers with both on one side, what shuts the other one.
    """

    chosen: Evaluated
    role: NDArray[np.str_]
    same_side: NDArray[np.bool_]
    other_side: Mapping[int, str]

    @classmethod
    def of(cls, sited: Sited) -> Stakes:
        """Stakes that were sited.

        Parameters
        ----------
        sited : Sited
            From the sections, collected.

        Returns
        -------
        Stakes
        """
        return cls(sited.chosen, sited.role, sited.same_side, other_side_texts(sited, side_texts(sited.exclusions)))

    @property
    def tower(self) -> IntArray:
        """Row of each position's tower."""
        return self.chosen.rays.tower

    @property
    def partner(self) -> IntArray:
        """Position of the other stake of the same tower, -1 where there is none."""
        count = int(self.tower.max(initial=-1)) + 1
        place = np.full((count, 2), -1)
        is_s = (self.role == "S").astype(np.int64)
        place[self.tower, is_s] = np.arange(len(self.tower))
        return np.asarray(place[self.tower, 1 - is_s])


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What positions are held against, and what is known of their towers.

    Attributes
    ----------
    towers, obstacles, job
    uncovered : list of list of str
        Codes of the causes for which the map does not cover a tower; none where it does.
    grid_crs : str
    dem : Dem
        The ground; an empty one if nothing is known of it.
    assessment : Assessment
        Of the towers with both stakes.
    grace : float
        A limit missed by no more than this counts as kept, in metres and degrees: what positions read from a file
        are rounded by.
    approaches : GeoDataFrame, optional
        Ways on foot, columns :data:`layoutplan.access.APPROACH_COLUMNS`; left out where they are not looked for.
    """

    towers: Towers
    obstacles: Obstacles
    job: Job
    uncovered: list[list[str]]
    grid_crs: str
    assessment: Assessment
    grace: float = 0.0
    dem: Dem = field(default_factory=Dem)
    approaches: gpd.GeoDataFrame | None = None

    def of_pairs(self, figure: str, tower: IntArray) -> FloatArray:
        """Figure of the reading with the pair of each of some towers.

        Parameters
        ----------
        figure : str
            Name of a field of `Reading`.
        tower : ndarray of int, shape (n,)
            Rows of the towers.

        Returns
        -------
        ndarray, shape (n,)
            In the figure's unit; NaN if unknown.
        """
        return self.assessment.spread(getattr(self.assessment.reading, figure))[tower]


class StakeTables(NamedTuple):
    """Tables of stakes, in tower order with H before S."""

    electrodes: gpd.GeoDataFrame
    leads: gpd.GeoDataFrame
    checks: pd.DataFrame
    crossings: pd.DataFrame


def build_stake_tables(stakes: Stakes, around: Circumstances) -> StakeTables:
    """Build the tables of electrodes, leads, checks and crossings."""
    chosen, rays, towers, job = stakes.chosen, stakes.chosen.rays, around.towers, around.job
    facts = position_facts(stakes, around)
    checks = with_grace(check_rows(chosen, facts, around.obstacles, job), around.grace)
    met = crossings_table(facts.crossed, facts.stood_on, around.obstacles)
    reasons, crossings = _words(checks, met, facts, job)
    origin = towers.lonlat_deg[rays.tower]
    place = direct(origin, rays.bearing_deg, chosen.distance_m)
    easting, northing, _ = grid_position(place, around.grid_crs)
    _, _, at_tower = grid_position(origin, around.grid_crs)
    status = statuses(checks, len(chosen))
    columns = {
        "line_id": towers.line_id[rays.tower],
        "tower_id": towers.tower_id[rays.tower],
        "role": stakes.role,
        "waypoint": _names(towers, rays.tower, stakes.role, job),
        "lon": place[:, 0],
        "lat": place[:, 1],
        "easting": easting,
        "northing": northing,
        "distance_m": chosen.distance_m,
        "leg": towers.leg[rays.tower],
        **set_out_columns(towers, rays.tower, rays.bearing_deg, chosen.distance_m, facts.ground.length_m, job),
        "lead_length_m": facts.lead_m,
        "bearing_true_deg": rays.bearing_deg,
        "bearing_grid_deg": np.mod(rays.bearing_deg - at_tower, 360.0),
        "angle_to_line_deg": rays.angle_deg,
        "distance_to_line_m": chosen.axis_m,
        "side": SIDES[rays.side],
        "octant": octant(rays.bearing_deg),
        "elevation_m": facts.ground.end_height_m,
        "slope_deg": facts.slope_deg,
        "aspect_deg": facts.aspect_deg,
        "status": status,
        "warning": [warning(value) for value in status],
        "reasons": reasons,
        **gap_columns(facts.gaps),
        "score": chosen.score,
        **{name: chosen.terms[name] for name in TERMS},
    }
    order = np.lexsort((stakes.role, rays.tower))
    electrodes = frame(columns, points(place), "electrodes").iloc[order].reset_index(drop=True)
    along = {
        "ground_length_m": facts.ground.length_m,
        "height_difference_m": facts.ground.height_difference_m,
        "steepest_deg": facts.ground.steepest_deg,
        "cliff_drop_m": facts.ground.cliff_drop_m,
    }
    columns |= along | {"crossings": crossings}
    leads = frame(columns, two_point_lines(origin, place), "leads").iloc[order].reset_index(drop=True)
    return StakeTables(electrodes, leads, _named(checks, electrodes, order), _named(met, electrodes, order))


def _words(checks: pd.DataFrame, met: pd.DataFrame, facts: Facts, job: Job) -> tuple[list[str], list[str]]:
    """Reasons of each position, and what its lead crosses, for people to read."""
    count, classes = len(facts.fixed), job.obstacle_classes
    mine: tuple[list[list[Any]], list[list[Any]]] = ([[] for _ in range(count)], [[] for _ in range(count)])
    for rows, table in zip(mine, (checks[checks["verdict"] != KEPT], met), strict=True):
        for position, row in zip(table["position"].tolist(), table.itertuples(index=False), strict=True):
            rows[position].append(row)
    reasons = [
        reason_text(reasons_of(verdicts, met_by, classes), fixed=fixed)
        for verdicts, met_by, fixed in zip(*mine, facts.fixed.tolist(), strict=True)
    ]
    return reasons, [crossing_list([row for row in rows if row.met_by == BY_LEAD], classes) for rows in mine[1]]


def position_facts(stakes: Stakes, around: Circumstances) -> Facts:
    """What the checks need to know of positions beside what was evaluated."""
    chosen, rays, towers, job = stakes.chosen, stakes.chosen.rays, around.towers, around.job
    size = job.rules.electrode_size_multiple * towers.electrode_size_m[rays.tower]
    partner = stakes.partner
    between = np.abs(turn_deg(rays.bearing_deg - rays.bearing_deg[partner]))
    origin = towers.lonlat_deg[rays.tower]
    limit = job.terrain.cliff_slope_deg
    ground = profiles(around.dem, origin, rays.bearing_deg, chosen.distance_m, cliff_slope_deg=limit)
    place = direct(origin, rays.bearing_deg, chosen.distance_m)
    slope, aspect = slope_aspect(around.dem, place)
    of_leads = silent_on_the_way(around.obstacles, origin, place)
    gaps = [joined([*around.uncovered[t], *found]) for t, found in zip(rays.tower, of_leads, strict=True)]
    fixed = is_fixed(job, towers, rays.tower, stakes.role, place)
    straight = lead_lengths(towers, rays.tower, rays.bearing_deg, chosen.distance_m, job)
    return Facts(
        lead_m=straight + lead_on_slope_m(ground, chosen.distance_m, job),
        between_deg=np.where(partner >= 0, between, np.nan),
        least_m=np.maximum(job.rules.min_distance_m, size),
        same_side=stakes.same_side[rays.tower],
        covered=np.array([not stored for stored in gaps], dtype=bool),
        gaps=gaps,
        uncovered=[gap_text(stored, job) for stored in gaps],
        crossed=lead_crossings(chosen, around.obstacles, job),
        stood_on=stood_on(chosen, around.obstacles),
        beside=beside_texts(chosen, around.obstacles, job),
        one_side=_one_side(stakes, fixed),
        bias_pct=around.of_pairs("bias_pct", rays.tower),
        coupling_pct=around.of_pairs("coupling_pct", rays.tower),
        slope_deg=slope,
        aspect_deg=aspect,
        ground=ground,
        fixed=fixed,
        on_foot=on_foot(around.approaches, towers.line_id[rays.tower], towers.tower_id[rays.tower], stakes.role),
    )


def _one_side(stakes: Stakes, fixed: NDArray[np.bool_]) -> list[str]:
    """Why both stakes of a tower are on one side of the line, for each stake of such a tower."""
    both_fixed = np.bincount(stakes.tower[fixed], minlength=len(stakes.same_side)) == 2
    return [
        ""
        if not same
        else "the job fixes them there"
        if given and both_fixed[tower]
        else stakes.other_side.get(tower, "no position opposite")
        for tower, same, given in zip(
            stakes.tower.tolist(), stakes.same_side[stakes.tower].tolist(), fixed.tolist(), strict=True
        )
    ]


def _names(towers: Towers, tower: Any, role: Any, job: Job) -> list[str]:
    """Waypoint names of stakes; all towers take part, so that a name does not depend on which have a layout."""
    line_ids, tower_ids = np.repeat(towers.line_id, 2).tolist(), np.repeat(towers.tower_id, 2).tolist()
    names = waypoint_names(line_ids, tower_ids, ["H", "S"] * len(towers), job.output.waypoint_length)
    return [names[2 * row + (which == "S")] for row, which in zip(tower.tolist(), role.tolist(), strict=True)]


def _named(table: pd.DataFrame, electrodes: gpd.GeoDataFrame, order: Any) -> pd.DataFrame:
    """Replace the position numbers of a table by the stakes' names, in the stakes' order."""
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    row = place[table["position"].to_numpy()]
    sort = np.argsort(row, kind="stable")
    keys = electrodes[["line_id", "tower_id", "role", "waypoint"]].iloc[row[sort]].reset_index(drop=True)
    return pd.concat([pd.DataFrame(keys), table.drop(columns="position").iloc[sort].reset_index(drop=True)], axis=1)
