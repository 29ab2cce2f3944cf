"""The drawing: layers, line, leads, stakes, towers, keep-outs, map features, texts."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from ezdxf import options  # type: ignore[attr-defined]  # public, but not exported by name
from ezdxf.document import Drawing
from ezdxf.filemanagement import new
from ezdxf.layouts.layout import Modelspace

from layoutplan.layout.levels import known_level
from layoutplan.layout.model import Plan
from layoutplan.layout.rules import ALL_MET
from layoutplan.layout.set_out import SET_OUT_COLUMNS, set_out, warning
from layoutplan.outputs.columns import records, with_columns
from layoutplan.outputs.dxf.blocks import STAKE_H, STAKE_S, TOWER, add_blocks
from layoutplan.outputs.dxf.text import dxf_text, layer_name
from layoutplan.outputs.grid import Grid
from layoutplan.outputs.keep_outs import keep_outs, near_the_line
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.survey_points import survey_points

LINE, TOWERS, STAKES, NOT_YET, WALKS = "LINE", "TOWERS", "STAKES", "STAKES-NOT-YET", "WALKS"
TEXT, NAMES, NOTES = "TEXT", "TEXT-OBSTACLES", "NOTES"
_TEXT_M = 2.5
_HATCH_M = 4.0  # between the lines of a hatch
_STYLE = "LABELS"
# layer: colour by index (DXF), line type, line weight in hundredths of a millimetre; nothing is told by colour alone
_LAYERS = {
    LINE: (7, "CONTINUOUS", 50), TOWERS: (7, "CONTINUOUS", 35), STAKES: (5, "CONTINUOUS", 50),
    NOT_YET: (1, "CONTINUOUS", 50),
    "LEADS-ABOVE": (1, "DASHED", 70), "LEADS-UNKNOWN": (2, "DASHDOT", 50), "LEADS-NEAR": (30, "DASHED2", 35),
    "LEADS-BELOW": (5, "CONTINUOUS", 25), TEXT: (7, "CONTINUOUS", 18), NAMES: (8, "CONTINUOUS", 13),
    WALKS: (3, "DOT", 25), NOTES: (7, "CONTINUOUS", 18),
}  # fmt: skip
_BLOCKS = {"T": (TOWER, TOWERS), "H": (STAKE_H, STAKES), "S": (STAKE_S, STAKES)}


def save_drawing(plan: Plan, grid: Grid, path: Path) -> None:
    """Draw the plan and write it; the same plan gives the same bytes.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    grid : Grid
        Of the plan.
    path : Path
        Of the new file.
    """
    with _no_clock():
        drawing = new("R2010", setup=["linetypes"])
        metre = 1 / grid.unit.metres
        _set_up(drawing, grid, metre)
        drawing.header.custom_vars.append("Plan", f"plan number {plan_number(plan)}")
        space = drawing.modelspace()
        obstacles = near_the_line(plan, grid)
        _obstacles(space, plan, obstacles, metre)
        _keep_outs(space, plan, grid, obstacles, metre)
        _lines(space, plan, grid)
        places = _points(space, plan, grid, metre)
        _frame(drawing, space, plan, grid, places, metre)
        for name in sorted(drawing.entitydb.dxf_types_in_use()):  # ezdxf itself adds them in the order of a set
            drawing.classes.add_class(name)
        drawing.saveas(path)


@contextmanager
def _no_clock() -> Iterator[None]:
    """Have ezdxf write fixed dates, identifiers and version instead of those of the moment."""
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def _set_up(drawing: Drawing, grid: Grid, metre: float) -> None:
    drawing.header["$MEASUREMENT"] = int(grid.unit.metric)
    drawing.header["$LUNITS"] = 2  # decimal
    drawing.header["$LUPREC"] = 3
    drawing.header["$LTSCALE"] = 4 * metre
    drawing.units = grid.unit.dxf_code  # $INSUNITS
    drawing.styles.new(_STYLE, dxfattribs={"font": "arial.ttf"})  # the standard one has no letters beyond ASCII
    for name, (color, linetype, weight) in _LAYERS.items():
        drawing.layers.add(name, color=color, linetype=linetype, lineweight=weight)
    add_blocks(drawing, metre)


def _lines(space: Modelspace, plan: Plan, grid: Grid) -> None:
    for shape in grid.shapes(plan.spans.geometry.array):
        space.add_lwpolyline(_flat(shape), dxfattribs={"layer": LINE})
    leads = with_columns(plan.leads, "leads")
    for shape, level in zip(grid.shapes(leads.geometry.array), leads["lead_level"], strict=True):
        space.add_lwpolyline(_flat(shape), dxfattribs={"layer": layer_name("leads", known_level(level))})
    for shape in grid.shapes(plan.walks.geometry.array):
        space.add_lwpolyline(_flat(shape), dxfattribs={"layer": WALKS})


def _points(space: Modelspace, plan: Plan, grid: Grid, metre: float) -> np.ndarray:
    """Insert the blocks with their attributes, and label them."""
    points = survey_points(plan)
    places = grid.positions(points[["lon", "lat"]])
    more = _stake_attributes(plan)
    rows = records(points, "number", "name", "role", "line_id", "tower_id", "elevation_m", "status")
    for (x, y), row in zip(places.tolist(), rows, strict=True):
        block, layer = _BLOCKS[row.role]
        stop = "" if row.role == "T" else warning(row.status)
        values = {
            "POINT": str(row.number),
            "TOWER": dxf_text(row.tower_id),
            "LINE": dxf_text(row.line_id),
            "STATUS": row.status,
            "ELEVATION_M": "unknown" if row.elevation_m is None else f"{row.elevation_m:.2f}",
        } | more.get(row.name, {})
        space.add_blockref(block, (x, y), dxfattribs={"layer": NOT_YET if stop else layer}).add_auto_attribs(values)
        first = dxf_text(row.tower_id) if row.role == "T" else row.name
        for line, text in enumerate((first, stop or (row.status if row.status != ALL_MET else ""))):
            if text:
                _text(space, text, (x + 3 * metre, y + (1 - 1.5 * line * _TEXT_M) * metre), _TEXT_M * metre, TEXT)
    return places


def _stake_attributes(plan: Plan) -> dict[str, dict[str, str]]:
    leads = with_columns(plan.leads, "leads")
    rows = records(leads, "crossings", *SET_OUT_COLUMNS)
    return {
        row.waypoint: {
            "WAYPOINT": row.waypoint,
            "SET_OUT": dxf_text(set_out(row).line),
            "FROM_MIDDLE": dxf_text(set_out(row).middle),
            "CROSSINGS": dxf_text(row.crossings),
        }
        for row in rows
    }


def _obstacles(space: Modelspace, plan: Plan, shapes: np.ndarray, metre: float) -> None:
    """Outlines of the map features, one layer for each class, and their names."""
    table = plan.obstacles
    for shape, name, text in zip(shapes, table["obstacle_class"], table["name"], strict=True):
        if shape is None:
            continue
        layer = {"layer": layer_name("obstacles", name), "color": 8}
        for part in shapely.get_parts(shapely.get_parts(shape)):  # a collection may hold multi-part shapes
            if part.geom_type == "Point":
                space.add_point((part.x, part.y), dxfattribs=layer)
            for ring in _rings(part):
                space.add_lwpolyline(_flat(ring), close=ring.is_ring, dxfattribs=layer)
        if label := dxf_text(text):
            place = shapely.point_on_surface(shape)
            _text(space, label, (place.x, place.y), 0.8 * _TEXT_M * metre, NAMES)


def _keep_outs(space: Modelspace, plan: Plan, grid: Grid, obstacles: np.ndarray, metre: float) -> None:
    """Outline and hatch of the ground where no stake may stand, one layer for each class."""
    step = (-_HATCH_M * metre * math.sqrt(0.5), _HATCH_M * metre * math.sqrt(0.5))
    for name, area in keep_outs(plan, grid, obstacles).items():
        layer = {"layer": layer_name("keep_outs", name), "color": 1}
        for part in shapely.get_parts(area):
            hatch = space.add_hatch(dxfattribs=layer)
            hatch.set_pattern_fill("KEEP_OUT", color=1, definition=[(45.0, (0.0, 0.0), step, [])])
            for number, ring in enumerate(_rings(part)):
                space.add_lwpolyline(_flat(ring), close=True, dxfattribs=layer)
                hatch.paths.add_polyline_path(_flat(ring), is_closed=True, flags=1 if number == 0 else 16)


def _rings(part: Any) -> list[Any]:
    if part.geom_type == "Polygon":
        return [part.exterior, *part.interiors]
    return [part] if part.geom_type == "LineString" else []


def _flat(line: Any) -> list[tuple[float, float]]:
    """Vertices without the repeated one at the end of a ring."""
    places = [(x, y) for x, y, *_ in line.coords]
    return places[:-1] if line.is_ring else places


def _text(space: Modelspace, text: str, place: tuple[float, float], height: float, layer: str) -> None:
    space.add_text(text, height=height, dxfattribs={"layer": layer, "style": _STYLE, "insert": place})


def _frame(drawing: Drawing, space: Modelspace, plan: Plan, grid: Grid, places: np.ndarray, metre: float) -> None:
    """Notes below the plan, and the view that opens first."""
    low, high = (places.min(axis=0), places.max(axis=0)) if len(places) else (np.zeros(2), np.ones(2))
    margin = (plan.job.rules.reach_m + 50) * metre
    system = " ".join(filter(None, (grid.code, grid.crs.name)))
    notes = (
        plan.job.title,
        f"Plan number {plan_number(plan)}",
        f"{system}, {grid.unit.name}; grid coordinates, not ground. See stakes_dxf.txt.",
        "Proposals off a map: local codes, the asset owner's rules and licensed practice take precedence.",
        "What is not drawn may still be there; where the map does not reach, nothing is clear.",
    )
    for number, text in enumerate(notes):
        place = (float(low[0]), float(low[1] - margin - 2 * number * _TEXT_M * metre))
        _text(space, dxf_text(text), place, _TEXT_M * metre, NOTES)
    low, high = low - 2 * margin, high + 2 * margin
    space.reset_extents((*low.tolist(), 0), (*high.tolist(), 0))
    height = max(float(high[1] - low[1]), float(high[0] - low[0]) / math.sqrt(2))
    drawing.set_modelspace_vport(height, center=tuple(((low + high) / 2).tolist()))
