"""The map to print: the whole line on one page with legend, scale, north, cautions and credit."""

from __future__ import annotations

import uuid
import xml.etree.ElementTree as ET
from collections.abc import Iterable
from dataclasses import dataclass

import pyproj

from layoutplan.outputs.gis_project.shown import TABLES_GROUP, Layer
from layoutplan.outputs.gis_project.tree import layer_tree
from layoutplan.outputs.gis_project.view import BAR_STEPS, SCALE_STEPS, Extent, metres_per_unit, round_down, round_up
from layoutplan.outputs.styles.layers import DETAIL, STAKES
from layoutplan.planning.model import Plan
from layoutplan.text import label_text

NAME = "Overview"
_PAPER_MM = {"A4": (297.0, 420.0), "Letter": (279.4, 431.8)}  # twice the paper of the sheets: A3, tabloid
_EDGE, _GAP, _PANEL, _FOOT, _HEAD, _SCALE = 10.0, 4.0, 92.0, 26.0, 24.0, 24.0  # mm
_TYPES = {"page": 65638, "map": 65639, "picture": 65640, "label": 65641, "legend": 65642, "scale bar": 65646}
_NORTH = ":/images/north_arrows/layout_default_north_arrow.svg"  # the program's own
_FONT = "Sans Serif"
_SEGMENTS = 3


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle on the page, from its upper left corner. [mm]."""

    left: float
    top: float
    width: float
    height: float


def overview(plan: Plan, title: str, credit: str, extent: Extent, layers: Iterable[Layer]) -> ET.Element:
    """Return the layout.

    Parameters
    ----------
    plan : Plan
    title, credit : str
        To be printed.
    extent : Extent
        What the map must show, in the plan's grid.
    layers : iterable of Layer
        Those that are drawn get their place in the legend.
    """
    short, long = _PAPER_MM[plan.job.output.page]
    wide = extent.width >= extent.height
    page = Box(0, 0, long, short) if wide else Box(0, 0, short, long)
    frame = Box(
        _EDGE,
        _EDGE,
        page.width - 2 * _EDGE - _PANEL - _GAP,
        page.height - 2 * _EDGE - _FOOT - _GAP,
    )
    left = frame.left + frame.width + _GAP
    unit_m = metres_per_unit(pyproj.CRS.from_user_input(plan.grid_crs))
    scale = _scale(extent, frame, unit_m)
    root = ET.Element("Layout", {"name": NAME, "units": "mm", "printResolution": "300", "worldFileMap": ""})
    pages = ET.SubElement(root, "PageCollection")
    pages.append(_item("page", page))
    shown = extent.resized(*(side * scale / 1000 / unit_m for side in (frame.width, frame.height)))
    map_item = _map(frame, shown)
    map_id = map_item.get("uuid", "")
    root.append(map_item)
    root.append(_label(Box(left, _EDGE, _PANEL, 14), title, 13, bold=True))
    root.append(_label(Box(left, _EDGE + 14, _PANEL, 10), _counts(plan), 8))
    legend_height = frame.height - _HEAD - _SCALE
    root.append(_legend(Box(left, _EDGE + _HEAD, _PANEL, legend_height), map_id, layers))
    foot = _EDGE + _HEAD + legend_height
    root.append(_scale_bar(Box(left, foot + 10, _PANEL - 22, 12), map_id, scale))
    root.append(_label(Box(left, foot + 4, _PANEL - 22, 6), f"1 : {scale:,.0f}   {plan.grid_crs}", 8))
    root.append(_north(Box(left + _PANEL - 18, foot + 2, 16, 17), map_id))
    root.append(_label(Box(left + _PANEL - 20, foot + 19.5, 20, 4.5), "true north", 7, align="centre"))
    below = Box(_EDGE, frame.top + frame.height + _GAP, page.width - 2 * _EDGE, _FOOT)
    root.append(_label(below, _notes(plan, credit, scale), 6.5))
    return root


def _scale(extent: Extent, frame: Box, unit_m: float) -> float:
    """Denominator of a round scale at which the plan fits with a margin."""
    needed = max(extent.width / frame.width, extent.height / frame.height) * unit_m * 1000
    return round_up(needed * 1.06, SCALE_STEPS)


def _counts(plan: Plan) -> str:
    counts = [f"{count} {status}" for status, count in plan.summary["by_status"].items() if count]
    return f"{len(plan.towers)} towers: {', '.join(counts)}"


def _notes(plan: Plan, credit: str, scale: float) -> str:
    use = ["An overview, not for staking. What is not drawn is not free: the map may be incomplete."]
    if scale > DETAIL:
        use.append(f"Left out beyond 1 : {DETAIL:,}: buildings, tracks, fences, ditches and the like.")
    if scale > STAKES:
        use.append(f"Left out beyond 1 : {STAKES:,}: stakes, leads and ways.")
    return "\n".join([" ".join(use), " ".join(plan.cautions), f"Map data: {credit}"])


def _item(kind: str, box: Box, **more: str) -> ET.Element:
    """Describe an item of the layout; its number depends on kind and place only."""
    place = f"{box.left:g},{box.top:g},mm"
    own = f"{{{uuid.uuid5(uuid.NAMESPACE_OID, f'layoutplan {kind} {place}')}}}"
    fixed = {
        "type": str(_TYPES[kind]),
        "uuid": own,
        "templateUuid": own,
        "position": place,
        "positionOnPage": place,
        "size": f"{box.width:g},{box.height:g},mm",
        "referencePoint": "0",
        "visibility": "1",
        "opacity": "1",
    }
    return ET.Element("LayoutItem", fixed | more)


def _map(box: Box, shown: Extent) -> ET.Element:
    item = _item("map", box, frame="true", background="true", id="map")
    ET.SubElement(item, "Extent", {name: f"{value:.3f}" for name, value in shown.named().items()})
    return item


def _label(box: Box, text: str, size_pt: float, *, bold: bool = False, align: str = "left") -> ET.Element:
    halign = {"left": "1", "centre": "4"}[align]
    lines = "\n".join(label_text(line) for line in text.splitlines())
    item = _item("label", box, labelText=lines, htmlState="0", halign=halign, valign="32", marginX="0", marginY="0")
    ET.SubElement(item, "LabelFont", {"description": _font(size_pt, bold=bold), "style": ""})
    ET.SubElement(item, "FontColor", _BLACK)
    return item


def _legend(box: Box, map_id: str, layers: Iterable[Layer]) -> ET.Element:
    """Legend of what the map shows: signs of which there is none on it are left out by the program."""
    more = {
        "map_uuid": map_id,
        "legendFilterByMap": "1",
        "resizeToContents": "0",
        "columnCount": "1",
        "symbolWidth": "6",
        "symbolHeight": "3",
        "boxSpace": "0",
        "title": "",
    }
    item = _item("legend", box, **more)
    styles = ET.SubElement(item, "styles")
    for name, size_pt, bold, above_mm in _LEGEND:
        style = ET.SubElement(styles, "style", {"name": name, "alignment": "1", "marginTop": f"{above_mm:g}"})
        if name == "symbolLabel":
            style.set("marginLeft", "2")
        ET.SubElement(style, "styleFont", {"description": _font(size_pt, bold=bold), "style": ""})
    item.append(layer_tree(layer for layer in layers if layer.group != TABLES_GROUP))
    return item


def _scale_bar(box: Box, map_id: str, scale: float) -> ET.Element:
    step_m = round_down(scale * (box.width - 10) / 1000 / _SEGMENTS, BAR_STEPS)  # room for the last number
    unit, per_unit, word = ("km", 1000.0, "km") if step_m >= 1000 else ("meters", 1.0, "m")
    more = {
        "mapUuid": map_id,
        "style": "Single Box",
        "unitType": unit,
        "unitLabel": word,
        "numMapUnitsPerScaleBarUnit": "1",
        "numUnitsPerSegment": f"{step_m / per_unit:g}",
        "numSegments": str(_SEGMENTS),
        "numSegmentsLeft": "0",
        "height": "2",
        "boxContentSpace": "0",
        "labelBarSpace": "1",
        "segmentSizeMode": "0",
    }
    item = _item("scale bar", box, **more)
    text = {"fontFamily": _FONT, "fontSize": "7", "fontSizeUnit": "Point", "textColor": "0,0,0,255"}
    ET.SubElement(item, "text-style", text)
    return item


def _north(box: Box, map_id: str) -> ET.Element:
    more = {"mapUuid": map_id, "northMode": "1", "northOffset": "0"}  # true north
    return _item("picture", box, file=_NORTH, resizeMode="0", anchorPoint="4", mode="0", **more)


def _font(size_pt: float, *, bold: bool = False) -> str:
    """Font in the notation of the program's toolkit."""
    return f"{_FONT},{size_pt:g},-1,5,{75 if bold else 50},0,0,0,0,0"


_BLACK = {"red": "0", "green": "0", "blue": "0", "alpha": "255"}
_LEGEND = (  # part, size, bold, space above
    ("title", 9, True, 0),
    ("group", 8, True, 1.5),
    ("subgroup", 7.5, True, 1.5),
    ("symbol", 7, False, 0.8),
    ("symbolLabel", 7, False, 0.8),
)
