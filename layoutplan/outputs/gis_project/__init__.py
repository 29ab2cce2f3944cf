"""``plan.qgz``: a project for a widespread desktop GIS that shows ``plan.gpkg`` beside it, with a map to print."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from pathlib import Path

from layoutplan.archive import write_archive
from layoutplan.layout.model import Plan
from layoutplan.outputs.gis_project.document import project

__all__ = ["write_project"]


def write_project(plan: Plan, folder: Path) -> Path:
    """Write the project; the same plan gives the same bytes.

    It names its data as ``./plan.gpkg``: the two belong into one folder.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    folder : Path
        Where the file is made.

    Returns
    -------
    Path
        ``plan.qgz``.
    """
    root = project(plan)
    ET.indent(root)
    text = "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n" + ET.tostring(root, encoding="unicode")
    return write_archive(folder / "plan.qgz", {"plan.qgs": text.encode("utf-8")}, packed=True)
