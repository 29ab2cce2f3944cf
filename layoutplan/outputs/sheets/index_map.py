"""The map on the cover: all towers, their statuses by sign."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from layoutplan.inputs.geodetic import metres_per_degree
from layoutplan.layout.model import Plan
from layoutplan.layout.rules import STATUSES
from layoutplan.outputs.columns import as_lists
from layoutplan.outputs.sheets.facts import Sheet
from layoutplan.outputs.sheets.labels import Labels
from layoutplan.outputs.sheets.layers import Features, draw_edges, draw_ground, draw_ways
from layoutplan.outputs.sheets.marks import north_arrow, scale_bar, status_sign
from layoutplan.outputs.sheets.panel import line_ops, panel_around
from layoutplan.outputs.sheets.pen import INK, SMALLEST_PT, WHITE, Box, Pen, ops_of
from layoutplan.outputs.sheets.surroundings import Surroundings
from layoutplan.outputs.sheets.tower_map import STRIP
from layoutplan.outputs.words import may_stake

_LEAST_M = 500.0


def draw_index(pen: Pen, box: Box, plan: Plan, sheets: list[Sheet], around: Surroundings) -> None:
    """Draw all towers with the larger roads, railways and waters; ids where there is room.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    box : Box
        On the page. [mm]
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    sheets : list of Sheet
        Of all towers.
    around : Surroundings
        What lies around all towers.
    """
    frame = Box(box.left, box.bottom + STRIP, box.width, box.height - STRIP)
    origin = around.towers.mean(axis=0)
    metres = np.array(metres_per_degree(origin[1]))
    xy = (around.towers - origin) * metres
    middle = (xy.min(axis=0) + xy.max(axis=0)) / 2
    panel = panel_around(np.vstack((xy, middle - _LEAST_M / 2, middle + _LEAST_M / 2)), origin, metres, frame, ())
    labels = Labels(pen, frame)
    with pen.within([ops_of(frame)]):
        pen.box(frame, 0, fill=WHITE)
        large = [name for name, row in around.classes.items() if row.look.overview]
        shown = np.flatnonzero(np.isin(around.features.kind, large))
        near = _plain(around.features.rows(shown, around.features.shapes[shown])).within(panel)
        for draw in (draw_ground, draw_edges, draw_ways):
            draw(pen, panel, near)
        pen.path(line_ops(around.spans[around.measured], panel), width=1.4)
        pen.path(line_ops(around.spans[~around.measured], panel), width=0.6)
        places = panel.mm_of(xy).tolist()
        rank = [STATUSES.index(sheet.tower.status) for sheet in sheets]
        for row in np.argsort(rank, kind="stable").tolist():  # what needs work lies on top
            x, y = places[row]
            _sign(pen, x, y, sheets[row].tower.status)
            labels.take(Box(x - 1.5, y - 1.5, 3, 3))
        last = (-1e9, -1e9)
        for (x, y), sheet in zip(places, sheets, strict=True):
            if np.hypot(x - last[0], y - last[1]) > 7 and labels.beside(x, y, 1.8, str(sheet.tower.tower_id)[:16], 7):
                last = (x, y)
    pen.box(frame, 1.0)
    scale_bar(pen, box.left + 2, box.top - frame.height - 6.8, panel.mm_per_m, panel.scale)
    north_arrow(pen, box.left + 62, box.bottom + 0.6, 8.2, None, None)
    pen.text(box.left + 68, box.bottom + 6, "true north up", SMALLEST_PT)
    (lines,) = as_lists(plan.towers, ["line_id"])
    pen.fitted(box.left + 92, box.bottom + 6, ", ".join(dict.fromkeys(lines)), box.width - 94, 7.5, bold=True)


def _plain(features: Features) -> Features:
    """Features without keep-outs, which nobody could see at such a scale."""
    zeros = np.zeros(len(features.kind))
    return replace(features, width_m=zeros, keep_out_m=zeros, no_stake=zeros.astype(bool))


def _sign(pen: Pen, x: float, y: float, status: str) -> None:
    dark = not may_stake(status)
    pen.circle(x, y, 1.45, INK if dark else WHITE, 0.7)
    pen.text(x, y - 0.95, status_sign(status), SMALLEST_PT, bold=True, align="centre", color=WHITE if dark else INK)
