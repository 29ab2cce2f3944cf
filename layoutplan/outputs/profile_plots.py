"""Plots at one tower: voltage against bearing, and figures against distance."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from textwrap import wrap

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from layoutplan.outputs.plot_parts import (
    INK,
    PALE,
    Tables,
    curve,
    curve_legend,
    draw_limits,
    from_zero,
    sheet,
    small_print,
    tower_and_line,
    unknown,
)

_BEST = "best bearing"
_SIGNS = {
    "span": ("|", 11, INK),
    "normal to a span": ("v", 6, "white"),
    "bisector": ("D", 5, INK),
    _BEST: ("*", 9, INK),
}
_AGAINST_DISTANCE = {
    "induced_v": "Induced in service, at the greatest load, all lines and sequences added up",
    "induced_fault_v": "Induced by an earth fault at the tower or its neighbours, the worst",
    "transferred_fault_v": "Transferred by an earth fault at the tower: between it and the ground at the stake",
    "bias_pct": "Bias of the reading, both leads of that length; negative: it reads low",
}


def bearing_plot(tables: Tables, texts: Mapping[str, str], rests_on: Sequence[str]) -> Figure:
    """Voltage induced in a straight lead, all round the tower.

    Parameters
    ----------
    tables : mapping of DataFrame
        ``bearing``, ``best``, ``directions`` and ``limits`` of a profile.
    texts : mapping
        Why figures are unknown, by their column.
    rests_on : sequence of str
        What was assumed or left out.

    Returns
    -------
    Figure
    """
    table, best, limits = tables["bearing"], tables["best"], tables["limits"]
    title = f"{tower_and_line(table)}: voltage induced in a straight lead"
    figure, axes = sheet((0.8, 2.2, 1.8, 2.2), title, small_print(rests_on), left=1.3, top=-0.25)
    least = limits[limits["column"] == "angle_to_line_deg"].iloc[0]
    _directions(axes[0], tables["directions"], best, str(least["text"]))
    at_m = float(best["distance_m"].iloc[0])
    for panel in axes:
        _forbidden(panel, tables["directions"], float(least["value"]))
    _rings(axes[1], table, limits, "induced_v", texts)
    axes[1].set_title(f"In service, at the greatest load, all lines and sequences added up. {_off(best, 'more_v')}")
    _parts(axes[2], table[table["distance_m"] == at_m], texts)
    axes[2].set_title(f"Parts of it at {at_m:g} m")
    _rings(axes[3], table, limits, "induced_fault_v", texts)
    axes[3].set_title(f"By an earth fault at the tower or its neighbours, the worst. {_off(best, 'more_fault_v')}")
    figure.align_ylabels(axes[1:])
    axes[3].set_xlabel("bearing of the lead, degrees clockwise from true north")
    axes[3].set_xlim(0, 360)
    axes[3].set_xticks(range(0, 361, 30))
    return figure


def distance_plot(tables: Tables, texts: Mapping[str, str], rests_on: Sequence[str]) -> Figure:
    """Voltages and bias against distance along the best bearing of each side; arguments as of `bearing_plot`.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Of a profile.
    texts : mapping of str to str
        Why figures are unknown, by their column.
    rests_on : sequence of str
        What was assumed or left out.

    Returns
    -------
    Figure
    """
    table, limits = tables["distance"], tables["limits"]
    title = f"{tower_and_line(table)}: along the best bearing of each side"
    figure, axes = sheet((1.8, 1.8, 1.8, 1.8), title, small_print(rests_on))
    first = table[table["side"] == table["side"].iloc[0]]
    for panel, column, heading in zip(axes, _AGAINST_DISTANCE, _AGAINST_DISTANCE.values(), strict=True):
        panel.set_title(heading)
        panel.set_ylabel("%" if column.endswith("_pct") else "V")
        if table[column].isna().all():
            unknown(panel, texts.get(column, "unknown"))
            continue
        if column.startswith("induced"):
            for number, (side, part) in enumerate(table.groupby("side", sort=True)):
                label = f"{side}, {part['bearing_true_deg'].iloc[0]:.0f}°"
                curve(panel, part["distance_m"], part[column], number, label)
        else:
            curve(panel, first["distance_m"], first[column], 5, "both sides")
        if column.endswith("_v"):
            from_zero(panel)
        draw_limits(panel, limits, column)
    _too_near(axes, limits, float(table["distance_m"].min()))
    for panel in axes:
        curve_legend(panel)
    figure.align_ylabels(axes)
    axes[-1].set_xlabel("distance of the stake from the tower, m")
    axes[-1].set_xlim(table["distance_m"].min(), table["distance_m"].max())
    return figure


def _off(best: pd.DataFrame, more: str) -> str:
    """What 10 degrees off the best bearing costs; empty where it is unknown."""
    known = best[best[more].notna()]
    costs = [f"{row[more]:.2f} V ({row['side']})" for row in known.to_dict("records")]
    return f"\n10° off the best bearing costs {', '.join(costs)} at {best['distance_m'].iloc[0]:g} m" if costs else ""


def _directions(axes: Axes, directions: pd.DataFrame, best: pd.DataFrame, least: str) -> None:
    """Signs for the directions at the tower, a row for each kind."""
    rows = {kind: part["bearing_true_deg"] for kind, part in directions.groupby("kind")}
    rows[_BEST] = best["bearing_true_deg"]
    for height, (kind, (marker, size, face)) in enumerate(reversed(_SIGNS.items())):
        bearing = rows[kind]
        axes.plot(
            bearing, [height] * len(bearing), marker, markersize=size, color=INK, markerfacecolor=face,
            markeredgewidth=1.4 if kind == "span" else 0.9, clip_on=False,
        )  # fmt: skip
    axes.set_yticks(range(len(_SIGNS)), list(reversed(_SIGNS)))
    axes.set_ylim(-0.6, len(_SIGNS) - 0.4)
    axes.tick_params(left=False)
    handles = [Patch(facecolor=PALE, label="\n".join(wrap(least, 24)))]
    axes.legend(handles=handles, loc="center left", bbox_to_anchor=(1.01, 0.5))


def _forbidden(axes: Axes, directions: pd.DataFrame, least_deg: float) -> None:
    """Shade the bearings too near to a span or its continuation, and draw the bisector through the panel."""
    spans = directions[directions["kind"] == "span"]["bearing_true_deg"].to_numpy()
    for middle in np.unique(np.mod(np.concatenate((spans, spans + 180.0)), 360.0)):
        for centre in (middle - 360.0, middle, middle + 360.0):
            axes.axvspan(centre - least_deg, centre + least_deg, color=PALE, linewidth=0, zorder=0)
    for bearing in directions[directions["kind"] == "bisector"]["bearing_true_deg"]:
        axes.axvline(bearing, color=INK, linewidth=0.7, linestyle=(0, (1, 2)), zorder=1)


def _rings(axes: Axes, table: pd.DataFrame, limits: pd.DataFrame, column: str, texts: Mapping[str, str]) -> None:
    """One curve for each distance."""
    axes.set_ylabel("V")
    if table[column].isna().any():
        unknown(axes, texts.get(column, "unknown"))
        return
    for number, (distance, ring) in enumerate(table.groupby("distance_m", sort=True)):
        curve(axes, *_closed(ring, column), number, f"{distance:g} m")
    from_zero(axes)
    draw_limits(axes, limits, column)
    curve_legend(axes, "length of the lead")


def _parts(axes: Axes, ring: pd.DataFrame, texts: Mapping[str, str]) -> None:
    axes.set_ylabel("V")
    if ring["induced_v"].isna().any():
        unknown(axes, texts.get("induced_v", "unknown"))
        return
    parts = {"sum": "induced_v", "balanced part": "induced_balanced_v", "unbalance": "induced_unbalance_v"}
    for number, (label, column) in zip((5, 0, 1), parts.items(), strict=True):
        curve(axes, *_closed(ring, column), number, label)
    from_zero(axes)
    curve_legend(axes)


def _closed(ring: pd.DataFrame, column: str) -> tuple[np.ndarray, np.ndarray]:
    """Bearings and values all round, with the first again at 360 degrees."""
    bearing, value = ring["bearing_true_deg"].to_numpy(), ring[column].to_numpy()
    return np.append(bearing, bearing[0] + 360.0), np.append(value, value[0])


def _too_near(axes: Sequence[Axes], limits: pd.DataFrame, start_m: float) -> None:
    least = limits[limits["column"] == "distance_m"].iloc[0]
    for number, panel in enumerate(axes):
        label = "\n".join(wrap(str(least["text"]), 24)) if number == 0 else None
        if least["value"] > start_m:
            panel.axvspan(start_m, least["value"], color=PALE, linewidth=0, zorder=0, label=label)
    axes[-1].axhline(0.0, color=INK, linewidth=0.8)
