"""Positions that people moved or staked, held against the rules of their plan: what still holds, and what got worse."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from layoutplan.arrays import FloatArray
from layoutplan.checking.edited import Given, edited_stakes, offsets
from layoutplan.checking.field_hints import field_hints
from layoutplan.checking.field_readings import readings_of_stakes
from layoutplan.checking.held import Bench, Held, hold, unconfirmed
from layoutplan.checking.matching import TOLERANCE_M
from layoutplan.checking.reopen import Reopened, reopen
from layoutplan.checking.reported import NOT_TAKEN
from layoutplan.checking.staked import staked_stakes
from layoutplan.errors import InputError
from layoutplan.inputs.staked_readings import read_readings
from layoutplan.layout.rules import BREAKS, BROKEN, NOT_CONFIRMED, SEVERITY, class_labels, rule_words
from layoutplan.layout.schema import tables
from layoutplan.line.geodesy import inverse
from layoutplan.line.structures import names_of
from layoutplan.planning.electrics import exposures_table, with_lead_figures
from layoutplan.planning.places import two_point_lines
from layoutplan.planning.stakes import build_stake_tables
from layoutplan.planning.tables import rounded_columns
from layoutplan.written.numbered import plan_numbers_in

_FARTHEST_M = 10_000.0  # from the tower; farther off is a mistake in the figures (judgement)
_KEYS = ["line_id", "tower_id", "role"]


@dataclass(frozen=True)
class Checked:
    """What became of a plan's stakes.

    Attributes
    ----------
    electrodes, leads : GeoDataFrame
        The stakes as they are now, with the plan's columns; the stakes also with how far they are off (``offset_m``,
        ``offset_bearing_deg``, ``accuracy_m``), ``change`` (``moved``, ``new`` or empty), ``verdict`` (the status, or
        that it cannot be confirmed) and ``worse`` (rules that fare worse than in the plan).
    shifts : GeoDataFrame
        For stakes that moved, the line from where they were planned.
    checks : DataFrame
        Like the plan's, with ``planned_verdict``; its verdict may also be that a rule cannot be confirmed.
    exposures : DataFrame
        Of the towers that have both stakes.
    missing : GeoDataFrame
        Planned stakes that are no longer there, where they were planned.
    hints : DataFrame
        What the field readings say to a competent person.
    problems : tuple of str
    crs : str
        Of the layers when they are written: that of the plan.
    plan_number : str
    reported : DataFrame
        What the crew said of each stake; empty if nothing was told.
    labels : mapping of str to str
        Of the obstacle classes of the plan's job.
    """

    electrodes: gpd.GeoDataFrame
    leads: gpd.GeoDataFrame
    shifts: gpd.GeoDataFrame
    checks: pd.DataFrame
    exposures: pd.DataFrame
    missing: gpd.GeoDataFrame
    hints: pd.DataFrame
    problems: tuple[str, ...]
    crs: str
    plan_number: str = ""
    reported: pd.DataFrame = field(default_factory=pd.DataFrame)
    labels: Mapping[str, str] = field(default_factory=dict)

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """All tables by name."""
        names = ("electrodes", "leads", "shifts", "checks", "exposures", "missing", "reported", "hints")
        return {name: getattr(self, name) for name in names}

    @property
    def worse(self) -> pd.DataFrame:
        """Checks that are worse than they were in the plan."""
        return self.checks[_is_worse(self.checks)]

    @property
    def broken(self) -> pd.DataFrame:
        """Checks that are broken now."""
        return self.checks[self.checks["verdict"] == BROKEN]

    @property
    def not_confirmed(self) -> pd.DataFrame:
        """What was reported of stakes whose place nobody took: where the plan put them is not confirmed."""
        if self.reported.empty:
            return self.reported
        taken = set(self.electrodes["waypoint"])
        told = self.reported[self.reported["position"] == NOT_TAKEN].drop_duplicates("waypoint", keep="last")
        return told[~told["waypoint"].isin(taken)]

    @property
    def moved(self) -> gpd.GeoDataFrame:
        """Stakes that are not where, or what, they were planned."""
        return self.electrodes[self.electrodes["change"] != ""]


def check_folder(
    folder: Path,
    *,
    staked: Path | None = None,
    crs: str | None = None,
    readings: Path | None = None,
    tolerance_m: float = TOLERANCE_M,
    job_file: Path | None = None,
) -> Checked:
    """Check the stakes now in a plan's file, or points staked in the field, and the readings that came with them.

    Parameters
    ----------
    folder : Path
        Of the plan; nothing in it is changed.
    staked : Path, optional
        As-staked points; without them the positions in ``plan.gpkg`` are checked.
    crs : str, optional
        Of ``staked``, if it carries none.
    readings : Path, optional
        CSV of field readings; else those of the staked points, if they carry any.
    tolerance_m : float
        Within which a staked point without a name of the plan is matched by its place. [m]
    job_file : Path, optional
        The job file of the plan, for the elevation model: without it slopes are not checked.

    Returns
    -------
    Checked
        Stakes, leads and checks as they are now, and hints on the readings.

    Raises
    ------
    LayoutPlanError
        If the plan or a file cannot be used.
    """
    plan = reopen(folder, job_file)
    for path in filter(None, (staked, readings)):
        _refuse_other_plan(path, plan.plan_number)
    if staked is None:
        given, read, told = edited_stakes(plan), None, pd.DataFrame()
    else:
        back = staked_stakes(plan, staked, crs, tolerance_m)
        given, read, told = back.given, readings_of_stakes(back.points, staked.name), back.reported
    if readings is not None:
        read = read_readings(readings)
    found = replace(check_positions(plan, given), reported=told)
    if read is None:
        return found
    return replace(found, hints=field_hints(read, plan.tables), problems=(*found.problems, *read.problems))


def check_positions(plan: Reopened, given: Given) -> Checked:
    """Hold given positions against the rules of a plan.

    Parameters
    ----------
    plan : Reopened
        The plan.
    given : Given
        Positions with their towers and roles.

    Returns
    -------
    Checked
        In the order of the plan's tables.

    Raises
    ------
    LayoutPlanError
        If a position is too far from its tower to be its stake.
    """
    _refuse_far(plan, given)
    bench = Bench.of(plan)
    around_m = float(np.nan_to_num(given.accuracy_m).max(initial=0.0))
    held = hold(bench, given.tower, given.role, given.lonlat_deg, given.grace, around_m)
    electrodes, leads, checks, _ = build_stake_tables(held.stakes, held.around)
    order = held.order[np.lexsort((held.stakes.role, held.stakes.tower))]  # of the given, in the tables' order
    electrodes = electrodes.assign(**_changes(given, order))
    checks = _beside_the_plan(_with_accuracy(checks, electrodes, bench, held, given), plan.tables["checks"])
    labels = class_labels(plan.job.obstacle_classes)
    electrodes = electrodes.assign(**_verdicts(electrodes, checks, labels))
    paired = _paired(electrodes)
    exposures = exposures_table(held.around.assessment, bench.network, electrodes[paired].reset_index(drop=True))
    carried = with_lead_figures(leads[paired].reset_index(drop=True), held.around.assessment)
    return Checked(
        electrodes=electrodes,
        leads=gpd.GeoDataFrame(pd.concat([carried, leads[~paired]], ignore_index=True), crs=leads.crs),
        shifts=_shifts(electrodes, given.planned_deg[order]),
        checks=checks,
        exposures=exposures,
        missing=given.missing,
        hints=pd.DataFrame(),
        problems=(*plan.notes, *given.problems),
        crs=plan.job.output.crs,
        plan_number=plan.plan_number,
        labels=labels,
    )


def _refuse_other_plan(path: Path, number: str) -> None:
    """Refuse a file that carries the number of another plan, and not that of this one."""
    found = plan_numbers_in(path)
    if number and found and number not in found:
        raise InputError(
            f"{path.name}: carries the number of another plan ({', '.join(sorted(found)[:3])}); this is plan {number}. "
            "Check it against the plan from which it was staked."
        )


def _refuse_far(plan: Reopened, given: Given) -> None:
    """Refuse positions that are no stake of their tower: a wrong coordinate system, or the two coordinates swapped."""
    towers = plan.model.towers
    _, away_m = inverse(towers.lonlat_deg[given.tower], given.lonlat_deg)
    far = np.flatnonzero(~(away_m <= _FARTHEST_M))
    if len(far):
        i = far[0]
        name = names_of(towers.line_id, towers.tower_id)[given.tower[i]]
        also = f" ({len(far)} stakes are farther off than {_FARTHEST_M:,.0f} m)" if len(far) > 1 else ""
        raise InputError(
            f"stake {given.role[i]} of tower {name} lies {away_m[i]:,.0f} m from its tower{also}. "
            "Check the coordinate reference system, that longitude and latitude are not swapped, and the stake's "
            "name or tower."
        )


def _changes(given: Given, order: Any) -> dict[str, Any]:
    distance, bearing = offsets(given)
    new = np.isnan(distance)
    change = np.select([new, distance > given.grace], ["new", "moved"], "")
    columns = {"offset_m": distance, "offset_bearing_deg": bearing, "accuracy_m": given.accuracy_m, "change": change}
    return rounded_columns({name: values[order] for name, values in columns.items()}, tables("check")["electrodes"])


def _is_worse(checks: pd.DataFrame) -> pd.Series:
    """Mark what fares worse; what the plan did not ask, because it was far away, was as well known as the map there."""
    now, before = (checks[name].map(SEVERITY).astype(float) for name in ("verdict", "planned_verdict"))
    known = before.where(checks["rule"] == "map_coverage").groupby([checks[key] for key in _KEYS]).transform("max")
    return now > before.fillna(known).fillna(0)


def _verdicts(electrodes: gpd.GeoDataFrame, checks: pd.DataFrame, labels: Mapping[str, str]) -> dict[str, Any]:
    """For each stake its status, unless it hangs on the accuracy, and the rules that fare worse than in the plan."""
    keys = pd.MultiIndex.from_frame(electrodes[_KEYS])
    doubtful = checks[checks["verdict"] == NOT_CONFIRMED]
    doubt = keys.isin(pd.MultiIndex.from_frame(doubtful[_KEYS])) & (electrodes["status"] != BREAKS).to_numpy()
    worse = checks[_is_worse(checks)]
    words = worse["rule"].map(lambda rule: rule_words(rule, labels))
    rules = words.groupby([worse[key] for key in _KEYS]).agg(", ".join)
    return {
        "verdict": np.where(doubt, NOT_CONFIRMED, electrodes["status"]),
        "worse": rules.reindex(keys).fillna("").to_numpy(dtype=object),
    }


def _shifts(electrodes: gpd.GeoDataFrame, planned_deg: FloatArray) -> gpd.GeoDataFrame:
    moved = (electrodes["change"] == "moved").to_numpy()
    paths = two_point_lines(planned_deg[moved], shapely.get_coordinates(electrodes.geometry.to_numpy()[moved]))
    columns = electrodes.loc[moved, [*_KEYS, "waypoint", "offset_m", "offset_bearing_deg"]]
    return gpd.GeoDataFrame(columns.reset_index(drop=True), geometry=paths, crs=electrodes.crs)


def _paired(electrodes: gpd.GeoDataFrame) -> np.ndarray:
    return np.asarray(electrodes.duplicated(["line_id", "tower_id"], keep=False))


def _with_accuracy(
    checks: pd.DataFrame, electrodes: gpd.GeoDataFrame, bench: Bench, held: Held, given: Given
) -> pd.DataFrame:
    """Mark the rules that hold only by less than a position's accuracy."""
    doubts = unconfirmed(bench, held, given.accuracy_m[held.order])
    position = doubts["position"].to_numpy(dtype=np.int64)
    towers, tower = bench.plan.model.towers, held.stakes.tower[position]
    names = towers.line_id[tower], towers.tower_id[tower], held.stakes.role[position], doubts["rule"]
    doubtful = pd.MultiIndex.from_arrays(names)
    doubt = pd.MultiIndex.from_frame(checks[[*_KEYS, "rule"]]).isin(doubtful) & (checks["verdict"] != BROKEN).to_numpy()
    accuracy = checks[_KEYS].merge(electrodes[[*_KEYS, "accuracy_m"]], on=_KEYS, how="left")["accuracy_m"]
    detail = checks["detail"].to_numpy(dtype=object, copy=True)
    for row in np.flatnonzero(doubt).tolist():
        detail[row] = f"{detail[row]}; holds by less than the accuracy of {accuracy[row]:g} m".removeprefix("; ")
    return checks.assign(verdict=np.where(doubt, NOT_CONFIRMED, checks["verdict"]), detail=detail)


def _beside_the_plan(checks: pd.DataFrame, planned: pd.DataFrame) -> pd.DataFrame:
    before = planned.drop_duplicates([*_KEYS, "rule"])[[*_KEYS, "rule", "verdict"]]
    return checks.merge(before.rename(columns={"verdict": "planned_verdict"}), on=[*_KEYS, "rule"], how="left")
