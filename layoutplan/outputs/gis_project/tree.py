"""The list of layers, as the project and its legends have it."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterable
from itertools import groupby

from layoutplan.outputs.gis_project.shown import ShownLayer


def layer_tree(layers: Iterable[ShownLayer]) -> ET.Element:
    """Return the list from the top down; grouped layers are folded.

    Parameters
    ----------
    layers : sequence of ShownLayer
        Those of the project.

    Returns
    -------
    Element
    """
    root = ET.Element("layer-tree-group")
    for group, members in groupby(layers, lambda layer: layer.group):
        parent = root
        if group:
            look = {"name": group, "checked": "Qt::Checked", "expanded": "0"}
            parent = ET.SubElement(root, "layer-tree-group", look)
        for layer in members:
            node = {"id": layer.id, "name": layer.title, "source": layer.source, "providerKey": "ogr"}
            ticked = "Qt::Checked" if layer.ticked else "Qt::Unchecked"
            ET.SubElement(parent, "layer-tree-layer", node | {"checked": ticked, "expanded": str(int(not group))})
    return root
