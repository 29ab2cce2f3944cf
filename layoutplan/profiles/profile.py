"""How voltage and reading change around one tower and along its line: tables for whoever draws them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np
import pandas as pd

from layoutplan.arrays import StrArray
from layoutplan.errors import JobError
from layoutplan.exposure import build_network, measured
from layoutplan.inputs import Inputs, read_inputs
from layoutplan.job import Job
from layoutplan.layout.notes import CAUTIONS
from layoutplan.line import LineModel, Towers, build_lines
from layoutplan.profiles.tables import (
    OFF_DEG,
    bearing_table,
    best_bearings,
    directions_table,
    distance_table,
    line_table,
)
from layoutplan.profiles.words import limits_table, rests_on, unknown_texts
from layoutplan.siting import build_obstacles, find_near, in_sight
from layoutplan.siting.mapped_spans import with_mapped_spans

_AT_TOWER_M = 30.0  # mapped power lines are looked for so near to the tower point
_HOW = {
    "induced_v": "of the least voltage induced in service",
    "induced_fault_v": "of the least voltage induced by a fault; that in service is unknown",
    "off_square_deg": "nearest to the perpendicular; the induced voltages are unknown",
}
_STATES = (("in service", "induced_v", "more_v"), ("under a fault", "induced_fault_v", "more_fault_v"))


@dataclass(frozen=True)
class Profile:
    """Everything that is drawn of one tower and its line.

    Attributes
    ----------
    line_id, tower_id : str
    tables : mapping of DataFrame
        NaN where unknown; the names of the columns carry the units.

        bearing
            One row for each distance and bearing: voltages induced in a straight lead.
        distance
            One row for each side and distance along its best bearing: voltages, bias of two such leads.
        line
            One row for each tower of the line: what a fault and the load do to it.
        best
            The best bearing of each side, and what a lead 10 degrees off it picks up more.
        directions
            Bearings of spans, normals to them and bisector.
        limits
            By ``column`` of the tables above: ``value`` and ``text``.
    unknown : mapping
        Why figures are unknown, by their column.
    rests_on : tuple of str
        What was assumed or left out, in a few words each.
    assumptions, cautions : tuple of str
        The same in full; what the crew is warned of.
    """

    line_id: str
    tower_id: str
    tables: Mapping[str, pd.DataFrame]
    unknown: Mapping[str, str]
    rests_on: tuple[str, ...]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]


def profile(job: Job, tower: str, line: str | None = None) -> Profile:
    """Work out the tables for one tower of a job.

    Parameters
    ----------
    job : Job
        All that the tower's figures depend on.
    tower : str
        Id of the tower.
    line : str, optional
        Id of its line, where several lines have a tower of that id.

    Returns
    -------
    Profile
        Tables, and why figures are unknown.

    Raises
    ------
    JobError
        If the job has no such tower (or several), or gives nothing electrical of its line.
    InputError
        If a file of the job cannot be used.
    """
    inputs = read_inputs(job)
    model = build_lines(inputs.lines)
    row = _find(model.towers, tower, line)
    network = build_network(job, model, [(source.line, source.faults) for source in inputs.lines])
    if network.owner[row] < 0:
        raise JobError(
            f"line '{model.towers.line_id[row]}' has no voltage_kv: nothing electrical is known of tower {tower}. Give "
            "it in the job file, with [lines.load] and [lines.fault]."
        )
    line_id = str(model.towers.line_id[row])
    around, expected = _with_all_spans(job, inputs, model, row), measured(network)
    bearing = bearing_table(network, expected, row, around, job.rules)
    best = best_bearings(bearing)
    tables = {
        "bearing": bearing,
        "distance": distance_table(network, expected, row, best["bearing_true_deg"].to_numpy()),
        "line": line_table(network, line_id),
        "best": best,
        "directions": directions_table(around),
        "limits": limits_table(network, row),
    }
    unknown = unknown_texts(network, row, tables)
    return Profile(line_id, tower, tables, unknown, rests_on(network), network.assumptions, CAUTIONS)


def profile_lines(made: Profile) -> list[str]:
    """Report the best bearings, and what is unknown.

    Parameters
    ----------
    made : Profile
        From `profile`.

    Returns
    -------
    list of str
    """
    lines = [f"tower {made.tower_id} of line '{made.line_id}'"]
    for row in made.tables["best"].to_dict("records"):
        rule = "" if row["keeps_angle"] else "; no bearing there keeps the least angle to every span"
        how = _HOW[row["chosen_by"]]
        lines.append(f"  {row['side']}: best bearing {row['bearing_true_deg']:.0f} degrees, {how}{rule}")
        for state, value, more in _STATES:
            if not np.isnan(row[value]):
                off = f"{OFF_DEG:g} degrees off costs {row[more]:.2f} V"
                lines.append(f"    {state}: {row[value]:.2f} V induced, {off} at {row['distance_m']:g} m")
    return [*lines, *(f"  {text}" for text in dict.fromkeys(made.unknown.values()))]


def _with_all_spans(job: Job, inputs: Inputs, model: LineModel, row: int) -> Towers:
    """Return the tower alone, with the mapped power lines that end there among its spans, as in planning."""
    one = model.towers.rows(np.array([row]))
    nearby = in_sight(inputs.features, one, _AT_TOWER_M)
    obstacles, _ = build_obstacles(nearby, model.spans, job.obstacle_classes, permitted_given=job.gives_permitted_land)
    return with_mapped_spans(one, find_near(obstacles, one, _AT_TOWER_M), obstacles)


def _find(towers: Towers, tower: str, line: str | None) -> int:
    named = np.flatnonzero(towers.tower_id == tower)
    found = named if line is None else named[towers.line_id[named] == line]
    if len(found) == 1:
        return int(found[0])
    if len(found) > 1:
        raise JobError(f"tower {tower} stands in lines {_list(towers.line_id[found])}; use --line.")
    if len(named):
        others = _list(towers.line_id[named])
        raise JobError(f"line '{line}' has no tower '{tower}' to be measured; it is a tower of {others}.")
    known = towers.tower_id.tolist()
    near = get_close_matches(tower, known, 3, 0.3) or known[:5]
    raise JobError(f"the job has no tower '{tower}' to be measured; there are for instance {', '.join(near)}.")


def _list(names: StrArray) -> str:
    return ", ".join(names.tolist())
