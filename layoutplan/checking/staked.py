"""The stakes as the crew set them: field points matched to the plan, ready to be held against its rules."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import shapely

from layoutplan.arrays import FloatArray
from layoutplan.checking.edited import Given, missing_stakes
from layoutplan.checking.matching import match
from layoutplan.checking.reopen import Reopened
from layoutplan.inputs.door import allowing
from layoutplan.inputs.staked import read_staked

# Receivers keep 1e-7 degrees, a centimetre each way, which is 0.02 degrees of the angle between short leads; without it
# a stake set exactly where it was planned would break the limit it was planned at.
GRACE = 0.02


def staked_stakes(plan: Reopened, path: Path, crs: str | None, tolerance_m: float) -> tuple[Given, pd.DataFrame]:
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
    given : Given
        Matched points as positions.
    points : DataFrame
        The matched points with all columns of the file, readings included.

    Raises
    ------
    InputError
        If the file cannot be used.
    """
    with allowing(plan.job):
        staked = read_staked(path, crs)
    planned = plan.tables["electrodes"]
    found = match(staked, planned, tolerance_m)
    points = found.matched
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
        (*staked.problems, *staked.assumptions, *found.warnings),
        GRACE,
    )
    return given, pd.DataFrame(points.drop(columns=points.geometry.name))


def _places(plan: Reopened, place: pd.DataFrame, rows: pd.DataFrame) -> FloatArray:
    """Planned longitude and latitude of stakes, by their waypoints."""
    return plan.frame.points(place.loc[rows["waypoint"]].to_numpy(dtype=float).reshape(-1, 2))
