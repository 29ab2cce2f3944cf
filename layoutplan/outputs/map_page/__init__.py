"""``map.html``: the plan on an interactive map in one file that needs no network."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
from folium import LayerControl, MacroElement
from folium.template import Template
from folium.utilities import JsCode

from layoutplan.inputs.staked_states import LONGEST_NOTE, STATES
from layoutplan.layout.levels import LEAD_LEVELS
from layoutplan.layout.model import Plan
from layoutplan.outputs.columns import turned_lon, west_deg
from layoutplan.outputs.map_page.dark import dark_styles
from layoutplan.outputs.map_page.layers import FeatureLayer, base_layers, plan_layers
from layoutplan.outputs.map_page.page import AsIs, OfflineMap
from layoutplan.outputs.map_page.panel import panel_html
from layoutplan.outputs.map_page.styles import PLAN_STYLES, SIGNS, base_styles
from layoutplan.outputs.map_page.sun import sun_styles
from layoutplan.outputs.map_page.surroundings import base_map
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.words import credit_lines
from layoutplan.text import clean, page_text

__all__ = ["write_map"]


_SCRIPTS = (
    *("geodesy", "drawing", "features", "popups", "measure", "records", "locate", "tick", "chooser", "list", "search"),
    *("paper", "start"),
)
_RENDERER: dict[str, Any] = {"renderer": JsCode("L.canvas({tolerance: 4, padding: 0.3})")}


class _Start(MacroElement):
    """Sets the page going once all layers are there."""

    _template = Template(
        """{% macro script(this, kwargs) %}
        layoutplan.start({{ this._parent.get_name() }},
            [{% for layer in this.layers %}{{ layer.get_name() }}{{ ", " if not loop.last }}{% endfor %}],
            {{ this.bounds | tojson }}, {{ this.credits | tojson }});
        {% endmacro %}"""
    )

    def __init__(self, layers: list[FeatureLayer], bounds: list[list[float]], credit: list[str]) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self._name = "Start"
        self.layers, self.bounds, self.credits = layers, bounds, credit


def write_map(plan: Plan, folder: Path) -> Path:
    """Write the map: towers, stakes, leads, line and alternatives over the map features around the towers.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    folder : Path
        Where the file is made.

    Returns
    -------
    Path
        ``map.html``.
    """
    page = OfflineMap(tiles=None, max_zoom=20, zoom_snap=0.5, **_RENDERER)
    base = base_map(plan)
    layers = [*plan_layers(plan), *base_layers(plan, base)]
    for layer in layers:
        page.add_child(layer)
    page.add_child(LayerControl(collapsed=True))
    page.add_child(_Start(layers[::-1], _bounds(plan), _credits(plan)))
    page.figure.html.add_child(AsIs(panel_html(plan, base)), name="panel")
    path = folder / "map.html"
    css = _own("page.css").replace("PLAN-NUMBER", plan_number(plan))
    text = page.to_html(page_text(clean(plan.job.title)), base.note, css, _script(plan))
    path.write_text(text, encoding="utf-8", newline="\n")
    return path


def _own(name: str) -> str:
    return (files("layoutplan.outputs.map_page") / name).read_text("utf-8")


def _script(plan: Plan) -> str:
    """Return the page's script with the looks and names of things put in; these are ours, no foreign text."""
    classes = plan.job.obstacle_classes
    looks: dict[str, Any] = {
        "signs": dict(SIGNS),
        "styles": {**PLAN_STYLES, **base_styles(classes)},
        "sun_styles": sun_styles(classes),
        "dark_styles": dark_styles(classes),
        "levels": {str(level): words for level, words in LEAD_LEVELS.items()},
        "plan": plan_number(plan),
        "states": STATES,
        "longest_note": LONGEST_NOTE,
    }
    text = "".join(_own(f"script/{name}.js") for name in _SCRIPTS)
    return text.replace("SETTINGS", json.dumps(looks, default=dict), 1)


def _credits(plan: Plan) -> list[str]:
    return [page_text(line) for line in credit_lines(plan)]


def _bounds(plan: Plan) -> list[list[float]]:
    """South-west and north-east corner of towers and stakes, on this map's longitudes."""
    if plan.towers.empty:
        return [[-60.0, -180.0], [75.0, 180.0]]
    west = west_deg(plan)
    lon = np.concatenate([turned_lon(table["lon"], west) for table in (plan.towers, plan.electrodes)])
    lat = np.concatenate([table["lat"].to_numpy(dtype=float) for table in (plan.towers, plan.electrodes)])
    return [[float(lat.min()), float(lon.min())], [float(lat.max()), float(lon.max())]]
