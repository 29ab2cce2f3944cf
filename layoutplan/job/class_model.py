"""What an obstacle class is: every key of the class file with its default, and so all that the program knows of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from layoutplan.job.roles import Road, Role
from layoutplan.job.section import NonNegative, Positive, Section

Standing = Literal["no", "agree", "free"]
Crossing = Literal["no", "agree", "care", "free"]
Effort = Annotated[float, Field(ge=1, le=100)] | Literal["blocked"]
Theme = Literal["buildings", "land_cover", "sea"]
Color = Annotated[str, Field(pattern="^#[0-9a-f]{6}$")]
Number = int | float
Dash = tuple[Annotated[Number, Field(gt=0)], ...]
Hatch = Literal["", "dots", "diagonal", "horizontal", "cross"]
PaperHatch = Literal[
    "",
    "cross",
    "diagonal",
    "horizontal",
    "vertical",
    "grid",
    "dots",
    "rings",
    "dashes",
    "ticks",
    "slashes",
    "plus",
    "crosses",
]
Group = Literal["land", "entry", "silent", "water", "roads", "built", "lines"]


class OnFoot(Section):
    """What the class is to somebody walking; all of it is judgement.

    ``effort`` is the multiple of the time that open ground takes, or ``"blocked"``; ``ask`` says whether nobody walks
    there without a permission, ``noticed`` whether a walker meets it underfoot (a cable, a wire, a wood are not told
    of), ``fordable`` whether a track that crosses it without a bridge may be a ford.
    """

    effort: Effort = 1.0
    ask: bool = False
    noticed: bool = True
    fordable: bool = False

    @property
    def factor(self) -> float:
        """Multiple of the time that open ground takes; infinite where blocked."""
        return float("inf") if isinstance(self.effort, str) else self.effort


class Tells(Section):
    """What a feature of the class shows about the map.

    ``reach``: that the map is worked out around it (not so of what extracts keep whole where all else is cut, nor of
    what the project draws); ``land_cover``: that waters and land use are drawn; ``houses``: that houses are.
    ``silence`` is the cause for which the plan itself draws areas of the class, see inputs/gaps.py.
    """

    reach: bool = True
    land_cover: bool = False
    houses: bool = False
    silence: str = ""


class Tagged(Section):
    """What further tags of OpenStreetMap make of an object of the class.

    ``on_bridge``, ``below``, ``on_roof`` name the class that it is instead there (below: in a tunnel or culvert, or
    underground); ``still_there`` the prefixes of keys (``disused``, ``abandoned``, ``construction``) under which it
    counts as if it were in use; ``only_with`` the class that the object must be, too.
    """

    on_bridge: str = ""
    below: str = ""
    on_roof: str = ""
    still_there: tuple[Literal["disused", "abandoned", "construction"], ...] = ()
    only_with: str = ""


class PaperArea(Section):
    """An area on the sheets; widths and dashes in points."""

    fill: Color | None = None
    line: Color
    width: Positive = 0.3
    dash: Dash = ()
    hatch: PaperHatch = ""
    over: bool = False


class PaperLine(Section):
    """A line on the sheets: colour and least width, the colour inside it and its dashes; in points."""

    line: Color
    width: Positive
    dash: Dash = ()
    inside: Color | None = None
    inside_dash: Dash = ()


class Paper(Section):
    """The class on the sheets, where it is not drawn as on the map; a shape that is left out is drawn grey."""

    area: PaperArea | None = None
    line: PaperLine | None = None


class Desktop(Section):
    """The class in a GIS, where dash and hatch show whether a stake may stand; in millimetres.

    ``line`` is the colour of lines and outlines, ``stroke`` of lines alone; ``small`` is drawn on large scales only.
    """

    line: Color | None = None
    stroke: Color | None = None
    width: Positive = 0.6
    casing: NonNegative = 0.0
    dash: Dash | None = None
    small: bool = False


class Look(Section):
    """How the class is drawn: on the map page as said here, in pixels; on sheets and in a GIS by the same colours.

    ``group`` is its layer in the map's list, ``order`` its place in drawing (greater is drawn over less, as within the
    group), ``area`` whether it is land more than a line. ``solid`` areas keep a pale fill in the map's mode for
    sunlight. ``named`` is the order in which the sheets write the names of features, 0: not at all. ``overview``:
    drawn on the sheets' cover. ``paper`` and ``gis`` hold what is different there.
    """

    group: Group = "land"
    order: int = 90
    area: bool = True
    fill: Color | None = None
    line: Color = "#6d6d6d"
    width: Annotated[Number, Field(gt=0)] = 1
    dash: Dash = ()
    hatch: Hatch = ""
    solid: bool = False
    named: int = Field(50, ge=0)
    overview: bool = False
    paper: Paper | None = None
    gis: Desktop = Desktop()


class ObstacleClass(Section):
    """One kind of obstacle: how far a stake and a lead keep from it, and all else that the program knows of it.

    ``keep_out_m`` is measured from the feature's edge and counts only where ``stake == "no"``; ``width_m`` is the full
    width of features mapped as lines that carry no width of their own; ``owner_may_agree`` marks land
    on which a stake is possible if the owner agrees; ``overhead_line`` marks what hangs from towers or poles;
    ``osm_width_m`` maps ``key=value`` tags to their
    own width; ``map_themes`` names the themes of the map without which it does not show of the class.

    What a planner may ask for where a tower would have no layout: ``floor_m`` is the least distance from the edge at
    which a stake is ever proposed then (never nearer than the keep-out if it is not given), ``agreed_by`` says who has
    to agree, ``may_cross`` whether a lead across can be asked for at all, and ``crossing_needs`` what it takes.

    ``moving_traffic`` marks what is asked for last of all, ``growth`` what slows a lead that is laid through it.
    """

    name: str
    label: str = Field(min_length=1)
    stake: Standing = "no"
    keep_out_m: NonNegative = 0.0
    lead_crossing: Crossing = "no"
    width_m: NonNegative = 0.0
    basis: str = Field(min_length=1)
    owner_may_agree: bool = False
    overhead_line: bool = False
    osm_width_m: Mapping[str, NonNegative] = {}
    map_themes: tuple[Theme, ...] = ()
    floor_m: NonNegative | None = None
    agreed_by: str = "its owner"
    may_cross: bool = True
    crossing_needs: str = ""
    role: Role | None = None
    road: Road | None = None
    moving_traffic: bool = False
    growth: bool = False
    on_foot: OnFoot = OnFoot()
    tells: Tells = Tells()
    tagged: Tagged = Tagged()
    look: Look = Look()

    @model_validator(mode="after")
    def _tags(self) -> Self:
        for tag in self.osm_width_m:
            if not all(tag.partition("=")[::2]):
                raise ValueError(f"osm_width_m: '{tag}' is no tag of the form key=value")
        return self

    def describe(self, name: str) -> str:
        """Words for a feature of the class: what it is, and its name.

        Parameters
        ----------
        name : str
            Empty where there is none.

        Returns
        -------
        str
        """
        return f"{self.label} '{name}'" if name else self.label
