"""The map of a tower's page."""

from __future__ import annotations

import numpy as np
import shapely

from layoutplan.outputs.sheets.contours import draw_contours, has_heights
from layoutplan.outputs.sheets.crossings import Crossing
from layoutplan.outputs.sheets.facts import Sheet
from layoutplan.outputs.sheets.grid import draw_grid, grid_on
from layoutplan.outputs.sheets.labels import Labels, name_features, shortened
from layoutplan.outputs.sheets.layers import (
    draw_edges,
    draw_ground,
    draw_points,
    draw_ways,
)
from layoutplan.outputs.sheets.legend import LegendSign
from layoutplan.outputs.sheets.marks import (
    number_sign,
    scale_bar,
    stake_sign,
    tower_sign,
)
from layoutplan.outputs.sheets.norths import draw_norths
from layoutplan.outputs.sheets.panel import Panel, line_ops, lines_of, tower_panel
from layoutplan.outputs.sheets.pen import INK, SMALLEST_PT, WHITE, Box, Pen, ops_of
from layoutplan.outputs.sheets.styles import LEAD_DASH, LEAD_WIDTH, LINE_WIDTHS, ROLE_COLOR, WALK_COLOR, WALK_DASH
from layoutplan.outputs.sheets.surroundings import Surroundings
from layoutplan.outputs.sheets.zones import draw_keep_outs, draw_zone, kept_out
from layoutplan.outputs.words import may_stake

Point = tuple[float, float]
STRIP, BELOW = 14.0, 109.0  # height of what stands below the map, and its width at most
_SMALLEST_BASE = 1.4
_NUMBER_MM = (4.2, -4.2, 8.4, -8.4, 12.6, -12.6)  # of a crossing's number from the lead, the first that is free
_NUMBER_APART = 4.1


def draw_map(pen: Pen, box: Box, sheet: Sheet, crossings: list[Crossing], around: Surroundings) -> str:
    """Draw the map with its scale and north below it.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    box : Box
        On the page. [mm]
    sheet : Sheet
        Facts of the tower.
    crossings : list of Crossing
        From `crossings_of`.
    around : Surroundings
        What lies around all towers.

    Returns
    -------
    str
        What to print of the ground.
    """
    frame = Box(box.left, box.bottom + STRIP, box.width, box.height - STRIP)
    panel = tower_panel(sheet, frame)
    labels = Labels(pen, frame)
    near = around.features.within(panel)
    with pen.within([ops_of(frame)]):
        pen.box(frame, 0, fill=WHITE)
        draw_ground(pen, panel, near)
        if sheet.unmapped:
            labels.take(_banner(frame))
        _keep_signs_free(panel, labels, sheet, crossings, around)
        grid = grid_on(pen, panel, sheet, labels)
        note = draw_contours(pen, panel, around.ground, labels)
        draw_keep_outs(pen, panel, near)
        _draw_corridor(pen, panel, around)
        draw_edges(pen, panel, near)
        draw_ways(pen, panel, near)
        draw_points(pen, panel, near)
        draw_grid(pen, grid)
        _draw_line(pen, panel, sheet, around)
        _draw_walks(pen, panel, sheet)
        _draw_leads(pen, panel, sheet)
        _draw_signs(pen, panel, sheet, crossings, around)
        _write(labels, panel, sheet, around)
        name_features(labels, panel, near)
        if sheet.unmapped:
            _say_unknown(pen, frame, sheet.unmapped)
    pen.box(frame, 1.0)
    scale_bar(pen, frame.left + 2, frame.bottom - 6.8, panel.mm_per_m, panel.scale)
    draw_norths(pen, Box(frame.left + 54, frame.bottom - STRIP, min(frame.width, BELOW) - 54, STRIP), sheet)
    return note


