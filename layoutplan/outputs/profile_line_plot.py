"""Plot along a line: what a fault and the load do to each of its towers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from layoutplan.outputs.map_page.styles import BLUE
from layoutplan.outputs.plot_parts import INK, Tables, curve, curve_legend, from_zero, name, sheet, small_print, unknown

_MOST_NAMES, _LONGEST_NAME = 30, 12
_ALONG_LINE = {
    "earth_potential_rise_kv": ("kV", "Earth potential rise under an earth fault at the tower"),
    "tower_share_of_fault_pct": ("%", "Share of the fault current in the tower's own footing"),
    "standing_current_a_high": ("A", "Current in the tower in service: least at the usual load, most at the greatest"),
    "standing_voltage_v_high": ("V", "Voltage between tower and remote earth in service, likewise"),
    "footing_ohm": ("Ω", "Resistance of the tower's footing alone"),
}
_SAME_REASON = {
    "tower_share_of_fault_pct": "earth_potential_rise_kv",
    "standing_voltage_v_high": "standing_current_a_high",
}


def line_plot(tables: Tables, texts: Mapping[str, str], rests_on: Sequence[str]) -> Figure:
    """What a fault and the load do to each tower of the line.

    Parameters
    ----------
    tables : mapping of DataFrame
        ``line`` of a profile, and ``bearing`` of the tower to point out.
    texts : mapping
        Why figures are unknown, by their column.
    rests_on : sequence of str
        What was assumed or left out.

    Returns
    -------
    Figure
    """
    table = tables["line"]
    title = f"Line '{name(table['line_id'].iloc[0])}', tower by tower"
    figure, axes = sheet((1.3,) * len(_ALONG_LINE), title, small_print(rests_on), top=_room(table["tower_id"]))
    at_km = table["chainage_m"].to_numpy() / 1000
    for panel, (column, (unit, heading)) in zip(axes, _ALONG_LINE.items(), strict=True):
        reason = texts.get(_SAME_REASON.get(column, column), "")
        panel.set_title(heading)
        panel.set_ylabel(unit)
        if table[column].isna().all():
            unknown(panel, reason)
            continue
        if column.endswith("_high"):
            _bars(panel, at_km, table[f"{column.removesuffix('_high')}_low"], table[column])
        elif column == "footing_ohm":
            _footings(panel, at_km, table)
        else:
            curve(panel, at_km, table[column], 0, markevery=1, markersize=_size(at_km))
            panel.set_title(f"{heading}\n{reason}" if reason else heading)
        from_zero(panel)
        curve_legend(panel)
    place = table["tower_id"].tolist().index(tables["bearing"]["tower_id"].iloc[0])
    _names(axes, at_km, table["tower_id"].tolist(), place)
    figure.align_ylabels(axes)
    axes[-1].set_xlabel("km along the line")
    return figure


def _room(towers: pd.Series) -> float:
    """Height of the longest name above the panels, in inches."""
    return 0.1 + 0.07 * max(len(name(tower, _LONGEST_NAME)) for tower in towers)


def _size(towers: Sequence[float] | np.ndarray) -> float:
    """Return the size of a marker: the more towers, the smaller."""
    return float(np.clip(250.0 / len(towers), 1.0, 4.5))


def _bars(axes: Axes, at_km: np.ndarray, low: pd.Series, high: pd.Series) -> None:
    look: dict[str, Any] = {"color": BLUE, "markerfacecolor": "white", "markersize": _size(at_km), "clip_on": False}
    axes.vlines(at_km, low, high, color=BLUE, linewidth=2.2)
    axes.plot(at_km, high, "v", label="at most", **look)
    axes.plot(at_km, low, "^", label="at least", **look)


def _footings(axes: Axes, at_km: np.ndarray, table: pd.DataFrame) -> None:
    axes.plot(at_km, table["footing_ohm"], color="#888888", linewidth=0.8)
    for estimated, face, label in ((False, INK, "given"), (True, "white", "estimated")):
        rows = (table["footing_estimated"] == estimated).to_numpy()
        if rows.any():
            look: dict[str, Any] = {"color": INK, "markerfacecolor": face, "markersize": _size(at_km)}
            axes.plot(at_km[rows], table["footing_ohm"][rows], "o", label=label, **look)


def _names(axes: Sequence[Axes], at_km: np.ndarray, towers: Sequence[str], place: int) -> None:
    """Ids of towers above the panels, as many as there is room for, and a line through the one that was asked for."""
    least = max(float(np.ptp(at_km)) / _MOST_NAMES, 1e-9)
    shown: list[int] = []
    for row in (place, 0, len(towers) - 1, *range(len(towers))):
        if all(abs(at_km[row] - at_km[other]) >= least for other in shown):
            shown.append(row)
    top = axes[0].secondary_xaxis("top")
    labels = [name(towers[row], _LONGEST_NAME) for row in shown]
    top.set_xticks(at_km[shown], labels, rotation=90, fontsize=7)
    top.get_xticklabels()[0].set_fontweight("bold")
    for panel in axes:
        panel.axvline(at_km[place], color=INK, linewidth=0.7, linestyle=(0, (1, 2)), zorder=1)
