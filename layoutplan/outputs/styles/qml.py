"""Styles in the XML that a widespread desktop GIS keeps beside its layers (QML), as little of it as is needed."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Mapping

from layoutplan.outputs.styles.looks import Fill, Label, Look, Sign, Stroke, Style, StyleRule

VERSION = "3.22.0"  # of the program whose documents these are

_INK = "#111111"
_KINDS: Mapping[type[Look], str] = {Fill: "areas", Stroke: "lines", Sign: "points"}
_SYMBOLS: Mapping[type[Look], str] = {Fill: "fill", Stroke: "line", Sign: "marker"}
_ELSE = "ELSE"
SHAPES = {  # name: its name there, degrees turned clockwise
    "circle": ("circle", 0), "square": ("square", 0), "diamond": ("diamond", 0), "triangle": ("triangle", 0),
    "pennant": ("triangle", 180), "pentagon": ("pentagon", 0), "star": ("star", 0), "cross": ("cross", 0),
    "x": ("cross2", 0),
}  # fmt: skip
_HATCHES = {"diagonal": "b_diagonal", "cross": "diagonal_x", "dots": "dense6"}


def qml_text(style: Style | None, titles: Mapping[str, str]) -> str:
    """Return style and titles of columns as a document.

    Parameters
    ----------
    style : Style or None
        None for a table without shapes.
    titles : mapping of str
        Of the layer's columns, by name, in order.

    Returns
    -------
    str
        XML.
    """
    categories = "Symbology|Labeling|Fields" if style else "Fields"
    root = ET.Element("qgis", {"version": VERSION, "styleCategories": categories})
    if style:
        root.set("labelsEnabled", str(int(style.label is not None)))
        root.extend(dress(style))
    root.append(aliases(titles))
    ET.indent(root)
    return "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n" + ET.tostring(root, encoding="unicode") + "\n"


def dress(style: Style, only: type[Look] | None = None) -> list[ET.Element]:
    """Renderer and labels of a layer.

    A layer whose features are points, lines and areas side by side is opened as one layer for each kind. A rule draws
    only what its symbol suits; so each rule comes once for every kind of look it has, or for the one kind named.

    Parameters
    ----------
    style : Style
        Of the layer.
    only : type, optional
        Kind of look; all if left out.

    Returns
    -------
    list of Element
    """
    renderer = ET.Element("renderer-v2", {"type": "RuleRenderer", "symbollevels": "0", "forceraster": "0"})
    rules = ET.SubElement(renderer, "rules", {"key": "{root}"})
    symbols = ET.SubElement(renderer, "symbols")
    there = {type(look) for rule in style.rules for look in rule.looks}
    kinds = [kind for kind in _KINDS if kind in there and only in (None, kind)]
    for kind in kinds:
        group = rules
        if len(kinds) > 1:  # a group for each, so that "else" looks at the rules of its own kind
            group = ET.SubElement(rules, "rule", {"key": f"{{{_KINDS[kind]}}}", "label": _KINDS[kind]})
        for rule in style.rules:
            for look in (look for look in rule.looks if isinstance(look, kind)):
                number = str(len(symbols))
                group.append(_rule(rule, number, style))
                symbols.append(_symbol(look, number))
    return [renderer, _labeling(style.label)] if style.label else [renderer]


def aliases(titles: Mapping[str, str]) -> ET.Element:
    """Titles of columns.

    Parameters
    ----------
    titles : mapping of str to str
        Of the columns, by name.

    Returns
    -------
    Element
        Of the layer.

    Examples
    --------
    >>> ET.tostring(aliases({"lead_length_m": "lead to pull, m"}))
    b'<aliases><alias index="1" field="lead_length_m" name="lead to pull, m" /></aliases>'
    """
    element = ET.Element("aliases")
    for place, (column, title) in enumerate(titles.items(), start=1):  # the first is the row's own number
        ET.SubElement(element, "alias", {"index": str(place), "field": column, "name": title})
    return element


def _rule(rule: StyleRule, number: str, style: Style) -> ET.Element:
    element = ET.Element("rule", {"key": f"{{rule-{number}}}", "symbol": number, "label": rule.label})
    if rule.column:
        element.set("filter", f'"{rule.column}" = {_quoted(rule.value)}')
    elif style.named:
        tests = (f'"{column}" IN ({", ".join(map(_quoted, values))})' for column, values in style.named.items())
        element.set("filter", f"NOT coalesce({' OR '.join(tests)}, false)")
    elif len(style.rules) > 1:
        element.set("filter", _ELSE)
    return _limited(element, rule.up_to)


def _limited(element: ET.Element, up_to: int, beyond: int = 0) -> ET.Element:
    """Have a rule count on maps at 1 : ``up_to`` and larger scales, but smaller than 1 : ``beyond``."""
    if up_to:
        element.set("scalemaxdenom", str(up_to))
        element.set("scalemindenom", str(beyond))
    return element


def _symbol(look: Look, number: str) -> ET.Element:
    attributes = {"type": _SYMBOLS[type(look)], "name": number, "alpha": "1", "clip_to_extent": "1", "force_rhr": "0"}
    element = ET.Element("symbol", attributes)
    if isinstance(look, Sign):
        _layer(element, "SimpleMarker", _marker_options(look))
    elif isinstance(look, Fill):
        _layer(element, "SimpleFill", _fill_options(look))
    else:
        if look.casing_mm:
            _layer(element, "SimpleLine", _line_options(Stroke(_INK, look.casing_mm)))
        _layer(element, "SimpleLine", _line_options(look))
    return element


def _layer(symbol: ET.Element, kind: str, options: Mapping[str, str]) -> None:
    layer = ET.SubElement(symbol, "layer", {"class": kind, "enabled": "1", "locked": "0", "pass": "0"})
    box = ET.SubElement(layer, "Option", {"type": "Map"})
    for name, value in options.items():
        ET.SubElement(box, "Option", {"type": "QString", "name": name, "value": value})


def _marker_options(sign: Sign) -> dict[str, str]:
    name, turned = SHAPES[sign.shape]
    strokes_only = sign.shape in ("x", "cross")  # these have no inside: the colour is their stroke's
    return {
        "name": name,
        "angle": str(turned),
        "color": _color(sign.fill),
        "outline_color": _color(sign.fill if strokes_only else _INK),
        "outline_width": "0.8" if strokes_only else "0.3",
        "outline_width_unit": "MM",
        "size": f"{sign.size_mm:g}",
        "size_unit": "MM",
    }


def _line_options(stroke: Stroke) -> dict[str, str]:
    options = {
        "line_color": _color(stroke.color),
        "line_style": "solid",
        "line_width": f"{stroke.width_mm:g}",
        "line_width_unit": "MM",
        "capstyle": "flat",
        "joinstyle": "round",
    }
    if stroke.dash:
        options |= {
            "use_custom_dash": "1",
            "customdash_unit": "MM",
            "customdash": ";".join(f"{d:g}" for d in stroke.dash),
        }
    return options


def _fill_options(fill: Fill) -> dict[str, str]:
    """A hatch is drawn in the colour of the border; an area without one is clear, or filled."""
    clear = not (fill.hatch or fill.fill)
    return {
        "color": _color(fill.border.color if fill.hatch else fill.fill or "#ffffff"),
        "style": "no" if clear else _HATCHES.get(fill.hatch, "solid"),
        "outline_color": _color(fill.border.color),
        "outline_style": "dash" if fill.border.dash else "solid",
        "outline_width": f"{fill.border.width_mm:g}",
        "outline_width_unit": "MM",
    }


def _labeling(label: Label) -> ET.Element:
    element = ET.Element("labeling", {"type": "rule-based"})
    rules = ET.SubElement(element, "rules", {"key": "{labels}"})
    plain = f'"{label.column}"'
    stages = [(plain, label.up_to, label.remark_up_to)]
    if label.remark:
        remark = f"""{plain} || CASE WHEN "{label.remark}" = {_quoted(label.unremarkable)} THEN '' """
        remark += f"""ELSE '\\n' || "{label.remark}" END"""
        stages.append((remark, label.remark_up_to, 0))
    for number, (text, up_to, beyond) in enumerate(stages):
        rule = ET.SubElement(rules, "rule", {"key": f"{{label-{number}}}"})
        _limited(rule, up_to, beyond).append(_text_settings(text, minor=label.minor))
    return element


def _text_settings(expression: str, *, minor: bool) -> ET.Element:
    settings = ET.Element("settings")
    text = {"fieldName": expression, "isExpression": "1", "fontSize": "8", "fontSizeUnit": "Point"}
    written = ET.SubElement(settings, "text-style", text | {"textColor": _color(_INK)})
    halo = {"bufferDraw": "1", "bufferSize": "0.8", "bufferSizeUnits": "MM", "bufferColor": _color("#ffffff")}
    ET.SubElement(written, "text-buffer", halo)
    ET.SubElement(settings, "text-format", {"autoWrapLength": "32", "wrapChar": "", "multilineAlign": "3"})
    around = {"placement": "0", "dist": "2", "distUnits": "MM", "priority": "2" if minor else "9"}
    ET.SubElement(settings, "placement", around)
    ET.SubElement(settings, "rendering", {"displayAll": str(int(not minor)), "obstacle": "1"})
    return settings


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def _color(name: str) -> str:
    return ",".join(str(int(name[place : place + 2], 16)) for place in (1, 3, 5)) + ",255"
