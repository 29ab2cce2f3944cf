"""What all parts of the job file have in common."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

LONGEST_TEXT = 5_000  # letters; a filter may list many values, all other texts are far shorter (judgement)
Positive = Annotated[float, Field(gt=0)]
NonNegative = Annotated[float, Field(ge=0)]


class Section(BaseModel):
    """Base of all sections: unknown keys, non-finite numbers and endless texts are refused, values stay as they are."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, allow_inf_nan=False, str_strip_whitespace=True, str_max_length=LONGEST_TEXT
    )


class FileSource(Section):
    """A table of features in a file."""

    path: Path = Field(description="File, relative to the job file.")
    layer: str | None = Field(None, description="Layer in the file; may be left out when the file has only one.")
    where: str | None = Field(None, description="Attribute filter in OGR SQL, for instance `kind = 'tower'`.")
    crs: str | None = Field(None, description="Coordinate reference system, for files that carry none (`EPSG:25832`).")
