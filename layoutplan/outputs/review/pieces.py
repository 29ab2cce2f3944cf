"""Pieces of the page: inert text, numbers, rows collected by tower."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from layoutplan.layout.model import Plan
from layoutplan.outputs.columns import as_lists
from layoutplan.text import clean, page_text

ROLES = ("H", "S")
NONE = "–"  # there is no such figure; an unknown one is written out
_COUNTED = ("crossings", "areas")
_TELLING = 1e-6  # figures of a check that differ by less are equal; see the siting rules


@lru_cache(maxsize=1 << 16, typed=True)  # names, reasons and rules come back for every tower
def inert(value: object) -> str:
    """Text from data, ready for the page; missing values become empty."""
    return page_text(clean(value))


@lru_cache(maxsize=1 << 16)  # so do limits
def number(value: float | None) -> str:
    """Return a number with up to two decimals, below one with up to three significant digits; ``–`` for none."""
    if value is None or math.isnan(value):
        return NONE
    if abs(value) >= 1000:
        return f"{value:.0f}"
    small = 0 < abs(value) < 1
    decimals = min(2 - math.floor(math.log10(abs(value))), 6) if small else 2
    text = f"{round(value, decimals) + 0.0:.{decimals}f}"  # no minus zero
    return text.rstrip("0").rstrip(".") if "." in text else text


def number_beside(value: float | None, limit: float | None) -> str:
    """Return a number so that it does not read like its limit where it is not equal to it."""
    text = number(value)
    if value is None or limit is None or text != number(limit) or not abs(value - limit) > _TELLING:
        return text
    return f"{value:.6f}"


def with_unit(text: str, unit: str) -> str:
    """Return a number's text with its unit, which is inert: ``30°``, ``56 m``, ``1 crossing``."""
    if text == NONE or not unit:
        return text
    if unit == "deg":
        return f"{text}°"
    return f"{text} {unit.removesuffix('s') if text == '1' and unit in _COUNTED else unit}"


def tower_rows(plan: Plan, frame: pd.DataFrame) -> NDArray[np.int64]:
    """Return the row of ``plan.towers`` that each row of a table belongs to, shape (n,)."""
    keys = ["line_id", "tower_id"]
    index = pd.MultiIndex.from_frame(plan.towers[keys])
    return np.asarray(index.get_indexer(pd.MultiIndex.from_frame(frame[keys])), dtype=np.int64)


def by_tower(texts: Sequence[str], tower: ArrayLike, count: int) -> list[str]:
    """Join the texts of each tower in their order; empty for towers that have none."""
    rows = np.asarray(tower, dtype=np.int64)
    order = np.argsort(rows, kind="stable")
    edges = np.searchsorted(rows[order], np.arange(count + 1))
    ordered = [texts[row] for row in order.tolist()]
    return ["".join(ordered[start:end]) for start, end in pairwise(edges.tolist())]


def headed(title: str, labels: Iterable[str], bodies: Iterable[str], kind: str) -> list[str]:
    """Put heading and table around the rows of each tower; nothing where there are none. Title and labels are ours."""
    head = "".join(f"<th>{label}" for label in labels)
    start = f"<h4>{title}</h4><table class={kind}><thead><tr>{head}<tbody>\n"
    return [f"{start}{body}</table>\n" if body else "" for body in bodies]


def plain_rows(frame: pd.DataFrame, columns: Sequence[str]) -> list[str]:
    """Return each row of a table as it is: text inert, numbers as people read them, what is missing as unknown."""
    cells = [[f"<td>{_plain(value)}" for value in values] for values in as_lists(frame[list(columns)], columns)]
    return ["<tr>" + "".join(row) + "\n" for row in zip(*cells, strict=True)]


def _plain(value: object) -> str:
    if value is None:
        return "unknown"
    if isinstance(value, int | float) and not isinstance(value, bool):
        return number(float(value))
    return inert(value)
