"""Styles as Styled Layer Descriptors (OGC 02-070, version 1.0.0)."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from itertools import chain

from layoutplan.outputs.styles.looks import Fill, Look, Sign, Stroke, Style, StyleRule

_SLD, _OGC = "http://www.opengis.net/sld", "http://www.opengis.net/ogc"
_PX_PER_MM = 1 / 0.28  # the standard's pixel (symbology encoding, OGC 05-077r4)
_INK = "#111111"
SHAPES = {  # name: well-known name, degrees turned clockwise
    "circle": ("circle", 0), "square": ("square", 0), "diamond": ("square", 45), "triangle": ("triangle", 0),
    "pennant": ("triangle", 180), "star": ("star", 0), "cross": ("cross", 0), "x": ("x", 0),
    "pentagon": ("cross", 0),  # the standard has none
}  # fmt: skip


def sld_text(layer: str, style: Style) -> str:
    """Return the style as an SLD document.

    Parameters
    ----------
    layer : str
        Its name.
    style : Style
        Of the layer.

    Returns
    -------
    str
        XML.
    """
    root = ET.Element(f"{{{_SLD}}}StyledLayerDescriptor", {"version": "1.0.0"})
    named = ET.SubElement(root, f"{{{_SLD}}}NamedLayer")
    _text(named, "Name", layer)
    user_style = ET.SubElement(named, f"{{{_SLD}}}UserStyle")
    kind = ET.SubElement(user_style, f"{{{_SLD}}}FeatureTypeStyle")
    for rule in style.rules:
        kind.append(_rule(rule, style))
    if style.label:
        # apart from the other rules: beside one that fits every row, "else" would fit none
        labels = ET.SubElement(ET.SubElement(user_style, f"{{{_SLD}}}FeatureTypeStyle"), f"{{{_SLD}}}Rule")
        _text(labels, "Name", "labels")
        _limit(labels, style.label.up_to)
        labels.append(_label(style.label.column))
    ET.register_namespace("sld", _SLD)
    ET.register_namespace("ogc", _OGC)
    ET.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def _rule(rule: StyleRule, style: Style) -> ET.Element:
    element = ET.Element(f"{{{_SLD}}}Rule")
    _text(element, "Name", rule.label)
    if rule.column:
        element.append(_filter(rule))
    elif style.named:
        element.append(_others(style))
    elif len(style.rules) > 1:
        ET.SubElement(element, f"{{{_SLD}}}ElseFilter")
    _limit(element, rule.up_to)
    for symbol in chain.from_iterable(map(_symbols, rule.looks)):
        element.append(symbol)
    return element


def _limit(element: ET.Element, up_to: int) -> None:
    if up_to:
        _text(element, "MaxScaleDenominator", str(up_to))


def _filter(rule: StyleRule) -> ET.Element:
    element = ET.Element(f"{{{_OGC}}}Filter")
    _comparison(ET.SubElement(element, f"{{{_OGC}}}PropertyIsEqualTo"), rule.column, rule.value)
    return element


def _others(style: Style) -> ET.Element:
    named = [(column, value) for column, values in style.named.items() for value in values]
    element = ET.Element(f"{{{_OGC}}}Filter")
    parent = ET.SubElement(element, f"{{{_OGC}}}Not")
    if len(named) > 1:
        parent = ET.SubElement(parent, f"{{{_OGC}}}Or")
    for column, value in named:
        _comparison(ET.SubElement(parent, f"{{{_OGC}}}PropertyIsEqualTo"), column, value)
    return element


def _comparison(test: ET.Element, column: str, value: str) -> None:
    ET.SubElement(test, f"{{{_OGC}}}PropertyName").text = column
    ET.SubElement(test, f"{{{_OGC}}}Literal").text = value


def _symbols(look: Look) -> list[ET.Element]:
    if isinstance(look, Sign):
        return [_point(look)]
    if isinstance(look, Fill):
        return [_polygon(look)]
    casing = [Stroke(_INK, look.casing_mm)] if look.casing_mm else []
    return [_line(stroke) for stroke in (*casing, look)]


def _point(sign: Sign) -> ET.Element:
    element = ET.Element(f"{{{_SLD}}}PointSymbolizer")
    graphic = ET.SubElement(element, f"{{{_SLD}}}Graphic")
    name, turned = SHAPES[sign.shape]
    _mark(graphic, name, sign.fill, Stroke(_INK, 0.3))
    _text(graphic, "Size", _px(sign.size_mm))
    _text(graphic, "Rotation", str(turned))
    return element


def _line(stroke: Stroke) -> ET.Element:
    element = ET.Element(f"{{{_SLD}}}LineSymbolizer")
    element.append(_stroke(stroke))
    return element


def _polygon(fill: Fill) -> ET.Element:
    """An area; a hatch becomes a pattern of crosses or dots, for the standard has no lines as a pattern."""
    element = ET.Element(f"{{{_SLD}}}PolygonSymbolizer")
    if fill.hatch:
        inside = ET.SubElement(ET.SubElement(element, f"{{{_SLD}}}Fill"), f"{{{_SLD}}}GraphicFill")
        graphic = ET.SubElement(inside, f"{{{_SLD}}}Graphic")
        _mark(graphic, "circle" if fill.hatch == "dots" else "x", fill.border.color, Stroke(fill.border.color, 0.2))
        _text(graphic, "Size", _px(0.7 if fill.hatch == "dots" else 2.5))
    elif fill.fill:
        _parameter(ET.SubElement(element, f"{{{_SLD}}}Fill"), "fill", fill.fill)
    element.append(_stroke(fill.border))
    return element


def _mark(graphic: ET.Element, name: str, fill: str, stroke: Stroke) -> None:
    mark = ET.SubElement(graphic, f"{{{_SLD}}}Mark")
    _text(mark, "WellKnownName", name)
    _parameter(ET.SubElement(mark, f"{{{_SLD}}}Fill"), "fill", fill)
    mark.append(_stroke(stroke))


def _stroke(stroke: Stroke) -> ET.Element:
    element = ET.Element(f"{{{_SLD}}}Stroke")
    _parameter(element, "stroke", stroke.color)
    _parameter(element, "stroke-width", _px(stroke.width_mm))
    if stroke.dash:
        _parameter(element, "stroke-dasharray", " ".join(map(_px, stroke.dash)))
    return element


def _label(column: str) -> ET.Element:
    element = ET.Element(f"{{{_SLD}}}TextSymbolizer")
    label = ET.SubElement(element, f"{{{_SLD}}}Label")
    ET.SubElement(label, f"{{{_OGC}}}PropertyName").text = column
    halo = ET.SubElement(element, f"{{{_SLD}}}Halo")
    _text(halo, "Radius", "1.5")
    _parameter(ET.SubElement(halo, f"{{{_SLD}}}Fill"), "fill", "#ffffff")
    _parameter(ET.SubElement(element, f"{{{_SLD}}}Fill"), "fill", _INK)
    return element


def _parameter(parent: ET.Element, name: str, value: str) -> None:
    ET.SubElement(parent, f"{{{_SLD}}}CssParameter", {"name": name}).text = value


def _text(parent: ET.Element, name: str, value: str) -> None:
    ET.SubElement(parent, f"{{{_SLD}}}{name}").text = value


def _px(millimetres: float) -> str:
    return f"{millimetres * _PX_PER_MM:.2f}"
