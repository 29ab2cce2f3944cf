"""What the signs on the maps mean."""

from __future__ import annotations

from collections.abc import Callable

from layoutplan.job.class_model import PaperArea, PaperLine
from layoutplan.outputs.sheets.hatch import hatched
from layoutplan.outputs.sheets.marks import number_sign, stake_sign, tower_sign
from layoutplan.outputs.sheets.pen import MM, WHITE, Box, Pen, ops_of
from layoutplan.outputs.sheets.styles import H_COLOR, S_COLOR, WALK_COLOR, WALK_DASH

_ROW, _SWATCH = 5.6, 13.0
_COLUMNS = 3
Draw = Callable[[Pen, Box], None]


def legend_height(classes: int) -> float:
    """Height of a legend.

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


def draw_legend(pen: Pen, box: Box, classes: dict[str, tuple[str, PaperArea | PaperLine]]) -> None:
    """Draw the legend in three columns.

    Parameters
    ----------
    classes : dict
        For each obstacle class on the maps, what it is in words and how it is drawn.
    """
    entries: list[tuple[str, Draw]] = [
        *_SIGNS,
        *((label, _swatch(look)) for label, look in classes.values()),
    ]
    rows = -(-len(entries) // _COLUMNS)
    width = box.width / _COLUMNS
    for number, (text, sign) in enumerate(entries):
        column, row = divmod(number, rows)
        left, bottom = box.left + column * width, box.top - (row + 1) * _ROW
        sign(pen, Box(left, bottom + 0.6, _SWATCH, _ROW - 1.2))
        pen.fitted(left + _SWATCH + 2, bottom + 1.8, text, width - _SWATCH - 4, 7.5)


def _middle(box: Box) -> tuple[float, float]:
    return box.left + box.width / 2, box.bottom + box.height / 2


def _level(box: Box) -> list[tuple[float, float]]:
    y = box.bottom + box.height / 2
    return [(box.left, y), (box.right, y)]


def _hollow(pen: Pen, box: Box) -> None:
    x, y = _middle(box)
    stake_sign(pen, x - 3, y, "H", 1.9, settled=False)
    stake_sign(pen, x + 3, y, "S", 1.9, settled=False)


def _keep_out(pen: Pen, box: Box) -> None:
    hatched(pen, box, [ops_of(box)], 45.0, 1.5, "#7d7d7d")
    pen.box(box, 0.35, "#7d7d7d")


def _swatch(look: PaperArea | PaperLine) -> Draw:
    if isinstance(look, PaperArea):
        return lambda pen, box: _area(pen, box, look)
    return lambda pen, box: _way(pen, box, look)


def _area(pen: Pen, box: Box, look: PaperArea) -> None:
    pen.box(box, 0, fill=look.fill or WHITE)
    for angle in {"cross": (45.0, 135.0), "horizontal": (0.0,)}.get(look.hatch, ()):
        hatched(pen, box, [ops_of(box)], angle, 2.2, look.line)
    pen.path([ops_of(box)], width=look.width, color=look.line, dash=look.dash)


def _way(pen: Pen, box: Box, look: PaperLine) -> None:
    pen.line(_level(box), min(look.width, box.height * MM), look.line, look.dash)
    if look.inside:
        pen.line(_level(box), look.width - 1.1, look.inside, look.inside_dash)


_SIGNS: tuple[tuple[str, Draw], ...] = (
    ("tower; black dot: leg where leads start", lambda pen, box: tower_sign(pen, *_middle(box), 1.7)),
    ("stake of H (current), may be staked", lambda pen, box: stake_sign(pen, *_middle(box), "H", 1.9)),
    ("stake of S (potential), may be staked", lambda pen, box: stake_sign(pen, *_middle(box), "S", 1.9)),
    ("hollow: NOT to be staked yet", _hollow),
    ("lead of H, whole line", lambda pen, box: pen.line(_level(box), 1.8, H_COLOR)),
    ("lead of S, dashed", lambda pen, box: pen.line(_level(box), 1.8, S_COLOR, (5, 2.2))),
    ("crossing with its number in the list", lambda pen, box: number_sign(pen, *_middle(box), 1)),
    ("the line to be measured", lambda pen, box: pen.line(_level(box), 2.2)),
    ("way on foot, as the map knows it", lambda pen, box: pen.line(_level(box), 1.3, WALK_COLOR, WALK_DASH)),
    ("contour of the ground, heights in metres", lambda pen, box: pen.line(_level(box), 0.5, "#9c6b3c")),
    ("no stake: keep-out", _keep_out),
    ("no stake nearer to a power line", lambda pen, box: pen.line(_level(box), 0.7, "#4d3f63", (9, 3))),
)  # entries that are always there
