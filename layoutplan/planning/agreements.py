"""Who has to be asked for what: one row for each person, body or parcel, whatever it is about."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import pandas as pd

from layoutplan.job.classes import ObstacleClass
from layoutplan.layout.agreements import PARCEL, Agreement, agreements_of
from layoutplan.layout.rules import AGREE
from layoutplan.planning.tables import plain_table


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
    on_foot = () if ways is None else ways.itertuples(index=False)
    found = agreements_of(crossings.itertuples(index=False), on_foot, classes)
    return plain_table([*map(_row, found), *_parcels(land)], "agreements")


def _row(found: Agreement) -> tuple[str, ...]:
    cases = found.cases
    return (
        found.kind,
        found.whom,
        found.what,
        _listed(case.reference for case in cases),
        _listed(case.tower_id for case in cases),
        _listed(f"{case.tower_id} {case.to}" for case in cases),
        _listed(f"{case.tower_id} {case.to} {case.place}" for case in cases if case.place),
        AGREE,
    )


def _parcels(land: pd.DataFrame) -> Iterator[tuple[str, ...]]:
    rows: Iterable[Any] = land.itertuples(index=False)
    for row in rows:
        yield PARCEL, row.owner_ref, row.permission, row.parcel, row.towers, row.stakes, "", row.state


def _listed(texts: Iterable[str]) -> str:
    return ", ".join(dict.fromkeys(text for text in texts if text))
