"""Ways on foot as the checks of a stake see them: to its tower, and on to itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layoutplan.access import OFF_THE_MAP, PERMISSION, REACHABLE, TOWER
from layoutplan.arrays import BoolArray, FloatArray, StrArray
from layoutplan.line.geodesy import inverse
from layoutplan.line.model import Towers

SAME_WAY_M = 5.0  # about a cell of the lattice on which ways are found (judgement)
_STAKE = ["line_id", "tower_id", "role"]
Names = NDArray[np.object_] | StrArray


@dataclass(frozen=True, slots=True)
class StakeWalks:
    """Ways to some stakes, one entry each.

    Attributes
    ----------
    walk_min : ndarray
        From the tower to the stake, NaN where there is no way or it is unknown. [min]
    is_known, is_shut, asks : ndarray of bool
        The map shows it; there is no way, or none to the tower; somebody must be asked.
    detail : list of str
    """

    walk_min: FloatArray
    is_known: BoolArray
    is_shut: BoolArray
    asks: BoolArray
    detail: list[str]


def on_foot(approaches: gpd.GeoDataFrame | None, line_id: Names, tower_id: Names, role: Names) -> StakeWalks | None:
    """Look up the ways to stakes.

    Parameters
    ----------
    approaches : GeoDataFrame or None
        Columns :data:`layoutplan.access.APPROACH_COLUMNS`.
    line_id, tower_id, role : ndarray of str, shape (n,)
        Of the stakes.

    Returns
    -------
    StakeWalks or None
        None where no ways were looked for.
    """
    if approaches is None:
        return None
    table = pd.DataFrame(approaches.drop(columns="geometry")).set_index(["line_id", "tower_id", "to"])
    towers = np.full(len(role), TOWER, dtype=object)
    to_tower, to_stake = (table.reindex(pd.MultiIndex.from_arrays([line_id, tower_id, to])) for to in (towers, role))
    verdicts = np.stack([part["verdict"].to_numpy(dtype=object) for part in (to_tower, to_stake)])
    open_ways = (verdicts == REACHABLE) | (verdicts == PERMISSION)
    known = ~((verdicts == OFF_THE_MAP) | pd.isna(verdicts)).any(axis=0)
    return StakeWalks(
        walk_min=to_stake["walk_min"].to_numpy(dtype=float),
        is_known=known,
        is_shut=known & ~open_ways.all(axis=0),
        asks=(verdicts == PERMISSION).any(axis=0),
        detail=[_detail(*texts) for texts in zip(_texts(to_tower), _texts(to_stake), strict=True)],
    )


@dataclass(frozen=True, slots=True)
class PlannedWays:
    """What a written plan knew of the ways to stakes that are still about where it put them.

    Ways are not looked for again: the map of a plan ends before the roads. To a stake that was moved farther than
    ``SAME_WAY_M`` the way is unknown.

    Attributes
    ----------
    approaches : GeoDataFrame or None
        None if the plan held no ways.
    walk_min : ndarray, shape (n,)
        As it counted in the score; NaN where unknown. [min]
    """

    approaches: gpd.GeoDataFrame | None
    walk_min: FloatArray

    @classmethod
    def of(cls, tables: Mapping[str, Any], towers: Towers, role: Names, lonlat_deg: FloatArray) -> PlannedWays:
        """Look up n stakes in the tables of a plan.

        Parameters
        ----------
        tables : mapping of str to DataFrame
            Of the plan.
        towers : Towers
            The tower of each stake, n of them.
        role : ndarray of str, shape (n,)
            ``"H"`` or ``"S"``.
        lonlat_deg : ndarray, shape (n, 2)
            Where the stakes are now. [deg]

        Returns
        -------
        PlannedWays
            Only of stakes that are where they were planned.
        """
        planned = tables["electrodes"].set_index(_STAKE)[["lon", "lat", "walk_min"]]
        keys = pd.MultiIndex.from_arrays([towers.line_id, towers.tower_id, role], names=_STAKE)
        before = planned.reindex(keys)
        place = before[["lon", "lat"]].to_numpy(dtype=float)
        away_m = np.full(len(keys), np.inf)
        known = ~np.isnan(place).any(axis=1)
        away_m[known] = inverse(place[known], lonlat_deg[known])[1]
        there = away_m <= SAME_WAY_M
        walk_min = np.where(there, before["walk_min"].to_numpy(dtype=float), np.nan)
        ways = tables.get("approaches")
        if ways is None or ways.empty:
            return cls(None, walk_min)
        stays = pd.MultiIndex.from_frame(ways[["line_id", "tower_id", "to"]]).isin(keys[there])
        return cls(gpd.GeoDataFrame(ways[stays | (ways["to"] == TOWER).to_numpy()]), walk_min)


def _texts(ways: pd.DataFrame) -> list[str]:
    verdict, note = (ways[name].tolist() for name in ("verdict", "note"))
    verdict = ["not looked for" if pd.isna(text) else text for text in verdict]
    note = ["" if pd.isna(text) else text for text in note]
    return [f"{what} ({why})" if why else what for what, why in zip(verdict, note, strict=True)]


def _detail(to_tower: str, to_stake: str) -> str:
    return f"to the tower: {to_tower}; to the stake: {to_stake}"
