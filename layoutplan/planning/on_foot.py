"""Ways on foot as the checks of a stake see them: to its tower, and on to itself."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layoutplan.access import NOT_COVERED, PERMISSION, REACHABLE
from layoutplan.line.geodesy import FloatArray

BoolArray = NDArray[np.bool_]
Names = NDArray[np.object_] | NDArray[np.str_]


@dataclass(frozen=True, slots=True)
class OnFoot:
    """Ways to some stakes, one entry each.

    Attributes
    ----------
    walk_min : ndarray
        From the tower to the stake, NaN where there is no way or it is unknown. [min]
    is_known, is_shut, asks : ndarray of bool
        The map tells; there is no way, or none to the tower; somebody must be asked.
    detail : list of str
    """

    walk_min: FloatArray
    is_known: BoolArray
    is_shut: BoolArray
    asks: BoolArray
    detail: list[str]


def on_foot(approaches: gpd.GeoDataFrame | None, line_id: Names, tower_id: Names, role: Names) -> OnFoot | None:
    """Look up the ways to stakes; None where none were looked for.

    Parameters
    ----------
    approaches : GeoDataFrame or None
        Columns :data:`layoutplan.access.APPROACH_COLUMNS`.
    line_id, tower_id, role : ndarray of str, shape (n,)
    """
    if approaches is None:
        return None
    table = pd.DataFrame(approaches.drop(columns="geometry")).set_index(["line_id", "tower_id", "to"])
    towers = np.full(len(role), "tower", dtype=object)
    to_tower, to_stake = (table.reindex(pd.MultiIndex.from_arrays([line_id, tower_id, to])) for to in (towers, role))
    verdicts = np.stack([part["verdict"].to_numpy(dtype=object) for part in (to_tower, to_stake)])
    open_ways = (verdicts == REACHABLE) | (verdicts == PERMISSION)
    known = ~((verdicts == NOT_COVERED) | pd.isna(verdicts)).any(axis=0)
    return OnFoot(
        walk_min=to_stake["walk_min"].to_numpy(dtype=float),
        is_known=known,
        is_shut=known & ~open_ways.all(axis=0),
        asks=(verdicts == PERMISSION).any(axis=0),
        detail=[_detail(*texts) for texts in zip(_texts(to_tower), _texts(to_stake), strict=True)],
    )


def _texts(ways: pd.DataFrame) -> list[str]:
    verdict, note = (ways[name].fillna("").tolist() for name in ("verdict", "note"))
    return [f"{what} ({why})" if why else what for what, why in zip(verdict, note, strict=True)]


def _detail(to_tower: str, to_stake: str) -> str:
    return f"to the tower: {to_tower}; to the stake: {to_stake}"
