"""What the layers of a check look like: stakes by verdict, where they moved from, what is missing."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from layoutplan.layout.rules import NO_LAYOUT, NOT_CONFIRMED
from layoutplan.outputs.styles.layers import INK, LEAD_STYLE, OTHER, TOWER_SIGNS, YELLOW
from layoutplan.outputs.styles.looks import Label, Sign, Stroke, Style, StyleRule

# the signs that the towers of a plan have; one more for what a receiver's accuracy leaves open
_SIGNS = {status: sign for status, sign in TOWER_SIGNS.items() if status != NO_LAYOUT}
_SIGNS[NOT_CONFIRMED] = Sign("pennant", YELLOW, 4.5)

CHECKED_STYLES: Mapping[str, Style] = MappingProxyType(
    {
        "electrodes": Style(
            (
                *(StyleRule(verdict, (sign,), "verdict", verdict) for verdict, sign in _SIGNS.items()),
                StyleRule(OTHER, (Sign("cross", INK, 4.5),)),
            ),
            Label("waypoint", 25_000, "worse", "", 10_000),
        ),
        "missing": Style((StyleRule("planned, not there now", (TOWER_SIGNS[NO_LAYOUT],)),), Label("waypoint", 25_000)),
        "shifts": Style((StyleRule("from where it was planned", (Stroke(INK, 0.4, (1, 1)),)),)),
        "leads": LEAD_STYLE,
    }
)
