"""The main job: read, put in order, site, tabulate. It composes the stages and computes nothing itself."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from layoutplan.exposure import (
    Assessment,
    CouplingTable,
    Network,
    assess,
    build_network,
    fan_terms,
    measured,
    require_figures,
)
from layoutplan.exposure.readings import Measured
from layoutplan.inputs import InputFile, Inputs, covered, read_inputs
from layoutplan.inputs.provenance import Ledger
from layoutplan.job import Job
from layoutplan.line import LineModel, Towers, build_lines
from layoutplan.line.grid import utm_zone
from layoutplan.outputs import require_formats
from layoutplan.planning.asked import Asked
from layoutplan.planning.electrics import (
    exposures_table,
    stake_places,
    with_lead_figures,
    with_rods,
    with_tower_figures,
)
from layoutplan.planning.fixed import fixed_stakes
from layoutplan.planning.model import Plan
from layoutplan.planning.notes import CAUTIONS, assumptions
from layoutplan.planning.permissions import permissions_table
from layoutplan.planning.stakes import Stakes, Surroundings, stake_tables
from layoutplan.planning.tables import (
    alternatives_table,
    exclusions_table,
    obstacles_table,
    relaxations_table,
    spans_table,
    towers_table,
)
from layoutplan.planning.words import tower_reasons, tower_status
from layoutplan.siting import Obstacles, Sited, build_obstacles, collect, in_sight, site_towers
from layoutplan.siting.figures import sets_limits
from layoutplan.siting.relax import FARTHEST
from layoutplan.terrain import Dem, OpenedTerrain, open_terrain, slope_figures

Progress = Callable[[float, str], None]
SIGHT_M = 200.0  # features are kept this much farther than a lead could matter, so that a reviewer sees the place
_SECTION = 32  # towers sited together; keeps the arrays within the processor's cache


def plan(job: Job, progress: Progress | None = None) -> Plan:
    """Plan the electrode positions of every tower of a job.

    Parameters
    ----------
    job : Job
    progress : callable, optional
        Called with the percentage done and what is going on.

    Returns
    -------
    Plan

    Raises
    ------
    InputError
        A file of the job cannot be used; the message says which, where and how to mend it.
    OutputError
        A format of the job is not known, or its writer cannot be loaded.
    """
    require_formats(job.output.formats)
    say = progress or (lambda _percent, _text: None)
    clock = _Clock()
    with clock("read"):
        say(0, "reading lines and map")
        inputs = read_inputs(job)
    with clock("line"):
        model = build_lines(inputs.lines)
    with clock("terrain"):
        opened = open_terrain(job.terrain, model.towers.lonlat_deg, _farthest_m(job, model.towers))
    with clock("obstacles"):
        say(20, "preparing the map")
        features = in_sight(inputs.features, model.towers, _sight_m(job, inputs))
        inputs = replace(inputs, features=features)
        obstacles, own = build_obstacles(
            features, model.spans, job.obstacle_classes, permitted_given=job.gives_permitted_land
        )
        covers, uncovered = _coverage(job, inputs, model.towers)
    with clock("network"):
        network = build_network(job, model, [(source.line, source.faults) for source in inputs.lines])
        require_figures(network)
        expected = measured(network)
    with clock("siting"):
        sited = _site(job, network, expected, obstacles, opened.dem, say)
    with clock("exposures"):
        say(85, "voltages and readings")
        found = assess(network, expected, *stake_places(sited))
    with clock("tables"):
        say(90, "writing down the reasons")
        return _tabulate(
            job, inputs, model, obstacles, sited, covers, uncovered, own, network, found, opened, clock.seconds
        )


def _sight_m(job: Job, inputs: Inputs) -> float:
    """How far from a tower features are kept: a reel of twice the length, and the largest keep-out from its end."""
    keep_out = max(row.keep_out_m for row in job.obstacle_classes.values())
    widest = float(inputs.features["width_m"].max()) if len(inputs.features) else 0.0
    return 2 * job.rules.reach_m + max(SIGHT_M, keep_out + widest / 2 + 50.0)


def _coverage(job: Job, inputs: Inputs, towers: Towers) -> tuple[NDArray[np.bool_], list[str]]:
    reach = job.rules.reach_m
    return covered(
        towers.lonlat_deg,
        reach,
        inputs.evidence,
        inputs.extents,
        inputs.coverage,
        job.coverage.radius_m,
        job.coverage.octants,
    )


def _site(job: Job, network: Network, expected: Measured, obstacles: Obstacles, dem: Dem, say: Progress) -> Sited:
    towers = network.towers
    reach = _farthest_m(job, towers)
    coupling = CouplingTable(network, reach)
    fixed = fixed_stakes(job, towers)

    def section(start: int) -> Sited:
        rows = np.arange(start, min(start + _SECTION, len(towers)))
        mine = towers.rows(rows)
        electrics = fan_terms(network, expected, rows, reach, coupling)
        asked = Asked(electrics, slope_figures(dem, mine, job, reach))
        return site_towers(mine, obstacles, job, asked, fixed.of_section(start, len(rows)))

    starts = range(0, len(towers), _SECTION)
    workers = job.search.workers or os.cpu_count() or 1
    done = []
    with ThreadPoolExecutor(workers) as pool:
        for sited in pool.map(section, starts):
            done.append(sited)
            say(25 + 60 * len(done) / len(starts), f"siting: {min(len(done) * _SECTION, len(towers))} towers")
    return collect(done, [min(_SECTION, len(towers) - start) for start in starts])


def _farthest_m(job: Job, towers: Towers) -> float:
    """Farthest position asked for: twice as far where relaxing a limit on voltage or reading is looked into."""
    reach = job.rules.reach_m * (FARTHEST if sets_limits(job) else 1.0)
    return reach + float(np.hypot(*towers.leg_xy_m.T).max(initial=0.0)) + 1.0


def _tabulate(
    job: Job,
    inputs: Inputs,
    model: LineModel,
    obstacles: Obstacles,
    sited: Sited,
    covers: NDArray[np.bool_],
    uncovered: list[str],
    own: int,
    network: Network,
    found: Assessment,
    opened: OpenedTerrain,
    seconds: dict[str, float],
) -> Plan:
    towers = model.towers
    grid = job.output.grid_crs or utm_zone(towers.lonlat_deg)
    bias, coupling = (found.spread(values) for values in (found.reading.bias_pct, found.reading.coupling_pct))
    around = Surroundings(towers, obstacles, job, covers, uncovered, grid, bias, coupling, dem=opened.dem)
    electrodes, leads, checks = stake_tables(Stakes.of(sited), around)
    with_stakes = np.repeat(np.unique(sited.chosen.rays.tower), 2)
    status = tower_status(electrodes["status"].to_numpy(), with_stakes, len(towers))
    reasons = tower_reasons(electrodes, sited, uncovered)
    return Plan(
        job=job,
        towers=with_tower_figures(towers_table(towers, status, reasons, covers, opened.tower_height_m), found),
        spans=spans_table(model.spans),
        electrodes=with_rods(electrodes, found, job.method.electrode_target_ohm),
        leads=with_lead_figures(leads, found),
        checks=checks,
        alternatives=alternatives_table(sited.alternatives, sited.alternatives_axis_m, towers, job, opened.dem),
        obstacles=obstacles_table(inputs.features, job),
        exclusions=exclusions_table(sited.exclusions, towers),
        relaxations=relaxations_table(sited.relaxations, towers),
        exposures=exposures_table(found, network, electrodes),
        permissions=permissions_table(inputs.land, electrodes, leads),
        files=(*inputs.files, *_fingerprints(opened)),
        assumptions=(*assumptions(job, inputs, model, own), *network.assumptions, *opened.assumptions),
        cautions=CAUTIONS,
        problems=(*inputs.problems, *model.problems, *opened.problems),
        grid_crs=grid,
        timings_s=seconds,
    )


def _fingerprints(opened: OpenedTerrain) -> tuple[InputFile, ...]:
    ledger = Ledger()
    for path in opened.files:
        ledger.note(path, "terrain")
    return ledger.files()


class _Clock:
    """Seconds spent in each stage, by name."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}

    @contextmanager
    def __call__(self, stage: str) -> Iterator[None]:
        start = time.perf_counter()
        try:
            yield
        finally:
            self.seconds[stage] = time.perf_counter() - start
