"""How much is read of the files that a job names, and where virtual ones may take theirs from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import Field

from layoutplan.job.section import Section

Count = Annotated[int, Field(ge=1)]


class Reading(Section):
    """Limits of what is read, so that no file hangs the program or fills the memory; all are judgement."""

    folders: tuple[Path, ...] = Field(
        (),
        description="Folders elsewhere from which virtual rasters and layers (`.vrt`) may take files, relative to the "
        "job file. Those below the job's folder and below the virtual file's own may be taken anyway.",
    )
    max_rows: Count = Field(
        1_000_000, description="Rows of a table; of a layer those features that meet the corridor of the line."
    )
    max_vertices: Count = Field(
        1_000_000, description="Vertices of one feature, those included that long edges are cut at."
    )
    max_crossings: Count = Field(
        20_000,
        description="Places where the outline of one area crosses itself; repairing them takes seconds each 10,000.",
    )
    max_unpacked_mb: Count = Field(
        4_000, description="Megabytes of a table, of what an archive holds, or of a compressed `.osm` once unpacked."
    )
    max_raster_cells: Count = Field(
        1_000_000_000_000, description="Cells that a raster declares, its width times its height."
    )
    max_block_cells: Count = Field(
        100_000_000, description="Cells that a raster's file makes one read together: its tile or strip."
    )
