"""The plan as a tree of folders: line, tower, and what belongs to the tower."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from fastkml import KML, Coordinates, Data, Document, ExtendedData, Folder, LineString, Placemark, Point, StyleUrl
from fastkml.enums import AltitudeMode
from fastkml.features import Snippet

from layoutplan.layout.levels import known_level
from layoutplan.layout.model import REACHABLE, Plan
from layoutplan.layout.set_out import SET_OUT_COLUMNS, marked_name, sign_name
from layoutplan.outputs.columns import records
from layoutplan.outputs.kml.balloons import (
    cautions_html,
    lead_balloons,
    span_balloons,
    stake_balloons,
    tower_balloons,
    walk_balloons,
)
from layoutplan.outputs.kml.styles import style_id, styles
from layoutplan.outputs.points import rounded_lonlat, tower_waypoints
from layoutplan.outputs.rounding import LONLAT_DECIMALS
from layoutplan.outputs.words import STAKE_COLUMNS, figure, stake_words
from layoutplan.text import xml_text

Key = tuple[str, str]
_LEVEL_NAMES = {
    "above": "above a limit",
    "unknown": "of unknown voltage",
    "near": "near a limit",
    "below": "up to half of every limit",
}
_STAKE_DATA = ("line_id", "tower_id", "role", *SET_OUT_COLUMNS)
_TOWER_DATA = ("line_id", "tower_id", "status")
_LEAD_DATA = ("line_id", "tower_id", "role", "lead_length_m", "service_ratio", "fault_ratio", "status")
_WALK_DATA = ("line_id", "tower_id", "to", "walk_m", "walk_min", "verdict")
_SPAN_DATA = ("line_id", "from_tower", "to_tower", "length_m", "bearing_deg")


def kml_text(plan: Plan, *, icons: bool) -> str:
    """Return the plan as a KML 2.2 document.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    icons : bool
        Whether points carry the signs of `layoutplan.outputs.kml.icons`, which must then lie beside the text.

    Returns
    -------
    str
        XML.

    References
    ----------
    .. [1] OGC 07-147r2, OGC KML, version 2.2.0, 2008.
    """
    document = Document(
        id="plan",
        name=xml_text(plan.job.title),
        description=cautions_html(plan),
        isopen=True,
        styles=list(styles(icons)),
        features=list(_lines(plan)),
    )
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + KML(features=[document]).to_string(precision=LONLAT_DECIMALS)


def _lines(plan: Plan) -> Iterator[Folder]:
    """One folder for each line: its towers in order, then its spans."""
    spans = _by_line(_spans(plan))
    towers = _by_line(_towers(plan))
    for line_id in dict.fromkeys((*towers, *spans)):
        own = [*towers.get(line_id, ()), Folder(name="Spans", features=spans.get(line_id, []))]
        yield Folder(name=xml_text(f"Line {line_id}"), isopen=True, features=own)


def _by_line(pairs: Iterable[tuple[str, Any]]) -> dict[str, list[Any]]:
    lines: dict[str, list[Any]] = {}
    for line, item in pairs:
        lines.setdefault(line, []).append(item)
    return lines


def _towers(plan: Plan) -> Iterator[tuple[str, Folder]]:
    """One folder for each tower: the tower, its stakes, its leads, the ways on foot."""
    things: dict[Key, list[Placemark]] = {}
    for key, placemark in (*_stakes(plan), *_leads(plan), *_walks(plan)):
        things.setdefault(key, []).append(placemark)
    rows = zip(records(plan.towers, *_TOWER_DATA), tower_waypoints(plan), tower_balloons(plan), strict=True)
    for (row, name, balloon), point in zip(rows, _points(plan.towers), strict=True):
        tower = _placemark(name, f"Tower {row.tower_id}: {row.status}", balloon, row.status, row, point)
        own = things.get((row.line_id, row.tower_id), [])
        yield row.line_id, Folder(name=xml_text(f"Tower {row.tower_id}: {row.status}"), features=[tower, *own])


def _stakes(plan: Plan) -> Iterator[tuple[Key, Placemark]]:
    length = plan.job.output.waypoint_length
    lines = [stake_words(row).short for row in records(plan.electrodes, *STAKE_COLUMNS)]
    rows = zip(records(plan.electrodes, *_STAKE_DATA), lines, stake_balloons(plan), strict=True)
    for (row, line, balloon), point in zip(rows, _points(plan.electrodes), strict=True):
        name, sign = marked_name(row.waypoint, row.status, length), sign_name(row.role, row.status)
        yield (row.line_id, row.tower_id), _placemark(name, line, balloon, sign, row, point)


def _leads(plan: Plan) -> Iterator[tuple[Key, Placemark]]:
    shapes = _paths(plan.leads)
    looks = zip(plan.leads["waypoint"].tolist(), map(known_level, plan.leads["lead_level"].tolist()), strict=True)
    rows = zip(records(plan.leads, *_LEAD_DATA), looks, lead_balloons(plan), shapes, strict=True)
    for row, (waypoint, level), balloon, path in rows:
        name, line = (
            f"{waypoint} lead, in service {_LEVEL_NAMES[level]}",
            f"{figure(row.lead_length_m, 'm')} with slack",
        )
        yield (row.line_id, row.tower_id), _placemark(name, line, balloon, f"lead {level}", row, path)


def _walks(plan: Plan) -> Iterator[tuple[Key, Placemark]]:
    table = plan.walks
    rows = zip(records(table, *_WALK_DATA), walk_balloons(plan), _paths(table), strict=True)
    for row, balloon, path in rows:
        kind = "walk" if row.verdict == REACHABLE else "walk ask"
        line = f"{row.walk_min:.0f} min, {figure(row.walk_m, 'm')}: {row.verdict}"
        yield (row.line_id, row.tower_id), _placemark(f"On foot to {row.to}", line, balloon, kind, row, path)


def _spans(plan: Plan) -> Iterator[tuple[str, Placemark]]:
    rows = zip(records(plan.spans, *_SPAN_DATA), span_balloons(plan), _paths(plan.spans), strict=True)
    for row, balloon, path in rows:
        name = xml_text(f"{row.from_tower} – {row.to_tower}")
        yield row.line_id, _placemark(name, figure(row.length_m, "m"), balloon, "span", row, path)


def _placemark(name: str, line: str, balloon: str, kind: str, row: Any, shape: Point | LineString) -> Placemark:
    values = {key: _value(value) for key, value in row._asdict().items()}
    return Placemark(
        name=name,
        description=balloon,
        snippet=Snippet(text=xml_text(line), max_lines=1),  # or viewers list the table's beginning under each name
        style_url=StyleUrl(url=f"#{style_id(kind)}"),
        extended_data=ExtendedData(elements=[Data(name=key, value=text) for key, text in values.items() if text]),
        kml_geometry=shape,
    )


def _value(value: object) -> str:
    """Figures to a thousandth; unknown ones are left out."""
    return f"{value:.3f}" if isinstance(value, float) else xml_text(value)


def _points(table: gpd.GeoDataFrame) -> Iterator[Point]:
    for place in zip(*rounded_lonlat(table["lon"], table["lat"]), strict=True):
        yield Point(altitude_mode=AltitudeMode.clamp_to_ground, kml_coordinates=Coordinates(coords=[place]))


def _paths(table: gpd.GeoDataFrame) -> Iterator[LineString]:
    coordinates, row = shapely.get_coordinates(table.geometry.array, return_index=True)
    places = list(zip(*rounded_lonlat(coordinates[:, 0], coordinates[:, 1]), strict=True))
    ends = np.cumsum(np.bincount(row, minlength=len(table))).tolist()
    for start, end in zip([0, *ends], ends, strict=False):
        yield LineString(
            tessellate=True,
            altitude_mode=AltitudeMode.clamp_to_ground,
            kml_coordinates=Coordinates(coords=places[start:end]),
        )
