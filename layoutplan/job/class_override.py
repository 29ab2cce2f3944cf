"""What a job sets for an obstacle class: keys that it changes, or a class of its own."""

from __future__ import annotations

from typing import Any

from pydantic import Field, SerializerFunctionWrapHandler, field_validator, model_serializer

from layoutplan.job.class_model import Crossing, Look, OnFoot, Standing
from layoutplan.job.section import NonNegative, Section

_ALWAYS_RECORDED = ("stake", "keep_out_m", "lead_crossing", "width_m", "floor_m")


class ClassOverride(Section):
    """Keys of an obstacle class that the job changes."""

    stake: Standing | None = Field(
        None, description='May a stake stand there: `"no"`, `"agree"` (if somebody agrees to it), `"free"`.'
    )
    keep_out_m: NonNegative | None = Field(None, description='From the edge of the feature, with `stake = "no"`.')
    lead_crossing: Crossing | None = Field(
        None,
        description='May a lead cross: `"no"`, `"agree"` (if somebody agrees to it), `"care"` (nobody need be asked; '
        'mind it), `"free"`.',
    )
    width_m: NonNegative | None = Field(None, description="Full width of features mapped as lines.")
    floor_m: NonNegative | None = Field(
        None, description="Where a tower would have no layout: the nearest to its edge that a stake is ever proposed."
    )
    label: str | None = Field(
        None,
        min_length=1,
        description="What it is, in words. With it `<name>` may be a class of the job's own: small letters, digits and "
        "`_`; everything not given has the default of the class file.",
    )
    owner_may_agree: bool | None = Field(None, description="Land on which a stake is possible if its owner agrees.")
    agreed_by: str | None = Field(None, description="Who has to agree to what is not allowed.")
    may_cross: bool | None = Field(None, description="Whether anybody can agree to a lead across.")
    osm_width_m: dict[str, NonNegative] | None = Field(
        None, description="OpenStreetMap tags, `key=value`, each with its full width in metres (0: an area)."
    )
    on_foot: OnFoot | None = Field(
        None, description='For walkers: `effort` (multiple of the time, or `"blocked"`), `ask` for a permission.'
    )
    look: Look | None = Field(None, description="How it is drawn: `group`, `order`, `area`, `fill`, `line`, `hatch`, …")

    @field_validator("stake", "lead_crossing", mode="before")
    @classmethod
    def _as_it_was_called(cls, value: Any) -> Any:
        """Read the word of earlier job files."""
        return "agree" if value == "caution" else value

    @property
    def given(self) -> dict[str, Any]:
        """The keys that the job gives, checked, with their values."""
        keys = {key: getattr(self, key) for key in type(self).model_fields}
        return {key: value for key, value in keys.items() if value is not None}

    @model_serializer(mode="wrap")
    def _as_given(self, write: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """All keys that earlier records had, and those that are given of the rest."""
        return {key: value for key, value in write(self).items() if value is not None or key in _ALWAYS_RECORDED}
