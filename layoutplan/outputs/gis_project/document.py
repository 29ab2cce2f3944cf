"""The project as a document: layers, their order, notes on the data, the map to print."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pyproj

from layoutplan.layout.model import Plan
from layoutplan.layout.schema import TABLES
from layoutplan.outputs.gis_project.layout import overview
from layoutplan.outputs.gis_project.shown import ShownLayer, shown_layers
from layoutplan.outputs.gis_project.tree import layer_tree
from layoutplan.outputs.gis_project.view import Extent, plan_extent
from layoutplan.outputs.gpkg import named_crs
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.styles.qml import VERSION, aliases, dress
from layoutplan.outputs.words import credit_text
from layoutplan.text import label_text, xml_text


def project(plan: Plan) -> ET.Element:
    """Return the project's root.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    Element
        The root.
    """
    layers = shown_layers(plan)
    crs = pyproj.CRS.from_user_input(plan.grid_crs)
    extent = plan_extent(plan, crs)
    title = f"{xml_text(plan.job.title)} ({plan_number(plan)})"
    credit = xml_text(credit_text(plan))
    root = ET.Element("qgis", {"version": VERSION, "projectname": title})
    _text(root, "title", title)
    root.append(_reference("projectCrs", crs))
    root.append(layer_tree(layers))
    root.append(_view(extent, crs))
    within = ET.SubElement(root, "projectlayers")
    data_crs = named_crs(plan.job.output.crs)
    within.extend(_layer(layer, data_crs, credit) for layer in layers)
    root.append(_properties(credit))
    root.append(_metadata(plan, title, credit))
    ET.SubElement(root, "Layouts").append(overview(plan, xml_text(plan.job.title), credit, extent, layers))
    return root


def _layer(layer: ShownLayer, crs: pyproj.CRS, credit: str) -> ET.Element:
    shapes = layer.kind.project if layer.kind else "No geometry"
    labelled = layer.style is not None and layer.style.label is not None
    element = ET.Element("maplayer", {"type": "vector", "geometry": shapes, "labelsEnabled": str(int(labelled))})
    _text(element, "id", layer.id)
    _text(element, "datasource", layer.source)
    _text(element, "layername", layer.title)
    if layer.kind:
        element.append(_reference("srs", crs))
    _text(element, "provider", "ogr").set("encoding", "UTF-8")
    _text(element, "attribution", credit).set("href", "")
    if layer.kind and layer.style:
        element.extend(dress(layer.style, layer.kind.look))
    columns = TABLES[layer.table].columns
    element.append(aliases({name: column.title for name, column in columns.items()}))
    return element


def _view(extent: Extent, crs: pyproj.CRS) -> ET.Element:
    canvas = ET.Element("mapcanvas", {"name": "theMapCanvas", "annotationsVisible": "1"})
    _text(canvas, "units", "meters" if crs.axis_info[0].unit_name == "metre" else "unknown")
    box = ET.SubElement(canvas, "extent")
    for name, value in extent.around(1.1).named().items():
        _text(box, name, f"{value:.3f}")
    canvas.append(_reference("destinationsrs", crs))
    return canvas


def _reference(tag: str, crs: pyproj.CRS) -> ET.Element:
    """Reference system, by its code if it has one, else spelt out."""
    element = ET.Element(tag)
    system = ET.SubElement(element, "spatialrefsys")
    _text(system, "wkt", crs.to_wkt("WKT2_2019"))
    authority = crs.to_authority(min_confidence=100)
    if authority:
        _text(system, "authid", ":".join(authority))
    return element


def _properties(credit: str) -> ET.Element:
    """Settings: data by relative paths, coordinates in the project's system, the credit in a corner of the map."""
    element = ET.Element("properties")
    settings = {
        ("Paths", "Absolute"): ("bool", "false"),
        ("SpatialRefSys", "ProjectionsEnabled"): ("int", "1"),
        ("CopyrightLabel", "Enabled"): ("bool", "true"),
        ("CopyrightLabel", "Label"): ("QString", label_text(credit)),
    }
    for (group, key), (kind, value) in settings.items():
        parent = element.find(group)
        if parent is None:
            parent = ET.SubElement(element, group)
        _text(parent, key, value).set("type", kind)
    return element


def _metadata(plan: Plan, title: str, credit: str) -> ET.Element:
    element = ET.Element("projectMetadata")
    _text(element, "title", title)
    number = f"Plan number {plan_number(plan)}"
    _text(element, "abstract", "\n".join([number, *map(xml_text, plan.cautions), f"Map data: {credit}"]))
    return element


def _text(parent: ET.Element, tag: str, text: str) -> ET.Element:
    element = ET.SubElement(parent, tag)
    element.text = text
    return element
