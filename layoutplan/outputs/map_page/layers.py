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
import shapely
from folium.utilities import JsCode
from numpy.typing import ArrayLike

from layoutplan.outputs.columns import turned
from layoutplan.outputs.map_page.corridor import near_towers
from layoutplan.outputs.map_page.line_popups import lead_popups, span_popups
from layoutplan.outputs.map_page.obstacle_popups import obstacle_popups
from layoutplan.outputs.map_page.packing import packed
from layoutplan.outputs.map_page.page import AsIs
from layoutplan.outputs.map_page.popups import (
    Popups,
    alternative_popups,
    electrode_popups,
    tower_popups,
)
from layoutplan.outputs.map_page.styles import BASE_MAP
from layoutplan.outputs.words import lead_level
from layoutplan.planning.model import STATUSES, Plan
from layoutplan.text import clean, page_text

# base map drawn beyond the reach of the reel: generous, but a long line must stay a page that a phone can open
_SHORT_LINE_TOWERS, _AROUND_SHORT_M, _AROUND_LONG_M = 200, 350.0, 50.0
_MOST_FEATURES = 60_000  # some 15 MB; beyond that the page goes without a base map, and says so


def plan_layers(plan: Plan) -> Iterator[FeatureLayer]:
    """Yield towers, stakes, leads, spans, alternatives; topmost first, as the layer control lists them."""
    towers, stakes, leads = plan.towers, plan.electrodes, plan.leads
    severity = towers["status"].map({status: number for number, status in enumerate(STATUSES)})
    towers = towers.iloc[np.argsort(severity, kind="stable")]  # on an overview, what needs work lies on top
    west = _west(plan)
    yield _layer("Towers", towers.geometry.array, tower_popups(replace(plan, towers=towers)), west,
                 sign=towers["status"], label=towers["tower_id"])  # fmt: skip
    yield _layer("Stakes H and S", stakes.geometry.array, electrode_popups(plan), west, sign=stakes["role"])
    levels = [f"lead {lead_level(text)}" for text in leads["handling"]]
    yield _layer("Leads", leads.geometry.array, lead_popups(plan), west, style=levels)
    yield _layer("Alternative positions", plan.alternatives.geometry.array, alternative_popups(plan), west, show=False,
                 sign=["alternative"] * len(plan.alternatives))  # fmt: skip
    yield _layer("Line", plan.spans.geometry.array, span_popups(plan), west, style=["span"] * len(plan.spans))


def base_layers(plan: Plan) -> Iterator[FeatureLayer]:
    """Yield the map features around the towers by kind, topmost first; none if there are too many for a page."""
    west = _west(plan)
    towers = turned(plan.towers.geometry.array, west)
    around_m = _AROUND_SHORT_M if len(towers) <= _SHORT_LINE_TOWERS else _AROUND_LONG_M
    near = near_towers(plan.obstacles, shapely.get_coordinates(towers), plan.job.rules.reach_m + around_m)
    if len(near) > _MOST_FEATURES:
        return
    for group, classes in reversed(list(BASE_MAP.items())):
        part = _in_drawing_order(near[near["obstacle_class"].isin(list(classes))], list(classes))
        if len(part):
            yield _layer(group, part.geometry.array, obstacle_popups(part), west, style=part["obstacle_class"])


def _west(plan: Plan) -> float:
    """Return where longitudes begin on this map, so that a line across the antimeridian is drawn in one piece."""
    return float(plan.towers["lon"].iloc[0]) - 180.0 if len(plan.towers) else -180.0


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
    """

    def __init__(self, name: str, columns: Mapping[str, list[Any]], words: Mapping[str, Any], show: bool) -> None:
        super().__init__(
            {"type": "FeatureCollection", "features": []},
            name=name,
            show=show,
            on_each_feature=JsCode(f"layoutplan.describe({json.dumps(name)}, {_json(words)})"),
            point_to_layer=JsCode("layoutplan.sign"),
            style=JsCode("layoutplan.style"),
        )
        self.columns = columns

    def render(self, **kwargs: Any) -> None:  # type: ignore[override]  # as folium's own layers do
        """Render the layer, then its data; as they are, not as a template."""
        super().render(**kwargs)  # type: ignore[no-untyped-call]
        root = self.get_root()
        assert isinstance(root, folium.Figure)
        data = f"{self.get_name()}.addData(layoutplan.unpack({_json(self.columns)}));\n"
        root.script.add_child(AsIs(data), name=f"{self.get_name()}_data")


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def _layer(
    name: str, geometries: ArrayLike, popups: Popups, west_deg: float, *, show: bool = True, **marks: Iterable[str]
) -> FeatureLayer:
    """Make all texts inert and pack the shapes; ``marks`` are what signs and styles go by."""
    dimensions, shapes = packed(turned(geometries, west_deg))
    shared = {texts: number for number, texts in enumerate(dict.fromkeys(popups.shared_texts))}
    columns: dict[str, list[Any]] = {"dimension": dimensions, "shape": shapes, "title": _inert(popups.titles)}
    columns |= {key: _inert(texts) for key, texts in marks.items()}
    columns["texts"] = [_inert(texts) for texts in popups.texts]
    if shared:
        columns["shared"] = [shared[texts] for texts in popups.shared_texts]
    labels = [*popups.shared_labels, *popups.labels]
    return FeatureLayer(name, columns, {"labels": labels, "shared": [_inert(texts) for texts in shared]}, show)


def _inert(texts: Iterable[str]) -> list[str]:
    return [text if _PLAIN(text) else page_text(clean(text)) for text in texts]
