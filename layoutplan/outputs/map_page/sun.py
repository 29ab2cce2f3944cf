"""Looks for reading in the sun: black on white, wider marks, the ground left white where a hatch does not tell it."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from layoutplan.outputs.map_page.styles import AREA_CLASSES, BASE_STYLES, PLAN_STYLES

_WIDER = 1.4
_DARKER = 0.55  # share of the colour that is left; white paper stays white


def _dark(color: str) -> str:
    parts = (int(color[place : place + 2], 16) for place in (1, 3, 5))
    return "#" + "".join(f"{round(part * _DARKER):02x}" for part in parts)


def _strong_line(style: Mapping[str, Any]) -> dict[str, Any]:
    return {"weight": style["weight"] * _WIDER} | ({"casing": style["casing"] * _WIDER} if "casing" in style else {})


def _base(name: str, style: Mapping[str, Any]) -> dict[str, Any]:
    """Borders and lines dark; fills go, those of water and buildings stay pale, hatches stay."""
    dark = {"color": _dark(style["color"])}
    if name not in AREA_CLASSES:
        return dark | {"weight": style["weight"] + 0.5, "fillColor": dark["color"], "fillOpacity": 0.25}
    look = dark | {"weight": style["weight"] + 0.8, "fillColor": "#ffffff", "fillOpacity": 0}
    if "hatch" in style:
        return look | {"hatch": style["hatch"], "fillOpacity": 1}
    return look | ({"fillColor": style["color"], "fillOpacity": 0.3} if name in ("standing_water", "building") else {})


SUN_STYLES: Mapping[str, Mapping[str, Any]] = MappingProxyType(
    {name: _strong_line(style) for name, style in PLAN_STYLES.items()}
    | {name: _base(name, style) for name, style in BASE_STYLES.items()}
)
