"""The output formats: a name for the job file, and the function that writes the file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType

from layoutplan.outputs.dxf import write_dxf
from layoutplan.outputs.flatgeobuf import write_flatgeobuf
from layoutplan.outputs.geojson import write_geojson
from layoutplan.outputs.geoparquet import write_geoparquet
from layoutplan.outputs.gpkg import write_gpkg
from layoutplan.outputs.gpx import write_gpx
from layoutplan.outputs.permissions import write_permissions
from layoutplan.outputs.record import write_record
from layoutplan.outputs.stakes import write_stakes
from layoutplan.outputs.survey import write_survey
from layoutplan.planning.model import Plan

Writer = Callable[[Plan, Path], Path | list[Path]]  # makes new files in the folder and returns where they are


def _write_map(plan: Plan, folder: Path) -> Path:
    from layoutplan.outputs.map_page import write_map  # folium takes half a second to import

    return write_map(plan, folder)


def _write_review(plan: Plan, folder: Path) -> Path:
    from layoutplan.outputs.review import write_review

    return write_review(plan, folder)


def _write_review_table(plan: Plan, folder: Path) -> Path:
    from layoutplan.outputs.review import write_review_table

    return write_review_table(plan, folder)


WRITERS: Mapping[str, Writer] = MappingProxyType(
    {
        "gpkg": write_gpkg,
        "gpx": write_gpx,
        "csv": write_stakes,
        "permissions": write_permissions,
        "survey": write_survey,
        "dxf": write_dxf,
        "geojson": write_geojson,
        "map": _write_map,
        "review": _write_review,
        "review_table": _write_review_table,
        "parquet": write_geoparquet,
        "flatgeobuf": write_flatgeobuf,
        "json": write_record,  # last: it lists the files of the others
    }
)
