"""Parts of the plots: sheets, curves that differ in a grey print, limits, text that draws on any machine."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cache
from typing import Any

import pandas as pd
from anyascii import anyascii
from matplotlib import rc_context, style
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font

from layoutplan.outputs.map_page.styles import BLUE, GREEN, ORANGE, PURPLE, SKY, VERMILION
from layoutplan.text import clean

Tables = Mapping[str, pd.DataFrame]
INK, PALE, LIMIT = "#111111", "#e4e4e4", VERMILION
# no two differ by colour alone
CURVES: Sequence[Mapping[str, Any]] = (
    {"color": BLUE, "linestyle": "-", "marker": "o"},
    {"color": ORANGE, "linestyle": (0, (6, 2)), "marker": "s"},
    {"color": GREEN, "linestyle": (0, (3, 1.5)), "marker": "^"},
    {"color": PURPLE, "linestyle": (0, (6, 2, 1.5, 2)), "marker": "D"},
    {"color": SKY, "linestyle": (0, (1.5, 1.5)), "marker": "v"},
    {"color": INK, "linestyle": (0, (9, 2, 1.5, 2, 1.5, 2)), "marker": "x"},
)
_LOOKS: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 8.0,
    "text.parse_math": False,  # a dollar sign in a name is a dollar sign
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlelocation": "left",
    "axes.titlesize": 8.0,
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": "#d0d0d0",
    "grid.linewidth": 0.5,
    "lines.linewidth": 1.4,
    "lines.markersize": 4.0,
    "legend.frameon": False,
    "legend.handlelength": 3.5,
    "path.simplify": False,  # every figure of the table is a point of its curve
    "savefig.dpi": 150,
    "svg.fonttype": "none",  # text stays text
    "svg.hashsalt": "layoutplan",
}
_CAUTION = (
    "Computed, not measured; under an earth fault or lightning the tower's potential is transferred along every lead, "
    "and no layout removes that. Treat every lead as live until the asset owner's procedure says otherwise."
)
_LEAST_TOP = 0.1  # of an axis, in its unit
_LINE_CHARACTERS = 150
_WIDTH, _LEGEND, _MARGIN, _TITLE, _GAP, _X_LABEL, _LINE = 8.27, 2.2, 0.1, 0.2, 0.48, 0.5, 0.13  # inches


@contextmanager
def looks() -> Iterator[None]:
    """Draw with this module's settings, whatever the user's own for the drawing library are.

    Yields
    ------
    None
    """
    with style.context("default"), rc_context(_LOOKS):
        yield


def sheet(
    heights: Sequence[float], title: str, footer: Sequence[str], *, left: float = 0.75, top: float = 0.0
) -> tuple[Figure, list[Axes]]:
    """Panels one above the other that share their x axis, a title above and small print below; measures in inches.

    Everything has its fixed place: a layout that is solved for comes out a little different every time.

    Parameters
    ----------
    heights : sequence of float
        Of the panels. [inch]
    title : str
        Above them.
    footer : sequence of str
        Small print below.
    left, top : float
        Room for the labels left of the panels, and above the first one beside two lines of title. [inch]

    Returns
    -------
    figure : Figure
        All of it.
    panels : list of Axes
        From the top down.
    """
    lines = [part for text in footer for part in textwrap.wrap(plain(text), _LINE_CHARACTERS)]
    below = _MARGIN + _LINE * len(lines)
    height = below + _X_LABEL + sum(heights) + _GAP * len(heights) + top + _TITLE
    figure = Figure(figsize=(_WIDTH, height))
    figure.text(_MARGIN / _WIDTH, 1 - _MARGIN / height, plain(title), fontsize=11, weight="bold", va="top")
    figure.text(_MARGIN / _WIDTH, _MARGIN / height, "\n".join(lines), fontsize=6.5, va="bottom", linespacing=1.3)
    panels: list[Axes] = []
    ceiling = height - _TITLE - top
    for tall in heights:
        ceiling -= _GAP + tall
        place = (left / _WIDTH, ceiling / height, (_WIDTH - left - _LEGEND) / _WIDTH, tall / height)
        panels.append(figure.add_axes(place, sharex=panels[0] if panels else None))
    for panel in panels[:-1]:
        panel.tick_params(labelbottom=False)
    return figure, panels


def curve(axes: Axes, x: Any, y: Any, number: int, label: str | None = None, **more: Any) -> None:
    """Draw one curve; its markers stand where those of the others do not.

    Parameters
    ----------
    axes : Axes
        The panel.
    x : array_like
        Along the axis.
    y : array_like
        The figures; NaN where unknown.
    number : int
        Of the curve; sets colour and marker.
    label : str, optional
        In the legend.
    **more
        Further settings.
    """
    every = max(len(x) // 12, 1)
    place = {"markevery": (number * every // len(CURVES), every), "markerfacecolor": "white"}
    axes.plot(x, y, label=label, **{**CURVES[number % len(CURVES)], **place, **more})


def curve_legend(axes: Axes, title: str | None = None) -> None:
    """Name the curves, right of the panel.

    Parameters
    ----------
    axes : Axes
        The panel.
    title : str, optional
        Above the names.
    """
    if axes.get_legend_handles_labels()[0]:
        axes.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), title=title, alignment="left")


def from_zero(axes: Axes) -> None:
    """Let the axis of figures that are never negative begin at 0; next to nothing looks like it.

    Parameters
    ----------
    axes : Axes
        The panel.
    """
    axes.set_ylim(0, max(axes.dataLim.y1 * 1.08, _LEAST_TOP))


def draw_limits(axes: Axes, limits: pd.DataFrame, column: str) -> None:
    """Draw the limits of a quantity that lie within the panel; the axis stays as it is.

    Parameters
    ----------
    axes : Axes
        The panel.
    limits : DataFrame
        Table of limits of a profile.
    column : str
        The quantity.
    """
    low, high = axes.get_ylim()
    named: set[str] = set()
    for row in limits[limits["column"] == column].to_dict("records"):
        if low <= row["value"] <= high:
            label = None if row["text"] in named else "\n".join(textwrap.wrap(f"limit {row['text']}", 24))
            axes.axhline(row["value"], color=LIMIT, linewidth=1.8, linestyle=(0, (10, 3)), label=label, zorder=1.5)
            named.add(row["text"])


def unknown(axes: Axes, text: str) -> None:
    """State in an empty panel why nothing is drawn.

    Parameters
    ----------
    axes : Axes
        The panel.
    text : str
        The reason.
    """
    axes.text(
        0.5, 0.5, "\n".join(textwrap.wrap(plain(text), 60)), transform=axes.transAxes, ha="center", va="center",
        fontsize=9, bbox={"facecolor": "white", "edgecolor": INK, "linewidth": 0.6, "pad": 6},
    )  # fmt: skip
    axes.set_yticks([])


def tower_and_line(table: pd.DataFrame) -> str:
    """Name the tower of a table, and its line.

    Parameters
    ----------
    table : DataFrame
        Of one tower.

    Returns
    -------
    str
        In words.
    """
    return f"Tower {name(table['tower_id'].iloc[0])}, line '{name(table['line_id'].iloc[0])}'"


def small_print(rests_on: Sequence[str]) -> list[str]:
    """What stands below every plot: the caution, and what was assumed.

    Parameters
    ----------
    rests_on : sequence of str
        Assumptions.

    Returns
    -------
    list of str
    """
    return [_CAUTION, *([f"Rests on: {'; '.join(rests_on)}."] if rests_on else [])]


def plain(text: str) -> str:
    """Text in letters that the font has; others are spelt out.

    Parameters
    ----------
    text : str
        Any.

    Returns
    -------
    str

    Examples
    --------
    >>> plain("12 Ω, 変電所")
    '12 Ω, BianDianSuo'
    """
    return "".join(char if char == "\n" or _has(char) else anyascii(char) for char in text)


def name(value: object, longest: int = 40) -> str:
    """Foreign name made fit for drawing; of a long one the end is kept, in which towers differ.

    Parameters
    ----------
    value : object
        Foreign text.
    longest : int
        Letters that are kept.

    Returns
    -------
    str

    Examples
    --------
    >>> name("North ridge tower 012", longest=10)
    '…tower 012'
    """
    text = plain(clean(value))
    return text if len(text) <= longest else "…" + text[1 - longest :]


@cache
def _has(char: str) -> bool:
    font = get_font(findfont(FontProperties(family="DejaVu Sans")))
    return font.get_char_index(ord(char)) != 0
