"""The parts of a map to print, as the program's documents have them."""

from __future__ import annotations

import uuid
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import dataclass

from layoutplan.outputs.gis_project.shown import ShownLayer
from layoutplan.outputs.gis_project.tree import layer_tree
from layoutplan.outputs.gis_project.view import BAR_STEPS, Extent, round_down
from layoutplan.outputs.styles.looks import Sign
from layoutplan.text import label_text

_TYPES = {"page": 65638, "map": 65639, "picture": 65640, "label": 65641, "legend": 65642, "scale bar": 65646}
_NORTH = ":/images/north_arrows/layout_default_north_arrow.svg"  # the program's own
_FONT = "Sans Serif"
_SEGMENTS = 3
_BLACK = {"red": "0", "green": "0", "blue": "0", "alpha": "255"}
_SIGN_MM, _ABOVE_SIGN_MM = 3.0, 0.8
_TALL_SIGN_MM, _HEADING_MM = 1.3, 4.5  # what a tower's sign is higher than others; measured on a legend drawn
_SMALLEST = 0.6  # of the full size: smaller letters cannot be read on paper (judgement)
_LEGEND = (  # part, size, bold, space above
    ("title", 9, True, 0),
    ("group", 8, True, 1.5),
    ("subgroup", 7.5, True, 1.5),
    ("symbol", 7, False, _ABOVE_SIGN_MM),
    ("symbolLabel", 7, False, 0.8),
)


@dataclass(frozen=True, slots=True)
class PaperBox:
    """A rectangle on the page, from its upper left corner. [mm]."""

    left: float
    top: float
    width: float
    height: float


def item(kind: str, box: PaperBox, **more: str) -> ET.Element:
    """Describe an item of the layout; its number depends on kind and place only.

    Parameters
    ----------
    kind : str
        Key of ``_TYPES``.
    box : PaperBox
        On the page. [mm]
    **more : str
        Further attributes.

    Returns
    -------
    Element
    """
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


def map_item(box: PaperBox, shown: Extent) -> ET.Element:
    """Describe the map; it shows exactly ``shown`` if that has the proportions of the box.

    Parameters
    ----------
    box : PaperBox
        On the page. [mm]
    shown : Extent
        In the grid.

    Returns
    -------
    Element
    """
    element = item("map", box, frame="true", background="true", id="map")
    ET.SubElement(element, "Extent", {name: f"{value:.3f}" for name, value in shown.named().items()})
    return element


def label(box: PaperBox, text: str, size_pt: float, *, bold: bool = False, align: str = "left") -> ET.Element:
    """Describe a text, wrapped within its box.

    Parameters
    ----------
    box : PaperBox
        On the page. [mm]
    text : str
        In lines.
    size_pt : float
        Of the letters. [points]
    bold : bool
        Whether they are bold.
    align : str
        ``"left"`` or ``"centre"``.

    Returns
    -------
    Element
    """
    halign = {"left": "1", "centre": "4"}[align]
    lines = "\n".join(label_text(line) for line in text.splitlines())
    element = item("label", box, labelText=lines, htmlState="0", halign=halign, valign="32", marginX="0", marginY="0")
    ET.SubElement(element, "LabelFont", {"description": _font(size_pt, bold=bold), "style": ""})
    ET.SubElement(element, "FontColor", _BLACK)
    return element


def legend_item(box: PaperBox, drawn: ET.Element, layers: Sequence[ShownLayer]) -> ET.Element:
    """Describe the legend of what the map shows: signs of which there is none on it are left out by the program.

    What does not fit into its box would be cut off without a word, so that a long legend is made smaller.

    Parameters
    ----------
    box : PaperBox
        On the page. [mm]
    drawn : Element
        The map that it belongs to.
    layers : sequence of ShownLayer
        Those of the project.

    Returns
    -------
    Element
        The legend.
    """
    share = min(1.0, max(_SMALLEST, box.height / legend_height_mm(layers)))
    more = {
        "map_uuid": drawn.get("uuid", ""),
        "legendFilterByMap": "1",
        "resizeToContents": "0",
        "columnCount": "1",
        "symbolWidth": f"{6 * share:g}",
        "symbolHeight": f"{_SIGN_MM * share:g}",
        "boxSpace": "0",
        "title": "",
    }
    element = item("legend", box, **more)
    styles = ET.SubElement(element, "styles")
    for name, size_pt, bold, above_mm in _LEGEND:
        style = ET.SubElement(styles, "style", {"name": name, "alignment": "1", "marginTop": f"{above_mm * share:g}"})
        if name == "symbolLabel":
            style.set("marginLeft", "2")
        ET.SubElement(style, "styleFont", {"description": _font(size_pt * share, bold=bold), "style": ""})
    element.append(layer_tree(layers))
    return element


def legend_height_mm(layers: Sequence[ShownLayer]) -> float:
    """Height at full size of a legend with every sign that its layers have; the one drawn has some of them.

    Parameters
    ----------
    layers : sequence of ShownLayer
        Those that are drawn.

    Returns
    -------
    float
        [mm]
    """
    groups = len({layer.group for layer in layers if layer.group})
    rows = sum(layer.signs for layer in layers)
    tall = sum(layer.signs for layer in layers if layer.kind and layer.kind.look is Sign)
    return (len(layers) + groups) * _HEADING_MM + rows * (_SIGN_MM + _ABOVE_SIGN_MM) + tall * _TALL_SIGN_MM


def scale_bar_item(box: PaperBox, drawn: ET.Element, scale: float) -> ET.Element:
    """Describe a scale bar in round metres or kilometres, for a map at 1 : ``scale``.

    Parameters
    ----------
    box : PaperBox
        On the page. [mm]
    drawn : Element
        The map that it belongs to.
    scale : float
        Of the map, 1 : ``scale``.

    Returns
    -------
    Element
    """
    step_m = round_down(scale * (box.width - 10) / 1000 / _SEGMENTS, BAR_STEPS)  # room for the last number
    unit, per_unit, word = ("km", 1000.0, "km") if step_m >= 1000 else ("meters", 1.0, "m")
    more = {
        "mapUuid": drawn.get("uuid", ""),
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
    element = item("scale bar", box, **more)
    text = {"fontFamily": _FONT, "fontSize": "7", "fontSizeUnit": "Point", "textColor": "0,0,0,255"}
    ET.SubElement(element, "text-style", text)
    return element


def north(box: PaperBox, drawn: ET.Element) -> ET.Element:
    """Describe an arrow to true north in the middle of a map.

    Parameters
    ----------
    box : PaperBox
        On the page. [mm]
    drawn : Element
        The map that it belongs to.

    Returns
    -------
    Element
    """
    more = {"mapUuid": drawn.get("uuid", ""), "northMode": "1", "northOffset": "0"}
    return item("picture", box, file=_NORTH, resizeMode="0", anchorPoint="4", mode="0", **more)


def _font(size_pt: float, *, bold: bool = False) -> str:
    """Font in the notation of the program's toolkit."""
    return f"{_FONT},{size_pt:g},-1,5,{75 if bold else 50},0,0,0,0,0"
