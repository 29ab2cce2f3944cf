"""Given positions held against a plan's rules: the same evaluation as for the planner's own."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.checking.reopen import Reopened
from layoutplan.exposure import CouplingTable, Network, assess, build_network, fan_terms, measured
from layoutplan.exposure.measured import Measured
from layoutplan.job import Job
from layoutplan.layout.rules import BROKEN, KEEP_OUT
from layoutplan.line.geodesy import direct, inverse
from layoutplan.planning.asked import Asked
from layoutplan.planning.checks import check_rows, with_grace
from layoutplan.planning.on_foot import PlannedWays
from layoutplan.planning.stakes import Circumstances, Stakes, position_facts
from layoutplan.siting import Obstacles, build_obstacles, evaluate, find_near
from layoutplan.siting.collect import join_positions
from layoutplan.siting.evaluate import Evaluated
from layoutplan.terrain import slope_figures

_SECTION = 32  # towers looked at together, as in planning
_ROUND_DEG = np.arange(0.0, 360.0, 45.0)  # where on the circle of a position's accuracy the rules are asked again


@dataclass(frozen=True, slots=True)
class Bench:
    """A reopened plan, ready to hold positions against.

    Attributes
    ----------
    plan : Reopened
    obstacles : Obstacles
    network : Network
    measured : Measured
    """

    plan: Reopened
    obstacles: Obstacles
    network: Network
    measured: Measured

    @classmethod
    def of(cls, plan: Reopened) -> Bench:
        """Set up what the rules ask about.

        Parameters
        ----------
        plan : Reopened
            The plan.

        Returns
        -------
        Bench

        Raises
        ------
        JobError
            If the job's conductors or currents do not fit its lines.
        """
        job = plan.job
        obstacles, _ = build_obstacles(
            plan.features, plan.model.spans, job.obstacle_classes, permitted_given=job.gives_permitted_land
        )
        network = build_network(job, plan.model, plan.faults)
        return cls(plan, obstacles, network, measured(network))

    def evaluated(
        self, tower: IntArray, bearing_deg: FloatArray, distance_m: FloatArray, around_m: float = 0.0
    ) -> tuple[Evaluated, IntArray]:
        """Evaluate positions seen from their towers.

        What lies within ``around_m`` of a position and its keep-out is measured in any case.

        Parameters
        ----------
        tower : ndarray of int, shape (n,)
            Rows of the plan's towers.
        bearing_deg, distance_m : ndarray, shape (n,)
            From the tower point, from true north. [deg], [m]
        around_m : float
            How far around the positions keep-outs matter. [m]

        Returns
        -------
        evaluated : Evaluated
            Sorted by tower and bearing.
        order : ndarray of int, shape (n,)
            Place of each result among the positions given.
        """
        towers, job = self.plan.model.towers, self.plan.job
        leg = float(np.hypot(*towers.leg_xy_m.T).max(initial=0.0))
        reach = (
            max(float(distance_m.max(initial=0.0)), job.rules.reach_m + leg) + 1.0 + around_m
        )  # at least as planning
        coupling = CouplingTable(self.network, reach)
        parts, order = [], []
        known = np.unique(tower) if len(tower) else np.zeros(1, dtype=np.int64)
        for first in range(0, len(known), _SECTION):
            rows = known[first : first + _SECTION]
            mine = np.flatnonzero((tower >= rows[0]) & (tower <= rows[-1]))
            section = towers.rows(rows)
            near = find_near(self.obstacles, section, reach + job.score.margin_m)
            electrics = fan_terms(self.network, self.measured, rows, reach, coupling)
            asked = Asked(electrics, slope_figures(self.plan.dem, section, job, reach))
            where = np.searchsorted(rows, tower[mine]), bearing_deg[mine], distance_m[mine]
            part = evaluate(section, *where, near, self.obstacles, job, asked)
            parts.append(replace(part, rays=replace(part.rays, tower=rows[part.rays.tower])))
            order.append(mine[np.lexsort((np.mod(bearing_deg[mine], 360.0), tower[mine]))])
        return join_positions(parts, np.zeros(len(parts), dtype=np.int64)), np.concatenate(order)


@dataclass(frozen=True, slots=True)
class Held:
    """Positions with everything that the rules ask of them.

    Attributes
    ----------
    stakes : Stakes
    around : Circumstances
    order : ndarray of int
        Which of the given positions each entry of ``stakes`` is.
    """

    stakes: Stakes
    around: Circumstances
    order: IntArray


def hold(
    bench: Bench, tower: IntArray, role: np.ndarray, lonlat_deg: FloatArray, grace: float, around_m: float = 0.0
) -> Held:
    """Hold positions against the rules of a plan.

    Parameters
    ----------
    bench : Bench
        What the rules ask about.
    tower : ndarray of int, shape (n,)
        Rows of the plan's towers.
    role : ndarray of str, shape (n,)
        ``"H"`` or ``"S"``, each at most once for a tower.
    lonlat_deg : ndarray, shape (n, 2)
        Longitude and latitude of the positions. [deg]
    grace : float
        A limit missed by no more than this counts as kept: what the positions are rounded by. [m, deg]
    around_m : float
        How far around the positions keep-outs matter: the accuracy of the positions. [m]

    Returns
    -------
    Held
        Sorted by tower and bearing.
    """
    towers = bench.plan.model.towers
    bearing, distance = inverse(towers.lonlat_deg[tower], lonlat_deg)
    chosen, order = bench.evaluated(tower, bearing, distance, around_m)
    ways = PlannedWays.of(bench.plan.tables, towers.rows(tower[order]), role[order], lonlat_deg[order])
    chosen = _with_walks(chosen, ways.walk_min, bench.plan.job)
    one_sided = np.zeros(len(towers), dtype=bool)
    stakes = Stakes(chosen, role[order], one_sided, {})
    partner = stakes.partner
    same = (partner >= 0) & (chosen.rays.side == chosen.rays.side[partner])
    one_sided[stakes.tower[same]] = True
    found = assess(bench.network, bench.measured, *_pairs(stakes))
    around = Circumstances(
        towers,
        bench.obstacles,
        bench.plan.job,
        bench.plan.uncovered,
        bench.plan.grid_crs,
        found,
        grace,
        dem=bench.plan.dem,
        approaches=ways.approaches,
    )
    return Held(stakes, around, order)


def _with_walks(chosen: Evaluated, walk_min: FloatArray, job: Job) -> Evaluated:
    """Count the walks that are still known, as planning did."""
    score = chosen.score + job.score.walk_per_min * np.nan_to_num(walk_min)
    return replace(chosen, terms=chosen.terms | {"walk_min": walk_min}, score=score)


def _pairs(stakes: Stakes) -> tuple[IntArray, FloatArray]:
    """Towers that have both stakes, ascending, and the stakes' places in their frames, H first."""
    partner = stakes.partner
    h = np.flatnonzero((stakes.role == "H") & (partner >= 0))
    h = h[np.argsort(stakes.tower[h], kind="stable")]
    place = stakes.chosen.rays.direction * stakes.chosen.distance_m[:, None]
    return stakes.tower[h], np.stack((place[h], place[partner[h]]), axis=1)


