"""What each layer of ``plan.gpkg`` looks like. Nothing is told by colour alone.

The colours of the plan are the Okabe-Ito palette (M. Okabe and K. Ito, "Color Universal Design", 2002; values from
memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from layoutplan.job.classes import ObstacleClass
from layoutplan.outputs.styles.looks import Fill, Rule, Sign, Stroke, Style
from layoutplan.outputs.words import LEAD_LEVELS, ROLE_WORDS
from layoutplan.planning.model import ALL_MET, BREAKS, COMPROMISE, NEEDS_AGREEMENT, NO_LAYOUT, NOT_COVERED, REACHABLE

_GREEN, _SKY, _ORANGE, _VERMILION = "#009e73", "#56b4e9", "#e69f00", "#d55e00"
_BLUE, _PURPLE, _YELLOW, _INK, _WHITE = "#0072b2", "#cc79a7", "#f0e442", "#111111", "#ffffff"
_OTHER = "anything else"

_TOWERS = {
    ALL_MET: Sign("circle", _GREEN),
    COMPROMISE: Sign("diamond", _SKY, 4.5),
    NEEDS_AGREEMENT: Sign("triangle", _ORANGE, 4.5),
    NOT_COVERED: Sign("square", _WHITE, 4.5),
    BREAKS: Sign("star", _INK, 5.0),
    NO_LAYOUT: Sign("x", _VERMILION, 4.5),
}
_STAKES = {"H": Sign("square", _BLUE, 3.5), "S": Sign("pennant", _PURPLE, 4.0)}
_LEADS = {
    "above": Stroke(_VERMILION, 1.4, (4, 0.8), 2.0),
    "near": Stroke(_ORANGE, 0.8, (), 1.4),
    "below": Stroke(_BLUE, 0.6, (), 1.0),
    "unknown": Stroke(_YELLOW, 0.9, (1.5, 1.5), 1.4),
}
_LAND = {
    "no entry": Fill("", Stroke(_VERMILION, 0.6), "cross"),
    "permission needed": Fill("", Stroke(_ORANGE, 0.5, (2, 1)), "diagonal"),
    "granted": Fill("", Stroke(_GREEN, 0.4)),
}
# colour of the classes of a kind; those not listed are grey
_HUES = {
    "#4c86ae": ("river_canal", "stream_ditch", "standing_water", "wetland"),
    "#8a6d3b": ("main_road", "minor_road", "track_path", "bridge_overhead", "tunnel_culvert"),
    "#3f3f3f": ("railway", "building", "fence_wall", "gate", "cliff", "quarry"),
    "#8f3f8f": ("pipeline", "underground_cable", "aerialway", "power_line", "substation_plant"),
    "#6f8f5f": ("crops", "woodland", "protected_area", "permitted_land", "cemetery"),
    "#a82222": ("no_entry", "military", "airfield", "land_unsettled"),
}
_HUE_OF = {name: hue for hue, names in _HUES.items() for name in names}
_DASHES: Mapping[str, tuple[float, ...]] = {"no": (), "caution": (3, 1.5), "free": (0.6, 1.2)}
_HATCHES = {"no": "diagonal", "caution": "dots", "free": ""}
_STAKE_WORDS = {"no": "no stake", "caution": "stake by agreement", "free": "stake possible"}


def layer_styles(classes: Iterable[ObstacleClass]) -> Mapping[str, Style]:
    """Styles by layer.

    Parameters
    ----------
    classes : iterable of ObstacleClass
        As the job has them; hatch and dash tell whether a stake may stand there.
    """
    return {
        "towers": Style(
            (
                *(Rule(status, (sign,), "status", status) for status, sign in _TOWERS.items()),
                Rule(_OTHER, (Sign("cross", _INK, 4.5),)),
            ),
            label="tower_id",
            remark="status",
            unremarkable=ALL_MET,
        ),
        "spans": Style((Rule("span", (Stroke(_INK, 0.7),)),)),
        "electrodes": Style(
            (
                *(Rule(ROLE_WORDS[role], (sign,), "role", role) for role, sign in _STAKES.items()),
                Rule(_OTHER, (Sign("cross", _INK),)),
            ),
            label="waypoint",
            remark="status",
            unremarkable=ALL_MET,
        ),
        "leads": Style(
            (
                *(
                    Rule(f"lead {level}: {LEAD_LEVELS[level]}", (_LEADS[level],), "handling", level, begins=True)
                    for level in ("above", "near", "below")
                ),
                Rule(f"lead unknown: {LEAD_LEVELS['unknown']}", (_LEADS["unknown"],)),
            )
        ),
        "approaches": Style(
            (
                Rule("way on foot", (Stroke(_GREEN, 0.5, (0.5, 1.2)),), "verdict", REACHABLE),
                Rule("way on foot, ask first", (Stroke(_ORANGE, 0.6, (2, 1, 0.5, 1)),)),
            )
        ),
        "alternatives": Style((Rule("alternative position", (Sign("circle", _WHITE, 2.0),)),)),
        "obstacles": Style((*map(_class_rule, classes), Rule(_OTHER, _every_way("#3f3f3f", "no")))),
        "permissions": Style(
            (
                *(Rule(state, (fill,), "state", state) for state, fill in _LAND.items()),
                Rule(_OTHER, (_LAND["permission needed"],)),
            ),
            label="parcel",
        ),
    }


def _class_rule(row: ObstacleClass) -> Rule:
    label = f"{row.label} ({_STAKE_WORDS[row.stake]})"
    return Rule(label, _every_way(_HUE_OF.get(row.name, "#6d6d6d"), row.stake), "obstacle_class", row.name)


def _every_way(hue: str, stake: str) -> tuple[Fill, Stroke, Sign]:
    """Looks for areas, lines and points: features of a class come as each."""
    return (
        Fill("", Stroke(hue, 0.4, _DASHES[stake]), _HATCHES[stake]),
        Stroke(hue, 0.6, _DASHES[stake]),
        Sign("cross", hue, 3.0),
    )
