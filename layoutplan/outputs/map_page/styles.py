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

from layoutplan.job.class_model import Look, ObstacleClass
from layoutplan.layout.rules import ALL_MET, BREAKS, COMPROMISED, NEEDS_AGREEMENT, NO_LAYOUT, NOT_COVERED, TAKE_CARE
from layoutplan.layout.set_out import sign_name

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
    "cut square": [[-0.9, -0.9], [-0.05, -0.9], [0.9, 0.05], [0.9, 0.9], [-0.9, 0.9]],
    "cut pennant": [[-1.3, -0.95], [1.3, -0.95], [0.48, 0.48], [-0.48, 0.48]],
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
        "H not yet": _sign("cut square", "#ffffff", letter="H", close=True),
        "S not yet": _sign("cut pennant", "#ffffff", letter="S", lift=0.25, close=True),
        "alternative": _sign("circle", "#ffffff", 4, close=True),
    }
)
STAKE_SIGNS = tuple(sign_name(role, status) for role in ("H", "S") for status in (ALL_MET, NOT_COVERED))


def _lead(color: str, weight: float, dash: str | None = None, casing: float = 0) -> dict[str, Any]:
    """``casing`` is the width of a dark line below, which shows on both sides and in the gaps; light lies around it."""
    style: dict[str, Any] = {"color": color, "weight": weight, "opacity": 1, "fill": False, "lineCap": "butt"}
    return (
        style
        | ({"dashArray": dash} if dash else {})
        | ({"casing": casing, "casingColor": INK, "halo": "#ffffff"} if casing else {})
    )


def _walk(color: str, weight: float, dash: str) -> dict[str, Any]:
    """On a white band: nothing of the base map has one, so a way on foot is taken for no line of it."""
    band: dict[str, Any] = {"casing": weight + 4, "casingColor": "#ffffff"}
    return {"color": color, "weight": weight, "opacity": 1, "fill": False, "dashArray": dash} | band


PLAN_STYLES: Mapping[str, Mapping[str, Any]] = MappingProxyType(
    {
        "span": {"color": INK, "weight": 3, "opacity": 1, "fill": False},
        "edge": {"color": "#3c3c3c", "weight": 1.5, "opacity": 1, "fill": False, "dashArray": "1 6"},
        "walk": _walk("#145236", 3, "1 6"),
        "walk ask": _walk("#4a0d67", 4, "1 10"),
        "lead below": _lead(BLUE, 3, casing=5),  # the casing tells it from a stream
        "lead near": _lead(ORANGE, 4, casing=7),
        "lead unknown": _lead(YELLOW, 4.5, "6 6", casing=7),  # like barrier tape
        "lead above": _lead(VERMILION, 7, "16 3", casing=10),
    }
)


def base_map_styles(classes: Mapping[str, ObstacleClass]) -> dict[str, dict[str, dict[str, Any]]]:
    """Styles of the classes by the groups of the layer control, in the order of drawing.

    Parameters
    ----------
    classes : mapping of ObstacleClass
        Of the job.

    Returns
    -------
    dict
        Title of the group, class, style.
    """
    rows = sorted(classes.items(), key=lambda item: item[1].look.order)
    return {
        title: {name: _style(row.look) for name, row in rows if row.look.group == group}
        for group, title in _GROUPS.items()
    }


def base_styles(classes: Mapping[str, ObstacleClass]) -> dict[str, dict[str, Any]]:
    """Styles of the classes, in the order of drawing.

    Parameters
    ----------
    classes : mapping of str to ObstacleClass
        Of the job.

    Returns
    -------
    dict of str to dict
    """
    return {name: style for group in base_map_styles(classes).values() for name, style in group.items()}


def _style(look: Look) -> dict[str, Any]:
    """Of a class that is drawn as a line, its areas have the same colour, paler."""
    style: dict[str, Any] = {"color": look.line, "weight": look.width, "opacity": 1}
    if not look.area:
        style |= {"fillColor": look.line, "fillOpacity": 0.5}
    elif look.fill is None:
        style |= {"fillColor": "#ffffff", "fillOpacity": 0}
    else:
        style |= {"fillColor": look.fill, "fillOpacity": 1}
    if look.area and look.hatch:
        style |= {"hatch": look.hatch, "fillOpacity": 1}
    return style | _dashes(look.dash)


def _dashes(dash: tuple[float, ...]) -> dict[str, str]:
    """Return dashes with square ends; dots (dashes of 1 or 2) keep their round ones."""
    if not dash:
        return {}
    text = " ".join(f"{part:g}" for part in dash)
    return {"dashArray": text, "lineCap": "round" if dash[0] in (1, 2) else "butt"}


# in the order of drawing
_GROUPS: Mapping[str, str] = MappingProxyType(
    {
        "land": "Land",
        "entry": "Entry and protection",
        "silent": "Not shown by the map",
        "water": "Water",
        "roads": "Roads and railways",
        "built": "Buildings, fences, cliffs",
        "lines": "Other lines, cables, pipelines",
    }
)
