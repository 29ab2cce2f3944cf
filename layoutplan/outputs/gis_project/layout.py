"""The map to print: the whole line on one page with legend, scale, north, cautions and credit."""

from __future__ import annotations

import textwrap
import xml.etree.ElementTree as ET
from collections.abc import Iterable

import pyproj

from layoutplan.layout.model import Plan
from layoutplan.outputs.gis_project.items import PaperBox, item, label, legend_item, map_item, north, scale_bar_item
from layoutplan.outputs.gis_project.shown import TABLES_GROUP, ShownLayer
from layoutplan.outputs.gis_project.view import SCALE_STEPS, Extent, projected_unit_m, round_up
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.styles.layers import DETAIL, FIELDWORK

NAME = "Overview"
_PAPER_MM = {"A4": (297.0, 420.0), "Letter": (279.4, 431.8)}  # twice the paper of the sheets: A3, tabloid
_EDGE, _GAP, _PANEL, _FOOT, _HEAD, _SCALE = 10.0, 4.0, 92.0, 26.0, 24.0, 24.0  # mm

_TITLE_LETTERS = 48  # in two lines of the panel


def overview(plan: Plan, title: str, credit: str, extent: Extent, layers: Iterable[ShownLayer]) -> ET.Element:
    """Return the layout: the map, right of it title, legend and scale, below it the notes.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    title, credit : str
        To be printed.
    extent : Extent
        What the map must show, in the plan's grid.
    layers : iterable of Layer
        Those that are drawn get their place in the legend.

    Returns
    -------
    Element
        The layout.
    """
    short, long = _PAPER_MM[plan.job.output.page]
    width, height = (long, short) if extent.width >= extent.height else (short, long)
    frame = PaperBox(_EDGE, _EDGE, width - 2 * _EDGE - _PANEL - _GAP, height - 2 * _EDGE - _FOOT - _GAP)
    crs = pyproj.CRS.from_user_input(plan.grid_crs)
    scale = _scale(extent, frame, projected_unit_m(crs))
    shown = extent.resized(*(side * scale / 1000 / projected_unit_m(crs) for side in (frame.width, frame.height)))
    root = ET.Element("Layout", {"name": NAME, "units": "mm", "printResolution": "300", "worldFileMap": ""})
    ET.SubElement(root, "PageCollection").append(item("page", PaperBox(0, 0, width, height)))
    drawn = map_item(frame, shown)
    root.append(drawn)
    left = frame.left + frame.width + _GAP
    shown_title, size_pt = _fitted(title)
    root.append(label(PaperBox(left, _EDGE, _PANEL, 14), shown_title, size_pt, bold=True))
    root.append(label(PaperBox(left, _EDGE + 14, _PANEL, 10), _counts(plan), 8))
    middle = PaperBox(left, _EDGE + _HEAD, _PANEL, frame.height - _HEAD - _SCALE)
    root.append(legend_item(middle, drawn, [layer for layer in layers if layer.group != TABLES_GROUP]))
    root.extend(_measures(left, middle.top + middle.height, drawn, scale, crs))
    below = PaperBox(_EDGE, frame.top + frame.height + _GAP, width - 2 * _EDGE, _FOOT)
    root.append(label(below, _notes(plan, credit, scale), 6.5))
    return root


def _measures(left: float, top: float, drawn: ET.Element, scale: float, crs: pyproj.CRS) -> list[ET.Element]:
    """Scale and north of the map."""
    room = _PANEL - 22
    authority = crs.to_authority(min_confidence=100)
    grid = ":".join(authority) if authority else crs.name[:40]
    return [
        label(PaperBox(left, top + 4, room, 6), f"1 : {scale:,.0f}   {grid}", 8),
        scale_bar_item(PaperBox(left, top + 10, room, 12), drawn, scale),
        north(PaperBox(left + _PANEL - 18, top + 2, 16, 17), drawn),
        label(PaperBox(left + _PANEL - 20, top + 19.5, 20, 4.5), "true north", 7, align="centre"),
    ]


def _scale(extent: Extent, frame: PaperBox, unit_m: float) -> float:
    """Denominator of a round scale at which the plan fits with a margin."""
    needed = max(extent.width / frame.width, extent.height / frame.height) * unit_m * 1000
    return round_up(needed * 1.06, SCALE_STEPS)


def _counts(plan: Plan) -> str:
    counts = [f"{count} {status}" for status, count in plan.summary["by_status"].items() if count]
    return f"Plan {plan_number(plan)}. {len(plan.towers)} towers: {', '.join(counts)}"


def _fitted(title: str) -> tuple[str, float]:
    """Return a title, cut if need be, and the size in which it fits into its box."""
    if len(title) <= _TITLE_LETTERS:
        return title, 13.0
    return textwrap.shorten(title, 2 * _TITLE_LETTERS, placeholder=" …"), 9.0


def _notes(plan: Plan, credit: str, scale: float) -> str:
    use = ["An overview, not for staking. What is not drawn is not free: the map may be incomplete."]
    if scale > DETAIL:
        use.append(f"Left out beyond 1 : {DETAIL:,}: buildings, tracks, fences, ditches and the like.")
    if scale > FIELDWORK:
        use.append(f"Left out beyond 1 : {FIELDWORK:,}: stakes, leads and ways.")
    return "\n".join([" ".join(use), " ".join(plan.cautions), f"Map data: {credit}"])
