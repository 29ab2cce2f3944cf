"""What the signs on the maps mean: all of them on the cover, on a tower's page those that are on it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from enum import Enum
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from layoutplan.job.class_model import PaperArea, PaperLine
from layoutplan.outputs.sheets.blocks import wrapped
from layoutplan.outputs.sheets.hatch import hatched
from layoutplan.outputs.sheets.layers import Features
from layoutplan.outputs.sheets.marks import number_sign, single_sign, stake_sign, tower_sign
from layoutplan.outputs.sheets.pen import MM, SMALLEST_PT, WHITE, Box, Pen, ops_of
from layoutplan.outputs.sheets.styles import (
    CONTOUR_COLOR,
    CORRIDOR_COLOR,
    CORRIDOR_DASH,
    CORRIDOR_WIDTH,
    HATCHES,
    KEEP_OUT_COLOR,
    KEEP_OUT_HATCH,
    LEAD_DASH,
    LEAD_WIDTH,
    LINE_WIDTHS,
    ROLE_COLOR,
    WALK_COLOR,
    WALK_DASH,
)

_ROW, _SWATCH = 5.6, 13.0
_COLUMNS = 3
_LOW, _NARROW, _BETWEEN = 3.5, 7.5, 2.6  # of the legend on a tower's page
Draw = Callable[[Pen, Box], None]
ClassLook = PaperArea | PaperLine | None  # None: mapped as single places
Entry = tuple[str, Draw]


def class_looks(features: Features, rows: NDArray[np.int64]) -> dict[str, tuple[str, ClassLook]]:
    """Obstacle classes of some features: in words, and as they are drawn.

    A class that is there both as areas and as lines is shown as areas, if it has a look of its own for them.

    Parameters
    ----------
    features : Features
        What is mapped.
    rows : ndarray of int
        Those that are shown.

    Returns
    -------
    dict
        By the name of the class.
    """
    kinds, size = features.kind[rows], features.dimension[rows]
    found: dict[str, tuple[str, ClassLook]] = {}
    for kind in sorted(set(kinds.tolist())):
        mine = kinds == kind
        there = set(size[mine].tolist())
        look: ClassLook = None
        if 2 in there and (kind in features.looks.areas or 1 not in there):
            look = features.looks.area(kind)
        elif 1 in there:
            look = features.looks.line(kind)
        found[kind] = (str(features.label[rows[mine]][0]), look)
    return found


def entries_of(signs: Collection[LegendSign] | None, classes: Mapping[str, tuple[str, ClassLook]]) -> list[Entry]:
    """Entries of a legend: signs, all if none are named, then classes.

    Parameters
    ----------
    signs : collection of LegendSign, optional
        Those that occur.
    classes : mapping
        From `class_looks`.

    Returns
    -------
    list of (str, callable)
        What it is in words, and how it is drawn.
    """
    shown = [entry for sign, entry in _SIGNS.items() if signs is None or sign in signs]
    return [*shown, *((label, _swatch(look)) for label, look in classes.values())]


def legend_height(classes: int) -> float:
    """Height of a legend of all signs.

    Parameters
    ----------
    classes : int
        Obstacle classes in it.

    Returns
    -------
    float
        [mm]
    """
    return -(-(len(_SIGNS) + classes) // _COLUMNS) * _ROW


def draw_legend(pen: Pen, box: Box, classes: Mapping[str, tuple[str, ClassLook]]) -> None:
    """Draw the legend of all signs in three columns.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    box : Box
        On the page. [mm]
    classes : mapping
        For each obstacle class on the maps, what it is in words and how it is drawn.
    """
    entries = entries_of(None, classes)
    rows = -(-len(entries) // _COLUMNS)
    width = box.width / _COLUMNS
    for number, (text, sign) in enumerate(entries):
        column, row = divmod(number, rows)
        left, bottom = box.left + column * width, box.top - (row + 1) * _ROW
        sign(pen, Box(left, bottom + 0.6, _SWATCH, _ROW - 1.2))
        lines = wrapped(pen, text, width - _SWATCH - 3, SMALLEST_PT)[:2]
        for place, line in enumerate(lines):
            pen.text(left + _SWATCH + 2, bottom + 1.8 + (len(lines) - 1) * 1.35 - place * 2.7, line, SMALLEST_PT)


def row_height(pen: Pen, entries: Sequence[Entry], width: float) -> float:
    """Height of a legend in rows.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    entries : sequence
        From `entries_of`.
    width : float
        Of the page. [mm]

    Returns
    -------
    float
        [mm]
    """
    places = _in_rows(pen, entries, width)
    return (places[-1][1] + 1) * _LOW if places else 0.0


def draw_rows(pen: Pen, box: Box, entries: Sequence[Entry]) -> None:
    """Draw a legend in rows, one entry after the other as words are.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    box : Box
        On the page. [mm]
    entries : sequence
        From `entries_of`.
    """
    for (text, sign), (left, row) in zip(entries, _in_rows(pen, entries, box.width), strict=True):
        bottom = box.top - (row + 1) * _LOW
        sign(pen, Box(box.left + left, bottom + 0.4, _NARROW, _LOW - 0.8))
        room = box.width - left - _NARROW - 1.0
        pen.fitted(box.left + left + _NARROW + 1.0, bottom + 1.0, text, room, SMALLEST_PT)


def _in_rows(pen: Pen, entries: Sequence[Entry], width: float) -> list[tuple[float, int]]:
    """Left edge [mm] and row of each entry."""
    places, left, row = [], 0.0, 0
    for text, _ in entries:
        wide = _NARROW + 1.0 + pen.width(text, SMALLEST_PT)
        if left and left + wide > width:
            left, row = 0.0, row + 1
        places.append((left, row))
        left += wide + _BETWEEN
    return places


def _middle(box: Box) -> tuple[float, float]:
    return box.left + box.width / 2, box.bottom + box.height / 2


def _level(box: Box) -> list[tuple[float, float]]:
    y = box.bottom + box.height / 2
    return [(box.left, y), (box.right, y)]


def _hollow(pen: Pen, box: Box) -> None:
    x, y = _middle(box)
    apart = min(3.0, box.width / 4)
    stake_sign(pen, x - apart, y, "H", _stake(box), settled=False)
    stake_sign(pen, x + apart, y, "S", _stake(box), settled=False)


def _keep_out(pen: Pen, box: Box) -> None:
    hatched(pen, box, [ops_of(box)], KEEP_OUT_HATCH, KEEP_OUT_COLOR)
    pen.box(box, 0.35, KEEP_OUT_COLOR)


def _swatch(look: ClassLook) -> Draw:
    if look is None:
        return lambda pen, box: single_sign(pen, *_middle(box), 0.9)
    if isinstance(look, PaperArea):
        return lambda pen, box: _area(pen, box, look)
    return lambda pen, box: _way(pen, box, look)


def _area(pen: Pen, box: Box, look: PaperArea) -> None:
    pen.box(box, 0, fill=look.fill or WHITE)
    hatched(pen, box, [ops_of(box)], HATCHES[look.hatch], look.line, look.fill or WHITE)
    pen.path([ops_of(box)], width=look.width, color=look.line, dash=look.dash)


def _way(pen: Pen, box: Box, look: PaperLine) -> None:
    pen.line(_level(box), min(look.width, box.height * MM), look.line, look.dash)
    if look.inside:
        pen.line(_level(box), look.width - 1.1, look.inside, look.inside_dash)


def _half(box: Box) -> float:
    return min(1.7, box.height / 2 - 0.15)


def _stake(box: Box) -> float:
    """Half of a stake's sign, with what stands out above and below."""
    return min(1.9, box.height / 2.45)


