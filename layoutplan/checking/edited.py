"""The stakes that a plan's file now holds: moved, exchanged, deleted or added by hand in a GIS."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.checking.reopen import Reopened
from layoutplan.errors import OutputError
from layoutplan.line.geodesy import inverse, to_ecef
from layoutplan.line.model import Towers
from layoutplan.line.structures import names_of
from layoutplan.text import clean

STANDS_STILL_M = 0.001  # the file keeps positions to a tenth of a millimetre


@dataclass(frozen=True, slots=True)
class Given:
    """Positions to be held against the rules; one entry each.

    Attributes
    ----------
    tower : ndarray of int
        Row of the plan's towers.
    role : ndarray of str
    lonlat_deg : ndarray, shape (n, 2)
    planned_deg : ndarray, shape (n, 2)
        Where the plan had put that stake; NaN if it had none.
    accuracy_m : ndarray
        Of the position; NaN if unknown. [m]
    missing : GeoDataFrame
        Planned stakes that are not among them: ``line_id, tower_id, role, waypoint``, where they were planned.
    problems : tuple of str
    grace : float
        A limit missed by no more than this counts as kept: what the positions are rounded by. [m, deg]
    """

    tower: IntArray
    role: np.ndarray
    lonlat_deg: FloatArray
    planned_deg: FloatArray
    accuracy_m: FloatArray
    missing: gpd.GeoDataFrame
    problems: tuple[str, ...]
    grace: float = 0.001  # a plan's file keeps positions to a tenth of a millimetre


def edited_stakes(plan: Reopened) -> Given:
    """Read the electrodes as they are now in the plan's file.

    A stake without tower goes to the nearest one, a stake without role takes the one that is free there; both are
    reported.

    Parameters
    ----------
    plan : Reopened
        The plan.

    Returns
    -------
    Given
        One entry for each stake.

    Raises
    ------
    OutputError
        If a stake has no place, or a tower has two stakes of one role.
    """
    table, towers = plan.tables["electrodes"], plan.model.towers
    _check_places(table)
    lonlat = shapely.get_coordinates(table.geometry.to_numpy())
    tower, notes = _towers_of(table, lonlat, towers)
    role, also = _roles_of(table, tower, towers)
    _check_once(tower, role, towers)
    planned, missing = _planned(plan, tower, role)
    return Given(tower, role, lonlat, planned, np.full(len(tower), np.nan), missing, (*notes, *also))


def _check_places(table: gpd.GeoDataFrame) -> None:
    kinds = shapely.get_type_id(table.geometry.to_numpy())
    bad = np.flatnonzero((kinds != shapely.GeometryType.POINT) | shapely.is_empty(table.geometry.to_numpy()))
    if len(bad):
        names = ", ".join(clean(table["waypoint"].iloc[i]) or f"row {i + 1}" for i in bad[:5].tolist())
        raise OutputError(f"layer 'electrodes': {names}: no point. Draw a point or delete the row.")


def _towers_of(table: gpd.GeoDataFrame, lonlat: FloatArray, towers: Towers) -> tuple[IntArray, list[str]]:
    rows = {key: i for i, key in enumerate(zip(towers.line_id.tolist(), towers.tower_id.tolist(), strict=True))}
    keys = zip(table["line_id"].map(clean), table["tower_id"].map(clean), strict=True)
    tower = np.array([rows.get(key, -1) for key in keys], dtype=np.int64)
    lost, names = np.flatnonzero(tower < 0), names_of(towers.line_id, towers.tower_id)
    if len(lost):
        _, nearest = cKDTree(to_ecef(towers.lonlat_deg)).query(to_ecef(lonlat[lost]))
        tower[lost] = nearest
    notes = [
        f"a stake at {lonlat[i, 1]:.6f} {lonlat[i, 0]:.6f} names no tower of the plan: taken for the nearest, "
        f"{names[tower[i]]}"
        for i in lost.tolist()
    ]
    return tower, notes


def _roles_of(table: gpd.GeoDataFrame, tower: IntArray, towers: Towers) -> tuple[np.ndarray, list[str]]:
    role = np.array([clean(value).upper() for value in table["role"].tolist()], dtype="<U1")
    notes, names = [], names_of(towers.line_id, towers.tower_id)
    for i in np.flatnonzero(~np.isin(role, ["H", "S"])).tolist():
        taken = set(role[(tower == tower[i]) & np.isin(role, ["H", "S"])].tolist())
        free = [name for name in ("H", "S") if name not in taken]
        if not free:
            raise OutputError(f"layer 'electrodes': tower {names[tower[i]]} has more than two stakes. Delete one.")
        role[i] = free[0]
        notes.append(f"a stake of tower {names[tower[i]]} had no role: taken for {free[0]}")
    return role, notes


def _check_once(tower: IntArray, role: np.ndarray, towers: Towers) -> None:
    twice = pd.DataFrame({"tower": tower, "role": role}).duplicated().to_numpy()
    if twice.any():
        i, names = int(np.flatnonzero(twice)[0]), names_of(towers.line_id, towers.tower_id)
        raise OutputError(f"layer 'electrodes': tower {names[tower[i]]} has two stakes {role[i]}. Delete one.")


def _planned(plan: Reopened, tower: IntArray, role: np.ndarray) -> tuple[FloatArray, gpd.GeoDataFrame]:
    """Where the plan had put the stakes: by the leads' columns, since an editor may drag a lead with its stake."""
    leads, towers = plan.tables["leads"], plan.model.towers
    ends = np.array(shapely.points(plan.frame.points(leads[["lon", "lat"]].to_numpy(dtype=float))))
    keys = list(zip(leads["line_id"], leads["tower_id"], leads["role"], strict=True))
    place = dict(zip(keys, shapely.get_coordinates(ends).tolist(), strict=True))
    mine = list(zip(towers.line_id[tower].tolist(), towers.tower_id[tower].tolist(), role.tolist(), strict=True))
    planned = np.array([place.get(key, (np.nan, np.nan)) for key in mine], dtype=float).reshape(-1, 2)
    there = set(mine)
    gone = np.array([key not in there for key in keys], dtype=bool)
    return planned, missing_stakes(leads[gone], ends[gone])


