"""How things look on the map: signs for towers and stakes, lines and areas of the base map.

Colours of the plan itself are the Okabe-Ito palette, which colour-blind readers can tell apart (M. Okabe and K. Ito,
"Color Universal Design", 2002; values from memory). Nothing is told by colour alone: signs differ by shape, lines by
dash and width, areas by hatch and border, so that a grey print can be read.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

import numpy as np

from layoutplan.layout.rules import ALL_MET, BREAKS, COMPROMISED, NEEDS_AGREEMENT, NO_LAYOUT, NOT_COVERED, TAKE_CARE

GREEN, SKY, ORANGE, VERMILION, BLUE, PURPLE = "#009e73", "#56b4e9", "#e69f00", "#d55e00", "#0072b2", "#cc79a7"
YELLOW, INK = "#f0e442", "#111111"

_ROUND = np.linspace(0, 2 * np.pi, 24, endpoint=False)
_SHAPES: Mapping[str, list[list[float]]] = {
    "circle": np.round(np.column_stack((np.sin(_ROUND), np.cos(_ROUND))), 3).tolist(),
    "square": [[-0.9, -0.9], [0.9, -0.9], [0.9, 0.9], [-0.9, 0.9]],
    "diamond": [[0, -1.2], [1.2, 0], [0, 1.2], [-1.2, 0]],
    "triangle": [[0, -1.25], [1.2, 0.9], [-1.2, 0.9]],
    "pennant": [[-1.3, -0.95], [1.3, -0.95], [0, 1.35]],
    "pentagon": [[0, -1.25], [1.2, -0.35], [0.75, 1.05], [-0.75, 1.05], [-1.2, -0.35]],
    "octagon": [
        [-0.45, -1.1], [0.45, -1.1], [1.1, -0.45], [1.1, 0.45],
        [0.45, 1.1], [-0.45, 1.1], [-1.1, 0.45], [-1.1, -0.45],
    ],
    "hexagon": [[-0.6, -1.05], [0.6, -1.05], [1.2, 0], [0.6, 1.05], [-0.6, 1.05], [-1.2, 0]],
    "cross": [
        [-0.75, -1.2], [0, -0.45], [0.75, -1.2], [1.2, -0.75], [0.45, 0], [1.2, 0.75],
        [0.75, 1.2], [0, 0.45], [-0.75, 1.2], [-1.2, 0.75], [-0.45, 0], [-1.2, -0.75],
    ],
}  # fmt: skip


def _sign(shape: str, fill: str, radius: float = 8, letter: str = "", **more: Any) -> dict[str, Any]:
    """Corners in units of the radius (x right, y down).

    ``lift`` moves the letter up, in the same unit; what is ``close`` is not drawn on an overview.
    """
    look = {"points": _SHAPES[shape], "fill": fill, "radius": radius, "letter": letter}
    return look | {"ink": INK, "lift": 0, "close": False} | more


SIGNS: Mapping[str, Mapping[str, Any]] = MappingProxyType(
    {
        ALL_MET: _sign("circle", GREEN),
        TAKE_CARE: _sign("pentagon", GREEN),
        COMPROMISED: _sign("diamond", SKY),
        NEEDS_AGREEMENT: _sign("triangle", ORANGE),
        NOT_COVERED: _sign("hexagon", "#ffffff", 8.5, "?"),
        BREAKS: _sign("octagon", "#111111", 8.5, "!", ink="#ffffff"),
        NO_LAYOUT: _sign("cross", VERMILION, 8.5),
        "H": _sign("square", BLUE, letter="H", ink="#ffffff", close=True),
        "S": _sign("pennant", PURPLE, letter="S", lift=0.25, close=True),
        "alternative": _sign("circle", "#ffffff", 4, close=True),
    }
)


def _lead(color: str, weight: float, dash: str | None = None, casing: float = 0) -> dict[str, Any]:
    """``casing`` is the width of a dark line below, which shows on both sides and in the gaps."""
    style: dict[str, Any] = {"color": color, "weight": weight, "opacity": 1, "fill": False, "lineCap": "butt"}
    return style | ({"dashArray": dash} if dash else {}) | ({"casing": casing} if casing else {})


PLAN_STYLES: Mapping[str, Mapping[str, Any]] = MappingProxyType(
    {
        "span": {"color": INK, "weight": 3, "opacity": 1, "fill": False},
        "edge": {"color": "#555555", "weight": 1.5, "opacity": 1, "fill": False, "dashArray": "1 6"},
        "walk": {"color": "#1f6b4a", "weight": 3, "opacity": 1, "fill": False, "dashArray": "1 6"},
        "walk ask": {"color": "#8a4b08", "weight": 3, "opacity": 1, "fill": False, "dashArray": "9 5 1 5"},
        "lead below": _lead(BLUE, 3, casing=5),  # the casing tells it from a stream
        "lead near": _lead(ORANGE, 4, casing=7),
        "lead unknown": _lead(YELLOW, 4.5, "6 6", casing=7),  # like barrier tape
        "lead above": _lead(VERMILION, 7, "16 3", casing=10),
    }
)


def _line(color: str, weight: float, dash: str | None = None) -> dict[str, Any]:
    """Also used for areas of the class: the same colour, paler."""
    style: dict[str, Any] = {"color": color, "weight": weight, "opacity": 1, "fillColor": color, "fillOpacity": 0.5}
    return style | _dashes(dash)


def _dashes(dash: str | None) -> dict[str, str]:
    """Return dashes with square ends; dots (dashes of 1 or 2) keep their round ones."""
    if dash is None:
        return {}
    return {"dashArray": dash, "lineCap": "round" if dash[:2] in ("1 ", "2 ") else "butt"}


def _area(
    fill: str | None, border: str, weight: float = 1, dash: str | None = None, hatch: str | None = None
) -> dict[str, Any]:
    style: dict[str, Any] = {"color": border, "weight": weight, "opacity": 1, "fillColor": fill, "fillOpacity": 1}
    if fill is None:
        style |= {"fillColor": "#ffffff", "fillOpacity": 0}
    if hatch:
        style |= {"hatch": hatch, "fillOpacity": 1}
    return style | _dashes(dash)


# group of the layer control -> class -> style; drawn in this order
BASE_MAP: Mapping[str, Mapping[str, Mapping[str, Any]]] = MappingProxyType(
    {
        "Land": {
            "crops": _area("#f6efd2", "#dccf9a"),
            "woodland": _area("#cfe3c4", "#94b886"),
            "yard": _area("#e4e2e8", "#aaa6b3"),
            "garden_residential": _area("#efe6e0", "#c6b3a6"),
            "quarry": _area("#ddd5cb", "#857969", hatch="cross"),
            "airfield": _area("#e8e8f2", "#75758a", 1.5),
            "cemetery": _area("#dfe6d2", "#75856a", hatch="dots"),
            "substation_plant": _area("#d9d0e2", "#56466b", 1.5, hatch="cross"),
        },
        "Entry and protection": {
            "permitted_land": _area(None, "#3f8f3f", 1.5, "2 5"),
            "land_unsettled": _area(None, "#8a6a1f", 1.5, "5 4", hatch="dots"),
            "protected_area": _area(None, "#2f6f3f", 2, "9 5"),
            "military": _area(None, "#7a3b3b", 2, "9 3 2 3", hatch="diagonal"),
            "no_entry": _area(None, "#a82222", 2, hatch="diagonal"),
        },
        "Not told by the map": {
            "houses_unmapped": _area(None, "#8f3f6f", 1.5, "2 4", hatch="dots"),
            "shore_unmapped": _area(None, "#8f3f6f", 1.5, "2 4", hatch="horizontal"),
        },
        "Water": {
            "wetland": _area("#dceeed", "#6fa8a8", hatch="horizontal"),
            "standing_water": _area("#b6d5ea", "#4c86ae"),
            "river_canal": _line("#7cafd4", 6),
            "stream_ditch": _line("#5f9cc8", 2),
        },
        "Roads and railways": {
            "track_path": _line("#8c7a64", 1.8, "6 4"),
            "minor_road": _line("#a39a90", 3.5),
            "main_road": _line("#b98d45", 5.5),
            "bridge_overhead": _line("#7a7a7a", 5, "4 3"),
            "tunnel_culvert": _line("#9a9a9a", 3, "1 6"),
            "railway": _line("#3f3f3f", 3, "12 5"),
        },
        "Buildings, fences, cliffs": {
            "building": _area("#b3a79d", "#6f645b"),
            "fence_wall": _line("#6d6d6d", 1.2),
            "gate": _line("#6d6d6d", 4, "2 3"),
            "cliff": _line("#70583f", 3, "1 5"),
        },
        "Other lines, cables, pipelines": {
            "pipeline": _line("#8a5527", 2.5, "14 4 3 4"),
            "underground_cable": _line("#8f3f8f", 2, "4 4"),
            "aerialway": _line("#4a4a4a", 1.5, "2 4"),
            "low_voltage_line": _line("#6b5d80", 1, "3 5"),
            "distribution_line": _line("#6b5d80", 1.5, "7 4 2 4"),
            "contact_line": _line("#3f3f3f", 1.2, "2 3"),
            "traction_line": _line("#4d3f63", 2, "12 4 2 4 2 4"),
            "power_line": _line("#4d3f63", 2, "12 4 2 4"),
        },
    }
)
BASE_STYLES: Mapping[str, Mapping[str, Any]] = MappingProxyType(
    {name: style for group in BASE_MAP.values() for name, style in group.items()}
)
AREA_CLASSES = frozenset({"crops", "woodland", "yard", "garden_residential", "quarry", "airfield", "cemetery",
                          "substation_plant", *BASE_MAP["Entry and protection"],
                          *BASE_MAP["Not told by the map"], "wetland", "standing_water",
                          "building"})  # fmt: skip
