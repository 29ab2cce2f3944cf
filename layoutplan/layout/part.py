"""Some towers of a plan, for pages that are handed out apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from difflib import get_close_matches
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd

from layoutplan.arrays import IntArray
from layoutplan.errors import OutputError
from layoutplan.layout.model import Plan
from layoutplan.line.structures import names_of
from layoutplan.text import clean

_KEYS = ["line_id", "tower_id"]
_MOST_RUNS = 6  # named; more would fill the page
_OPTION = "option --towers"


def part_of(plan: Plan, asked: str) -> Plan:
    """Return the plan with some of its towers; map features, spans, settings and number stay those of the whole.

    Parameters
    ----------
    plan : Plan
        Complete.
    asked : str
        Towers and stretches between commas: ``103-110,T1``; with the line before a colon, where several lines have a
        tower of an id: ``A:103-110``. A stretch goes by the plan's order and holds both its ends.

    Returns
    -------
    Plan
        With ``whole``; the plan itself if all towers are asked for.

    Raises
    ------
    OutputError
        If a tower is not in the plan or stands in several lines, or the ends of a stretch stand in two.
    """
    finder = _Finder(plan.towers)
    rows = np.unique(np.concatenate([finder.rows(item) for item in _items(asked, finder)]))
    if len(rows) == len(plan.towers):
        return plan
    kept = pd.MultiIndex.from_frame(plan.towers[_KEYS].iloc[rows])
    tables: dict[str, Any] = {
        item.name: _cut(table, kept)
        for item in fields(plan)
        if item.name != "spans" and isinstance(table := getattr(plan, item.name), pd.DataFrame)
    }
    part = replace(plan, whole=plan, **tables)
    title = f"{plan.job.title}, {part_words(part)}"  # for every page that knows nothing of parts
    return replace(part, job=plan.job.model_copy(update={"title": title}))


def part_words(plan: Plan) -> str:
    """Name the towers of a part, and of how many.

    Parameters
    ----------
    plan : Plan
        From `part_of`, or a whole one.

    Returns
    -------
    str
        Such as ``towers 103-110, T1 of 27``; empty for a whole plan.
    """
    if plan.whole is None:
        return ""
    towers = plan.whole.towers
    names, lines = _names(towers), towers["line_id"].tolist()
    chosen = pd.MultiIndex.from_frame(towers[_KEYS]).isin(pd.MultiIndex.from_frame(plan.towers[_KEYS]))
    rows = np.flatnonzero(chosen).tolist()
    starts = [0, *(n for n, (a, b) in enumerate(pairwise(rows), 1) if b != a + 1 or lines[a] != lines[b]), len(rows)]
    runs = [_run(names, rows[first], rows[last - 1]) for first, last in pairwise(starts)]
    if len(runs) > _MOST_RUNS:
        runs = [*runs[: _MOST_RUNS - 1], f"… {runs[-1]} ({len(rows)} in all)"]
    return f"tower{'s' if len(rows) > 1 else ''} {', '.join(runs)} of {len(towers)}"


def _run(names: Sequence[str], first: int, last: int) -> str:
    if first == last:
        return clean(names[first])
    return clean(f"{names[first]}{', ' if last == first + 1 else '-'}{names[last]}")


def _names(towers: pd.DataFrame) -> list[str]:
    line, tower = (towers[key].to_numpy(dtype=str) for key in _KEYS)
    return list(names_of(line, tower).tolist())


def _cut(table: pd.DataFrame, kept: pd.MultiIndex) -> pd.DataFrame:
    """Rows of the towers that are kept; tables without towers, or with lists of them for people, whole."""
    if not set(_KEYS) <= set(table.columns):
        return table
    return table[pd.MultiIndex.from_frame(table[_KEYS]).isin(kept)].reset_index(drop=True)


def _items(asked: str, finder: _Finder) -> list[str]:
    """What stands between the commas; an id may hold some itself."""
    if finder.knows(asked.strip()):
        return [asked.strip()]
    items = [item.strip() for item in asked.split(",") if item.strip()]
    if not items:
        raise OutputError(f"{_OPTION}: names no tower. Write for instance {finder.example()}.")
    return items


class _Finder:
    """Towers by what a person writes."""

    def __init__(self, towers: pd.DataFrame) -> None:
        self.line, self.tower = (towers[key].to_numpy(dtype=str) for key in _KEYS)
        self.names = np.array(_names(towers), dtype=object)

    def example(self) -> str:
        return clean(f"{self.tower[0]}-{self.tower[self.line == self.line[0]][-1]}")

    def knows(self, text: str) -> bool:
        return any(len(self._named(line, rest)) for line, rest in self._readings(text))

    def rows(self, item: str) -> IntArray:
        """Rows of a tower or a stretch.

        Raises
        ------
        OutputError
            If there is no such tower, or which one is meant is not clear.
        """
        for line, rest in self._readings(item):
            if len(self._named(line, rest)):
                return np.array([self._one(line, rest)])
        for line, rest in self._readings(item):
            for place in (n for n, letter in enumerate(rest) if letter in "-–"):
                ends = rest[:place].strip(), rest[place + 1 :].strip()
                if all(len(self._named(line, end)) for end in ends):
                    return self._stretch(line, *ends)
        raise OutputError(f"{_OPTION}: {self._unknown(item)}")

    def _readings(self, text: str) -> list[tuple[str, str]]:
        """The text as an id alone, and as a line with an id after a colon."""
        colons = [n for n, letter in enumerate(text) if letter == ":"]
        lines = [(text[:n].strip(), text[n + 1 :].strip()) for n in colons]
        return [("", text), *(pair for pair in lines if pair[0] in self.line)]

    def _named(self, line: str, tower: str) -> IntArray:
        return np.flatnonzero((self.tower == tower) & ((self.line == line) | (line == "")))

    def _one(self, line: str, tower: str) -> int:
        found = self._named(line, tower)
        if len(found) > 1:
            lines = ", ".join(self.line[found])
            raise OutputError(
                f"{_OPTION}: tower {clean(tower)} stands in lines {clean(lines)}; write the line before it: "
                f"{clean(self.line[found[0]])}:{clean(tower)}."
            )
        return int(found[0])

    def _stretch(self, line: str, first: str, last: str) -> IntArray:
        ends = sorted((self._one(line, first), self._one(line, last)))
        one, other = self.line[ends].tolist()
        if one != other:
            raise OutputError(
                f"{_OPTION}: {clean(first)} and {clean(last)} stand in two lines, {clean(one)} and {clean(other)}; "
                "name a stretch of each."
            )
        return np.arange(ends[0], ends[1] + 1)

    def _unknown(self, item: str) -> str:
        known = self.tower.tolist()
        near = get_close_matches(item, known, 3, 0.3) or known[:5]
        return (
            f"the plan has no tower '{clean(item)}', nor are there two such towers with a hyphen between; there are "
            f"for instance {clean(', '.join(dict.fromkeys(near)))}."
        )
