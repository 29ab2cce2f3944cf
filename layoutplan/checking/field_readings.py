"""Readings of a crew beside what the plan expects of their towers."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layoutplan.errors import ColumnError
from layoutplan.inputs.staked_readings import LEG_COLUMNS, READING_COLUMNS, Readings
from layoutplan.inputs.words import listed

LEGS = {"lattice_4": 4, "lattice_3": 3, "frame_2": 2, "pole": 1}
_KEYS = ["line_id", "tower_id"]


def beside_the_plan(readings: Readings, tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Put readings beside the plan.

    Parameters
    ----------
    readings : Readings
        Of the crew.
    tables : mapping of str to DataFrame
        The plan's ``towers`` and ``leads``.

    Returns
    -------
    DataFrame
        The readings in their order, with the line of each tower; ``legs``, how many it has; and what the plan expects:
        ``standing_current_a_low``, ``standing_current_a_high``, ``expected_h_low``, ``expected_h_high`` and the same
        for ``s``, NaN where unknown. [A, V]

    Raises
    ------
    ColumnError
        If a tower is none of the plan's, or several lines have one of its name.
    """
    towers = tables["towers"]
    ranges = ["standing_current_a_low", "standing_current_a_high"]
    found = _with_lines(readings, towers).merge(towers[[*_KEYS, "structure", *ranges]], on=_KEYS, how="left")
    for role in ("H", "S"):
        leads = tables["leads"][tables["leads"]["role"] == role]
        names = {f"expected_reading_v_{end}": f"expected_{role.lower()}_{end}" for end in ("low", "high")}
        found = found.merge(leads[[*_KEYS, *names]].rename(columns=names), on=_KEYS, how="left")
    legs = [LEGS.get(structure, len(LEG_COLUMNS)) for structure in found["structure"]]
    return found.assign(legs=np.array(legs, dtype=np.int64))


def _with_lines(readings: Readings, towers: pd.DataFrame) -> pd.DataFrame:
    """Readings with the line of each tower; where it is not given, the only one that has such a tower."""
    table = readings.table.reset_index(drop=True)
    lines = towers.groupby("tower_id")["line_id"].agg(list).to_dict()
    line = [
        given or (found[0] if len(found := lines.get(tower, [])) == 1 else "")
        for given, tower in zip(table["line_id"], table["tower_id"], strict=True)
    ]
    keys = list(zip(line, table["tower_id"], strict=True))
    several = np.array([not name and tower in lines for name, tower in keys], dtype=bool)
    _refuse(readings, table, several, "more than one line of the plan has a tower {}: add a column line_id")
    strange = np.array([name not in lines.get(tower, []) for name, tower in keys], dtype=bool)
    _refuse(readings, table, strange, "no such tower in the plan: {}. Correct the id or the line, or delete the row")
    return table.assign(line_id=line)


def _refuse(readings: Readings, table: pd.DataFrame, wrong: NDArray[np.bool_], what: str) -> None:
    if wrong.any():
        names = listed(f"'{name}'" for name in table["tower_id"][wrong])
        raise ColumnError(f"{readings.source}, row {listed(table['row'][wrong])}: {what.format(names)}.")


def readings_of_stakes(matched: pd.DataFrame, source: str) -> Readings:
    """Readings that came with the staked points, one row for each tower.

    Where the rows of a tower give different values of one reading, none is taken and the problems name it.

    Parameters
    ----------
    matched : DataFrame
        Of :class:`layoutplan.checking.matching.Matches`.
    source : str
        File of the points, for messages.

    Returns
    -------
    Readings
        NaN where none was taken.
    """
    there = [name for name in READING_COLUMNS if name in matched.columns]
    towers = matched.groupby(_KEYS, sort=False)
    low, high = towers[there].min(), towers[there].max()
    clash = low.ne(high) & low.notna()
    table = low.mask(clash).reindex(columns=list(READING_COLUMNS)).astype(float)
    table = table.assign(date=towers["time"].max(), row=towers["row"].min()).reset_index()
    table = table[low.notna().any(axis=1).to_numpy()].reset_index(drop=True)
    names = [f"{name} of tower {tower}" for name in there for _, tower in clash.index[clash[name]]]
    text = f"{source}: the points of a tower give different values, and none is taken: {listed(names)}"
    return Readings(table, source, (text,) if names else ())
