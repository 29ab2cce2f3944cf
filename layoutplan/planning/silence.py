"""What the map is silent about, stake by stake."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.inputs.gaps import SILENT_CLASSES
from layoutplan.line.geodesy import direct
from layoutplan.siting.obstacles import Obstacles

_UNSEEN = "; {}: what else may be in the way is not known"
_NOTHING, _PARTS = "the map does not cover this tower", "the map is incomplete near this tower"
_CORNERS = 16  # of what stands for the disc about a tower


def silent_on_the_way(obstacles: Obstacles, start_deg: FloatArray, end_deg: FloatArray) -> list[list[str]]:
    """Causes for which the map is silent of ground that leads run over, lead by lead.

    Parameters
    ----------
    obstacles : Obstacles
        Of the whole job.
    start_deg, end_deg : ndarray, shape (n, 2)
        Ends of the leads, longitude and latitude. [deg]

    Returns
    -------
    list of list of str
        Codes (:mod:`layoutplan.inputs.gaps`), none where the map has no such gap.
    """
    found: list[list[str]] = [[] for _ in start_deg]
    codes = {obstacles.code(name): cause for name, cause in SILENT_CLASSES.items()}
    if not np.isin(obstacles.class_code, list(codes)).any():
        return found
    leads = shapely.linestrings(np.stack((start_deg, end_deg), axis=1))
    lead, area = obstacles.areas.query(leads, predicate="intersects")
    for row, code in zip(lead.tolist(), obstacles.class_code[obstacles.area_feature[area]].tolist(), strict=True):
        if code in codes:
            found[row].append(codes[code])
    return found


def unseen_by_advice(
    obstacles: Obstacles, towers_deg: FloatArray, covers: NDArray[np.bool_], reach_m: float
) -> list[str]:
    """Warn, tower by tower, that more may be in the way of what is advised than the map shows.

    Parameters
    ----------
    obstacles : Obstacles
        Of the whole job.
    towers_deg : ndarray, shape (n, 2)
        Longitude and latitude. [deg]
    covers : ndarray of bool, shape (n,)
        Whether the map reaches the tower's surroundings.
    reach_m : float
        How far about a tower a lead may run. [m]

    Returns
    -------
    list of str
        Empty where the map shows everything.
    """
    corners = np.repeat(towers_deg[:, None], _CORNERS, axis=1).reshape(-1, 2)
    bearing = np.tile(np.arange(_CORNERS) * (360.0 / _CORNERS), len(towers_deg))
    around = direct(corners, bearing, np.full(len(bearing), reach_m)).reshape(-1, _CORNERS, 2)
    tower, area = obstacles.areas.query(shapely.polygons(around), predicate="intersects")
    silent = np.zeros(len(towers_deg), dtype=bool)
    silent[tower[is_silent(obstacles, obstacles.area_feature[area])]] = True
    return [
        "" if known and not parts else _UNSEEN.format(_PARTS if known else _NOTHING)
        for known, parts in zip(covers.tolist(), silent.tolist(), strict=True)
    ]


def is_silent(obstacles: Obstacles, feature: Sequence[int] | np.ndarray) -> np.ndarray:
    """Mark features that stand for ground of which the map is silent.

    Parameters
    ----------
    obstacles : Obstacles
        Of the whole job.
    feature : ndarray of int, shape (n,)
        Numbers of features.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    codes = [obstacles.code(name) for name in SILENT_CLASSES]
    return np.asarray(np.isin(obstacles.class_code[feature], codes))
