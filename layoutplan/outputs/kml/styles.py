"""How things look in KML: nothing shows by colour alone, and nothing is fetched from anywhere."""

from __future__ import annotations

from collections.abc import Iterator

from fastkml import BalloonStyle, HotSpot, Icon, IconStyle, LabelStyle, LineStyle, Style
from fastkml.enums import Units

from layoutplan.layout.levels import LEAD_LEVELS
from layoutplan.layout.rules import STATUSES
from layoutplan.outputs.kml.icons import icon_name
from layoutplan.outputs.map_page.styles import PLAN_STYLES, STAKE_SIGNS

_BALLOON = "$[description]"  # inert; names are not, and a viewer would fill them in as HTML
_WHITE = "#ffffff"
_STAKE_SCALE = 1.1
_TOWER_SCALE = 0.7


def style_id(kind: str) -> str:
    """Id of a style.

    Parameters
    ----------
    kind : str
        A stake's sign, a status, a line's name, or ``lead`` with a level.

    Returns
    -------
    str

    Examples
    --------
    >>> style_id("lead above")
    'style-lead-above'
    """
    return "style-" + kind.replace(" ", "-")


def styles(icons: bool) -> Iterator[Style]:
    """Return a style for each role, status, level of a lead, for spans and for ways on foot.

    Parameters
    ----------
    icons : bool
        Whether the signs are packed beside the text; without them a viewer shows signs of its own.

    Yields
    ------
    Style
        With ids as `style_id` makes them.
    """
    for kind in (*STATUSES, *STAKE_SIGNS):
        yield _point_style(kind, icons)
    for kind in ("span", "walk", "walk ask", *(f"lead {level}" for level in LEAD_LEVELS)):
        yield _line_style(kind)


def _point_style(kind: str, icons: bool) -> Style:
    scale = _STAKE_SCALE if kind in STAKE_SIGNS else _TOWER_SCALE
    icon = [IconStyle(scale=scale, icon=Icon(href=icon_name(kind)), hot_spot=_middle())] if icons else []
    label = LabelStyle(color=_abgr(_WHITE), scale=scale)
    return Style(id=style_id(kind), styles=[*icon, label, BalloonStyle(text=_BALLOON)])


def _line_style(kind: str) -> Style:
    look = PLAN_STYLES[kind]
    line = LineStyle(color=_abgr(str(look["color"])), width=float(look["weight"]))
    return Style(id=style_id(kind), styles=[line, BalloonStyle(text=_BALLOON)])


def _middle() -> HotSpot:
    return HotSpot(x=0.5, y=0.5, xunits=Units.fraction, yunits=Units.fraction)


def _abgr(color: str) -> str:
    """Return a colour as KML writes it: opacity, blue, green, red."""
    return f"ff{color[5:7]}{color[3:5]}{color[1:3]}"
