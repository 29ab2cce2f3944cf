"""How the survey list ``stakes_survey.csv`` is laid out."""

from __future__ import annotations

from pydantic import Field, field_validator

from layoutplan.job.section import Section

COLUMN_WORDS = {"P": "point", "N": "northing", "E": "easting", "Z": "elevation", "D": "description"}


class Survey(Section):
    """The survey list `stakes_survey.csv`, as the controller that reads it wants it."""

    columns: str = Field(
        "P,N,E,Z,D",
        description="Its columns by their trade letters: P point number, N northing, E easting, Z elevation, "
        "D description. N and E must be among them.",
    )
    header: bool = Field(False, description="Whether its first line names the columns and their unit.")

    @field_validator("columns")
    @classmethod
    def _known(cls, value: str) -> str:
        letters = [letter.strip().upper() for letter in value.split(",")]
        if set(letters) - set(COLUMN_WORDS) or len(set(letters)) < len(letters) or not {"N", "E"} <= set(letters):
            raise ValueError(
                f"'{value}' is no order of columns; write letters out of P, N, E, Z, D with commas between them, each "
                'at most once, N and E among them, for instance "P,N,E,Z,D"'
            )
        return ",".join(letters)

    @property
    def letters(self) -> tuple[str, ...]:
        """The columns' letters in their order."""
        return tuple(self.columns.split(","))
