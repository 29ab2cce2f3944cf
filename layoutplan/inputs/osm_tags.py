"""From OpenStreetMap tags to obstacle classes and widths: pure functions on a tag dictionary.

Decisions, all on the side of caution:

- An object belongs to *every* class that one of its tags names (a school building is a building and a yard), so that no
  rule is lost; within a class the widest tag counts.
- In a tunnel or culvert, or below ground by ``location``: roads, paths, railways (their contact lines with them) and
  waterways become ``tunnel_culvert``, overhead lines ``underground_cable``. ``layer`` alone proves nothing (open
  streams under bridges carry ``layer=-1``), nor does ``covered`` (the way still runs at ground level), nor a passage
  through a building.
- An overhead line is one of transmission, distribution or low voltage by its highest voltage, one of a railway by its
  frequency (:mod:`layoutplan.inputs.osm_power`). An electrified railway is a railway and a contact line.
- On a bridge, roads, paths, railways and waterways become ``bridge_overhead``: what they are on the ground. Boardwalks
  and low-water crossings stay what they are. A bridge in a tunnel counts as a bridge.
- What is out of use is left out, save what is still there: pipelines and cables in the ground, buildings, pits; and, as
  long as it is only disused, wires that hang and rails. What is being built counts where it is dug or strung.
- A generator on a roof has no earthing grid of its own: it counts as the building below it.
- Ground covers (woods, crops, residential land) stay whatever lies below or above them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from layoutplan.inputs.osm_power import overhead_class
from layoutplan.inputs.osm_ways import (
    BRIDGE,
    GATE,
    ROAD_CLASSES,
    vehicle_on_road,
    vehicle_through_gate,
)
from layoutplan.job import ObstacleClass, shipped_classes
from layoutplan.job.access import PERMIT, PRIVATE_PATH
from layoutplan.job.roles import Role

POINT_WIDTH_M = 2.0  # of a thing mapped as a point (judgement)
LANE_WIDTH_M = 3.5  # common lane width (judgement)
_PLAUSIBLE_WIDTH_M = (0.1, 300.0)
_NOT_BELOW = frozenset({"no", "building_passage", "avalanche_protector"})
_NOT_ABOVE = frozenset({"no", "boardwalk", "low_water_crossing"})
_UNDERGROUND = frozenset({"underground", "underwater"})
_ROOF = frozenset({"roof", "rooftop"})
_WIDTH = re.compile(
    r"~?\s*(\d+(?:[.,]\d+)?)\s*(m|metres?|meters?|cm|mm|km|ft|feet|'|)\s*(?:(\d+(?:\.\d+)?)\s*(?:\"|in|''))?"
)
_METRES = {"": 1.0, "m": 1.0, "cm": 0.01, "mm": 0.001, "km": 1000.0, "ft": 0.3048, "feet": 0.3048, "'": 0.3048}
_INCH_M = 0.0254


@dataclass(frozen=True, slots=True)
class Match:
    """A class that an object belongs to.

    Attributes
    ----------
    obstacle_class : str
    width_m : float
        Full width if the object is drawn as a line. [m]
    is_area : bool
        Whether a closed way with this tag is an area by its nature.
    is_outline : bool
        Whether it is the edge even if the object is an area (fences and walls).
    road_class : str
        Of roads, tracks and paths on the ground or on a bridge; else empty.
    vehicle : str
        Of roads and gates, whether a vehicle may be driven there: ``"yes"``, ``"permit"`` or ``"no"``; else empty.
        ``"private path"``: not driven, and walked with a permission only.
    """

    obstacle_class: str
    width_m: float
    is_area: bool
    is_outline: bool = False
    road_class: str = ""
    vehicle: str = ""


class TagRules:
    """The class table turned round: from tags to classes.

    Parameters
    ----------
    classes : mapping
        Obstacle classes in the table's order, with the job's changes.
    """

    def __init__(self, classes: Mapping[str, ObstacleClass]) -> None:
        self._classes = classes
        self._rules: dict[str, dict[str, list[tuple[str, float]]]] = {}
        for name, row in classes.items():
            for tag, width_m in row.osm_width_m.items():
                self._add(tag, name, _default_width(row, width_m))

    def _add(self, tag: str, name: str, width_m: float) -> None:
        key, _, value = tag.partition("=")
        for prefix in ("", *(f"{state}:" for state in self._classes[name].tagged.still_there)):
            self._rules.setdefault(prefix + key, {}).setdefault(value, []).append((name, width_m))

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys that can make an object an obstacle."""
        return tuple(self._rules)

    def match(self, tags: Mapping[str, str], *, is_point: bool = False) -> tuple[Match, ...]:
        """Return the classes an object belongs to, in the table's order, none for most objects.

        Parameters
        ----------
        tags : mapping of str to str
            Of the object.
        is_point : bool
            Whether the object is a node: then the widths are those of a thing mapped as a point.

        Returns
        -------
        tuple of Match
            One for each class.
        """
        found: dict[str, Match] = {}
        for key, value in tags.items():
            if key in self._rules:
                for name, default_m in self._named(key, value):
                    match = self._placed(name, default_m, key, tags, is_point)
                    before = found.get(match.obstacle_class)
                    if before is None or before.width_m < match.width_m:
                        found[match.obstacle_class] = match
        alone = {name for name in found if (other := self._classes[name].tagged.only_with) and other not in found}
        return tuple(found[name] for name in self._classes if name in found and name not in alone)

    def _named(self, key: str, value: str) -> list[tuple[str, float]]:
        by_value = self._rules[key]
        if value == "no":
            return []
        values = [value] if ";" not in value else [part.strip() for part in value.split(";")]
        hits = [hit for part in values for hit in by_value.get(part, ())]
        return hits + by_value.get("*", [])

    def _placed(self, name: str, default_m: float, key: str, tags: Mapping[str, str], is_point: bool) -> Match:
        """Apply what the tags state of above and below, and of the width."""
        given_m = parse_width(tags.get("width", "")) or parse_width(tags.get("est_width", ""))
        lanes_m = _lanes_width(tags) if key == "highway" else 0.0
        where, usual_m = self._on_the_ground(name, default_m, tags)
        width_m = given_m or max(usual_m, lanes_m, POINT_WIDTH_M if is_point else 0.0)
        road, vehicle = _driving(name, where, tags)
        is_outline = key == "barrier"
        return Match(where, width_m, default_m == 0.0, is_outline, road, vehicle)

    def _on_the_ground(self, name: str, width_m: float, tags: Mapping[str, str]) -> tuple[str, float]:
        """Return the class that a thing has on the ground, and its usual width there."""
        row = self._classes[name]
        tagged, hangs = row.tagged, row.overhead_line
        if tagged.on_bridge and tags.get("bridge", "no") not in _NOT_ABOVE:
            return tagged.on_bridge, width_m
        if tagged.below and is_below(tags):
            there_m = self._classes[tagged.below].width_m
            return tagged.below, there_m if hangs else max(width_m, there_m)
        if hangs or (row.role == Role.CABLE and tags.get("location") == "overhead"):
            found = overhead_class(name, tags)
            return found, width_m if found == name else self._classes[found].width_m
        if tagged.on_roof and tags.get("location") in _ROOF:
            return tagged.on_roof, width_m
        return name, width_m


