"""Fault currents along a line from a table: what flows to a fault at each tower, from either end."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from layoutplan.arrays import FloatArray
from layoutplan.errors import ColumnError
from layoutplan.inputs.csv_table import read_csv
from layoutplan.inputs.model import FaultTable
from layoutplan.inputs.placed import FileRows
from layoutplan.inputs.tower_columns import read_figures, read_ids
from layoutplan.inputs.words import counted, listed
from layoutplan.job import Line
from layoutplan.job.section import FileSource

_ID, _START, _END = "tower_id", "from_start_ka", "from_end_ka"


def read_fault_table(
    source: FileSource, line: Line, tower_ids: Sequence[str], key: str
) -> tuple[FaultTable, tuple[str, ...]]:
    """Read the fault currents of a line.

    Parameters
    ----------
    source : FileSource
        A CSV with ``tower_id``, ``from_start_ka``, ``from_end_ka``; other columns may be there, too. [kA]
    line : Line
        The line of the table.
    tower_ids : sequence of str
        Ids of the line's towers.
    key : str
        The job's key of ``source``, for messages: ``lines[0].fault.table``.

    Returns
    -------
    table : FaultTable
        In the order of the file. NaN where a cell is empty: unknown, not 0. [A]
    problems : tuple of str
        Which towers of the line have no currents in the table.

    Raises
    ------
    InputError
        If the file is missing or no table; see :func:`layoutplan.inputs.csv_table.read_csv`.
    ColumnError
        If a column is missing; an id is empty, used twice or none of the line's; a current is no number from 0 up, or
        both are 0.
    """
    table = read_csv(source)
    _check_columns(table, key)
    ids = read_ids(table, _ID)
    _check_known(table, ids, line, tower_ids)
    start, end = (1000.0 * read_figures(table, column, "number from 0 up", key=column) for column in (_START, _END))
    _check_fed(table, start + end)
    known = set(ids[np.isfinite(start + end)])
    unknown = [name for name in tower_ids if name not in known]
    return FaultTable(tuple(ids), start, end), _problems(table, line, unknown, len(tower_ids))


def _check_columns(table: FileRows, key: str) -> None:
    there = list(table.columns.columns)
    if missing := [name for name in (_ID, _START, _END) if name not in there]:
        raise ColumnError(
            f"{table.where} ({key}): no column '{missing[0]}'; there are: {listed(there, 20)}. A table of fault "
            f"currents needs {_ID}, {_START} and {_END}."
        )


def _check_known(table: FileRows, ids: np.ndarray, line: Line, tower_ids: Sequence[str]) -> None:
    strange = ~np.isin(ids, np.array(tower_ids, dtype=object))
    if strange.any():
        names = listed(f"'{name}'" for name in ids[strange])
        raise ColumnError(
            f"{table.where}, row {listed(table.rows[strange])}, field '{_ID}': no such tower in line '{line.id}': "
            f"{names}. Its towers are {listed(tower_ids)}. Correct the ids or delete the rows."
        )


def _check_fed(table: FileRows, total_a: FloatArray) -> None:
    """Refuse faults that nothing feeds: all their figures would be 0, which looks harmless but is unknown."""
    if (dead := total_a == 0.0).any():
        raise ColumnError(
            f"{table.where}, row {listed(table.rows[dead])}: {_START} and {_END} are both 0, so nothing feeds the "
            "fault. Correct it, or delete the row if unknown."
        )


def _problems(table: FileRows, line: Line, unknown: list[str], count: int) -> tuple[str, ...]:
    if not unknown:
        return ()
    return (
        f"{table.where}: no fault currents for {len(unknown)} of {counted(count, 'tower')} of line '{line.id}' "
        f"({listed(unknown)}): unknown there; where a side feeds nothing write 0",
    )
