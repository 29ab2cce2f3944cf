"""How the map is drawn on paper: pale ground, and every class to be told in grey by shape, dash or hatch.

The plan's own colours are the Okabe-Ito palette (M. Okabe and K. Ito, "Color Universal Design", 2002; values from
memory); H and S differ by shape and dash as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

H_COLOR, S_COLOR = "#0072b2", "#b0487f"
WALK_COLOR, WALK_DASH = "#1f6b4a", (0.8, 2.4)
ROLE_COLOR: Mapping[str, str] = MappingProxyType({"H": H_COLOR, "S": S_COLOR})


class Area(NamedTuple):
    """Fill and outline of an area, and a hatch: none, ``dots``, ``level`` or ``cross``."""

    fill: str | None
    border: str
    width: float = 0.3
    dash: tuple[float, ...] = ()
    hatch: str = ""


class Way(NamedTuple):
    """A line: colour and least width, the colour inside it, dashes."""

    color: str
    least: float
    inside: str | None = None
    dash: tuple[float, ...] = ()


# in the order of drawing
AREAS: Mapping[str, Area] = MappingProxyType(
    {
        "crops": Area("#fbf7e8", "#d9cfa6"),
        "woodland": Area("#e1edd9", "#8fb081"),
        "yard": Area("#efedf2", "#a8a4b0"),
        "garden_residential": Area("#f5eee9", "#bfae9f"),
        "quarry": Area("#e9e3dc", "#857969"),
        "airfield": Area("#f0f0f6", "#75758a", 0.6),
        "cemetery": Area("#e9eedf", "#75856a", 0.5),
        "substation_plant": Area("#e4dcec", "#56466b", 0.8),
        "wetland": Area("#e9f4f4", "#6fa8a8", 0.3, (), "level"),
        "standing_water": Area("#cfe3f1", "#3f7fb0", 0.6),
        "river_canal": Area("#cfe3f1", "#3f7fb0", 0.6),
        "protected_area": Area(None, "#2f6f3f", 1.1, (7, 3)),
        "permitted_land": Area(None, "#3f8f3f", 0.9, (1, 2.5)),
        "land_unsettled": Area(None, "#8a6a1f", 0.9, (4, 3)),
        "houses_unmapped": Area(None, "#8f3f6f", 0.9, (1, 3)),
        "shore_unmapped": Area(None, "#8f3f6f", 0.9, (1, 3)),
        "military": Area(None, "#7a3b3b", 1.1, (7, 2, 1, 2), "cross"),
        "no_entry": Area(None, "#a82222", 1.3, (), "cross"),
        "building": Area("#9a938d", "#333333", 0.5),
    }
)
WAYS: Mapping[str, Way] = MappingProxyType(
    {
        "river_canal": Way("#3f7fb0", 2.0, "#cfe3f1"),
        "stream_ditch": Way("#2f78ad", 1.0),
        "standing_water": Way("#3f7fb0", 0.8),
        "track_path": Way("#5d4d39", 1.0, None, (4, 2)),
        "minor_road": Way("#555555", 2.6, "#ffffff"),
        "main_road": Way("#333333", 4.0, "#f1cf92"),
        "bridge_overhead": Way("#555555", 2.6, "#eeeeee", (3, 2)),
        "tunnel_culvert": Way("#888888", 1.2, None, (1, 3)),
        "railway": Way("#222222", 2.4, "#ffffff"),
        "fence_wall": Way("#555555", 0.5, None, (5, 1, 1, 1)),
        "cliff": Way("#6b4a2a", 1.6, None, (1, 2)),
        "pipeline": Way("#8a5527", 1.3, None, (9, 2, 1.5, 2)),
        "underground_cable": Way("#8f3f8f", 1.3, None, (3, 2.5)),
        "aerialway": Way("#444444", 0.8, None, (1.5, 3)),
        "low_voltage_line": Way("#4d3f63", 0.6, None, (2, 3)),
        "distribution_line": Way("#4d3f63", 0.9, None, (6, 2, 1.5, 2)),
        "contact_line": Way("#222222", 0.6, None, (1.5, 2)),
        "traction_line": Way("#4d3f63", 1.2, None, (10, 2, 1.5, 2, 1.5, 2)),
        "power_line": Way("#4d3f63", 1.2, None, (10, 2, 1.5, 2)),
    }
)
OTHER_AREA, OTHER_WAY = Area(None, "#777777", 0.6), Way("#777777", 1.0)
INSIDE_DASH: Mapping[str, tuple[float, ...]] = MappingProxyType({"railway": (5, 5)})
NAMED_FIRST = ("main_road", "minor_road", "railway", "river_canal", "no_entry", "protected_area", "standing_water",
               "stream_ditch", "pipeline", "underground_cable", "power_line", "traction_line", "distribution_line",
               "low_voltage_line", "track_path", "military", "cemetery",
               "land_unsettled", "substation_plant", "airfield", "quarry", "building", "woodland")  # fmt: skip
