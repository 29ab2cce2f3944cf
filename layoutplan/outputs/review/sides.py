"""Rows with H and S side by side: one for each rule or exposure of a tower."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from layoutplan.outputs.review.pieces import NONE, ROLES, by_tower, headed
from layoutplan.outputs.review.verdicts import UNKNOWN

_OPEN, _ROW = "<tr class=o data-t=", "<tr data-t="  # paper shows what needs the reviewer's eye


class Cell(NamedTuple):
    """What a row holds on one stake; texts inert, ``letter`` the verdict's or empty, ``open`` what is printed."""

    text: str
    note: str = ""
    limit: str = NONE
    basis: str = ""
    letter: str = ""
    open: bool = False


class Topic(NamedTuple):
    """A rule or exposure: its name, inert, and what is shown for a stake that has no row for it."""

    name: str
    absent: Cell = Cell(UNKNOWN.html, letter=UNKNOWN.letter, open=True)


@dataclass(frozen=True, slots=True)
class Entries:
    """A table before H and S stand beside each other.

    Attributes
    ----------
    tower : ndarray of int, shape (n,)
        Row of the plan's towers.
    role : sequence of str
        ``H`` or ``S``.
    topic : ndarray of int, shape (n,)
        Place of the rule or exposure in ``topics``; rows come in this order.
    cells : sequence of Cell
    topics : sequence of Topic
    first : int
        Number of the first topic among those of the whole page, for the filters.
    """

    tower: NDArray[np.int64]
    role: Sequence[str]
    topic: NDArray[np.int64]
    cells: Sequence[Cell]
    topics: Sequence[Topic]
    first: int = 0


def side_by_side(entries: Entries, title: str, labels: Sequence[str], count: int, kind: str = "sides") -> list[str]:
    """Return the table of each of ``count`` towers.

    Parameters
    ----------
    entries : Entries
        Cells with their towers, roles and topics.
    title : str
        Above each table.
    labels : sequence of str
        Of the columns.
    count : int
        How many towers there are.
    kind : str
        Class of the tables.

    Returns
    -------
    list of str
        HTML, one for each tower.
    """
    pairs: dict[tuple[int, int, int], dict[str, Cell]] = {}
    columns = (entries.tower.tolist(), entries.topic.tolist(), entries.role, entries.cells)
    for tower, topic, role, cell in zip(*columns, strict=True):
        again = 0
        while role in pairs.setdefault((tower, topic, again), {}):
            again += 1  # two rows of one stake and rule stay two rows
        pairs[tower, topic, again][role] = cell
    keys = sorted(pairs)
    rows = [_row(entries.topics[key[1]], entries.first + key[1], pairs[key]) for key in keys]
    bodies = by_tower(rows, [key[0] for key in keys], count)
    printed, kept = headed(title, labels, bodies, kind), headed(title, labels, bodies, f"{kind} more")
    needed = {key[0] for key, row in zip(keys, rows, strict=True) if row.startswith(_OPEN)}
    return [printed[tower] if tower in needed else kept[tower] for tower in range(count)]


def _row(topic: Topic, number: int, sides: dict[str, Cell]) -> str:
    cells = [sides.get(role, topic.absent) for role in ROLES]
    notes = {cell.note for cell in cells}
    shared = notes.pop() if len(notes) == 1 else ""  # once, beneath the name, where it holds for both
    texts = "".join(f"<td>{cell.text}" + ("" if shared else _small(cell.note)) for cell in cells)
    letters = dict.fromkeys(cell.letter for cell in cells if cell.letter)
    tokens = ",".join(f"{number}{letter}" for letter in letters)
    basis = ", ".join(dict.fromkeys(cell.basis for cell in cells if cell.basis))
    start = _OPEN if any(cell.open for cell in cells) else _ROW
    return f"{start}{tokens}><th>{topic.name}{_small(shared)}{texts}<td>{_limit(sides)}<td>{basis}\n"


def _small(note: str) -> str:
    return f"<small>{note}</small>" if note else ""


def _limit(sides: dict[str, Cell]) -> str:
    """One limit where both stakes have the same, else each with its role."""
    told = [(role, sides[role].limit) for role in ROLES if role in sides]
    if len({limit for _, limit in told}) == 1:
        return told[0][1]
    return ", ".join(f"{role}: {limit}" for role, limit in told)
