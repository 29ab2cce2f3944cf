"""Tables made into map layers: the one place where foreign text is made inert for the page."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import folium
import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from folium.utilities import JsCode
from numpy.typing import ArrayLike

from layoutplan.layout.levels import known_level
from layoutplan.layout.model import REACHABLE, Plan
from layoutplan.layout.rules import STATUSES
from layoutplan.layout.set_out import sign_name
from layoutplan.outputs.columns import records, turned, west_deg
from layoutplan.outputs.map_page.line_popups import lead_popups, span_popups, walk_popups
from layoutplan.outputs.map_page.obstacle_popups import obstacle_popups
from layoutplan.outputs.map_page.packing import BASE_PER_DEG, PLAN_PER_DEG, packed
from layoutplan.outputs.map_page.page import AsIs
from layoutplan.outputs.map_page.popups import (
    Popups,
    alternative_popups,
    electrode_popups,
    tower_popups,
)
from layoutplan.outputs.map_page.styles import base_map_styles
from layoutplan.outputs.map_page.surroundings import BaseMap
from layoutplan.text import clean, page_text


def plan_layers(plan: Plan) -> Iterator[FeatureLayer]:
    """Yield towers, stakes, leads, ways, alternatives, spans; topmost first, as the layer control lists them.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Yields
    ------
    FeatureLayer
    """
    towers, stakes, leads, others = plan.towers, plan.electrodes, plan.leads, plan.alternatives
    severity = towers["status"].map({status: number for number, status in enumerate(STATUSES)})
    top = np.argsort(severity, kind="stable")  # on an overview, what needs work lies on top
    towers = towers.iloc[top]
    west = west_deg(plan)
    yield _layer("Towers", towers.geometry.array, tower_popups(replace(plan, towers=towers)), west,
                 of_tower=top.tolist(), sign=towers["status"], label=towers["tower_id"])  # fmt: skip
    stake_signs = list(map(sign_name, stakes["role"], stakes["status"]))
    yield _layer("Stakes H and S", stakes.geometry.array, electrode_popups(plan), west,
                 of_tower=_of_tower(plan, stakes), sign=stake_signs, role=stakes["role"])  # fmt: skip
    levels = [f"lead {known_level(code)}" for code in leads["lead_level"]]
    yield _layer("Leads", leads.geometry.array, lead_popups(plan), west,
                 of_tower=_of_tower(plan, leads), style=levels, role=leads["role"])  # fmt: skip
    ways = plan.walks
    yield _layer("Ways on foot", ways.geometry.array, walk_popups(plan), west, of_tower=_of_tower(plan, ways),
                 style=np.where(ways["verdict"] == REACHABLE, "walk", "walk ask").tolist())  # fmt: skip
    yield _layer("Alternative positions", others.geometry.array, alternative_popups(plan), west, show=False,
                 of_tower=_of_tower(plan, others), sign=["alternative"] * len(others))  # fmt: skip
    yield _layer("Line", plan.spans.geometry.array, span_popups(plan), west, style=["span"] * len(plan.spans))


def base_layers(plan: Plan, base: BaseMap) -> Iterator[FeatureLayer]:
    """Yield the map features around the towers by kind, topmost first.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    base : BaseMap
        What is drawn below the plan.

    Yields
    ------
    FeatureLayer
    """
    west = west_deg(plan)
    for group, classes in reversed(list(base_map_styles(plan.job.obstacle_classes).items())):
        rows = base.features["obstacle_class"].isin(list(classes))
        part = _in_drawing_order(base.features[rows], list(classes))
        if len(part):
            yield _layer(group, part.geometry.array, obstacle_popups(part), west, base=True)
    if base.edge is not None:
        name, beyond = "Edge of the base map", "Map features are left out; empty ground there is not clear ground."
        popups = Popups(("Beyond",), [name], [(beyond,)])
        yield _layer(name, np.array([base.edge], dtype=object), popups, west, style=["edge"])


def _of_tower(plan: Plan, table: pd.DataFrame) -> list[int]:
    """Row of the tower that each row of a table belongs to."""
    keys = list(records(plan.towers, "line_id", "tower_id"))
    row = {tuple(key): number for number, key in enumerate(keys)}
    return [row[tuple(key)] for key in records(table, "line_id", "tower_id")]


def _in_drawing_order(features: gpd.GeoDataFrame, classes: Sequence[str]) -> gpd.GeoDataFrame:
    """Order by class, large areas below small ones so that both can be clicked."""
    place = features["obstacle_class"].map({name: number for number, name in enumerate(classes)}).to_numpy()
    return features.iloc[np.lexsort((features["feature_id"], -shapely.area(features.geometry.array), place))]


_PLAIN = re.compile(r"[A-Za-z0-9 .,;:°()-]*").fullmatch  # most texts; nothing in them to make inert


class FeatureLayer(folium.GeoJson):
    """A layer whose features are packed in columns and unpacked in the page.

    Parameters
    ----------
    name : str
        For the layer control; no foreign text.
    columns : mapping of str to list
        Inert already; a value for each feature.
    words : mapping
        Labels of the pop-ups and texts that many features share; inert already.
    show : bool
        Whether the layer is drawn from the start.
    base : bool
        Whether it is part of the base map, which the page unpacks only where somebody looks.
    """

    def __init__(
        self, name: str, columns: Mapping[str, list[Any]], words: Mapping[str, Any], *, show: bool, base: bool
    ) -> None:
        super().__init__(
            {"type": "FeatureCollection", "features": []},
            name=name,
            show=show,
            on_each_feature=JsCode("layoutplan.describe"),
            point_to_layer=JsCode("layoutplan.sign"),
            style=JsCode("layoutplan.style"),
        )
        self.columns, self.words, self.base = columns, words, base

    def render(self, **kwargs: Any) -> None:  # type: ignore[override]  # as folium's own layers do
        """Render the layer, then its data; as they are, not as a template."""
        super().render(**kwargs)  # type: ignore[no-untyped-call]
        root = self.get_root()
        assert isinstance(root, folium.Figure)
        call, unit = ("keep", BASE_PER_DEG) if self.base else ("add", PLAN_PER_DEG)
        packed_layer = {"unit": unit, "words": self.words, "columns": self.columns}
        data = f"layoutplan.{call}({self.get_name()}, {_json(packed_layer)});\n"
        root.script.add_child(AsIs(data), name=f"{self.get_name()}_data")


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def _layer(
    name: str, geometries: ArrayLike, popups: Popups, west_deg: float, *, show: bool = True, base: bool = False,
    of_tower: list[int] | None = None, **marks: Iterable[str],
) -> FeatureLayer:  # fmt: skip
    """Make all texts inert and pack the shapes; ``marks`` are what signs and styles go by."""
    dimensions, shapes = packed(turned(geometries, west_deg), BASE_PER_DEG if base else PLAN_PER_DEG)
    kinds = popups.kinds or [("", "")] * len(popups.shared_texts)
    rows = list(zip(kinds, popups.shared_texts, strict=True))
    shared = {row: number for number, row in enumerate(dict.fromkeys(rows))}
    columns: dict[str, list[Any]] = {"dimension": dimensions, "shape": shapes, "title": _inert(popups.titles)}
    columns |= {key: _inert(texts) for key, texts in marks.items()}
    columns["texts"] = [_inert(texts) for texts in popups.texts]
    if of_tower is not None:
        columns["tower"] = of_tower
    if shared:
        columns["shared"] = [shared[row] for row in rows]
    labels = [*popups.shared_labels, *popups.labels]
    words = {
        "labels": labels,
        "shared": [_inert(texts) for _, texts in shared],
        "kinds": [_inert(kind) for kind, _ in shared],
    }
    return FeatureLayer(name, columns, words, show=show, base=base)


def _inert(texts: Iterable[str]) -> list[str]:
    return [text if _PLAIN(text) else page_text(clean(text)) for text in texts]
