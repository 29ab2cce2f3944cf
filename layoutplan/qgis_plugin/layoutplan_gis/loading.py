"""Loading what the command wrote: every kind of shape, dressed as its file says, in order."""

from __future__ import annotations

import sqlite3
import struct
from collections.abc import Iterator, Mapping
from contextlib import closing
from pathlib import Path
from typing import Any

from qgis.core import QgsProcessingContext, QgsProcessingException, QgsProcessingLayerPostProcessorInterface
from qgis.PyQt import sip

TABLES = {  # as they lie in the list of layers, from the lowest up
    "checks": "Rules and verdicts",
    "exposures": "Voltages on leads",
    "hints": "Hints from readings",
    "reported": "Reported by the crew",
    "obstacles": "Obstacles",
    "permissions": "Land and permissions",
    "spans": "Spans",
    "approaches": "Ways on foot",
    "alternatives": "Other positions",
    "leads": "Leads",
    "shifts": "From plan to stake",
    "missing": "Missing stakes",
    "electrodes": "Stakes H and S",
    "towers": "Towers",
}
_KINDS = {"Polygon": "areas", "LineString": "lines", "Point": "points"}  # from the lowest up
_KIND_OF = {1: "Point", 2: "LineString", 3: "Polygon", 4: "Point", 5: "LineString", 6: "Polygon"}
_ENVELOPE_BYTES = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}  # GeoPackage 1.3, clause 2.1.3
_RANK, _FILE = "layoutplan/rank", "layoutplan/file"


def load_layers(file: Path, names: Mapping[str, str], context: QgsProcessingContext) -> dict[str, str]:
    """Have tables of a GeoPackage loaded into the project when the algorithm is done.

    Parameters
    ----------
    file : Path
        GeoPackage.
    names : mapping
        Tables by name, with their titles. Those that are not there are passed over.
    context : QgsProcessingContext

    Returns
    -------
    dict
        Sources of the tables that are there, by name.

    Raises
    ------
    QgsProcessingException
        The file cannot be read.
    """
    try:
        # by other means than QGIS, which writes into a file that it opens
        with closing(sqlite3.connect(f"{file.resolve().as_uri()}?mode=ro", uri=True)) as base:
            there = {str(name) for (name,) in base.execute("SELECT table_name FROM gpkg_contents")}
            parts = {name: list(_parts(base, name)) for name in names if name in there}
    except sqlite3.Error as err:
        raise QgsProcessingException(f"'{file}' cannot be read ({err}).") from err
    found = {name: f"{file}|layername={name}" for name in parts}
    if context.project() is not None:
        for name, kinds in parts.items():
            for kind in kinds:
                source = found[name] + (f"|geometrytype={kind}" if kind else "")
                title = names[name] + (f" ({_KINDS[kind]})" if kind else "")
                details = QgsProcessingContext.LayerDetails(title, context.project(), name)
                dresser = _dresser(name, kind, file)
                details.forceName = True  # else QGIS takes the table's, but for files in a temporary folder
                details.setPostProcessor(dresser)
                details.layerSortKey = dresser.rank  # the order for newer versions, which place layers only afterwards
                context.addLayerToLoadOnCompletion(source, details)
    return found


def _parts(base: sqlite3.Connection, name: str) -> Iterator[str]:
    """Kinds of shapes in a table that may hold several: QGIS would load one of them only; of others an empty text."""
    kind = base.execute(
        "SELECT geometry_type_name, column_name FROM gpkg_geometry_columns WHERE table_name = ?", (name,)
    ).fetchone()
    if kind is None or kind[0].upper() != "GEOMETRY":
        yield ""
        return
    column = '"' + kind[1].replace('"', '""') + '"'
    heads = base.execute(f'SELECT substr({column}, 1, 80) FROM "{name}" WHERE {column} IS NOT NULL')
    kinds = {_kind(head) for (head,) in heads}
    yield from (kind for kind in _KINDS if kind in kinds)


def _kind(head: bytes) -> str:
    """Kind of a shape, from the first bytes of its GeoPackage binary."""
    start = 8 + _ENVELOPE_BYTES.get(head[3] >> 1 & 7, 0)
    (code,) = struct.unpack_from("<I" if head[start] else ">I", head, start + 1)
    return _KIND_OF.get(code % 1000, "")


class _Dresser(QgsProcessingLayerPostProcessorInterface):
    """Gives a loaded layer the style of its file, with the names of its columns, and puts it in its place."""

    def __init__(self, rank: int, kind: str, file: str) -> None:
        super().__init__()
        self.rank, self.kind, self.file = rank, kind, file

    def postProcessLayer(self, layer: Any, context: Any, feedback: Any) -> None:  # noqa: N802
        """Called in the program's own thread, when the layer is in the project."""
        del feedback
        layer.loadDefaultStyle()  # Processing sets a style of its own
        if self.kind:
            _keep_rules(layer.renderer(), _KINDS[self.kind])
        layer.setCustomProperty(_RANK, self.rank)
        layer.setCustomProperty(_FILE, self.file)
        layer.triggerRepaint()
        _place(layer, context.project())


def _place(layer: Any, project: Any) -> None:
    """Move a layer below those of its plan that belong above it."""
    node = project.layerTreeRoot().findLayer(layer.id()) if project is not None else None
    if node is None:
        return  # newer versions add it later
    parent = node.parent()
    beside = [child for child in parent.findLayers() if child.parent() == parent and child.layer() is not None]
    above = [
        child
        for child in beside
        if child.layer().customProperty(_FILE) == layer.customProperty(_FILE)
        and int(child.layer().customProperty(_RANK, -1)) > int(layer.customProperty(_RANK))
    ]
    if above:
        parent.insertChildNode(parent.children().index(above[-1]) + 1, node.clone())
        parent.removeChildNode(node)


def _keep_rules(renderer: Any, kind: str) -> None:
    """Of a style for several kinds of shapes keep the rules of one, so that the legend lists nothing twice."""
    if renderer is None or renderer.type() != "RuleRenderer":
        return
    root = renderer.rootRule()
    for group in [group for group in root.children() if group.label() in _KINDS.values()]:
        for rule in group.children() if group.label() == kind else ():
            root.appendChild(rule.clone())
        root.removeChild(group)


_KEPT: list[_Dresser] = []  # Processing keeps no reference of its own, but deletes them when its window goes


def _dresser(name: str, kind: str, file: Path) -> _Dresser:
    rank = 10 * list(TABLES).index(name) + (list(_KINDS).index(kind) if kind else 0)
    _KEPT[:] = [kept for kept in _KEPT if not sip.isdeleted(kept)]
    _KEPT.append(_Dresser(rank, kind, str(file)))
    return _KEPT[-1]
