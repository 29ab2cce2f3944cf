"""Heights of the ground: which files hold them, and what steep ground means for stakes and leads."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import Field

from layoutplan.job.section import Positive, Section

VerticalUnit = Literal["metre", "foot", "us_survey_foot"]


class Terrain(Section):
    """Elevation models of the ground; without one, slopes and drops are unknown."""

    files: tuple[Path, ...] = Field(
        (),
        description="Elevation rasters (GeoTIFF, VRT, `.hgt`, ASCII grid, or a `.zip` that holds one of these), "
        "relative to the job file. Where several hold a height, the first one named counts.",
    )
    crs: str | None = Field(None, description="Coordinate reference system, for files that carry none (`EPSG:25832`).")
    vertical_unit: VerticalUnit | None = Field(
        None,
        description='Unit of the heights: `"metre"`, `"foot"`, `"us_survey_foot"`. If left out: what the file says, '
        "or metres if it says nothing.",
    )
    nodata: float | None = Field(
        None, description="Stored value that stands for no height, besides the one that the file declares."
    )
    attribution: str | None = Field(None, description="Credit line of the data's owner, shown on map and sheets.")
    max_stake_slope_deg: float = Field(
        30.0, ge=0, le=90, description="No stake on ground steeper than this. Judgement."
    )
    easy_slope_deg: float = Field(
        10.0, ge=0, le=90, description="Ground up to this slope counts as easy for a stake. Judgement."
    )
    cliff_slope_deg: float = Field(
        60.0, gt=0, lt=90, description="A stretch of a lead's ground profile steeper than this is a cliff. Judgement."
    )
    cliff_drop_m: Positive = Field(
        5.0, description="Least height of a cliff that counts; coarse files show only higher ones. Judgement."
    )
    profile_step_m: Positive | None = Field(
        None,
        description="Between neighbouring points of a ground profile; if left out, half a cell of the finest file, and "
        "2 m at most.",
    )
