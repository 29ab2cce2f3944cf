"""What all files of points share: rounded positions, the towers' waypoint names, and a plan cut into parts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from layoutplan.layout.model import Plan
from layoutplan.outputs.columns import as_lists, turned_lon
from layoutplan.outputs.rounding import LONLAT_DECIMALS, rounded_lon
from layoutplan.outputs.waypoint_names import waypoint_names

_KEYS = ("line_id", "tower_id")


def rounded_lonlat(lon_deg: ArrayLike, lat_deg: ArrayLike) -> tuple[list[float], list[float]]:
    """Round to a centimetre, as the schemas want them.

    Parameters
    ----------
    lon_deg, lat_deg : array_like, shape (n,)
        Longitudes of any turn. [deg]

    Returns
    -------
    lon_deg, lat_deg : list of float
        Longitudes within [-180, 180). [deg]

    Examples
    --------
    >>> rounded_lonlat([180.5], [47.123456789])
    ([-179.5], [47.1234568])
    """
    lon = rounded_lon(turned_lon(lon_deg))
    return lon.tolist(), (np.round(np.asarray(lat_deg, dtype=float), LONLAT_DECIMALS) + 0.0).tolist()


def known_height_m(value_m: float | None) -> float | None:
    """Height to a tenth of a metre.

    Parameters
    ----------
    value_m : float or None
        NaN or None where unknown. [m]

    Returns
    -------
    float or None
        None where it is unknown. [m]

    Examples
    --------
    >>> known_height_m(421.26), known_height_m(float("nan"))
    (421.3, None)
    """
    return None if value_m is None or not np.isfinite(value_m) else round(value_m, 1) + 0.0


def tower_waypoints(plan: Plan) -> list[str]:
    """Return the waypoint name of each tower, ``012-T``: unique over the job, the stakes' names left to the stakes.

    Parameters
    ----------
    plan : Plan
        With towers and electrodes.

    Returns
    -------
    list of str
        In the towers' order.
    """
    table = plan.towers
    return waypoint_names(
        table["line_id"].tolist(),
        table["tower_id"].tolist(),
        ["T"] * len(table),
        plan.job.output.waypoint_length,
        taken=plan.electrodes["waypoint"],
    )


def parts(plan: Plan, most: int | None) -> list[Plan]:
    """Cut a plan's towers, stakes, leads and ways into parts of few points, each tower with its stakes, in order.

    Parameters
    ----------
    plan : Plan
        On the globe.
    most : int or None
        Points (towers and stakes) in a part; None: all in one.

    Returns
    -------
    list of Plan
        At least one; tables other than towers, electrodes, leads and approaches are whole in each.
    """
    number = _part_numbers(plan, most)
    if not len(number) or number[-1] == 0:
        return [plan]
    of_tower = dict(zip(_keys(plan.towers), number.tolist(), strict=True))
    tables = {name: getattr(plan, name) for name in ("towers", "electrodes", "leads", "approaches")}
    rows = {name: np.array([of_tower[key] for key in _keys(table)], dtype=int) for name, table in tables.items()}
    return [
        replace(plan, **{name: table[rows[name] == part].reset_index(drop=True) for name, table in tables.items()})
        for part in range(number[-1] + 1)
    ]


def _part_numbers(plan: Plan, most: int | None) -> NDArray[np.int_]:
    """Part of each tower: as many whole towers as fit, one after the other."""
    stakes = pd.Series(_keys(plan.electrodes), dtype=object).value_counts().to_dict()
    number, part, filled = [], 0, 0
    for key in _keys(plan.towers):
        points = 1 + stakes.get(key, 0)
        if most is not None and filled and filled + points > most:
            part, filled = part + 1, 0
        filled += points
        number.append(part)
    return np.array(number, dtype=int)


def _keys(table: pd.DataFrame) -> list[tuple[str, str]]:
    return list(zip(*as_lists(table, _KEYS), strict=True))
