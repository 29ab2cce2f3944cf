"""The output formats of this program: one entry each, with the function that writes it, loaded when it is used."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from types import MappingProxyType

from layoutplan.layout.model import Plan

Writer = Callable[[Plan, Path], Path | list[Path]]  # makes new files in the folder and returns their paths


@dataclass(frozen=True, slots=True)
class Format:
    """One output.

    Attributes
    ----------
    name : str
        In the job file (``output.formats``) and of ``layoutplan export --to``.
    what : str
        What it is for, in a few words.
    files : tuple of str
        Names of its files; ``*`` stands for a number. Empty where only the writer knows.
    writer : str
        The function, as ``module:function``; a `Writer`.
    needs : str
        Section of the job without which there is nothing to write; empty: none.
    by_default : bool
        Whether ``plan`` writes it if the job names no formats.
    beside : str
        Format whose file it shows: it must lie in the same folder. Empty: it stands alone.
    package : str
        Installed package that it comes from, with its version; empty for this program's own.
    extra : str
        Extra of this program (``pip install "layoutplan[…]"``) that brings what the writer imports; empty: none.
    by_tower : bool
        Whether it can be made of some of the towers: a page for people, which says of how many.
    """

    name: str
    what: str
    files: tuple[str, ...]
    writer: str
    needs: str = ""
    by_default: bool = True
    beside: str = ""
    package: str = ""
    extra: str = ""
    by_tower: bool = False

    def applies_to(self, plan: Plan) -> bool:
        """Whether the job has what the format needs.

        Parameters
        ----------
        plan : Plan
            With its job.

        Returns
        -------
        bool
        """
        return not self.needs or bool(getattr(plan.job, self.needs))

    def load(self) -> Writer:
        """Import the writer.

        Returns
        -------
        callable
            Takes a plan and a folder.
        """
        module, _, function = self.writer.partition(":")
        writer: Writer = getattr(import_module(module), function)
        return writer


RECORD = "json"
_HERE = "layoutplan.outputs"
_OWN = (
    Format("gpkg", "all tables of the plan", ("plan.gpkg",), f"{_HERE}.gpkg:write_gpkg"),
    Format(
        "project",
        "plan.gpkg in a desktop GIS, with a map to print",
        ("plan.qgz",),
        f"{_HERE}.gis_project:write_project",
        beside="gpkg",
    ),
    Format("gpx", "waypoints and leads for receivers", ("waypoints.gpx", "waypoints_*.gpx"), f"{_HERE}.gpx:write_gpx"),
    Format("kmz", "for telephones, tablets, globes", ("stakes.kmz",), f"{_HERE}.kml:write_kmz"),
    Format("kml", "the same as text, without signs", ("stakes.kml",), f"{_HERE}.kml:write_kml", by_default=False),
    Format("csv", "staking list", ("stakes.csv",), f"{_HERE}.stakes:write_stakes"),
    Format("permissions", "list of parcels", ("permissions.csv",), f"{_HERE}.permissions:write_permissions", "land"),
    Format(
        "survey", "points for a controller", ("stakes_survey.csv", "stakes_survey.txt"), f"{_HERE}.survey:write_survey"
    ),
    Format(
        "dxf",
        "drawing in the job's grid",
        ("stakes.dxf", "stakes_dxf.txt"),
        f"{_HERE}.dxf:write_dxf",
        by_default=False,  # some seconds on a dense map
        extra="dxf",
    ),
    Format("geojson", "towers, stakes and leads", ("plan.geojson",), f"{_HERE}.geojson:write_geojson"),
    Format("map", "map for a browser without network", ("map.html",), f"{_HERE}.map_page:write_map", by_tower=True),
    Format("review", "every rule of every tower", ("review.html",), f"{_HERE}.review:write_review", by_tower=True),
    Format("review_table", "the same as a table", ("review.csv",), f"{_HERE}.review:write_review_table"),
    Format("sheets", "staking sheets to print", ("sheets.pdf",), f"{_HERE}.sheets:write_sheets", by_tower=True),
    Format(
        "parquet",
        "each table as GeoParquet",
        ("plan_*.parquet",),
        f"{_HERE}.geoparquet:write_geoparquet",
        by_default=False,
    ),
    Format(
        "flatgeobuf",
        "each layer as FlatGeobuf",
        ("plan_*.fgb",),
        f"{_HERE}.flatgeobuf:write_flatgeobuf",
        by_default=False,
    ),
    Format(RECORD, "record of the plan and its files", ("plan.json",), f"{_HERE}.record:write_record"),  # always last
)
FORMATS: Mapping[str, Format] = MappingProxyType({entry.name: entry for entry in _OWN})
DEFAULT = tuple(name for name, entry in FORMATS.items() if entry.by_default)
