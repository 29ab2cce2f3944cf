"""What to look at among matched points, in words: on each of them, and once for all."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.inputs.words import counted, listed

FAR_M = 500.0  # no crew moves a stake so far (judgement)
ON_THE_PLAN_M = 0.02  # a receiver seldom lands so near its target; a planned point that came back does (judgement)
_SHIFT_M = 10.0  # offsets that all stakes have in common, from here on (judgement)
_SHIFT_SPREAD = 0.25  # most points within this share of the common offset (judgement)
_FEWEST = 3  # stakes that show a common offset (judgement)


def match_warnings(table: pd.DataFrame, tolerance_m: float, where: str) -> tuple[list[str], list[str]]:
    """Warn of matches that may be wrong.

    Parameters
    ----------
    table : DataFrame
        Matches: ``name, row, by, waypoint, offset_m, bearing_deg, nearest, nearest_m, repeats``.
    tolerance_m : float
        Of matching by place. [m]
    where : str
        File of the points, for messages.

    Returns
    -------
    each : list of str
        For every match; empty where there is no warning.
    together : list of str
        Headlines, one for each kind of warning.
    """
    rows = list(table.itertuples())
    each: list[list[str]] = [[] for _ in rows]
    together = []
    for mask, text, headline in _cases(table, tolerance_m):
        found = np.flatnonzero(mask)
        for i in found.tolist():
            each[i].append(text(rows[i]))
        if len(found):
            names = listed(table["waypoint"].iloc[found])
            together.append(f"{where}: {headline} ({counted(len(found), 'stake')}: {names})")
    together += _common_shift(table, where)
    return ["; ".join(texts) for texts in each], together


def _cases(table: pd.DataFrame, tolerance_m: float) -> list[tuple[NDArray[np.bool_], Callable[[Any], str], str]]:
    named = (table["by"] == "name").to_numpy()
    offset = table["offset_m"].to_numpy(dtype=float)
    elsewhere = (table["nearest"] != table["waypoint"]).to_numpy() & (table["nearest_m"].to_numpy() <= tolerance_m)
    return [
        (
            ~named,
            lambda row: f"{called(row)} is no name of the plan: matched by place, {row.offset_m:.1f} m off",
            "matched by place, not by name",
        ),
        (
            named & elsewhere & (offset > tolerance_m),
            lambda row: f"lies {row.nearest_m:.1f} m from the planned {row.nearest}: names exchanged?",
            "named after one planned stake and near another: names exchanged?",
        ),
        (
            named & (offset > FAR_M),
            lambda row: f"lies {row.offset_m:,.0f} m from its planned place: wrong name, datum or coordinate system?",
            f"more than {FAR_M:g} m from the planned place: wrong name, datum or coordinate system?",
        ),
        (
            offset < ON_THE_PLAN_M,
            lambda row: f"{100 * row.offset_m:.1f} cm from its planned place: a planned point, not a measured one?",
            f"within {100 * ON_THE_PLAN_M:g} cm of the planned place: planned points, not measured ones?",
        ),
        (
            table["repeats"].to_numpy() > 0,
            lambda row: f"marked {row.repeats + 1} times at one place; the first (row {row.row}) is taken",
            "marked more than once at one place; the first is taken",
        ),
    ]


def called(row: Any) -> str:
    """How a point is called: by its name, or by its row if it has none.

    Parameters
    ----------
    row : named tuple
        Of a table of points.

    Returns
    -------
    str

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> called(SimpleNamespace(name="", row=7))
    'the point of row 7'
    """
    return f"'{row.name}'" if row.name else f"the point of row {row.row}"


def _common_shift(table: pd.DataFrame, where: str) -> list[str]:
    """Report an offset that the stakes have in common: a datum or system taken for another moves all alike."""
    offset = table["offset_m"].to_numpy(dtype=float)
    if len(offset) < _FEWEST:
        return []
    angle = np.radians(np.nan_to_num(table["bearing_deg"].to_numpy(dtype=float)))
    moved: FloatArray = np.column_stack((offset * np.sin(angle), offset * np.cos(angle)))
    common = np.median(moved, axis=0)
    size = float(np.hypot(*common))
    spread = float(np.quantile(np.hypot(*(moved - common).T), 0.8))
    if size < _SHIFT_M or spread > _SHIFT_SPREAD * size:
        return []
    bearing = round(float(np.degrees(np.arctan2(*common)))) % 360
    return [
        f"{where}: nearly all stakes lie about {size:.0f} m from their planned places in one direction "
        f"({bearing} degrees): wrong datum or coordinate system?"
    ]


def unmatched_reasons(table: pd.DataFrame, first_rows: NDArray[np.int64], tolerance_m: float) -> list[str]:
    """State why points are not matched.

    Parameters
    ----------
    table : DataFrame
        Unmatched points: ``nearest``, ``nearest_m``.
    first_rows : ndarray of int
        Row that each point repeats, -1 if none.
    tolerance_m : float
        Of matching by place. [m]

    Returns
    -------
    list of str
        One for each point.

    Examples
    --------
    >>> points = pd.DataFrame({"nearest": ["T1-H", "T1-H"], "nearest_m": [3.0, 250.0]})
    >>> unmatched_reasons(points, np.array([4, -1]), 10.0)
    ['repeats the point of row 4', 'no planned stake within 10 m']
    """
    near = table["nearest_m"].to_numpy(dtype=float) <= tolerance_m
    return [
        f"repeats the point of row {first}" if first >= 0
        else f"near {nearest}, which another point has, or several claim by name" if close
        else f"no planned stake within {tolerance_m:g} m"
        for first, nearest, close in zip(first_rows.tolist(), table["nearest"], near.tolist(), strict=True)
    ]  # fmt: skip


def unmatched_words(ambiguous: pd.DataFrame, unmatched: pd.DataFrame, missing: pd.DataFrame, where: str) -> list[str]:
    """What was not matched, in words.

    Parameters
    ----------
    ambiguous, unmatched, missing : DataFrame
        Of :class:`layoutplan.checking.matching.Matches`.
    where : str
        File of the points, for messages.

    Returns
    -------
    list of str
        Warnings; empty where everything was matched.
    """
    notes = []
    if len(ambiguous):
        names = listed(dict.fromkeys(f"'{name}'" for name in ambiguous["name"]))
        rows = listed(ambiguous["row"])
        notes.append(f"{where}: points that share a name and lie apart; none is matched: {names} (row {rows})")
    strange = unmatched[[not why.startswith("repeats") for why in unmatched["why"]]]
    if len(strange):
        names = listed(called(row) for row in strange.itertuples())
        notes.append(f"{where}: {counted(len(strange), 'point')} matched to no planned stake: {names}")
    if len(missing):
        notes.append(f"{counted(len(missing), 'planned stake')} without a staked point: {listed(missing['waypoint'])}")
    return notes
