"""What the job gives of currents, voltages, soil and measuring method; every key has a default or stays unknown."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from layoutplan.job.section import FileSource, NonNegative, Positive, Section

Share = Annotated[float, Field(ge=0, le=100)]


class ConductorItem(Section):
    """A phase (single conductor or bundle) or an earth wire, as it hangs at the tower."""

    phase: Literal["A", "B", "C", "P", "N", "E"] = Field(
        description="Phase letter; P and N for a single-phase traction supply; E for an earth wire."
    )
    offset_m: float = Field(description="From the line's axis, positive to the right facing increasing order.")
    attachment_height_m: Positive = Field(description="Above ground, at the tower.")
    sag_m: NonNegative = Field(0.0, description="At mid-span.")
    diameter_mm: Positive = Field(description="Of one sub-conductor.")
    resistance_ohm_per_km: NonNegative = Field(0.1, description="Of the whole phase, a.c.")
    gmr_mm: Positive | None = Field(None, description="Geometric mean radius; 0.7788 of the radius if not given.")
    circuit: int = Field(1, ge=1, description="Number of its circuit.")
    sub_conductors: int = Field(1, ge=1, description="In the bundle.")
    bundle_spacing_m: Positive = Field(0.4, description="Between neighbouring sub-conductors.")

    @model_validator(mode="after")
    def _above_ground(self) -> Self:
        if self.sag_m >= self.attachment_height_m:
            raise ValueError(
                f"sag_m = {self.sag_m:g} reaches the ground: the conductor hangs at {self.attachment_height_m:g} m"
            )
        return self


class CrossSectionItem(Section):
    """A stretch of line with one cross-section; where there is none, the generic one of the voltage class is taken."""

    from_tower: str | None = Field(None, description="First tower of the stretch; the line's first if left out.")
    to_tower: str | None = Field(None, description="Last tower of the stretch; the line's last if left out.")
    conductors: tuple[ConductorItem, ...] = Field((), description="All conductors; the generic ones if left out.")
    phase_order: str | None = Field(
        None,
        description="Phases in the order of the conductors, circuits parted by a slash (`BCA/CAB`): a transposition.",
    )


class Load(Section):
    """Load current of every circuit of the line; without it every load figure is unknown."""

    current_a: NonNegative = Field(description="Usual current of each circuit.")
    maximum_a: NonNegative | None = Field(None, description="Greatest current; the usual one if left out.")
    negative_sequence_pct: Share = Field(2.0, description="Share of the positive sequence. Judgement.")
    zero_sequence_pct: Share = Field(1.0, description="Share of the positive sequence. Judgement.")
    phase_currents_a: tuple[tuple[float, float], ...] = Field(
        (), description="Instead of the two shares: magnitude and angle in degrees of phases A, B, C at `current_a`."
    )
    circuit_factor: dict[Annotated[int, Field(ge=1)], float] = Field(
        default_factory=dict,
        description="Multiple of `current_a` that a circuit carries, by its number (`{1 = 1.0, 2 = -0.5}`): 0 out of "
        "service, negative the other way; 1 where left out.",
    )

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.maximum_a is not None and self.maximum_a < self.current_a:
            raise ValueError(f"maximum_a = {self.maximum_a:g} is below current_a = {self.current_a:g}")
        if self.phase_currents_a and len(self.phase_currents_a) != 3:
            raise ValueError("phase_currents_a needs [magnitude, angle] for each of the phases A, B, C")
        if any(magnitude < 0 for magnitude, _ in self.phase_currents_a):
            raise ValueError("phase_currents_a: a magnitude is below 0")
        shares = {name: getattr(self, name) for name in ("negative_sequence_pct", "zero_sequence_pct")}
        # by value, not by what was given: the settings of a written plan name every key
        if self.phase_currents_a and any(shares[name] != type(self).model_fields[name].default for name in shares):
            raise ValueError("give the unbalance either as phase_currents_a or as shares of the sequences, not both")
        return self


class Fault(Section):
    """Single-phase earth fault on the line; without it every fault figure is unknown."""

    current_ka: Positive | None = Field(None, description="At every tower, shared equally by both sides.")
    from_start_ka: NonNegative | None = Field(None, description="What flows to the fault from the line's start.")
    from_end_ka: NonNegative | None = Field(None, description="What flows to the fault from the line's end.")
    table: FileSource | None = Field(
        None, description="CSV with `tower_id`, `from_start_ka`, `from_end_ka` for each tower."
    )
    clearing_time_s: Positive = Field(description="Duration of the fault: until it is cleared.")
    phase: Literal["A", "B", "C", "P", "N"] | None = Field(
        None, description="Faulted phase; the worst of the circuit's phases if left out."
    )
    circuit: int = Field(1, ge=1, description="Faulted circuit.")
    x_over_r: Positive | None = Field(
        None, description="Ratio X/R at the fault, for the d.c. offset (decrement factor of IEEE Std 80)."
    )
    neighbours: int | None = Field(
        None, ge=0, le=5, description="Of no effect any more: faults at all towers of all lines count."
    )

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        sides = self.from_start_ka is not None or self.from_end_ka is not None
        if sum((self.current_ka is not None, sides, self.table is not None)) != 1:
            raise ValueError("give current_ka, or from_start_ka and from_end_ka, or table, one of the three")
        if sides and (self.from_start_ka is None or self.from_end_ka is None):
            raise ValueError("from_start_ka and from_end_ka go together; 0 where a side feeds nothing")
        if self.from_start_ka == 0 and self.from_end_ka == 0:
            raise ValueError(
                "from_start_ka and from_end_ka are both 0: then there is no fault; leave [lines.fault] out"
            )
        return self


class Soil(Section):
    """Soil along the line."""

    resistivity_ohm_m: Positive = Field(
        100.0, description="Of uniform soil, or of the upper layer. The default is judgement: measure it."
    )
    lower_resistivity_ohm_m: Positive | None = Field(None, description="Of the lower of two layers.")
    upper_thickness_m: Positive | None = Field(None, description="Of the upper of two layers.")
    raster: Path | None = Field(None, description="Raster of resistivity in ohm metres, sampled at the towers.")

    @model_validator(mode="after")
    def _two_layers(self) -> Self:
        if (self.lower_resistivity_ohm_m is None) != (self.upper_thickness_m is None):
            raise ValueError("lower_resistivity_ohm_m and upper_thickness_m go together")
        return self


class Method(Section):
    """How the earthing is measured, and with what."""

    legs_only: bool = Field(
        True, description="Current taken in the tower's legs, earth wires connected; else the whole injected current."
    )
    test_frequencies_hz: tuple[Positive, ...] = Field(
        (110.0,), min_length=1, description="Of the test current; between the harmonics of the supply. Judgement."
    )
    rod_length_m: Positive = Field(1.0, description="Driven depth of one rod.")
    rod_diameter_mm: Positive = Field(16.0, description="Of one rod.")
    rods_available: int = Field(6, ge=1, description="For one electrode.")
    rod_spacing_multiple: Annotated[float, Field(ge=1, le=10)] = Field(
        3.0, description="Rods stand so many driven depths apart; 2 to 4 is common practice, no published source."
    )
    electrode_target_ohm: Positive = Field(
        1000.0, description="Resistance of each auxiliary electrode, at most. Common practice, no published source."
    )
    bias_target_pct: Positive = Field(
        10.0, description="Of the expected resistance; the reading may be out by so much."
    )
    lead_height_m: Annotated[float, Field(ge=0.1, le=3)] = Field(
        1.0, description="At which a lead is carried; for the capacitive current."
    )
    lead_diameter_mm: Annotated[float, Field(gt=0, le=20)] = Field(1.8, description="Of the lead's metal.")
    footing_resistance_ohm: Positive | None = Field(
        None,
        description="Of a tower alone, where the towers' column has none; estimated from soil and size if left out.",
    )


class Limits(Section):
    """What exposures are compared with."""

    touch_standard: Literal["EN 50522", "IEEE Std 80"] = Field("EN 50522", description="For faults.")
    body_mass_kg: Literal[50, 70] = Field(50, description="IEEE Std 80 only.")
    surface_resistivity_ohm_m: Positive | None = Field(None, description="IEEE Std 80: of a surface layer.")
    surface_thickness_m: Positive | None = Field(None, description="IEEE Std 80: of a surface layer.")
    public_or_livestock: bool = Field(False, description="Take the lower long-duration limits (25 V, 0.5 mA).")

    @model_validator(mode="after")
    def _layer(self) -> Self:
        if (self.surface_resistivity_ohm_m is None) != (self.surface_thickness_m is None):
            raise ValueError("surface_resistivity_ohm_m and surface_thickness_m go together")
        return self