def signs_on(panel: Panel, sheet: Sheet, crossings: list[Crossing], around: Surroundings) -> set[LegendSign]:
    """Signs that occur on a tower's map.

    Parameters
    ----------
    panel : Panel
        The map.
    sheet : Sheet
        Facts of the tower.
    crossings : list of Crossing
        From `crossings_of`.
    around : Surroundings
        What lies around all towers.

    Returns
    -------
    set of LegendSign
    """
    window = shapely.box(*panel.window())
    spans = around.near_spans(panel.window(float(around.corridor_m.max(initial=0.0))))
    found = {
        LegendSign.WALK: any(way.shape is not None and way.shape.intersects(window) for way in sheet.ways),
        LegendSign.CROSSING: any(item.number for item in crossings),
        LegendSign.LINE: bool((spans & around.measured).any()),
        LegendSign.OTHER_LINE: bool((around.near_spans(panel.window()) & ~around.measured).any()),
        LegendSign.CORRIDOR: bool(spans.any()),
        LegendSign.KEEP_OUT: kept_out(panel, around.features),
        LegendSign.CONTOUR: has_heights(panel, around.ground),
        LegendSign.HOLLOW: any(not may_stake(stake.status) for stake in sheet.stakes),
    }
    for stake in sheet.stakes:
        found[LegendSign[stake.role]] = may_stake(stake.status)
        found[LegendSign[f"LEAD_{stake.role}"]] = True
    return {LegendSign.TOWER, *(sign for sign, occurs in found.items() if occurs)}


def _banner(frame: Box) -> Box:
    return Box(frame.left + 8, frame.top - 8.5, frame.width - 16, 6.5)


def _say_unknown(pen: Pen, frame: Box, unmapped: str) -> None:
    """White paper must not pass for clear ground where nobody mapped it, or not everything."""
    box = _banner(frame)
    pen.box(box, 1.2, INK, WHITE)
    text = f"{unmapped}: white is not clear ground"
    pen.fitted(box.left + box.width / 2, box.bottom + 2.0, text, box.width - 4, 9, bold=True, align="centre")


def _keep_signs_free(
    panel: Panel, labels: Labels, sheet: Sheet, crossings: list[Crossing], around: Surroundings
) -> None:
    tower, *stakes = _signs(panel, sheet)
    for start, end in _spans_near(panel, around):
        labels.take_line(start, end, 0.8)
    labels.take(Box(tower[0] - 2.4, tower[1] - 2.4, 4.8, 4.8))
    for x, y in stakes:
        labels.take(Box(x - 2.6, y - 3.2, 5.2, 6.4))
        labels.take_line(tower, (x, y))
    for x, y, _ in around.other_towers(panel, sheet):
        labels.take(Box(x - 1.3, y - 1.3, 2.6, 2.6))
    for _, _, (x, y) in _crossing_places(panel, sheet, crossings, around):
        labels.take(Box(x - 2.1, y - 2.1, 4.2, 4.2))


def _spans_near(panel: Panel, around: Surroundings) -> list[tuple[Point, Point]]:
    """Pieces of the planned lines on the map. [mm]."""
    near = around.spans[around.near_spans(panel.window())]
    cut = [piece for piece in shapely.clip_by_rect(near, *panel.window()) if shapely.get_num_coordinates(piece) == 2]
    ends = panel.mm_of(panel.metres_of(shapely.get_coordinates(cut))).reshape(-1, 2, 2).tolist()
    return [((x1, y1), (x2, y2)) for (x1, y1), (x2, y2) in ends]


def _signs(panel: Panel, sheet: Sheet) -> list[tuple[float, float]]:
    """Tower and stakes on the page. [mm]."""
    lonlat = np.array([[row.lon, row.lat] for row in (sheet.tower, *sheet.stakes)])
    return [(x, y) for x, y in panel.mm_of(panel.metres_of(lonlat)).tolist()]


def _crossing_places(
    panel: Panel, sheet: Sheet, crossings: list[Crossing], around: Surroundings
) -> list[tuple[int, Point, Point]]:
    """Number of each crossing, where it is on the lead, and the place for its number beside the lead. [mm]."""
    places: list[tuple[int, Point, Point]] = []
    taken = [*_signs(panel, sheet), *((x, y) for x, y, _ in around.other_towers(panel, sheet))]
    bearing = {stake.role: np.radians(stake.bearing_true_deg) for stake in sheet.stakes}
    for item in crossings:
        if not item.number:
            continue
        along = np.array([np.sin(bearing[item.role]), np.cos(bearing[item.role])])
        foot = panel.mm_of(item.at_m * along)
        first = 1 if item.number % 2 else -1  # by turns, for some lie close together
        tried = [foot + far * first * np.array([along[1], -along[0]]) for far in _NUMBER_MM]
        place = next((one for one in tried if all(np.hypot(*(one - sign)) > _NUMBER_APART for sign in taken)), tried[0])
        taken.append((float(place[0]), float(place[1])))
        places.append((item.number, (float(foot[0]), float(foot[1])), taken[-1]))
    return places


