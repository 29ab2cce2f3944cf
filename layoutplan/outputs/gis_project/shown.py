"""Which layers the project shows, from the lowest up, and what of each."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import shapely
from shapely import GeometryType

from layoutplan.layout.model import Plan
from layoutplan.layout.schema import TABLES
from layoutplan.outputs.gpkg import present_classes
from layoutplan.outputs.styles.layers import layer_styles
from layoutplan.outputs.styles.looks import Fill, Look, Sign, Stroke, Style

OBSTACLES, TABLES_GROUP = "Obstacles", "Tables"
_DRAWN = ("towers", "electrodes", "leads", "alternatives", "approaches", "spans", "permissions", "obstacles")
_UNTICKED = frozenset({"alternatives"})
_LISTED = ("checks", "crossings", "agreements", "exposures", "readings", "pairs", "exclusions", "relaxations")


@dataclass(frozen=True, slots=True)
class Kind:
    """Shapes of one kind: the name in sources, in the project, in titles, and the looks that draw it."""

    source: str
    project: str
    title: str
    look: type[Look]
    types: tuple[GeometryType, ...]


_KINDS = (
    Kind("Point", "Point", "points", Sign, (GeometryType.POINT, GeometryType.MULTIPOINT)),
    Kind("LineString", "Line", "lines", Stroke, (GeometryType.LINESTRING, GeometryType.MULTILINESTRING)),
    Kind("Polygon", "Polygon", "areas", Fill, (GeometryType.POLYGON, GeometryType.MULTIPOLYGON)),
)


@dataclass(frozen=True, slots=True)
class ShownLayer:
    """A layer of the project; without ``kind`` a table. ``signs`` is how many of its rules draw something."""

    table: str
    title: str
    source: str
    group: str = ""
    kind: Kind | None = None
    style: Style | None = None
    ticked: bool = True
    signs: int = 0

    @property
    def id(self) -> str:
        """Name with a number as the program wants it, the same in every plan."""
        name = f"{self.table}_{self.kind.title}" if self.kind else self.table
        return f"{name}_{uuid.uuid5(uuid.NAMESPACE_OID, f'layoutplan {name}')}".replace("-", "_")


def shown_layers(plan: Plan) -> list[ShownLayer]:
    """Layers from the top of the list down; those in which there is nothing are left out.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    list of Layer
        From the top of the list down.
    """
    styles = layer_styles(present_classes(plan))
    drawn = [layer for name in _DRAWN for layer in _drawn(plan, name, styles[name])]
    listed = [
        ShownLayer(name, TABLES[name].title, f"./plan.gpkg|layername={name}", TABLES_GROUP, ticked=False)
        for name in _LISTED
        if len(getattr(plan, name))
    ]
    return [*drawn, *listed]


def _drawn(plan: Plan, name: str, style: Style) -> Iterator[ShownLayer]:
    types = shapely.get_type_id(getattr(plan, name).geometry.to_numpy())
    kinds = [kind for kind in _KINDS if np.isin(types, kind.types).any()]
    mixed = TABLES[name].geometry == "Unknown"
    for kind in kinds:
        source, title, group = f"./plan.gpkg|layername={name}", TABLES[name].title, ""
        if mixed:
            source += f"|geometrytype={kind.source}"
        if mixed and len(kinds) > 1:
            title += f" ({kind.title})"
        dress = style
        if name == "obstacles":
            group = OBSTACLES
            there = set(plan.obstacles["obstacle_class"][np.isin(types, kind.types)])
            dress = replace(style, rules=tuple(rule for rule in style.rules if rule.value in there | {""}))
        signs = _signs(dress, getattr(plan, name)[np.isin(types, kind.types)])
        yield ShownLayer(name, title, source, group, kind, dress, ticked=name not in _UNTICKED, signs=signs)


def _signs(style: Style, rows: pd.DataFrame) -> int:
    there = {column: rows[column].astype(str) for column in {rule.column for rule in style.rules} if column}
    return sum(bool((there[rule.column] == rule.value).any()) for rule in style.rules if rule.column) or min(
        1, len(rows)
    )
