"""The output formats: a name for the job file, and the function that writes the file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType

from layoutplan.outputs.geojson import write_geojson
from layoutplan.outputs.gpkg import write_gpkg
from layoutplan.outputs.gpx import write_gpx
from layoutplan.outputs.permissions import write_permissions
from layoutplan.outputs.record import write_record
from layoutplan.outputs.stakes import write_stakes
from layoutplan.planning.model import Plan

Writer = Callable[[Plan, Path], Path]  # makes one new file in the folder and returns its path


def _write_map(plan: Plan, folder: Path) -> Path:
    from layoutplan.outputs.map_page import write_map  # folium takes half a second to import

    return write_map(plan, folder)


def _write_review(plan: Plan, folder: Path) -> Path:
    from layoutplan.outputs.review import write_review

    return write_review(plan, folder)


def _write_review_table(plan: Plan, folder: Path) -> Path:
    from layoutplan.outputs.review import write_review_table

    return write_review_table(plan, folder)


def _write_sheets(plan: Plan, folder: Path) -> Path:
    from layoutplan.outputs.sheets import write_sheets  # so do reportlab and pypdf

    return write_sheets(plan, folder)


WRITERS: Mapping[str, Writer] = MappingProxyType(
    {
        "gpkg": write_gpkg,
        "gpx": write_gpx,
        "csv": write_stakes,
        "permissions": write_permissions,
        "geojson": write_geojson,
        "map": _write_map,
        "review": _write_review,
        "review_table": _write_review_table,
        "sheets": _write_sheets,
        "json": write_record,  # last: it lists the files of the others
    }
)