def unconfirmed(bench: Bench, held: Held, accuracy_m: FloatArray) -> pd.DataFrame:
    """Rules that a position keeps where it was measured, but not everywhere within its accuracy.

    Limits of distance are asked by how much they are kept, everything else again at places around the position.

    Parameters
    ----------
    bench : Bench
        What the rules ask about.
    held : Held
        With what lies within the accuracy around its positions.
    accuracy_m : ndarray, shape (n,)
        Of each entry of ``held.stakes``; NaN or 0 asks nothing. [m]

    Returns
    -------
    DataFrame
        Columns ``position`` (entry of ``held.stakes``) and ``rule``.
    """
    asked = np.flatnonzero(accuracy_m > 0)
    if len(asked) == 0:
        return pd.DataFrame({"position": [], "rule": []})
    broken = [_by_margin(bench, held, np.nan_to_num(accuracy_m))]
    rays, distance = held.stakes.chosen.rays, held.stakes.chosen.distance_m
    towers = bench.plan.model.towers
    place = direct(towers.lonlat_deg[rays.tower], rays.bearing_deg, distance)
    for turn in _ROUND_DEG:
        moved = place.copy()
        moved[asked] = direct(place[asked], np.full(len(asked), turn), accuracy_m[asked])
        other = hold(bench, rays.tower, held.stakes.role, moved, held.around.grace)
        rows = _rows(bench, other)
        rows = rows[rows["verdict"] == BROKEN]
        broken.append(pd.DataFrame({"position": other.order[rows["position"]], "rule": rows["rule"].to_numpy()}))
    return pd.concat(broken, ignore_index=True).drop_duplicates(ignore_index=True)


def _rows(bench: Bench, held: Held) -> pd.DataFrame:
    facts = position_facts(held.stakes, held.around)
    return with_grace(check_rows(held.stakes.chosen, facts, bench.obstacles, bench.plan.job), held.around.grace)


def _by_margin(bench: Bench, held: Held, accuracy_m: FloatArray) -> pd.DataFrame:
    """Distances kept by less than the position may be off: a narrow thing may lie between the places asked around."""
    rows = _rows(bench, held)
    position = rows["position"].to_numpy(dtype=np.int64)
    rule = rows["rule"]
    off = accuracy_m[position] - held.around.grace
    partner = held.stakes.partner
    swing = np.degrees(np.arcsin(np.minimum(accuracy_m / np.maximum(held.stakes.chosen.distance_m, 1e-3), 1.0)))
    swing += np.where(partner >= 0, swing[partner], 0.0)  # the leads of both stakes may lie elsewhere
    spare = (rows["measured"] - rows["limit"]).to_numpy(dtype=float)
    at_least = (rule.isin(["line_clearance", "electrode_distance"]) | rule.str.startswith(KEEP_OUT)).to_numpy()
    tight = at_least & (spare < off)
    tight |= (rule == "reel").to_numpy() & (-spare < off * (1 + bench.plan.job.rules.slack_pct / 100))
    tight |= (rule == "opposite_sides").to_numpy() & (spare < swing[position])  # no limit on opposite sides
    tight &= accuracy_m[position] > 0
    return pd.DataFrame({"position": position[tight], "rule": rule[tight].to_numpy()})
