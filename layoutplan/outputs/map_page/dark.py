"""Looks for the night: dark ground, everything that is drawn lighter than it."""

from __future__ import annotations

import colorsys
from collections.abc import Mapping
from typing import Any

from layoutplan.job.class_model import ObstacleClass
from layoutplan.outputs.map_page.styles import PLAN_STYLES, base_styles

PAPER, CHALK = "#14181c", "#f2f2f2"
_GROUND, _LINE, _COLOURED = 0.15, 0.44, 0.6  # lightness of areas and of lines, share of the saturation that is left


def _shade(color: str, lightness: float) -> str:
    hue, _, saturation = colorsys.rgb_to_hls(*(int(color[at : at + 2], 16) / 255 for at in (1, 3, 5)))
    parts = colorsys.hls_to_rgb(hue, lightness, saturation * _COLOURED)
    return "#" + "".join(f"{round(255 * part):02x}" for part in parts)


def _base(style: Mapping[str, Any]) -> dict[str, Any]:
    dark: dict[str, Any] = {"color": _shade(style["color"], _LINE)}
    if style.get("fillColor"):
        dark["fillColor"] = _shade(style["fillColor"], _GROUND)
    return dark | {key: style[key] for key in ("hatch", "fillOpacity") if key in style}


def _plan(style: Mapping[str, Any]) -> dict[str, Any]:
    """Leads and ways on foot keep their colours within a white edge; ink turns to chalk."""
    return {} if "casing" in style else {"color": CHALK}


def dark_styles(classes: Mapping[str, ObstacleClass]) -> dict[str, dict[str, Any]]:
    """Looks of the plan and of the job's classes where the device is set to dark."""
    base = {name: _base(style) for name, style in base_styles(classes).items()}
    return {name: _plan(style) for name, style in PLAN_STYLES.items()} | base
