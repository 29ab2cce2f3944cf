"""What a layout has to keep, and what makes one better than another."""

from __future__ import annotations

from types import MappingProxyType
from typing import Literal, Self

from pydantic import Field, model_validator

from layoutplan.job.section import NonNegative, Positive, Section

Sides = Literal["required", "preferred", "scored"]


class Rules(Section):
    """Hard rules: a position that breaks one is not proposed."""

    former = MappingProxyType({"square_within_deg": "perpendicular_within_deg"})

    line_clearance_m: NonNegative = Field(
        50.0,
        description="Stake to the outermost conductor of any power line, measured to the line. Common practice, no "
        "published source.",
    )
    min_angle_deg: float = Field(
        30.0, ge=0, le=90, description="Lead to each adjoining span, at least. Common practice, no published source."
    )
    perpendicular_within_deg: float = Field(
        15.0, ge=0, le=90, description="Up to so far off the perpendicular a lead counts as perpendicular. Judgement."
    )
    min_distance_m: NonNegative = Field(0.0, description="Tower to stake, at least, whatever the other rules say.")
    electrode_size_multiple: NonNegative = Field(
        5.0,
        description="Tower to stake, at least this multiple of the largest dimension of the tower's earth electrode. "
        "Common practice, no source checked.",
    )
    reel_m: Positive = Field(150.0, description="Lead on the reel; no lead is longer. 1,500 m at most.")
    slack_pct: NonNegative = Field(5.0, description="Added to the straight distance for the lead on the ground.")
    sides: Sides = Field(
        "preferred",
        description='Whether H and S must stand on opposite sides of the line: `"required"`; `"preferred"`: two on one '
        'side only where no pair on opposite sides is found, as is common practice; `"scored"`: whichever pair has '
        "fewer points.",
    )
    same_side_min_angle_deg: float = Field(
        60.0, ge=0, le=180, description="Between the two leads where both stakes stand on one side."
    )
    max_induced_v: Positive | None = Field(
        None, description="Voltage that the greatest load may induce in a lead; no limit if left out."
    )
    max_bias_pct: Positive | None = Field(
        None,
        description="Share of the expected resistance that the bias may reach; no limit if left out.",
    )
    max_coupling_pct: Positive | None = Field(
        None, description="Share of the expected impedance that may couple from lead to lead; no limit if left out."
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

    former = MappingProxyType({"off_square_per_deg": "off_perpendicular_per_deg"})

    off_perpendicular_per_deg: NonNegative = Field(1.0, description="Per degree off the perpendicular to the line.")
    beyond_min_per_m: NonNegative = Field(0.2, description="Per metre beyond the shortest distance the rules allow.")
    caution_crossing: NonNegative = Field(15.0, description="Per crossing to be agreed or taken care of.")
    caution_ground: NonNegative = Field(20.0, description="For a stake on land that needs somebody's agreement.")
    near_keep_out: NonNegative = Field(10.0, description="For a stake within `margin_m` of a keep-out.")
    lead_beside_per_m: NonNegative = Field(
        2.0, description="Per metre by which a lead passes what it must not cross nearer than `margin_m`."
    )
    margin_m: NonNegative = Field(
        5.0,
        description="About the accuracy of open map data. A stake that keeps its distance from something on the map by "
        "less, or a lead that passes what it must not cross by less, makes the layout a compromise.",
    )
    woodland_crops_per_m: NonNegative = Field(0.1, description="Per metre of lead over woodland or crops.")
    induced_per_v: NonNegative = Field(2.0, description="Per volt that the greatest load induces in the lead.")
    bias_per_pct: NonNegative = Field(
        0.5, description="Per cent of the expected resistance by which the geometry bends the reading."
    )
    steep_per_deg: NonNegative = Field(
        1.0, description="Per degree of slope at the stake beyond easy ground (`terrain.easy_slope_deg`)."
    )
    walk_per_min: NonNegative = Field(
        1.0, description="Per minute on foot from the tower to the stake, where the map holds roads (`[access]`)."
    )
    coupling_per_pct: NonNegative = Field(
        1.0, description="Per cent of the expected impedance coupled from lead to lead, both on one side of the line."
    )
