"""The lines of the job file: where their towers are, what they are, what flows in them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from layoutplan.job.electrical import CrossSectionItem, Fault, Load
from layoutplan.job.section import FileSource, NonNegative, Positive, Section


def _supply_frequency(value: float) -> float:
    if value not in (50.0, 60.0, 16.7):
        raise ValueError("a supply frequency of 50, 60 or 16.7 Hz is expected")
    return value


Frequency = Annotated[float, AfterValidator(_supply_frequency)]
Structure = Literal["lattice_4", "lattice_3", "pole", "frame_2"]


class TowerSource(FileSource):
    """Where the towers of a line are."""

    id_column: str = Field("tower_id", description="Column with the tower's number or name; must be unique in a line.")
    x_column: str | None = Field(None, description="CSV: column with longitude or easting; guessed if left out.")
    y_column: str | None = Field(None, description="CSV: column with latitude or northing; guessed if left out.")
    order_column: str | None = Field(None, description="Column that gives the order along the line (numbers).")
    structure_column: str | None = Field(None, description="Column with the structure kind of each tower.")
    structure_map: dict[str, Structure] = Field(
        default_factory=dict,
        description='From values of `structure_column`, as the owner writes them, to ours: `{ AP = "lattice_4", '
        'M = "pole" }`; may be left out if the column holds ours. A value that is neither is an error; an empty one '
        "is the line's `structure`.",
    )
    base_width_column: str | None = Field(None, description="Column with the width between the legs, in metres.")
    earth_electrode_size_column: str | None = Field(
        None, description="Column with the largest dimension of the tower's earth electrode, in metres."
    )
    footing_resistance_column: str | None = Field(
        None, description="Column with the resistance of each tower's own footing, earth wires apart, in ohms."
    )
    soil_resistivity_column: str | None = Field(
        None, description="Column with the soil resistivity at each tower, in ohm metres."
    )

    @model_validator(mode="after")
    def _map_of_a_column(self) -> Self:
        if self.structure_map and self.structure_column is None:
            raise ValueError("structure_map says what the values of a column mean: name the column, structure_column")
        return self


class OsmLine(Section):
    """A power line picked out of an OpenStreetMap extract; its tower nodes become the towers."""

    path: Path = Field(description="`.osm`, `.osm.pbf`, `.osm.gz` or `.osm.bz2`, relative to the job file.")
    way_ids: tuple[int, ...] = Field((), description="Ids of the ways that make up the line.")
    name: str | None = Field(None, description="Take the ways with this `name`.")
    ref: str | None = Field(None, description="Take the ways with this `ref`.")
    voltage_kv: Positive | None = Field(None, description="Take the ways with this voltage.")
    structure_tag: str | None = Field(
        None,
        min_length=1,
        description="Tag of the tower nodes that `structure_map` is of (`design`, `tower:type`, `structure`); it goes "
        "before what other tags say.",
    )
    structure_map: dict[str, Structure] = Field(
        default_factory=dict,
        description='From values of `structure_tag` to ours: `{ delta = "lattice_4" }`. A value that is neither '
        "is an error; towers without the tag go by what their other tags say, else by the line's `structure`.",
    )

    @model_validator(mode="after")
    def _one_choice(self) -> Self:
        if not (self.way_ids or self.name or self.ref or self.voltage_kv):
            raise ValueError("say which line to take: set way_ids, name, ref or voltage_kv")
        if bool(self.structure_map) != (self.structure_tag is not None):
            raise ValueError(
                "structure_tag and structure_map go together: which tag of the towers, and what its values mean"
            )
        return self


class Line(Section):
    """One power line whose towers are to be measured."""

    id: str = Field("line", min_length=1, max_length=100, description="Name of the line in all outputs.")
    measured: bool = Field(
        True, description="Whether its towers are measured; false for a line that only runs beside those that are."
    )
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
    turns_back: bool = Field(
        False,
        description="Whether the line turns back on itself where its towers, in their order, say so; without it such "
        "an order is an error where no centreline is given.",
    )
    frequency_hz: Frequency = Field(50.0, description="Of the supply: 50, 60 or 16.7.")
    sections: tuple[CrossSectionItem, ...] = Field(
        (), description="Cross-sections along the line, one `[[lines.sections]]` each; a generic one where left out."
    )
    load: Load | None = Field(None, description="Load current; without it every load figure is unknown.")
    fault: Fault | None = Field(None, description="Earth fault; without it every fault figure is unknown.")
    start_grid_ohm: Positive | None = Field(
        None, description="Resistance of the station's earth grid at the line's start; no station there if left out."
    )
    end_grid_ohm: Positive | None = Field(
        None, description="Resistance of the station's earth grid at the line's end; no station there if left out."
    )
    start_station: str | None = Field(
        None, description="Instead of `start_grid_ohm`: id of the station (`[[stations]]`) that the line starts from."
    )
    end_station: str | None = Field(
        None, description="Instead of `end_grid_ohm`: id of the station (`[[stations]]`) that the line ends in."
    )

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        if (self.towers is None) == (self.osm is None):
            raise ValueError("give the towers either as towers = {path = ...} or as osm = {path = ...}, one of the two")
        if self.osm is not None and self.centreline is not None:
            raise ValueError("centreline belongs to towers = {...}; a line from an OpenStreetMap extract has its own")
        return self

    @model_validator(mode="after")
    def _one_grid(self) -> Self:
        for end in ("start", "end"):
            if getattr(self, f"{end}_station") is not None and getattr(self, f"{end}_grid_ohm") is not None:
                raise ValueError(
                    f"give {end}_station or {end}_grid_ohm, one of the two: the station has its own grid_ohm"
                )
        return self