def _driving(name: str, where: str, tags: Mapping[str, str]) -> tuple[str, str]:
    """Return the road class of what can be walked or driven along, and whether a vehicle may be there."""
    if name == GATE:
        return "", vehicle_through_gate(tags)
    if name in ROAD_CLASSES and where in (name, BRIDGE):
        vehicle = vehicle_on_road(tags)
        through_private_house = tags.get("tunnel") == "building_passage" and vehicle in (PERMIT, PRIVATE_PATH)
        return ("", "") if through_private_house else (name, vehicle)
    return "", ""


def is_below(tags: Mapping[str, str]) -> bool:
    """Whether tags state that a thing runs below ground: tunnel, culvert or location.

    Parameters
    ----------
    tags : mapping of str to str
        Of a way.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_below({"waterway": "stream", "tunnel": "culvert"}), is_below({"waterway": "stream"})
    (True, False)
    """
    return (
        tags.get("tunnel", "no") not in _NOT_BELOW
        or tags.get("culvert", "no") != "no"
        or tags.get("location") in _UNDERGROUND
    )


def is_evidence(tags: Mapping[str, str]) -> bool:
    """Whether an object shows that the map is worked out where it lies.

    Extracts keep power lines, pipelines, boundaries, ferries and coastlines whole where everything else is cut.

    Parameters
    ----------
    tags : mapping of str to str
        Of the object.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_evidence({"highway": "track"}), is_evidence({"power": "line"})
    (True, False)
    """
    return not (
        "power" in tags
        or "boundary" in tags
        or tags.get("man_made") == "pipeline"
        or is_coastline(tags)
        or tags.get("route") == "ferry"
    )


def is_coastline(tags: Mapping[str, str]) -> bool:
    """Whether a way divides land and sea; areas are made of all of them together.

    Parameters
    ----------
    tags : mapping of str to str
        Of the way.

    Returns
    -------
    bool
    """
    return tags.get("natural") == "coastline"


def parse_width(text: str) -> float | None:
    """Metres from a width as people write it: ``6``, ``6.5 m``, ``20'``, ``12;14`` (the largest); None if not clear.

    Parameters
    ----------
    text : str
        Value of a width tag.

    Returns
    -------
    float or None
        [m]

    Examples
    --------
    >>> [parse_width(text) for text in ("6.5 m", "20'", "12;14", "wide")]
    [6.5, 6.096, 14.0, None]
    """
    if not text:
        return None
    parts = [_WIDTH.fullmatch(part.strip()) for part in re.split(r"[;|-]", text.lower())]
    widths = [_metres(part) for part in parts if part]
    if len(widths) < len(parts):
        return None
    widest = max(widths)
    return widest if _PLAUSIBLE_WIDTH_M[0] <= widest <= _PLAUSIBLE_WIDTH_M[1] else None


def _metres(found: re.Match[str]) -> float:
    number, unit, inches = found.groups()
    unit = "m" if unit.startswith(("metre", "meter")) else unit
    return float(number.replace(",", ".")) * _METRES[unit] + float(inches or 0.0) * _INCH_M


def _lanes_width(tags: Mapping[str, str]) -> float:
    lanes = [int(part) for part in re.findall(r"\d+", tags.get("lanes", ""))]
    return max(lanes, default=0) * LANE_WIDTH_M if max(lanes, default=0) <= 20 else 0.0


def _default_width(row: ObstacleClass, tag_width_m: float) -> float:
    """Return the tag's own width, or the job's where the job changes the class's width."""
    changed = row.width_m != shipped_classes().get(row.name, row).width_m
    return row.width_m if changed and tag_width_m > 0 else tag_width_m
