"""A commented job file to fill in; it shows every section with its defaults."""

from __future__ import annotations

from collections.abc import Iterator
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from layoutplan.job.access import Access
from layoutplan.job.electrical import Limits, Method, Soil
from layoutplan.job.model import Coverage, Job, Output, Search
from layoutplan.job.reading import Reading
from layoutplan.job.rules import Rules, Score
from layoutplan.job.survey import Survey
from layoutplan.job.terrain import Terrain

_HEAD = """\
# A job for layoutplan: where the auxiliary electrodes beside each tower can go.
# Lines that begin with "# " and a key show the default; take the "# " away to change one.
# Paths are relative to this file. Every quantity carries its unit in its name.
# Check it with:  layoutplan inspect job.toml       Plan with:  layoutplan plan job.toml --out plan

title = "My line"

# --- the line: one [[lines]] for each line to measure ------------------------------------------------------------
[[lines]]
id = "line-1"
# The towers, from any GIS file or a CSV with lon/lat (or easting/northing and crs = "EPSG:..."):
towers = { path = "towers.csv", id_column = "tower_id" }
# Kinds of towers by the owner's own codes:
# towers = { path = "towers.csv", structure_column = "type", structure_map = { AP = "lattice_4", M = "pole" } }
# centreline = { path = "centreline.gpkg" }
# ... or line and towers out of an OpenStreetMap extract (then leave towers and centreline out):
# osm = { path = "map.osm.pbf", way_ids = [123456] }
voltage_kv = 110
# frequency_hz = 50.0           # of the supply: write 60 (a railway: 16.7) where it is that; else 50 is taken
half_width_m = 8.0              # centreline to outermost conductor
structure = "lattice_4"         # lattice_4, lattice_3, pole, frame_2
# base_width_m = 7.0            # between the legs; without it no leg is named
# earth_electrode_size_m = 12.0 # largest dimension of the tower's earth electrode, counterpoise included
# What flows in the line. Left out, everything that depends on it is unknown, never zero:
# load = { current_a = 400, maximum_a = 800 }
# fault = { current_ka = 10, clearing_time_s = 0.3 }
# start_grid_ohm = 0.5          # stations at the line's ends, if it ends in any
# end_grid_ohm = 0.5            # where several lines end in one station: end_station = "north" for each, and below
# Conductors, where they are known (else a generic cross-section of the voltage class is taken, and said so):
# [[lines.sections]]
# conductors = [
#   { phase = "A", offset_m = -4.2, attachment_height_m = 17.0, sag_m = 6.0, diameter_mm = 21.8 },
#   { phase = "B", offset_m = 3.6, attachment_height_m = 20.5, sag_m = 6.0, diameter_mm = 21.8 },
#   { phase = "C", offset_m = 4.6, attachment_height_m = 17.0, sag_m = 6.0, diameter_mm = 21.8 },
#   { phase = "E", offset_m = 0.0, attachment_height_m = 26.0, sag_m = 5.0, diameter_mm = 14.0 },
# ]

# --- stations that several lines end in, or in which a fault is to be counted ----------------------------------------
# [[stations]]
# id = "north"
# grid_ohm = 0.3
# fault = { grid_current_ka = 6, clearing_time_s = 0.3 }

# --- the map: one [[layers]] for each file or layer. Without a map nothing is called clear -------------------------
# [[layers]]
# path = "map.osm.pbf"          # OpenStreetMap extract: classes come from the tags
# [[layers]]
# path = "records.gpkg"
# layer = "gas_pipes"
# obstacle_class = "pipeline"
# name_column = "name"

# --- land and permissions; refused land is kept clear of, land without permission is called so ---------------------
# [[land]]
# path = "parcels.gpkg"
# parcel_column = "parcel_no"
# owner_column = "owner_ref"    # a reference, never a name
# permission_column = "state"   # granted, asked, refused, unknown; other words: permission_map = { yes = "granted" }
# [work]
# first_day = 2026-04-13
# last_day = 2026-04-24

# --- stakes that stay where they are: one [[fixed]] for each ---------------------------------------------------------
# [[fixed]]
# tower = "12"
# role = "H"
# lon = 8.41234
# lat = 49.09876
"""


