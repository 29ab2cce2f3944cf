"""The register of agreements: whom to ask about what, for which towers, with a line to sign."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import shapely

from layoutplan.inputs.land import GRANTED
from layoutplan.layout.agreements import PARCEL, agreements_of
from layoutplan.layout.model import Plan
from layoutplan.layout.rules import AGREE
from layoutplan.outputs.columns import records, turned, west_deg
from layoutplan.outputs.review.pieces import inert, tower_rows, with_unit
from layoutplan.outputs.review.pieces import number as number_text

_CROSSING = ("line_id", "tower_id", "role", "met_by", "obstacle_class", "name", "feature_id", "at_m", "verdict")
_WAY = ("line_id", "tower_id", "to", "road_name", "verdict", "reason", "shared_stop")
_PARCEL = ("parcel", "owner_ref", "state", "note", "stakes", "lead_m", "approach_m")
_LABELS = ("no.", "whom", "about what", "towers", "state", "date, name and signature")
_SHORTEST_RUN = 3  # of towers that are written as from–to


@dataclass(frozen=True, slots=True)
class Entry:
    """One row of the register.

    Attributes
    ----------
    kind, whom, what, state : str
    places : str
        Where on the leads it is met; of a parcel the lengths within it.
    towers : tuple of int
        Rows of the plan's towers.
    """

    kind: str
    whom: str
    what: str
    state: str
    places: str
    towers: tuple[int, ...]

    @property
    def open(self) -> bool:
        """Whether somebody has still to say yes."""
        return self.state != GRANTED


def register_of(plan: Plan) -> list[Entry]:
    """All agreements of a plan: those about the map and the ways in the order of the line, then the parcels.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    list of Entry
    """
    row_of = {key: row for row, key in enumerate(zip(plan.towers["line_id"], plan.towers["tower_id"], strict=True))}
    names = _names(plan)
    found = agreements_of(
        records(plan.crossings, *_CROSSING), records(plan.approaches, *_WAY), plan.job.obstacle_classes
    )
    entries = [
        Entry(
            one.kind,
            one.whom,
            one.what,
            AGREE,
            ", ".join(
                f"{name} {case.to} {case.place}" for name, case in zip(shown, one.cases, strict=True) if case.place
            ),
            tuple(sorted({*rows})),
        )
        for one in found
        for rows in ([row_of[case.line_id, case.tower_id] for case in one.cases],)
        for shown in ([names[row] for row in rows],)
    ]
    return [*entries, *_parcels(plan)]


def _names(plan: Plan) -> list[str]:
    """Names of the towers by row: the line beside an id that two lines have."""
    ids, lines = plan.towers["tower_id"], plan.towers["line_id"]
    twice = ids.duplicated(keep=False)
    return [f"{one} ({line})" if several else one for one, line, several in zip(ids, lines, twice, strict=True)]


def _parcels(plan: Plan) -> Iterator[Entry]:
    if plan.permissions.empty:
        return
    touching = _touching(plan)
    for number, row in enumerate(records(plan.permissions, *_PARCEL)):
        if plan.whole is not None and number not in touching:
            continue  # of towers that are on other pages
        lengths = (("lead", row.lead_m), ("way on foot", row.approach_m))
        on_it = [f"{name} {with_unit(number_text(length), 'm')}" for name, length in lengths]
        stakes = [f"stakes {row.stakes}"] if row.stakes else []
        about = f"{row.parcel}: {row.note}" if row.note else row.parcel
        yield Entry(
            PARCEL, row.owner_ref or "", about, row.state, "; ".join((*stakes, *on_it)), touching.get(number, ())
        )


def _touching(plan: Plan) -> dict[int, tuple[int, ...]]:
    """Towers whose stakes, leads or ways each parcel holds, by the shapes: the table names them for people only."""
    west = west_deg(plan)
    tree = shapely.STRtree(turned(plan.permissions.geometry.array, west))
    towers: dict[int, set[int]] = {}
    for table in (plan.electrodes, plan.leads, plan.walks):
        if table.empty:
            continue
        shapes, rows = turned(table.geometry.array, west), tower_rows(plan, table)
        shape, parcel = tree.query(shapes, predicate="intersects")
        inside = shapely.intersection(shapes[shape], tree.geometries[parcel])
        held = (shapely.length(inside) > 0) | (shapely.get_dimensions(shapes[shape]) == 0)
        for number, row in zip(parcel[held].tolist(), rows[shape[held]].tolist(), strict=True):
            towers.setdefault(number, set()).add(row)
    return {number: tuple(sorted(rows)) for number, rows in towers.items()}


def open_numbers(entries: Sequence[Entry], count: int) -> list[list[int]]:
    """Numbers of the entries that each tower still waits for.

    Parameters
    ----------
    entries : sequence of Entry
        The register.
    count : int
        How many towers there are.

    Returns
    -------
    list of list of int
        From 1, one list for each tower.
    """
    numbers: list[list[int]] = [[] for _ in range(count)]
    for number, entry in enumerate(entries, 1):
        if entry.open:
            for row in entry.towers:
                numbers[row].append(number)
    return numbers


def tower_list(plan: Plan, rows: Iterable[int]) -> str:
    """Towers in few words: neighbours from the first to the last, the line beside an id that two lines have.

    Parameters
    ----------
    plan : Plan
        With its towers.
    rows : iterable of int
        Of the plan's towers, ascending.

    Returns
    -------
    str
        Inert: ``103–106, T1``.
    """
    lines = plan.towers["line_id"].tolist()
    every = _names(plan)
    names = {row: inert(every[row]) for row in rows}
    return ", ".join(_run([names[row] for row in run]) for run in _runs([*names], lines))


def _runs(rows: Sequence[int], lines: Sequence[str]) -> list[Sequence[int]]:
    """Rows that follow each other within one line, together."""
    breaks = [place for place, (one, next_) in enumerate(pairwise(rows), 1)
              if next_ != one + 1 or lines[one] != lines[next_]]  # fmt: skip
    return [rows[start:end] for start, end in pairwise([0, *breaks, len(rows)])]


def _run(names: Sequence[str]) -> str:
    return ", ".join(names) if len(names) < _SHORTEST_RUN else f"{names[0]}–{names[-1]}"


def register_table(plan: Plan, entries: Sequence[Entry]) -> str:
    """Return the register as a table.

    Parameters
    ----------
    plan : Plan
        With its towers.
    entries : sequence of Entry
        The register.

    Returns
    -------
    str
        HTML; empty if nobody has to be asked.
    """
    rows = [
        f"<tr id=a{number}><th>A{number}<td>{_whom(entry)}<td>{_about(entry)}{_small(entry.places)}"
        f"<td>{tower_list(plan, entry.towers)}<td>{_STATE[entry.open]}{inert(entry.state)}<td>\n"
        for number, entry in enumerate(entries, 1)
    ]
    head = "".join(f"<th>{label}" for label in _LABELS)
    return f"<table class=register><thead><tr>{head}<tbody>\n{''.join(rows)}</table>\n" if rows else ""


_STATE: Mapping[bool, str] = {True: "☐ ", False: "✓ "}


def _whom(entry: Entry) -> str:
    return inert(entry.whom) or "owner not given"


def _about(entry: Entry) -> str:
    return f"{inert(entry.kind)}: {inert(entry.what)}"


def _small(text: str) -> str:
    return f"<small>{inert(text)}</small>" if text else ""


def agreement_texts(entries: Sequence[Entry], numbers: Sequence[Sequence[int]]) -> list[str]:
    """What each tower still waits for, by the numbers of the register.

    Parameters
    ----------
    entries : sequence of Entry
        The register.
    numbers : sequence of sequence of int
        From `open_numbers`.

    Returns
    -------
    list of str
        HTML, one for each tower; empty where it waits for nothing.
    """
    told = [
        f"<li><a href=#a{number}>A{number}</a> {_whom(entry)} – {_about(entry)}\n"
        for number, entry in enumerate(entries, 1)
    ]
    return [
        f"<h4>To be agreed</h4><ul class=agreed>{''.join(told[one - 1] for one in mine)}</ul>\n" if mine else ""
        for mine in numbers
    ]
