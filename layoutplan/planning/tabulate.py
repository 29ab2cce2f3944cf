"""From what was worked out to the plan: statuses, reasons, tables."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import BoolArray
from layoutplan.exposure import Network
from layoutplan.inputs import InputFile, Inputs
from layoutplan.inputs.gaps import causes_of, joined
from layoutplan.inputs.provenance import Ledger
from layoutplan.layout.model import Plan
from layoutplan.layout.notes import CAUTIONS, assumptions
from layoutplan.layout.silence import gap_text
from layoutplan.line import LineModel, Towers
from layoutplan.line.structures import names_of
from layoutplan.planning.agreements import agreements_table
from layoutplan.planning.electrics import (
    exposures_table,
    readings_table,
    with_lead_figures,
    with_rods,
    with_tower_figures,
)
from layoutplan.planning.permissions import permissions_table
from layoutplan.planning.silence import unseen_by_advice
from layoutplan.planning.stakes import Circumstances, Stakes, build_stake_tables
from layoutplan.planning.tables import (
    alternatives_table,
    exclusions_table,
    obstacles_table,
    pairs_table,
    relaxations_table,
    spans_table,
    towers_table,
)
from layoutplan.planning.ways import ways_table
from layoutplan.planning.words import tower_reasons, tower_status
from layoutplan.siting import Sited
from layoutplan.terrain import OpenedTerrain


@dataclass(frozen=True, slots=True)
class Worked:
    """What the stages before worked out.

    Attributes
    ----------
    around : Circumstances
        What the stakes are held against.
    inputs, model, opened, network, sited
        Of the stages of these names; ``inputs`` with the features in sight.
    own_segments : int
        Mapped segments that were taken for the planned lines.
    covers : ndarray of bool, shape (towers,)
    way_notes : tuple of str
        What was taken for granted about ways on foot.
    """

    around: Circumstances
    inputs: Inputs
    model: LineModel
    opened: OpenedTerrain
    own_segments: int
    covers: BoolArray
    network: Network
    sited: Sited
    way_notes: tuple[str, ...]


def tabulate(work: Worked, seconds: Mapping[str, float]) -> Plan:
    """Write down what was worked out.

    Parameters
    ----------
    work : Worked
        All stages but the tables.
    seconds : mapping of str to float
        Spent in each stage. [s]

    Returns
    -------
    Plan
    """
    around, inputs, sited, opened = work.around, work.inputs, work.sited, work.opened
    job, towers, found = around.job, around.towers, around.assessment
    electrodes, leads, checks, crossings = build_stake_tables(Stakes.of(sited), around)
    with_stakes = np.repeat(np.unique(sited.chosen.rays.tower), 2)
    status = tower_status(electrodes["status"].tolist(), with_stakes, len(towers))
    gaps = _gaps_of_towers(around.uncovered, electrodes["map_gaps"], with_stakes)
    reasons = tower_reasons(electrodes, sited, [gap_text(joined(causes), job) for causes in around.uncovered])
    shown = [_with_names(table, towers) for table in (electrodes, leads, crossings)]
    on_foot = None if around.approaches is None else _with_names(around.approaches, towers)
    land = permissions_table(inputs.land, shown[0], shown[1], on_foot)
    return Plan(
        job=job,
        towers=with_tower_figures(
            towers_table(towers, status, reasons, work.covers, gaps, opened.tower_height_m), found
        ),
        spans=spans_table(work.model.spans),
        electrodes=with_rods(electrodes, found, job.method.electrode_target_ohm),
        leads=with_lead_figures(leads, found),
        checks=checks,
        crossings=crossings,
        alternatives=alternatives_table(sited.alternatives, sited.alternatives_axis_m, towers, job, opened.dem),
        pairs=pairs_table(sited.pairs, towers),
        obstacles=obstacles_table(inputs.features, job),
        exclusions=exclusions_table(sited.exclusions, towers),
        relaxations=relaxations_table(
            sited.relaxations,
            towers,
            unseen_by_advice(around.obstacles, towers.lonlat_deg, work.covers, job.rules.reel_m),
        ),
        exposures=exposures_table(found, work.network, electrodes),
        readings=readings_table(found, towers),
        approaches=ways_table(()) if around.approaches is None else around.approaches,
        permissions=land,
        agreements=agreements_table(shown[2], on_foot, land, job.obstacle_classes),
        files=(*inputs.files, *_fingerprints(opened, job.terrain.attribution)),
        assumptions=_assumptions(work),
        cautions=CAUTIONS,
        problems=(*inputs.problems, *work.model.problems, *opened.problems),
        grid_crs=around.grid_crs,
        timings_s=seconds,
    )


def _with_names(table: gpd.GeoDataFrame, towers: Towers) -> gpd.GeoDataFrame:
    """With the towers' names for people in place of their ids: of the table, lists of towers of all lines are made."""
    shown = names_of(towers.line_id, towers.tower_id).tolist()
    names = dict(zip(zip(towers.line_id.tolist(), towers.tower_id.tolist(), strict=True), shown, strict=True))
    keys = zip(table["line_id"].tolist(), table["tower_id"].tolist(), strict=True)
    return table.assign(tower_id=[names[key] for key in keys])


def _gaps_of_towers(
    uncovered: Sequence[Sequence[str]], of_stakes: Iterable[str], tower: NDArray[np.int64]
) -> list[str]:
    """Why the map does not show what is about each tower, or under the leads of its stakes."""
    causes = [[*found] for found in uncovered]
    for row, stored in zip(tower.tolist(), of_stakes, strict=True):
        causes[row] += causes_of(stored)
    return [joined(found) for found in causes]


def _assumptions(work: Worked) -> tuple[str, ...]:
    of_plan = assumptions(work.around.job, work.inputs, work.model, work.own_segments)
    return (*of_plan, *work.network.assumptions, *work.opened.assumptions, *work.way_notes)


def _fingerprints(opened: OpenedTerrain, credit: str | None) -> tuple[InputFile, ...]:
    ledger = Ledger()
    for path in opened.files:
        ledger.note(path, "terrain", attribution=credit)
    return ledger.files()
