"""Land and permissions, and the days of the work that they are held against."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from layoutplan.job.section import FileSource, Section

Permission = Literal["granted", "asked", "refused", "unknown"]


def _day_of_year(text: str) -> str:
    try:
        date.fromisoformat(f"2000-{text}")
    except ValueError as err:
        raise ValueError(f"'{text}' is no day of the year; write month and day as 03-01") from err
    return text


MonthDay = Annotated[str, AfterValidator(_day_of_year)]


class Work(Section):
    """When the crew works, which permissions and closed seasons are held against; and whom it calls."""

    first_day: date | None = Field(None, description="First day of the work (`2026-04-13`).")
    last_day: date | None = Field(None, description="Last day of the work; the first one if left out.")
    permit_number: str = Field(
        "", max_length=40, description="Of the permit to work; a line to write on the sheets if left out."
    )
    control_room: str = Field("", max_length=40, description="How the line's control room is reached; likewise.")
    emergency_phone: str = Field("", max_length=40, description="Whom to call after an accident; likewise.")

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.last_day is not None and self.first_day is None:
            raise ValueError("last_day needs a first_day")
        if self.first_day is not None and self.last_day is not None and self.last_day < self.first_day:
            raise ValueError(f"last_day = {self.last_day} is before first_day = {self.first_day}")
        return self

    @property
    def days(self) -> tuple[date, date] | None:
        """First and last day; None if not given."""
        return None if self.first_day is None else (self.first_day, self.last_day or self.first_day)


class Land(FileSource):
    """A layer of parcels or of areas with rules of their own: who may enter, and when."""

    label: str = Field("parcel", min_length=1, description="What one area is called in reasons.")
    parcel_column: str | None = Field(None, description="Column with the parcel's number or name.")
    owner_column: str | None = Field(
        None, description="Column with a reference to the owner. It is the only thing about owners that is carried on."
    )
    permission: Permission | None = Field(None, description="Of all areas of the layer.")
    permission_column: str | None = Field(None, description="Column with the permission of each area.")
    permission_map: dict[str, Permission] = Field(
        default_factory=dict,
        description="From values of `permission_column` to granted, asked, refused or unknown; may be left out if the "
        "column holds these words. Anything else counts as unknown.",
    )
    valid_from_column: str | None = Field(None, description="Column with the first day of a permission.")
    valid_to_column: str | None = Field(None, description="Column with the last day of a permission.")
    closed_from: MonthDay | None = Field(
        None, description="First day of the year on which nobody may enter (`03-01`), for all areas of the layer."
    )
    closed_to: MonthDay | None = Field(None, description="Last day of the closed season; it may lie in the next year.")
    attribution: str | None = Field(None, description="Credit line of the data's owner, shown on map and sheets.")

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if self.permission is not None and self.permission_column is not None:
            raise ValueError("give permission or permission_column, not both")
        if (self.closed_from is None) != (self.closed_to is None):
            raise ValueError("closed_from and closed_to go together")
        return self
