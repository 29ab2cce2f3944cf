"""The map on the cover: all towers, their statuses by sign."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from layoutplan.arrays import FloatArray
from layoutplan.inputs.geodetic import metres_per_degree
from layoutplan.inputs.words import counted
from layoutplan.layout.model import Plan
from layoutplan.layout.rules import STATUSES
from layoutplan.outputs.columns import as_lists
from layoutplan.outputs.sheets.facts import Sheet
from layoutplan.outputs.sheets.labels import Labels, shortened
from layoutplan.outputs.sheets.layers import Features, draw_edges, draw_ground, draw_ways
from layoutplan.outputs.sheets.marks import scale_bar, status_sign, true_north
from layoutplan.outputs.sheets.panel import Panel, line_ops, panel_around
from layoutplan.outputs.sheets.pen import INK, SMALLEST_PT, WHITE, Box, Pen, ops_of
from layoutplan.outputs.sheets.surroundings import Surroundings
from layoutplan.outputs.sheets.tables import draw_notes
from layoutplan.outputs.sheets.tower_map import STRIP
from layoutplan.outputs.words import may_stake

_LEAST_M = 500.0
_SPARE = 1.08
_MARGIN, _LEAST_NOTES = 12.0, 24.0  # mm, for names above and below a line; where fewer are left the map takes them


def draw_index(pen: Pen, box: Box, plan: Plan, sheets: list[Sheet], around: Surroundings) -> None:
    """Draw the towers with the larger roads, railways and waters; what they leave of the box is for notes.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    box : Box
        On the page. [mm]
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    sheets : list of Sheet
        Of all towers that have a page.
    around : Surroundings
        What lies around all towers.
    """
    lonlat = np.array([[sheet.tower.lon, sheet.tower.lat] for sheet in sheets])
    panel, notes = _laid_out(box, lonlat)
    frame = panel.box
    labels = Labels(pen, frame)
    with pen.within([ops_of(frame)]):
        pen.box(frame, 0, fill=WHITE)
        _draw_ground(pen, panel, around)
        for x, y in panel.mm_of(panel.metres_of(around.towers)).tolist():  # those of a plan that have no page here
            pen.circle(x, y, 0.6, WHITE, 0.5)
        places = panel.mm_of(panel.metres_of(lonlat)).tolist()
        rank = [STATUSES.index(sheet.tower.status) for sheet in sheets]
        for row in np.argsort(rank, kind="stable").tolist():  # what needs work lies on top
            x, y = places[row]
            _sign(pen, x, y, sheets[row].tower.status)
            labels.take(Box(x - 1.5, y - 1.5, 3, 3))
        named = [
            labels.led(x, y, shortened(sheet.tower.tower_id, 16)) for (x, y), sheet in zip(places, sheets, strict=True)
        ]
    pen.box(frame, 1.0)
    scale_bar(pen, frame.left + 2, frame.bottom - 6.8, panel.mm_per_m, panel.scale)
    true_north(pen, frame.left + 62, frame.bottom - STRIP + 0.6, 8.2)
    words = [
        "true north up",
        "" if all(named) else f"{counted(len(named) - sum(named), 'tower')} too close to others to be named",
    ]
    for number, text in enumerate(words):
        pen.text(frame.left + 68, frame.bottom - 5 - 3.4 * number, text, SMALLEST_PT)
    (lines,) = as_lists(plan.towers, ["line_id"])
    pen.fitted(frame.left + 92, frame.bottom - 5, ", ".join(dict.fromkeys(lines)), frame.width - 94, 7.5, bold=True)
    if notes:
        draw_notes(pen, notes, "Notes:")


def _laid_out(box: Box, lonlat: FloatArray) -> tuple[Panel, Box | None]:
    """Largest map for the towers, cut to what they take of the box, and what is left of it below or beside."""
    origin = lonlat.mean(axis=0)
    metres = np.array(metres_per_degree(origin[1]))
    xy = (lonlat - origin) * metres
    middle = (xy.min(axis=0) + xy.max(axis=0)) / 2
    points = np.vstack((xy, middle - _LEAST_M / 2, middle + _LEAST_M / 2))
    frame = Box(box.left, box.bottom + STRIP, box.width, box.height - STRIP)
    panel = panel_around(points, origin, metres, frame, (), _SPARE)
    width, height = (np.ptp(points, axis=0) * panel.mm_per_m + 2 * _MARGIN).tolist()
    notes = None
    if frame.height - height > _LEAST_NOTES + 2:
        frame = Box(box.left, box.top - height, box.width, height)
        notes = Box(box.left, box.bottom, box.width, frame.bottom - STRIP - 2 - box.bottom)
    elif frame.width - max(width, 110.0) > 2 * _LEAST_NOTES:
        frame = replace(frame, width=max(width, 110.0))
        notes = Box(frame.right + 4, box.bottom, box.right - frame.right - 4, box.height)
    return replace(panel, box=frame), notes


def _draw_ground(pen: Pen, panel: Panel, around: Surroundings) -> None:
    large = [name for name, row in around.classes.items() if row.look.overview]
    shown = np.flatnonzero(np.isin(around.features.kind, large))
    near = _plain(around.features.rows(shown, around.features.shapes[shown])).within(panel)
    for draw in (draw_ground, draw_edges, draw_ways):
        draw(pen, panel, near)
    pen.path(line_ops(around.spans[around.measured], panel), width=1.4)
    pen.path(line_ops(around.spans[~around.measured], panel), width=0.6)


def _plain(features: Features) -> Features:
    """Features without keep-outs, which nobody could see at such a scale."""
    zeros = np.zeros(len(features.kind))
    return replace(features, width_m=zeros, keep_out_m=zeros, no_stake=zeros.astype(bool))


def _sign(pen: Pen, x: float, y: float, status: str) -> None:
    dark = not may_stake(status)
    pen.circle(x, y, 1.45, INK if dark else WHITE, 0.7)
    pen.text(x, y - 0.95, status_sign(status), SMALLEST_PT, bold=True, align="centre", color=WHITE if dark else INK)
