"""The job file as a tree of frozen models: every key, its unit, its default and what it is for.

The reference in the documentation is generated from the ``description`` texts here.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from functools import cached_property
from pathlib import Path
from typing import Literal, Self

from pydantic import (
    Field,
    PrivateAttr,
    model_validator,
)

from layoutplan.job.access import Access, RoadClass
from layoutplan.job.class_model import ObstacleClass
from layoutplan.job.class_override import ClassOverride
from layoutplan.job.classes import PERMITTED, ROADS, shipped_classes, the, with_overrides
from layoutplan.job.electrical import Limits, Method, Soil
from layoutplan.job.land import Land, Work
from layoutplan.job.lines import Line
from layoutplan.job.reading import Reading
from layoutplan.job.receiver import Symbols
from layoutplan.job.roles import Role
from layoutplan.job.rules import Rules, Score
from layoutplan.job.section import FileSource, NonNegative, Positive, Section
from layoutplan.job.stations import Station
from layoutplan.job.survey import Survey
from layoutplan.job.terrain import Terrain

Theme = Literal["reach", "buildings", "land_cover", "sea"]
_LINE = the(Role.LINE)
_OWN_NAME = re.compile("[a-z][a-z0-9_]{0,39}")
MOST_POSITIONS = 600_000  # of one tower's fan; 32 towers side by side take some GB then


class Layer(FileSource):
    """A map layer: an OpenStreetMap extract (classes come from its tags) or any vector layer."""

    obstacle_class: str | None = Field(None, description="Obstacle class of all features (not for OSM extracts).")
    class_column: str | None = Field(None, description="Column with the class of each feature.")
    class_map: dict[str, str] = Field(
        default_factory=dict,
        description="From values of `class_column` to obstacle classes; values not listed are left out and counted.",
    )
    name_column: str | None = Field(None, description="Column with the feature's name, for reasons and crossings.")
    width_m: NonNegative | None = Field(None, description="Full width on the ground of features mapped as lines.")
    width_column: str | None = Field(None, description="Column with the full width in metres.")
    vehicle_column: str | None = Field(
        None,
        description="Of roads and gates: column that says whether the crew's vehicle may be there, `yes`, `no`, "
        "`no stopping` (driven along only) or the words of OpenStreetMap's access keys; anything else needs a "
        "permission. Without it roads are open, tracks and "
        "gates need a permission.",
    )
    bridge_road_class: RoadClass | None = Field(
        None,
        description=f"Road class that bridges (class `{the(Role.BRIDGE)}`, lines) of this layer carry; if it is left "
        "out, nobody walks over them. In extracts the tags decide. One of "
        + ", ".join(f'"{name}"' for name in ROADS)
        + ".",
    )
    skip_classes: tuple[str, ...] = Field((), description="OSM extracts: classes not to take from this file.")
    attribution: str | None = Field(None, description="Credit line of the data's owner, shown on map and sheets.")

    @property
    def is_osm(self) -> bool:
        """Whether the file is an OpenStreetMap extract."""
        return self.path.name.lower().endswith((".osm", ".pbf", ".osm.gz", ".osm.bz2"))

    @model_validator(mode="after")
    def _classified(self) -> Self:
        if self.is_osm and (self.obstacle_class or self.class_column):
            raise ValueError("an OpenStreetMap extract gets its classes from its tags; leave the class keys out")
        if not self.is_osm and (self.obstacle_class is None) == (self.class_column is None):
            raise ValueError("set obstacle_class, or class_column with class_map, one of the two")
        if self.class_column and not self.class_map:
            raise ValueError("class_column needs a class_map")
        return self

    @property
    def class_names(self) -> tuple[str, ...]:
        """All classes that it names."""
        return tuple(filter(None, (self.obstacle_class, *self.class_map.values(), *self.skip_classes)))


class Coverage(Section):
    """How far the map reaches; where it does not, nothing is called clear."""

    path: Path | None = Field(None, description="Polygon(s) within which the map is complete, relative to the job.")
    layer: str | None = Field(None, description="Layer of `path`.")
    crs: str | None = Field(None, description="Coordinate reference system of `path`, if it carries none.")
    radius_m: Positive = Field(
        1000.0, description="Without a polygon: mapped features are looked for within this distance of a tower."
    )
    octants: int = Field(
        6, ge=1, le=8, description="Without a polygon: in so many of the eight directions there must be some."
    )
    themes: tuple[Theme, ...] = Field(
        ("reach",),
        min_length=1,
        description="What you vouch for within the polygon(s): `reach` (the map is not cut off there), `buildings` "
        "(houses are drawn, or there are none), `land_cover` (so are waters and land cover), `sea` (so is the shore). "
        "Without `reach` the polygon(s) say nothing of how far the map reaches.",
    )


class FixedStake(Section):
    """A stake that stays where it is, whatever the rules say of it; the other one is chosen around it."""

    tower: str = Field(description="Id of the tower.")
    line: str | None = Field(None, description="Id of its line, where several lines have a tower of that id.")
    role: Literal["H", "S"] = Field(description="Which stake.")
    lon: float = Field(ge=-180, le=360, description="Longitude, WGS 84.")
    lat: float = Field(ge=-90, le=90, description="Latitude, WGS 84.")


class Search(Section):
    """How finely positions are searched, and how many are kept."""

    bearing_step_deg: float = Field(1.0, ge=0.1, le=10, description="Between neighbouring bearings.")
    distance_step_m: float = Field(1.0, ge=0.1, le=10, description="Between neighbouring distances.")
    alternatives: int = Field(3, ge=0, le=20, description="Further distinct positions kept for each side.")
    alternatives_apart_m: Positive = Field(15.0, description="Two positions closer than this are the same one.")
    workers: int = Field(0, ge=0, description="Threads; 0 takes one for each processor. The result is the same.")


class Output(Section):
    """What is written."""

    crs: str = Field("EPSG:4326", description="Coordinate reference system of the layers in `plan.gpkg`.")
    grid_crs: str | None = Field(
        None, description="Projected system for easting, northing and grid bearing; if left out, the job's UTM zone."
    )
    formats: tuple[str, ...] | None = Field(
        None,
        description="Which files are written, by the names that `layoutplan export --list` shows; those of installed "
        "packages too. If left out, all that are written by default; `permissions` only where the job names land.",
    )
    page: Literal["A4", "Letter"] = Field("A4", description="Paper of the sheets, upright.")
    font: Path | None = Field(
        None,
        description="TrueType font for letters that the sheets' own (DejaVu Sans) lacks, relative to the job file.",
    )
    waypoint_length: int = Field(10, ge=6, le=30, description="Longest waypoint name that the receivers take.")
    waypoints_per_file: int | None = Field(
        None,
        ge=3,
        description="Most waypoints in one GPX file, for receivers with a limit: `waypoints_01.gpx` and so on, a tower "
        "and its stakes always together. If left out, one file.",
    )
    symbols: Symbols = Symbols()
    survey: Survey = Survey()


class Job(Section):
    """A whole job file."""

    title: str = Field("Auxiliary electrode layout", description="Heading of the outputs.")
    lines: tuple[Line, ...] = Field(min_length=1, description="The power lines to plan, one `[[lines]]` each.")
    stations: tuple[Station, ...] = Field(
        (), description="Stations that lines end in, one `[[stations]]` each; needed where several lines meet in one."
    )
    layers: tuple[Layer, ...] = Field((), description="The map, one `[[layers]]` for each file or layer.")
    coverage: Coverage = Coverage()
    rules: Rules = Rules()
    score: Score = Score()
    search: Search = Search()
    fixed: tuple[FixedStake, ...] = Field((), description="Stakes that stay where they are, one `[[fixed]]` each.")
    land: tuple[Land, ...] = Field((), description="Parcels and permissions, one `[[land]]` for each layer.")
    work: Work = Work()
    access: Access = Access()
    terrain: Terrain = Terrain()
    soil: Soil = Soil()
    method: Method = Method()
    limits: Limits = Limits()
    classes: dict[str, ClassOverride] = Field(
        default_factory=dict, description="Changes to the obstacle classes, one `[classes.<name>]` each."
    )
    output: Output = Output()
    reading: Reading = Reading()
    _folder: Path | None = PrivateAttr(None)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        self._require_few_positions()
        ids = [line.id for line in self.lines]
        if len(set(ids)) < len(ids):
            raise ValueError(f"two lines have the same id ({', '.join(sorted(ids))}); give each [[lines]] its own")
        _check_stations(self.stations, self.lines)
        if not any(line.measured for line in self.lines):
            raise ValueError("no line is measured; set measured = true for one, or leave it out")
        self._require_known_classes()
        if (power := self.classes.get(_LINE)) is not None and power.keep_out_m is not None:
            raise ValueError(f"classes.{_LINE}.keep_out_m: set rules.line_clearance_m, it holds for all power lines")
        for line in self.lines:
            if self.rules.line_clearance_m + line.half_width_m >= self.rules.reach_m:
                raise ValueError(
                    f"line '{line.id}': line_clearance_m + half_width_m is beyond the reel "
                    f"({self.rules.reach_m:.1f} m); no position could keep it"
                )
        return self

    def _require_known_classes(self) -> None:
        """Every class named is one of the file or, with a label, of the job's own."""
        known = [*shipped_classes(), *(name for name, own in self.classes.items() if own.label)]
        for name in self.classes:
            _require_class(name, known, f"classes.{name}", ". A class of the job's own needs a label")
            if name not in shipped_classes() and not _OWN_NAME.fullmatch(name):
                raise ValueError(
                    f"classes.{name}: name a class by up to 40 small letters, digits and _, a letter first"
                )
        for number, layer in enumerate(self.layers):
            for name in layer.class_names:
                _require_class(name, known, f"layers[{number}]")

    def _require_few_positions(self) -> None:
        """Keep the positions that are looked at together within what a machine holds."""
        number = 360 / self.search.bearing_step_deg * self.rules.reach_m / self.search.distance_step_m
        if number > MOST_POSITIONS:
            raise ValueError(
                f"{number:,.0f} positions would be looked at for each tower, {MOST_POSITIONS:,} at most are: make "
                "search.bearing_step_deg or search.distance_step_m greater, or rules.reel_m shorter"
            )

    @property
    def folder(self) -> Path | None:
        """Folder of the job file; None for a job that comes from none."""
        return self._folder

    @property
    def gives_permitted_land(self) -> bool:
        """Whether a layer holds permitted land, so that everything beyond it is out of bounds."""
        return any(PERMITTED in (layer.obstacle_class, *layer.class_map.values()) for layer in self.layers)

    @cached_property
    def obstacle_classes(self) -> Mapping[str, ObstacleClass]:
        """The obstacle classes with the job's changes."""
        keys = {name: override.given for name, override in self.classes.items()}
        # one number rules the distance to power lines, the planned ones and those on the map alike
        own = {"keep_out_m": self.rules.line_clearance_m}
        keys[_LINE] = own | keys.get(_LINE, {})
        return with_overrides(keys)


def _check_stations(stations: Sequence[Station], lines: Sequence[Line]) -> None:
    names = [station.id for station in stations]
    if len(set(names)) < len(names):
        raise ValueError("two stations have the same id; give each [[stations]] its own")
    used = set()
    for line in lines:
        for key in ("start_station", "end_station"):
            name = getattr(line, key)
            if name is not None and name not in names:
                known = ", ".join(names) or "none"
                raise ValueError(f"line '{line.id}': {key} = '{name}' is no station of the job; [[stations]]: {known}")
            used.add(name)
    if unused := [name for name in names if name not in used]:
        raise ValueError(f"station '{unused[0]}': no line has it as its start_station or end_station")


def _require_class(name: str, known: Sequence[str], where: str, more: str = "") -> None:
    if name not in known:
        near = get_close_matches(name, known, 1, 0.6)
        hint = f"did you mean '{near[0]}'? " if near else ""
        raise ValueError(f"{where}: no obstacle class '{name}'; {hint}known: {', '.join(known)}{more}")
