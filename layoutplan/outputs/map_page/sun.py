"""Looks for reading in the sun: black on white, wider marks, the ground left white where no hatch marks it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from layoutplan.job.class_model import Look, ObstacleClass
from layoutplan.outputs.map_page.styles import PLAN_STYLES, base_styles

_WIDER = 1.4
_DARKER = 0.55  # share of the colour that is left; white paper stays white


def _dark(color: str) -> str:
    parts = (int(color[place : place + 2], 16) for place in (1, 3, 5))
    return "#" + "".join(f"{round(part * _DARKER):02x}" for part in parts)


def _strong_line(style: Mapping[str, Any]) -> dict[str, Any]:
    return {"weight": style["weight"] * _WIDER} | ({"casing": style["casing"] * _WIDER} if "casing" in style else {})


def _base(look: Look, style: Mapping[str, Any]) -> dict[str, Any]:
    """Borders and lines dark; fills go, those of water and buildings stay pale, hatches stay."""
    dark = {"color": _dark(style["color"])}
    if not look.area:
        return dark | {"weight": style["weight"] + 0.5, "fillColor": dark["color"], "fillOpacity": 0.25}
    paler = dark | {"weight": style["weight"] + 0.8, "fillColor": "#ffffff", "fillOpacity": 0}
    if "hatch" in style:
        return paler | {"hatch": style["hatch"], "fillOpacity": 1}
    return paler | ({"fillColor": style["color"], "fillOpacity": 0.3} if look.solid else {})


def sun_styles(classes: Mapping[str, ObstacleClass]) -> dict[str, dict[str, Any]]:
    """Looks of the plan and of the job's classes for reading in the sun.

    Parameters
    ----------
    classes : mapping of str to ObstacleClass
        Of the job.

    Returns
    -------
    dict of str to dict
    """
    base = {name: _base(classes[name].look, style) for name, style in base_styles(classes).items()}
    return {name: _strong_line(style) for name, style in PLAN_STYLES.items()} | base
