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
    """Text from data, ready for the page.

    Parameters
    ----------
    value : object
        Missing values become empty.

    Returns
    -------
    str

    Examples
    --------
    >>> inert("<b>T1</b>"), inert(None)
    ('&lt;b&gt;T1&lt;/b&gt;', '')
    """
    return page_text(clean(value))


@lru_cache(maxsize=1 << 16)  # so do limits
def number(value: float | None) -> str:
    """Return a number with up to two decimals, below one with up to three significant digits.

    Parameters
    ----------
    value : float or None
        In any unit.

    Returns
    -------
    str
        ``–`` for none.

    Examples
    --------
    >>> number(12.3456), number(0.012345), number(1234.5), number(None)
    ('12.35', '0.0123', '1234', '–')
    """
    if value is None or math.isnan(value):
        return NONE
    if abs(value) >= 1000:
        return f"{value:.0f}"
    small = 0 < abs(value) < 1
    decimals = min(2 - math.floor(math.log10(abs(value))), 6) if small else 2
    text = f"{round(value, decimals) + 0.0:.{decimals}f}"  # no minus zero
    return text.rstrip("0").rstrip(".") if "." in text else text


def number_beside(value: float | None, limit: float | None) -> str:
    """Return a number so that it does not read like its limit where it is not equal to it.

    Parameters
    ----------
    value, limit : float or None
        In one unit.

    Returns
    -------
    str

    Examples
    --------
    >>> number_beside(49.998, 50.0), number_beside(49.9, 50.0)
    ('49.998000', '49.9')
    """
    text = number(value)
    if value is None or limit is None or text != number(limit) or not abs(value - limit) > _TELLING:
        return text
    return f"{value:.6f}"


def with_unit(text: str, unit: str) -> str:
    """Return a number's text with its unit.

    Parameters
    ----------
    text : str
        From `number`.
    unit : str
        Inert.

    Returns
    -------
    str

    Examples
    --------
    >>> with_unit("30", "deg"), with_unit("56", "m"), with_unit("1", "crossings")
    ('30°', '56 m', '1 crossing')
    """
    if text == NONE or not unit:
        return text
    if unit == "deg":
        return f"{text}°"
    return f"{text} {unit.removesuffix('s') if text == '1' and unit in _COUNTED else unit}"


def tower_rows(plan: Plan, frame: pd.DataFrame) -> NDArray[np.int64]:
    """Return the row of ``plan.towers`` that each row of a table belongs to.

    Parameters
    ----------
    plan : Plan
        With its towers.
    frame : DataFrame
        With ``line_id`` and ``tower_id``.

    Returns
    -------
    ndarray of int, shape (n,)
        -1 where there is no such tower.
    """
    keys = ["line_id", "tower_id"]
    index = pd.MultiIndex.from_frame(plan.towers[keys])
    return np.asarray(index.get_indexer(pd.MultiIndex.from_frame(frame[keys])), dtype=np.int64)


def by_tower(texts: Sequence[str], tower: ArrayLike, count: int) -> list[str]:
    """Join the texts of each tower in their order.

    Parameters
    ----------
    texts : sequence of str
        In any order of towers.
    tower : array_like of int
        Row of the tower of each.
    count : int
        How many towers there are.

    Returns
    -------
    list of str
        Empty for towers that have none.

    Examples
    --------
    >>> by_tower(["a", "b", "c"], [2, 0, 2], 3)
    ['b', '', 'ac']
    """
    rows = np.asarray(tower, dtype=np.int64)
    order = np.argsort(rows, kind="stable")
    edges = np.searchsorted(rows[order], np.arange(count + 1))
    ordered = [texts[row] for row in order.tolist()]
    return ["".join(ordered[start:end]) for start, end in pairwise(edges.tolist())]


def headed(title: str, labels: Iterable[str], bodies: Iterable[str], kind: str) -> list[str]:
    """Put heading and table around the rows of each tower; title and labels are not foreign text.

    Parameters
    ----------
    title : str
        Above the table.
    labels : iterable of str
        Of its columns.
    bodies : iterable of str
        Rows of each tower.
    kind : str
        Class of the table; what is ``more`` is not printed.

    Returns
    -------
    list of str
        Empty where there are no rows.
    """
    head = "".join(f"<th>{label}" for label in labels)
    start = f"<h4>{title}</h4><table class={_quoted(kind)}><thead><tr>{head}<tbody>\n"
    return [f"{start}{body}</table>\n" if body else "" for body in bodies]


def _quoted(kind: str) -> str:
    return f'"{kind}"' if " " in kind else kind


def plain_rows(frame: pd.DataFrame, columns: Sequence[str]) -> list[str]:
    """Return each row of a table as it is.

    Parameters
    ----------
    frame : DataFrame
        The table.
    columns : sequence of str
        To be shown.

    Returns
    -------
    list of str
        HTML: text inert, numbers as people read them, what is missing as unknown.
    """
    cells = [[f"<td>{_plain(value)}" for value in values] for values in as_lists(frame[list(columns)], columns)]
    return ["<tr>" + "".join(row) + "\n" for row in zip(*cells, strict=True)]


def _plain(value: object) -> str:
    if value is None:
        return "unknown"
    if isinstance(value, int | float) and not isinstance(value, bool):
        return number(float(value))
    return inert(value)
