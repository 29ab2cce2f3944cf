"""Who has to be asked for what: one row for each person, body or parcel, whatever it is about."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import pandas as pd

from layoutplan.access import PERMISSION
from layoutplan.job.classes import ObstacleClass
from layoutplan.layout.crossings import LEAD, OUTSIDE, what, where
from layoutplan.layout.rules import AGREE
from layoutplan.planning.tables import plain_table

CROSSING, GROUND, WAY, PARCEL = "lead crosses", "stake stands on", "way on foot", "parcel"
_OWNER = "its owner"


def agreements_table(
    crossings: pd.DataFrame, ways: pd.DataFrame | None, land: pd.DataFrame, classes: Mapping[str, ObstacleClass]
) -> pd.DataFrame:
    """One row for each to be asked, in the order of the line.

    Parameters
    ----------
    crossings : DataFrame
        Of the plan.
    ways : DataFrame or None
        Approaches of the plan.
    land : DataFrame
        Parcels that stakes, leads or approaches touch.
    classes : mapping of ObstacleClass
        Of the job.

    Returns
    -------
    DataFrame
        A table of the plan; ``towers``, ``stakes`` and ``places`` are lists for people to read.
    """
    rows = [*_joined(_met(crossings, classes)), *_joined(_ways(ways)), *_parcels(land)]
    return plain_table(rows, "agreements")


def _met(crossings: pd.DataFrame, classes: Mapping[str, ObstacleClass]) -> Iterator[tuple[tuple[str, ...], Any]]:
    """What is to be agreed about features of the map; pieces of one name and class are one."""
    for row in _rows(crossings[crossings["verdict"] == AGREE]):
        kind = CROSSING if row.met_by == LEAD else GROUND
        whom = _OWNER if row.obstacle_class == OUTSIDE else classes[row.obstacle_class].agreed_by
        same = row.name or row.feature_id
        told = whom, what(row, classes), row.feature_id, row.tower_id, row.role, where(row)
        yield (kind, row.obstacle_class, same), told


def _ways(ways: pd.DataFrame | None) -> Iterator[tuple[tuple[str, ...], Any]]:
    if ways is None:
        return
    for row in _rows(ways[ways["verdict"] == PERMISSION]):
        whom = f"whoever has a say over it: {row.road_name}" if row.road_name else "whoever has a say over it"
        yield (WAY, row.reason), (whom, row.reason, "", row.tower_id, row.to, "")


def _joined(found: Iterable[tuple[tuple[str, ...], Any]]) -> list[tuple[str, ...]]:
    groups: dict[tuple[str, ...], list[Any]] = {}
    for key, item in found:
        groups.setdefault(key, []).append(item)
    return [
        (
            key[0],
            items[0][0],
            items[0][1],
            _listed(item[2] for item in items),
            _listed(item[3] for item in items),
            _listed(f"{item[3]} {item[4]}" for item in items),
            _listed(f"{item[3]} {item[4]} {item[5]}" for item in items if item[5]),
            AGREE,
        )
        for key, items in groups.items()
    ]


def _parcels(land: pd.DataFrame) -> Iterator[tuple[str, ...]]:
    for row in _rows(land):
        yield PARCEL, row.owner_ref, row.permission, row.parcel, row.towers, row.stakes, "", row.state


def _rows(table: pd.DataFrame) -> Iterator[Any]:
    yield from table.itertuples(index=False)


def _listed(texts: Iterable[str]) -> str:
    return ", ".join(dict.fromkeys(text for text in texts if text))
