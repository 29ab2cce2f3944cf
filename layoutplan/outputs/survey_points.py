"""The points that survey and drawing files hold: each tower, then its stakes, with numbers and short names."""

from __future__ import annotations

import pandas as pd

from layoutplan.layout.model import Plan
from layoutplan.layout.set_out import marked_name
from layoutplan.outputs.columns import with_columns
from layoutplan.outputs.points import tower_waypoints

_COLUMNS = ["line_id", "tower_id", "lon", "lat", "elevation_m", "status"]
_FIRST = 10_000
_PLACES = {"T": 0, "H": 1, "S": 2}  # last digit of the number


def survey_points(plan: Plan) -> pd.DataFrame:
    """Points of the plan, tower by tower.

    Parameters
    ----------
    plan : Plan
        On the globe.

    Returns
    -------
    DataFrame
        ``number`` (10010 for the first tower, 10020 for the second; its H one more, its S two more: a number does not
        depend on which towers have a layout, and is hardly taken for a tower's own), ``name`` (the waypoint's),
        ``shown_as`` (that, marked
        where nothing may be staked yet), ``role`` (T tower, H, S), ``line_id, tower_id, lon, lat, elevation_m,
        status``.
    """
    towers, stakes = with_columns(plan.towers, "towers"), with_columns(plan.electrodes, "electrodes")
    keys = list(zip(towers["line_id"], towers["tower_id"], strict=True))
    tens = {key: _FIRST + 10 * number for number, key in enumerate(keys, 1)}
    parts = [
        pd.DataFrame(towers[_COLUMNS]).assign(role="T", name=tower_waypoints(plan)),
        pd.DataFrame(stakes[_COLUMNS]).assign(role=stakes["role"], name=stakes["waypoint"]),
    ]
    points = pd.concat([part for part in parts if len(part)] or parts, ignore_index=True)
    own = zip(points["line_id"], points["tower_id"], points["role"], strict=True)
    number = [tens[line, tower] + _PLACES[role] for line, tower, role in own]
    length = plan.job.output.waypoint_length
    shown = [
        name if role == "T" else marked_name(name, status, length)
        for name, role, status in zip(points["name"], points["role"], points["status"], strict=True)
    ]
    return points.assign(number=number, shown_as=shown).sort_values("number", ignore_index=True)