def _draw_corridor(pen: Pen, panel: Panel, around: Surroundings) -> None:
    """Outline how near to the planned lines no stake may stand."""
    margin = float(around.corridor_m.max(initial=0.0))
    near = around.near_spans(panel.window(margin))
    if near.any():
        metric = shapely.transform(around.spans[near], panel.metres_of)
        draw_zone(pen, panel, shapely.union_all(shapely.buffer(metric, around.corridor_m[near])), hatch=False)


def _draw_line(pen: Pen, panel: Panel, sheet: Sheet, around: Surroundings) -> None:
    near = around.near_spans(panel.window())
    for measured, width in zip((False, True), LINE_WIDTHS, strict=True):
        cut = shapely.clip_by_rect(around.spans[near & (around.measured == measured)], *panel.window(5.0))
        pen.path(line_ops(cut, panel), width=width)
    for x, y, _ in around.other_towers(panel, sheet):
        tower_sign(pen, x, y, 1.2, width=0.8)


def _draw_walks(pen: Pen, panel: Panel, sheet: Sheet) -> None:
    """Ways on foot, dotted, as far as they are on the map."""
    shapes = np.array([way.shape for way in sheet.ways if way.shape is not None], dtype=object)
    cut = shapely.get_parts(shapely.clip_by_rect(shapes, *panel.window(5.0)))
    pen.path(line_ops(lines_of(cut), panel), width=1.3, color=WALK_COLOR, dash=WALK_DASH)


def _draw_leads(pen: Pen, panel: Panel, sheet: Sheet) -> None:
    tower, *stakes = _signs(panel, sheet)
    for place, stake in zip(stakes, sheet.stakes, strict=True):
        pen.line([tower, place], LEAD_WIDTH + 2, WHITE)
        pen.line([tower, place], LEAD_WIDTH, ROLE_COLOR[stake.role], LEAD_DASH[stake.role])


def _draw_signs(pen: Pen, panel: Panel, sheet: Sheet, crossings: list[Crossing], around: Surroundings) -> None:
    (x, y), *stakes = _signs(panel, sheet)
    half = max((sheet.tower.base_width_m or 0.0) / 2 * panel.mm_per_m, _SMALLEST_BASE)
    tower_sign(pen, x, y, half, sheet.tower.line_bearing_deg)
    if sheet.tower.leg:
        leg = panel.mm_of(np.array([sheet.tower.leg_east_m, sheet.tower.leg_north_m]))
        if half > _SMALLEST_BASE:
            pen.circle(float(leg[0]), float(leg[1]), 0.6, INK)
    if not sheet.stakes:
        reach = shapely.buffer(shapely.Point(0, 0), around.reach_m, quad_segs=24).exterior
        pen.path(line_ops(np.array([reach], dtype=object), panel, metric=True), width=1.0, dash=(2, 2))
    for number, at, (cx, cy) in _crossing_places(panel, sheet, crossings, around):
        pen.line([at, (cx, cy)], 0.7)
        number_sign(pen, cx, cy, number)
    for (sx, sy), stake in zip(stakes, sheet.stakes, strict=True):
        stake_sign(pen, sx, sy, stake.role, 2.2, settled=may_stake(stake.status))


def _write(labels: Labels, panel: Panel, sheet: Sheet, around: Surroundings) -> None:
    (x, y), *stakes = _signs(panel, sheet)
    labels.beside(x, y, 2.6, shortened(sheet.tower.tower_id, 24), 9)
    for (sx, sy), stake in zip(stakes, sheet.stakes, strict=True):
        text = stake.waypoint if may_stake(stake.status) else f"{stake.waypoint} NOT YET"
        labels.beside(sx, sy, 3.0, text, 7.5)
    if not sheet.stakes:
        top = panel.mm_of(np.array([0.0, around.reach_m])).tolist()
        labels.write(
            [(top[0], top[1] - 2.5), (top[0], top[1] - 6)], f"reach of the reel, {around.reach_m:.0f} m", SMALLEST_PT
        )
    for tx, ty, name in around.other_towers(panel, sheet):
        labels.beside(tx, ty, 1.6, shortened(name, 24), 7, bold=False)