def _lead(pen: Pen, box: Box, role: str) -> None:
    pen.line(_level(box), LEAD_WIDTH, ROLE_COLOR[role], LEAD_DASH[role])


class LegendSign(Enum):
    """What is drawn on the maps beside obstacle classes."""

    TOWER, H, S, HOLLOW, LEAD_H, LEAD_S, CROSSING, LINE, OTHER_LINE, WALK, CONTOUR, KEEP_OUT, CORRIDOR = range(13)


_SIGNS: Mapping[LegendSign, Entry] = MappingProxyType(
    {
        LegendSign.TOWER: (
            "tower; dot: leg where leads start",
            lambda pen, box: tower_sign(pen, *_middle(box), _half(box)),
        ),
        LegendSign.H: (
            "stake of H (current)",
            lambda pen, box: stake_sign(pen, *_middle(box), "H", _stake(box)),
        ),
        LegendSign.S: (
            "stake of S (potential)",
            lambda pen, box: stake_sign(pen, *_middle(box), "S", _stake(box)),
        ),
        LegendSign.HOLLOW: ("hollow: NOT to be staked yet", _hollow),
        LegendSign.LEAD_H: ("lead of H, whole line", lambda pen, box: _lead(pen, box, "H")),
        LegendSign.LEAD_S: ("lead of S, dashed", lambda pen, box: _lead(pen, box, "S")),
        LegendSign.CROSSING: ("crossing, as numbered in the list", lambda pen, box: number_sign(pen, *_middle(box), 1)),
        LegendSign.LINE: ("line to be measured", lambda pen, box: pen.line(_level(box), LINE_WIDTHS[1])),
        LegendSign.OTHER_LINE: ("another line of the job", lambda pen, box: pen.line(_level(box), LINE_WIDTHS[0])),
        LegendSign.WALK: (
            "way on foot, by the map",
            lambda pen, box: pen.line(_level(box), 1.3, WALK_COLOR, WALK_DASH),
        ),
        LegendSign.CONTOUR: (
            "contour, heights in m",
            lambda pen, box: pen.line(_level(box), 0.5, CONTOUR_COLOR),
        ),
        LegendSign.KEEP_OUT: ("no stake: keep-out", _keep_out),
        LegendSign.CORRIDOR: (
            "no stake nearer to a power line",
            lambda pen, box: pen.line(_level(box), CORRIDOR_WIDTH, CORRIDOR_COLOR, CORRIDOR_DASH),
        ),
    }
)
