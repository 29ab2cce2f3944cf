"""``waypoints.gpx``: stakes and towers as waypoints, leads and ways on foot as tracks (GPX 1.1)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, time
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from gpxpy.gpx import GPX, GPXBounds, GPXTrack, GPXTrackPoint, GPXTrackSegment, GPXWaypoint

from layoutplan.layout.model import Plan
from layoutplan.layout.set_out import marked_name, sign_name
from layoutplan.outputs.columns import records
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.points import known_height_m, parts, rounded_lonlat, tower_waypoints
from layoutplan.outputs.words import LEAD_COLUMNS, STAKE_COLUMNS, lead_words, stake_words
from layoutplan.text import xml_text

_KEYS = ("line_id", "tower_id")
_STAKE = (*_KEYS, "role")


def write_gpx(plan: Plan, folder: Path) -> list[Path]:
    """Write the stakes first (receivers that hold few points keep those), then towers, leads and ways on foot.

    With ``output.waypoints_per_file`` as many files as it takes, ``waypoints_01.gpx`` and so on; a tower and its stakes
    are in one file.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    folder : Path
        Where the file is made.

    Returns
    -------
    list of Path
        In their order.

    References
    ----------
    .. [1] GPX 1.1 Schema Documentation, TopoGrafix, 2004.
    """
    names = dict(
        zip(zip(*(plan.towers[key].tolist() for key in _KEYS), strict=True), tower_waypoints(plan), strict=True)
    )
    cut = parts(plan, plan.job.output.waypoints_per_file)
    digits = max(2, len(str(len(cut))))
    number = plan_number(plan)  # of the whole: each part would have one of its own
    paths = []
    for place, part in enumerate(cut, 1):
        several = len(cut) > 1
        path = folder / (f"waypoints_{place:0{digits}d}.gpx" if several else "waypoints.gpx")
        gpx = _document(part, names, f"({place} of {len(cut)})" if several else "", number)
        path.write_text(gpx.to_xml(version="1.1"), encoding="utf-8", newline="\n")
        paths.append(path)
    return paths


def _document(plan: Plan, names: Mapping[tuple[str, str], str], which: str, number: str) -> GPX:
    gpx = GPX()
    gpx.creator = "layoutplan"
    gpx.name = xml_text(f"{plan.job.title} {which}")
    gpx.description = xml_text(" ".join((f"Plan number {number}.", *plan.cautions)))
    gpx.keywords = f"plan number {number}"
    gpx.time = plan_time(plan)
    gpx.waypoints = [*_stakes(plan, number), *_towers(plan, names, number)]
    gpx.tracks = [*_leads(plan), *_ways(plan, names)]
    gpx.bounds = _bounds(plan)
    return gpx


def plan_time(plan: Plan) -> datetime | None:
    """Time that belongs to a plan, and not to its writing: the first day of the work, else that of its newest data.

    Parameters
    ----------
    plan : Plan
        With its job and files.

    Returns
    -------
    datetime or None
        UTC; None if neither is known.
    """
    if plan.job.work.first_day is not None:
        return datetime.combine(plan.job.work.first_day, time(), UTC)
    return max(filter(None, (_time(file.data_date) for file in plan.files)), default=None)


def _time(text: str | None) -> datetime | None:
    try:
        found = datetime.fromisoformat(text or "")
        return (found if found.tzinfo else found.replace(tzinfo=UTC)).astimezone(UTC).replace(microsecond=0)
    except (ValueError, OverflowError):  # whatever a file says of itself
        return None


def _stakes(plan: Plan, number: str) -> Iterator[GPXWaypoint]:
    table, symbols, length = plan.electrodes, plan.job.output.symbols, plan.job.output.waypoint_length
    lon, lat = rounded_lonlat(table["lon"], table["lat"])
    for x, y, stake in zip(lon, lat, records(table, "elevation_m", *STAKE_COLUMNS), strict=True):
        text = stake_words(stake)
        yield GPXWaypoint(
            y,
            x,
            elevation=known_height_m(stake.elevation_m),
            name=marked_name(stake.waypoint, stake.status, length),
            symbol=symbols.of(sign_name(stake.role, stake.status)),
            type=stake.role,
            comment=xml_text(text.short),
            description=xml_text(f"{text.full} Plan number {number}."),
        )


def _towers(plan: Plan, names: Mapping[tuple[str, str], str], number: str) -> Iterator[GPXWaypoint]:
    table = plan.towers
    lon, lat = rounded_lonlat(table["lon"], table["lat"])
    rows = records(table, *_KEYS, "status", "reasons", "elevation_m")
    for x, y, tower in zip(lon, lat, rows, strict=True):
        text = xml_text(f"Tower {tower.tower_id} of line {tower.line_id}: {tower.status}")
        yield GPXWaypoint(
            y,
            x,
            elevation=known_height_m(tower.elevation_m),
            name=names[tower.line_id, tower.tower_id],
            symbol=plan.job.output.symbols.of("tower"),
            type="tower",
            comment=text,
            description=(f"{text}. {xml_text(tower.reasons)}" if tower.reasons else text) + f". Plan number {number}.",
        )


def _leads(plan: Plan) -> Iterator[GPXTrack]:
    table = plan.leads
    points, row_of_point = shapely.get_coordinates(table.geometry.array, return_index=True)
    lon, lat = rounded_lonlat(points[:, 0], points[:, 1])
    ends = np.cumsum(np.bincount(row_of_point, minlength=len(table))).tolist()
    tower_m = dict(zip(zip(*(plan.towers[key] for key in _KEYS), strict=True), plan.towers["elevation_m"], strict=True))
    rows = records(table, "waypoint", "line_id", "elevation_m", *LEAD_COLUMNS)
    for start, end, lead in zip([0, *ends], ends, rows, strict=False):
        name = marked_name(lead.waypoint, lead.status, plan.job.output.waypoint_length)
        track = GPXTrack(name=name, description=xml_text(lead_words(lead)))
        track.type = "lead"  # type: ignore[assignment]  # gpxpy declares it None, and writes the text
        heights = (tower_m[lead.line_id, lead.tower_id], lead.elevation_m)
        track.segments = [GPXTrackSegment(_points(lon[start:end], lat[start:end], heights))]
        yield track


def _ways(plan: Plan, names: Mapping[tuple[str, str], str]) -> Iterator[GPXTrack]:
    """Ways from the drop-off to the tower and on to its stakes, named after where they lead."""
    table = plan.walks
    length = plan.job.output.waypoint_length
    of_stake = {
        row[:3]: marked_name(row.waypoint, row.status, length)
        for row in records(plan.electrodes, *_STAKE, "waypoint", "status")
    }
    columns = (*_KEYS, "to", "verdict", "walk_m", "walk_min", "road_name", "crossings", "note")
    for shape, way in zip(table.geometry, records(table, *columns), strict=True):
        name = of_stake.get((way.line_id, way.tower_id, way.to)) or names[way.line_id, way.tower_id]
        lon, lat = rounded_lonlat(*shapely.get_coordinates(shape).T)
        track = GPXTrack(name=f"{name}-WALK", description=_way_words(way))
        track.type = "walk"  # type: ignore[assignment]  # as above
        track.segments = [GPXTrackSegment(list(map(GPXTrackPoint, lat, lon)))]
        yield track


def _way_words(way: Any) -> str:
    begins = f"from {way.road_name or 'the road'}" if way.to == "tower" else "from the tower"
    parts = [f"On foot {begins} to {way.to}: {way.verdict}", f"{way.walk_m:.0f} m", f"{way.walk_min:.0f} min"]
    parts += [f"across {way.crossings}"] if way.crossings else []
    return xml_text(", ".join(parts) + (f". {way.note}" if way.note else ""))


def _points(
    lon: Sequence[float], lat: Sequence[float], heights_m: tuple[float | None, float | None]
) -> list[GPXTrackPoint]:
    """Points of a track from the tower to the stake, whose heights are known if any are."""
    made = list(map(GPXTrackPoint, lat, lon))
    made[0].elevation, made[-1].elevation = map(known_height_m, heights_m)
    return made


def _bounds(plan: Plan) -> GPXBounds | None:
    walked = shapely.get_coordinates(plan.approaches.geometry.array)
    lon, lat = rounded_lonlat(
        np.concatenate((plan.towers["lon"], plan.electrodes["lon"], walked[:, 0])),
        np.concatenate((plan.towers["lat"], plan.electrodes["lat"], walked[:, 1])),
    )
    return GPXBounds(min(lat), max(lat), min(lon), max(lon)) if lon else None