def job_template() -> str:
    """Text of a job file to fill in.

    Returns
    -------
    str
        TOML, with every key and its default in comments.

    Examples
    --------
    >>> [line for line in job_template().splitlines() if "reel_m =" in line][0].split("#")[1].strip()
    'reel_m = 150.0'
    """
    sections: list[tuple[str, type[BaseModel]]] = [
        ("rules", Rules),
        ("score", Score),
        ("terrain", Terrain),
        ("access", Access),
        ("soil", Soil),
        ("method", Method),
        ("limits", Limits),
        ("search", Search),
        ("output", Output),
        ("output.survey", Survey),
        ("coverage", Coverage),
        ("reading", Reading),
    ]
    lines = [_HEAD]
    for name, model in sections:
        lines += [f"# --- {name} " + "-" * (106 - len(name)), f"# [{name}]", *_keys(model), ""]
    lines += [
        "# --- obstacle classes: keep-out distances and crossings, key by key " + "-" * 48,
        "# [classes.river_canal]",
        "# keep_out_m = 10.0",
        '# lead_crossing = "agree"      # "no", "agree", "care", "free"',
    ]
    return "\n".join(lines) + "\n"


def _keys(model: type[BaseModel]) -> Iterator[str]:
    for name, field in model.model_fields.items():
        if isinstance(field.default, BaseModel):
            continue  # it has a header of its own
        if field.default is None or field.is_required() or field.default_factory:
            yield f"# {name} = ...    # {meaning(field)}"
        else:
            yield f"# {name} = {toml_value(field.default)}    # {meaning(field)}"


def meaning(field: FieldInfo) -> str:
    """What a key is for, and the words that it takes where the description does not name them all.

    Parameters
    ----------
    field : FieldInfo
        Of a section.

    Returns
    -------
    str
    """
    notes = field.description or ""
    words = [toml_value(word) for word in _words_of(field.annotation)]
    return notes if all(word.strip('"') in notes for word in words) else f"{notes} One of {', '.join(words)}."


def _words_of(annotation: Any) -> tuple[Any, ...]:
    if get_origin(annotation) is Literal:
        return get_args(annotation)
    choices = (
        [arg for arg in get_args(annotation) if arg is not NoneType]
        if get_origin(annotation) in (Union, UnionType)
        else []
    )
    return _words_of(choices[0]) if len(choices) == 1 else ()


def toml_value(value: Any) -> str:
    """Value as it is written in TOML.

    Parameters
    ----------
    value : object
        Text, number, yes or no, or a list of them.

    Returns
    -------
    str

    Examples
    --------
    >>> toml_value("Mill Lane"), toml_value(2.5), toml_value(True)
    ('"Mill Lane"', '2.5', 'true')
    """
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml_value(item) for item in value) + "]"
    return f'"{value}"' if isinstance(value, str) else f"{value}"


def job_sections() -> list[tuple[str, str, dict[str, FieldInfo]]]:
    """Every table of the job file, for the reference in the documentation.

    Returns
    -------
    list of (str, str, dict of str to FieldInfo)
        Its header, what it is for, and its keys.
    """
    out: list[tuple[str, str, dict[str, FieldInfo]]] = []

    def visit(header: str, model: type[BaseModel]) -> None:
        out.append((header, (model.__doc__ or "").strip(), dict(model.model_fields)))

    from layoutplan.job import access, land, lines, reading, stations, survey, terrain
    from layoutplan.job import electrical as e
    from layoutplan.job import model as m
    from layoutplan.job.class_override import ClassOverride
    from layoutplan.job.section import FileSource

    visit("(top of the file)", Job)
    for header, section in (
        ("[[lines]]", lines.Line),
        ("[lines.towers]", lines.TowerSource),
        ("[lines.centreline]", FileSource),
        ("[lines.osm]", lines.OsmLine),
        ("[[lines.sections]]", e.CrossSectionItem),
        ("[[lines.sections.conductors]]", e.ConductorItem),
        ("[lines.load]", e.Load),
        ("[lines.fault]", e.Fault),
        ("[[stations]]", stations.Station),
        ("[stations.fault]", stations.StationFault),
        ("[[layers]]", m.Layer),
        ("[coverage]", m.Coverage),
        ("[terrain]", terrain.Terrain),
        ("[[land]]", land.Land),
        ("[work]", land.Work),
        ("[access]", access.Access),
        ("[rules]", Rules),
        ("[score]", Score),
        ("[soil]", e.Soil),
        ("[method]", e.Method),
        ("[limits]", e.Limits),
        ("[search]", m.Search),
        ("[classes.<name>]", ClassOverride),
        ("[[fixed]]", m.FixedStake),
        ("[output]", m.Output),
        ("[output.survey]", survey.Survey),
        ("[reading]", reading.Reading),
    ):
        visit(header, section)
    return out
