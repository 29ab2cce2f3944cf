"""What each layer of ``plan.gpkg`` looks like. Nothing shows by colour alone.

The colours of the plan are the Okabe-Ito palette (M. Okabe and K. Ito, "Color Universal Design", 2002; values from
memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from layoutplan.job.classes import ObstacleClass
from layoutplan.layout.levels import LEAD_LEVELS, UNKNOWN_LEVEL
from layoutplan.layout.model import REACHABLE
from layoutplan.layout.rules import (
    ALL_MET,
    BREAKS,
    COMPROMISED,
    NEEDS_AGREEMENT,
    NO_LAYOUT,
    NOT_COVERED,
    STATUSES,
    TAKE_CARE,
)
from layoutplan.layout.set_out import warning
from layoutplan.outputs.styles.looks import Fill, Label, Sign, Stroke, Style, StyleRule
from layoutplan.outputs.words import ROLE_WORDS

_GREEN, _SKY, _ORANGE, _VERMILION = "#009e73", "#56b4e9", "#e69f00", "#d55e00"
_BLUE, _PURPLE, YELLOW, INK, _WHITE = "#0072b2", "#cc79a7", "#f0e442", "#111111", "#ffffff"
OTHER = "anything else"
# scales, 1 : so much, from which on is drawn what would only be a blot before: small features; stakes, leads and ways
DETAIL, FIELDWORK = 25_000, 50_000

TOWER_SIGNS = {
    ALL_MET: Sign("circle", _GREEN),
    TAKE_CARE: Sign("pentagon", _GREEN, 4.5),
    COMPROMISED: Sign("diamond", _SKY, 4.5),
    NEEDS_AGREEMENT: Sign("triangle", _ORANGE, 4.5),
    NOT_COVERED: Sign("square", _WHITE),
    BREAKS: Sign("star", INK, 5.0),
    NO_LAYOUT: Sign("x", _VERMILION, 4.5),
}
_STAKES = {"H": Sign("square", _BLUE, 3.5), "S": Sign("pennant", _PURPLE, 4.0)}
_LEADS = {
    "above": Stroke(_VERMILION, 1.4, (4, 0.8), 2.0),
    "near": Stroke(_ORANGE, 0.8, (), 1.4),
    "below": Stroke(_BLUE, 0.6, (), 1.0),
    "unknown": Stroke(YELLOW, 0.9, (1.5, 1.5), 1.4),
}
_LAND = {
    "no entry": Fill("", Stroke(_VERMILION, 0.6), "cross"),
    "permission needed": Fill("", Stroke(_ORANGE, 0.5, (2, 1)), "diagonal"),
    "granted": Fill("", Stroke(_GREEN, 0.4)),
}
LEAD_STYLE = Style(
    (
        *(
            StyleRule(words, (_LEADS[level],), "lead_level", level, up_to=FIELDWORK)
            for level, words in LEAD_LEVELS.items()
            if level != UNKNOWN_LEVEL
        ),
        StyleRule(LEAD_LEVELS[UNKNOWN_LEVEL], (_LEADS[UNKNOWN_LEVEL],), up_to=FIELDWORK),
    )
)
_DASHES: Mapping[str, tuple[float, ...]] = {"no": (), "agree": (3, 1.5), "care": (1.5, 1.5), "free": (0.6, 1.2)}
_HATCHES = {"no": "diagonal", "agree": "dots", "free": ""}
_STAKE_WORDS = {"no": "no stake", "agree": "stake by agreement", "free": "stake possible"}


def layer_styles(classes: Iterable[ObstacleClass]) -> Mapping[str, Style]:
    """Styles of a plan's layers.

    Parameters
    ----------
    classes : iterable of ObstacleClass
        As the job has them, those to be named in the legend; hatch and dash tell whether a stake may stand there.

    Returns
    -------
    mapping of str to Style
        By layer.
    """
    return {
        "towers": Style(
            (
                *(StyleRule(status, (sign,), "status", status) for status, sign in TOWER_SIGNS.items()),
                StyleRule(OTHER, (Sign("cross", INK, 4.5),)),
            ),
            Label("tower_id", 100_000, "status", ALL_MET, 15_000),
        ),
        "spans": Style((StyleRule("span", (Stroke(INK, 0.7),)),)),
        "electrodes": Style(
            (
                *(
                    StyleRule(ROLE_WORDS[role], (sign,), "role", role, up_to=FIELDWORK)
                    for role, sign in _STAKES.items()
                ),
                *(
                    StyleRule(warning(status), (Sign("x", INK, 6.0),), "status", status, up_to=FIELDWORK)
                    for status in STATUSES
                    if warning(status) and status != NO_LAYOUT
                ),
                StyleRule(OTHER, (Sign("cross", INK),), up_to=FIELDWORK),
            ),
            Label("waypoint", 10_000, "status", ALL_MET, 2_500),
        ),
        "leads": LEAD_STYLE,
        "approaches": Style(
            (
                StyleRule("way on foot", (Stroke(_GREEN, 0.5, (0.5, 1.2)),), "verdict", REACHABLE, up_to=FIELDWORK),
                StyleRule("way on foot, ask first", (Stroke(_ORANGE, 0.6, (2, 1, 0.5, 1)),), up_to=FIELDWORK),
            )
        ),
        "alternatives": Style((StyleRule("alternative position", (Sign("circle", _WHITE, 2.0),), up_to=DETAIL),)),
        "obstacles": Style(
            (*map(_class_rule, classes), StyleRule(OTHER, _every_way("#3f3f3f", "no"))),
            Label("name", 5_000, minor=True),
        ),
        "permissions": Style(
            (
                *(StyleRule(state, (fill,), "state", state) for state, fill in _LAND.items()),
                StyleRule(OTHER, (_LAND["permission needed"],)),
            ),
            Label("parcel", 10_000, minor=True),
        ),
    }


def _class_rule(row: ObstacleClass) -> StyleRule:
    label = f"{row.label} ({_STAKE_WORDS[row.stake]})"
    gis = row.look.gis
    area, line, point = _every_way(gis.line or row.look.line, row.stake)
    dash = line.dash if gis.dash is None else gis.dash
    line = Stroke(gis.stroke or line.color, gis.width, dash, gis.casing)
    return StyleRule(label, (area, line, point), "obstacle_class", row.name, up_to=DETAIL if gis.small else 0)


def _every_way(hue: str, stake: str) -> tuple[Fill, Stroke, Sign]:
    """Looks for areas, lines and points: features of a class come as each."""
    return (
        Fill("", Stroke(hue, 0.4, _DASHES[stake]), _HATCHES[stake]),
        Stroke(hue, 0.6, _DASHES[stake]),
        Sign("cross", hue, 3.0),
    )
