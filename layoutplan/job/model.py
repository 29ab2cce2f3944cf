"""The job file as a tree of frozen models: every key, its unit, its default and what it is for.

The reference in the documentation is generated from the ``description`` texts here.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import Literal, Self

from pydantic import Field, model_validator

from layoutplan.job.classes import PERMITTED, Crossing, ObstacleClass, shipped_classes, with_overrides
from layoutplan.job.section import FileSource, NonNegative, Positive, Section

Structure = Literal["lattice_4", "lattice_3", "pole", "frame_2"]
Format = Literal["gpkg", "gpx", "csv", "geojson", "map", "json"]


class TowerSource(FileSource):
    """Where the towers of a line are."""

    id_column: str = Field("tower_id", description="Column with the tower's number or name; must be unique in a line.")
    x_column: str | None = Field(None, description="CSV: column with longitude or easting; guessed if left out.")
    y_column: str | None = Field(None, description="CSV: column with latitude or northing; guessed if left out.")
    order_column: str | None = Field(None, description="Column that gives the order along the line (numbers).")
    structure_column: str | None = Field(None, description="Column with the structure kind of each tower.")
    base_width_column: str | None = Field(None, description="Column with the width between the legs, in metres.")
    earth_electrode_size_column: str | None = Field(
        None, description="Column with the largest dimension of the tower's earth electrode, in metres."
    )


class OsmLine(Section):
    """A power line picked out of an OpenStreetMap extract; its tower nodes become the towers."""

    path: Path = Field(description="`.osm`, `.osm.pbf`, `.osm.gz` or `.osm.bz2`, relative to the job file.")
    way_ids: tuple[int, ...] = Field((), description="Ids of the ways that make up the line.")
    name: str | None = Field(None, description="Take the ways with this `name`.")
    ref: str | None = Field(None, description="Take the ways with this `ref`.")
    voltage_kv: Positive | None = Field(None, description="Take the ways with this voltage.")

    @model_validator(mode="after")
    def _one_choice(self) -> Self:
        if not (self.way_ids or self.name or self.ref or self.voltage_kv):
            raise ValueError("say which line to take: set way_ids, name, ref or voltage_kv")
        return self


class Line(Section):
    """One power line whose towers are to be measured."""

    id: str = Field("line", min_length=1, description="Name of the line in all outputs.")
    towers: TowerSource | None = Field(None, description="The towers.")
    centreline: FileSource | None = Field(
        None, description="The line's course; if left out it is built through the towers in their order."
    )
    osm: OsmLine | None = Field(None, description="Take line and towers from an OpenStreetMap extract instead.")
    voltage_kv: Positive | None = Field(None, description="Nominal voltage.")
    half_width_m: NonNegative = Field(
        8.0, description="From the centreline to the outermost conductor. The default is engineering judgement."
    )
    structure: Structure = Field(
        "lattice_4", description="Four- or three-legged lattice tower, single pole, two-pole frame."
    )
    base_width_m: Positive | None = Field(
        None, description="Between adjacent legs (poles) at ground level; without it no leg is named."
    )
    earth_electrode_size_m: Positive | None = Field(
        None,
        description="Largest dimension of the tower's own earth electrode, counterpoise included. If left out: the "
        "diagonal of the base, or 12 m (engineering judgement) where no base width is known.",
    )
    leg: Literal["right ahead", "right back", "left back", "left ahead"] = Field(
        "right ahead",
        description="Leg at which both leads start, facing increasing order. One and the same leg for both is common "
        "practice, no published source; which one is free.",
    )
    offset_tolerance_m: Positive = Field(30.0, description="A tower further off the centreline than this is an error.")

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        if (self.towers is None) == (self.osm is None):
            raise ValueError("give the towers either as towers = {path = ...} or as osm = {path = ...}, one of the two")
        if self.osm is not None and self.centreline is not None:
            raise ValueError("centreline belongs to towers = {...}; a line from an OpenStreetMap extract has its own")
        return self


class Layer(FileSource):
    """A map layer: an OpenStreetMap extract (classes come from its tags) or any vector layer."""

    obstacle_class: str | None = Field(None, description="Obstacle class of all features (not for OSM extracts).")
    class_column: str | None = Field(None, description="Column that tells the class of each feature.")
    class_map: dict[str, str] = Field(
        default_factory=dict,
        description="From values of `class_column` to obstacle classes; values not listed are left out and counted.",
    )
    name_column: str | None = Field(None, description="Column with the feature's name, for reasons and crossings.")
    width_m: NonNegative | None = Field(None, description="Full width on the ground of features mapped as lines.")
    width_column: str | None = Field(None, description="Column with the full width in metres.")
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
        for name in (self.obstacle_class, *self.class_map.values(), *self.skip_classes):
            if name is not None:
                _known_class(name)
        return self


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


class Rules(Section):
    """Hard rules: a position that breaks one is not proposed."""

    line_clearance_m: NonNegative = Field(
        50.0,
        description="Stake to the outermost conductor of any power line, measured to the line. Common practice, no "
        "published source.",
    )
    min_angle_deg: float = Field(
        30.0, ge=0, le=90, description="Lead to each adjoining span, at least. Common practice, no published source."
    )
    square_within_deg: float = Field(
        15.0, ge=0, le=90, description="Up to so far off the perpendicular a lead counts as square. Judgement."
    )
    min_distance_m: NonNegative = Field(0.0, description="Tower to stake, at least, whatever the other rules say.")
    electrode_size_multiple: NonNegative = Field(
        5.0,
        description="Tower to stake, at least this multiple of the largest dimension of the tower's earth electrode. "
        "Common practice, no source checked.",
    )
    reel_m: Positive = Field(150.0, description="Lead on the reel; no lead is longer.")
    slack_pct: NonNegative = Field(5.0, description="Added to the straight distance for the lead on the ground.")
    same_side_min_angle_deg: float = Field(
        60.0, ge=0, le=180, description="Between the two leads where only one side of the line can be used."
    )

    @model_validator(mode="after")
    def _within_reel(self) -> Self:
        reach_m = self.reach_m
        for key in ("line_clearance_m", "min_distance_m"):
            if getattr(self, key) >= reach_m:
                raise ValueError(
                    f"{key} = {getattr(self, key):g} is beyond the reel: reel_m = {self.reel_m:g} with "
                    f"{self.slack_pct:g} % slack reaches {reach_m:.1f} m; shorten the one or lengthen the other"
                )
        return self

    @property
    def reach_m(self) -> float:
        """Straight distance that the reel reaches with its slack. [m]."""
        return self.reel_m / (1 + self.slack_pct / 100)


class Score(Section):
    """Weights of the score's terms, in points; the pair with the fewest points is chosen."""

    off_square_per_deg: NonNegative = Field(1.0, description="Per degree off the perpendicular to the line.")
    beyond_min_per_m: NonNegative = Field(0.2, description="Per metre beyond the shortest distance the rules allow.")
    caution_crossing: NonNegative = Field(15.0, description="Per crossing to be agreed or taken care of.")
    caution_ground: NonNegative = Field(20.0, description="For a stake on land that needs somebody's agreement.")
    near_keep_out: NonNegative = Field(5.0, description="For a stake within `margin_m` of a keep-out.")
    margin_m: NonNegative = Field(5.0, description="See `near_keep_out`; about the accuracy of open map data.")
    woodland_crops_per_m: NonNegative = Field(0.1, description="Per metre of lead over woodland or crops.")


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
    formats: tuple[Format, ...] = Field(
        ("gpkg", "gpx", "csv", "geojson", "map", "json"), description="Which files are written."
    )
    waypoint_length: int = Field(10, ge=6, le=30, description="Longest waypoint name that the receivers take.")


