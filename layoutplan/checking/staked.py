"""The stakes as the crew set them: field points matched to the plan, ready to be held against its rules."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import shapely

from layoutplan.arrays import FloatArray
from layoutplan.checking.edited import Given, missing_stakes
from layoutplan.checking.matching import match
from layoutplan.checking.reopen import Reopened
from layoutplan.checking.reported import reported
from layoutplan.errors import InputError
from layoutplan.inputs.door import allowing
from layoutplan.inputs.staked import Staked, read_staked
from layoutplan.text import clean

# Receivers keep 1e-7 degrees, a centimetre each way, which is 0.02 degrees of the angle between short leads; without it
# a stake set exactly where it was planned would break the limit it was planned at.
GRACE = 0.02


@dataclass(frozen=True, slots=True)
class FromField:
    """What came back from the field.

    Attributes
    ----------
    given : Given
    points : DataFrame
        The matched points with all that the file says of them, readings included.
    reported : DataFrame
        What the crew said of each stake, see :func:`layoutplan.checking.reported.reported`.
    """

    given: Given
    points: pd.DataFrame
    reported: pd.DataFrame


def staked_stakes(plan: Reopened, path: Path, crs: str | None, tolerance_m: float) -> FromField:
    """Read as-staked points and find the planned stake of each.

    Parameters
    ----------
    plan : Reopened
        The plan.
    path : Path
        GPX, CSV or any vector file.
    crs : str, optional
        Of a file that carries none.
    tolerance_m : float
        For points without a name of the plan. [m]

    Returns
    -------
    FromField

    Raises
    ------
    InputError
        The file cannot be used, or one of its rows is of another plan.
    """
    with allowing(plan.job):
        staked = read_staked(path, crs)
    _refuse_other_rows(staked, plan.plan_number)
    planned = plan.tables["electrodes"]
    found = match(staked, planned, tolerance_m)
    points = found.matched
    told, odd = reported(staked, found, planned)
    towers = plan.model.towers
    rows = {key: i for i, key in enumerate(zip(towers.line_id.tolist(), towers.tower_id.tolist(), strict=True))}
    tower = [rows[key] for key in zip(points["line_id"].tolist(), points["tower_id"].tolist(), strict=True)]
    place = planned.set_index("waypoint")[["lon", "lat"]]
    lonlat = plan.frame.points(np.asarray(shapely.get_coordinates(points.geometry.to_numpy())).reshape(-1, 2))
    given = Given(
        np.array(tower, dtype=np.int64),
        points["role"].to_numpy(dtype="<U1"),
        lonlat,
        _places(plan, place, points),
        points["accuracy_m"].to_numpy(dtype=float),
        missing_stakes(found.missing, np.array(shapely.points(_places(plan, place, found.missing)))),
        (*staked.problems, *staked.assumptions, *found.warnings, *odd),
        GRACE,
    )
    return FromField(given, pd.DataFrame(points.drop(columns=points.geometry.name)), told)


def _refuse_other_rows(staked: Staked, number: str) -> None:
    """Refuse rows that say themselves that they are of another plan, whatever else their file says."""
    others = sorted(staked.plan_numbers - {number})
    if number and others:
        raise InputError(
            f"{staked.source}: carries the number of another plan ({', '.join(clean(one)[:40] for one in others[:3])}) "
            f"in its column 'plan_number'; this is plan {number}. Check each row against the plan from which it was "
            "staked."
        )


def _places(plan: Reopened, place: pd.DataFrame, rows: pd.DataFrame) -> FloatArray:
    """Planned longitude and latitude of stakes, by their waypoints."""
    return plan.frame.points(place.loc[rows["waypoint"]].to_numpy(dtype=float).reshape(-1, 2))
