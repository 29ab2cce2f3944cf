"""The stations at the ends of lines: their earth grids, and faults in them."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from layoutplan.job.section import Positive, Section


class StationFault(Section):
    """Earth fault in a station, as far as its current returns to sources outside."""

    current_ka: Positive | None = Field(
        None,
        description="Earth-fault current that returns to sources outside the station, by its grid and by the earth "
        "wires of its lines together; what circulates through neutrals in the station is no part of it.",
    )
    earth_wire_share_pct: Annotated[float, Field(ge=0, lt=100)] | None = Field(
        None,
        description="Part of `current_ka` that the earth wires of all lines carry away; worked out from their "
        "impedances if left out, without what the phase currents drive in them, which is high.",
    )
    grid_current_ka: Positive | None = Field(None, description="Instead: the part that enters the ground by the grid.")
    clearing_time_s: Positive = Field(description="Duration of the fault: until it is cleared.")
    x_over_r: Positive | None = Field(
        None, description="Ratio X/R at the fault, for the d.c. offset (decrement factor of IEEE Std 80)."
    )

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if (self.current_ka is None) == (self.grid_current_ka is None):
            raise ValueError("give current_ka or grid_current_ka, one of the two")
        if self.earth_wire_share_pct is not None and self.current_ka is None:
            raise ValueError("earth_wire_share_pct is a part of current_ka; with grid_current_ka leave it out")
        return self


class Station(Section):
    """A station that lines of the job end in: one earth grid, whatever lines meet there."""

    id: str = Field(min_length=1, description="Name; `start_station` and `end_station` of the lines refer to it.")
    grid_ohm: Positive = Field(
        description="Resistance of its earth grid to remote earth, without the earth wires of its lines."
    )
    fault: StationFault | None = Field(None, description="Earth fault in the station; not counted if left out.")