class ClassOverride(Section):
    """Keys of an obstacle class that the job changes."""

    stake: Crossing | None = Field(None, description='May a stake stand there: `"no"`, `"caution"`, `"free"`.')
    keep_out_m: NonNegative | None = Field(None, description='From the edge of the feature, with `stake = "no"`.')
    lead_crossing: Crossing | None = Field(None, description='May a lead cross: `"no"`, `"caution"`, `"free"`.')
    width_m: NonNegative | None = Field(None, description="Full width of features mapped as lines.")


class Job(Section):
    """A whole job file."""

    title: str = Field("Auxiliary electrode layout", description="Heading of the outputs.")
    lines: tuple[Line, ...] = Field(min_length=1, description="The power lines to plan, one `[[lines]]` each.")
    layers: tuple[Layer, ...] = Field((), description="The map, one `[[layers]]` for each file or layer.")
    coverage: Coverage = Coverage()
    rules: Rules = Rules()
    score: Score = Score()
    search: Search = Search()
    classes: dict[str, ClassOverride] = Field(
        default_factory=dict, description="Changes to the obstacle classes, one `[classes.<name>]` each."
    )
    output: Output = Output()

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        ids = [line.id for line in self.lines]
        if len(set(ids)) < len(ids):
            raise ValueError(f"two lines have the same id ({', '.join(sorted(ids))}); give each [[lines]] its own")
        for name in self.classes:
            _known_class(name)
        if (power := self.classes.get("power_line")) is not None and power.keep_out_m is not None:
            raise ValueError("classes.power_line.keep_out_m: set rules.line_clearance_m, it holds for all power lines")
        for line in self.lines:
            if self.rules.line_clearance_m + line.half_width_m >= self.rules.reach_m:
                raise ValueError(
                    f"line '{line.id}': line_clearance_m + half_width_m is beyond the reel "
                    f"({self.rules.reach_m:.1f} m); no position could keep it"
                )
        return self

    @property
    def gives_permitted_land(self) -> bool:
        """Whether a layer holds permitted land, so that everything beyond it is out of bounds."""
        return any(PERMITTED in (layer.obstacle_class, *layer.class_map.values()) for layer in self.layers)

    @cached_property
    def obstacle_classes(self) -> Mapping[str, ObstacleClass]:
        """The obstacle classes with the job's changes."""
        keys = {name: override.model_dump(exclude_none=True) for name, override in self.classes.items()}
        # one number rules the distance to power lines, the planned ones and those on the map alike
        own = {"keep_out_m": self.rules.line_clearance_m}
        keys["power_line"] = own | keys.get("power_line", {})
        return with_overrides(keys)


def _known_class(name: str) -> None:
    from difflib import get_close_matches

    if name not in shipped_classes():
        near = get_close_matches(name, shipped_classes(), 1, 0.4)
        hint = f"did you mean '{near[0]}'? " if near else ""
        raise ValueError(f"no obstacle class '{name}'; {hint}known: {', '.join(shipped_classes())}")