def missing_stakes(rows: pd.DataFrame, points: np.ndarray) -> gpd.GeoDataFrame:
    """Table of planned stakes that are not there.

    Parameters
    ----------
    rows : DataFrame
        ``line_id``, ``tower_id``, ``role``, ``waypoint``.
    points : ndarray of Point, shape (n,)
        Where they were planned, EPSG:4326.

    Returns
    -------
    GeoDataFrame
        In their order.
    """
    table = pd.DataFrame(rows[["line_id", "tower_id", "role", "waypoint"]]).reset_index(drop=True)
    return gpd.GeoDataFrame(table, geometry=points, crs="EPSG:4326")


def offsets(given: Given) -> tuple[FloatArray, FloatArray]:
    """Distance and true bearing from where each stake was planned to where it is.

    Parameters
    ----------
    given : Given
        n stakes.

    Returns
    -------
    distance_m, bearing_deg : ndarray, shape (n,)
        NaN if the stake was not planned; the bearing also where it stands still. [m], [deg]

    Examples
    --------
    A stake 10 m east of where it was planned, and one that was not planned:

    >>> from types import SimpleNamespace
    >>> planned = np.array([[8.0, 47.0], [np.nan, np.nan]])
    >>> away, bearing = offsets(SimpleNamespace(planned_deg=planned, lonlat_deg=np.array([[8.0001315, 47.0]] * 2)))
    >>> print(away.round(1), "m", bearing.round(1), "deg")
    [10. nan] m [90. nan] deg
    """
    known = ~np.isnan(given.planned_deg[:, 0])
    distance, bearing = np.full(len(known), np.nan), np.full(len(known), np.nan)
    if known.any():
        bearing[known], distance[known] = inverse(given.planned_deg[known], given.lonlat_deg[known])
    bearing[known & ~(distance >= STANDS_STILL_M)] = np.nan
    return distance, bearing
