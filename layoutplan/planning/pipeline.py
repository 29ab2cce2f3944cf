"""The main job: read, put in order, site, tabulate. It composes the stages and computes nothing itself."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import numpy as np

from layoutplan.access import NO_WALKS, Walkable, share_stops
from layoutplan.exposure import CouplingTable, Network, assess, build_network, fan_terms, measured, require_figures
from layoutplan.exposure.measured import Measured
from layoutplan.inputs import Inputs, as_read, map_gaps, read_inputs
from layoutplan.inputs.door import as_job_allows
from layoutplan.job import Job
from layoutplan.layout.model import Plan
from layoutplan.line import Towers, build_lines
from layoutplan.line.grid import require_projected, utm_zone
from layoutplan.outputs import named_crs, require_formats
from layoutplan.planning.asked import Asked
from layoutplan.planning.electrics import stake_places
from layoutplan.planning.fixed import fixed_stakes
from layoutplan.planning.stakes import Circumstances
from layoutplan.planning.tabulate import Worked, tabulate
from layoutplan.planning.ways import walkable, ways_table
from layoutplan.siting import Obstacles, Sited, build_obstacles, collect, in_sight, site_towers
from layoutplan.siting.figures import sets_limits
from layoutplan.siting.relaxation import FARTHEST
from layoutplan.terrain import Dem, open_terrain, slope_figures

Progress = Callable[[float, str], None]
SIGHT_M = 200.0  # features are kept this much farther than a lead could matter, so that a reviewer sees the place
_SECTION = 32  # towers sited together; keeps the arrays within the processor's cache


@as_job_allows
def plan(job: Job, progress: Progress | None = None) -> Plan:
    """Plan the electrode positions of every tower of a job.

    Parameters
    ----------
    job : Job
        As loaded.
    progress : callable, optional
        Called with the percentage done and what is going on.

    Returns
    -------
    Plan
        All tables; nothing is written yet.

    Raises
    ------
    InputError
        If a file of the job cannot be used; the message states which, where and how to fix it.
    OutputError
        If a format of the job is not known, or its writer cannot be loaded.
    """
    require_formats(job.output.formats)
    require_projected(job.output.grid_crs)
    named_crs(job.output.crs)
    say = progress or (lambda _percent, _text: None)
    clock = _Clock()
    with clock("read"):
        say(0, "reading lines and map")
        inputs = read_inputs(job)
        job = as_read(job, inputs.lines)
    with clock("line"):
        model = build_lines(inputs.lines)
    with clock("terrain"):
        opened = open_terrain(job.terrain, model.towers.lonlat_deg, heights_reach_m(job, model.towers))
    with clock("obstacles"):
        say(20, "preparing the map")
        covers, uncovered = map_gaps(job, inputs, model.towers.lonlat_deg)
        ground, notes = walkable(job, inputs, opened.dem, model.towers, covers)
        features = in_sight(inputs.features, model.towers, _sight_m(job, inputs))
        inputs = replace(inputs, features=features)
        obstacles, own = build_obstacles(
            features, model.spans, job.obstacle_classes, permitted_given=job.gives_permitted_land
        )
    with clock("network"):
        network = build_network(job, model, [(source.line, source.faults) for source in inputs.lines])
        require_figures(network)
        expected = measured(network)
    with clock("siting"):
        sited, ways = _site(job, network, expected, obstacles, opened.dem, ground, say)
    with clock("exposures"):
        say(85, "voltages and readings")
        found = assess(network, expected, *stake_places(sited))
    with clock("tables"):
        say(90, "writing down the reasons")
        around = Circumstances(
            towers=model.towers,
            obstacles=obstacles,
            job=job,
            uncovered=uncovered,
            grid_crs=job.output.grid_crs or utm_zone(model.towers.lonlat_deg),
            assessment=found,
            dem=opened.dem,
            approaches=None if ground is None else ways_table(share_stops(ways, job.access)),
        )
        work = Worked(
            around=around,
            inputs=inputs,
            model=model,
            opened=opened,
            own_segments=own,
            covers=covers,
            network=network,
            sited=sited,
            way_notes=notes,
        )
        return tabulate(work, clock.seconds)


def _sight_m(job: Job, inputs: Inputs) -> float:
    """How far from a tower features are kept: a reel of twice the length, and the largest keep-out from its end."""
    keep_out = max(row.keep_out_m for row in job.obstacle_classes.values())
    widest = float(inputs.features["width_m"].max()) if len(inputs.features) else 0.0
    return 2 * job.rules.reach_m + max(SIGHT_M, keep_out + widest / 2 + 50.0)


def _site(
    job: Job,
    network: Network,
    expected: Measured,
    obstacles: Obstacles,
    dem: Dem,
    ground: Walkable | None,
    say: Progress,
) -> tuple[Sited, list[dict[str, Any]]]:
    """Site all towers, and find the ways to them and their stakes."""
    towers = network.towers
    reach = _farthest_m(job, towers)
    coupling = CouplingTable(network, reach)
    fixed = fixed_stakes(job, towers)

    def section(start: int) -> tuple[Sited, list[dict[str, Any]]]:
        rows = np.arange(start, min(start + _SECTION, len(towers)))
        mine = towers.rows(rows)
        electrics = fan_terms(network, expected, rows, reach, coupling)
        on_foot = None if ground is None else ground.about(towers, rows, reach)
        walks = NO_WALKS if on_foot is None else on_foot.figures
        asked = Asked(electrics, slope_figures(dem, mine, job, reach), walks)
        sited = site_towers(mine, obstacles, job, asked, fixed.of_section(start, len(rows)))
        chosen = sited.chosen
        xy = chosen.rays.direction * chosen.distance_m[:, None]
        return sited, [] if on_foot is None else on_foot.ways(chosen.rays.tower, sited.role, xy)

    starts = range(0, len(towers), _SECTION)
    workers = job.search.workers or os.cpu_count() or 1
    done, ways = [], []
    with ThreadPoolExecutor(workers) as pool:
        for sited, found in pool.map(section, starts):
            done.append(sited)
            ways += found
            say(25 + 60 * len(done) / len(starts), f"siting: {min(len(done) * _SECTION, len(towers))} towers")
    return collect(done, [min(_SECTION, len(towers) - start) for start in starts]), ways


def heights_reach_m(job: Job, towers: Towers) -> float:
    """How far from a tower heights are asked for: for walking to the corners of its surroundings.

    Parameters
    ----------
    job : Job
        Its access section and reel.
    towers : Towers
        All of the plan.

    Returns
    -------
    float
        [m]
    """
    to_the_road = job.access.radius_m * np.sqrt(2.0) if job.access.find_ways else 0.0
    return max(_farthest_m(job, towers), float(to_the_road))


def _farthest_m(job: Job, towers: Towers) -> float:
    """Farthest position asked for: twice as far where relaxing a limit on voltage or reading is looked into."""
    reach = job.rules.reach_m * (FARTHEST if sets_limits(job) else 1.0)
    return reach + float(np.hypot(*towers.leg_xy_m.T).max(initial=0.0)) + 1.0


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
