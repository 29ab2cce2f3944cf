"""``waypoints.gpx``: stakes and towers as waypoints, leads as tracks (GPX 1.1)."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import shapely
from gpxpy.gpx import GPX, GPXBounds, GPXTrack, GPXTrackPoint, GPXTrackSegment, GPXWaypoint
from numpy.typing import ArrayLike

from layoutplan.outputs.columns import records, turned_lon
from layoutplan.outputs.rounding import LONLAT_DECIMALS, rounded_lon
from layoutplan.outputs.waypoint_names import waypoint_names
from layoutplan.outputs.words import LEAD_COLUMNS, STAKE_COLUMNS, lead_words, stake_words
from layoutplan.planning.model import Plan
from layoutplan.text import clean

_SYMBOLS = {"H": "Flag, Blue", "S": "Flag, Green"}
_TOWER_SYMBOL = "Tall Tower"


def write_gpx(plan: Plan, folder: Path) -> Path:
    """Write the stakes first (receivers that hold few points keep those), then the towers, then the leads."""
    gpx = GPX()
    gpx.creator = "layoutplan"
    gpx.name = clean(plan.job.title)
    gpx.description = clean(" ".join(plan.cautions)) or None
    gpx.waypoints = [*_stakes(plan), *_towers(plan)]
    gpx.tracks = list(_leads(plan))
    gpx.bounds = _bounds(plan)
    path = folder / "waypoints.gpx"
    path.write_text(gpx.to_xml(version="1.1"), encoding="utf-8", newline="\n")
    return path


def _stakes(plan: Plan) -> Iterator[GPXWaypoint]:
    table = plan.electrodes
    lon, lat = _lonlat(table["lon"], table["lat"])
    for x, y, stake in zip(lon, lat, records(table, "waypoint", *STAKE_COLUMNS), strict=True):
        text = stake_words(stake)
        yield GPXWaypoint(
            y,
            x,
            name=stake.waypoint,
            symbol=_SYMBOLS[stake.role],
            type=stake.role,
            comment=text.short,
            description=text.full,
        )


def _towers(plan: Plan) -> Iterator[GPXWaypoint]:
    table = plan.towers
    lon, lat = _lonlat(table["lon"], table["lat"])
    names = waypoint_names(
        table["line_id"].tolist(),
        table["tower_id"].tolist(),
        ["T"] * len(table),
        plan.job.output.waypoint_length,
        taken=plan.electrodes["waypoint"],
    )
    rows = records(table, "line_id", "tower_id", "status", "reasons")
    for name, x, y, tower in zip(names, lon, lat, rows, strict=True):
        text = clean(f"Tower {tower.tower_id} of line {tower.line_id}: {tower.status}")
        full = f"{text}. {clean(tower.reasons)}" if tower.reasons else text
        yield GPXWaypoint(y, x, name=name, symbol=_TOWER_SYMBOL, type="tower", comment=text, description=full)


def _leads(plan: Plan) -> Iterator[GPXTrack]:
    table = plan.leads
    points, row_of_point = shapely.get_coordinates(table.geometry.array, return_index=True)
    lon, lat = _lonlat(points[:, 0], points[:, 1])
    counts = np.bincount(row_of_point, minlength=len(table))
    ends = np.cumsum(counts)
    rows = zip((ends - counts).tolist(), ends.tolist(), records(table, "waypoint", *LEAD_COLUMNS), strict=True)
    for start, end, lead in rows:
        track = GPXTrack(name=lead.waypoint, description=lead_words(lead))
        track.type = "lead"  # type: ignore[assignment]  # gpxpy declares it None, and writes the text
        track.segments = [GPXTrackSegment(list(map(GPXTrackPoint, lat[start:end], lon[start:end])))]
        yield track


def _lonlat(lon_deg: ArrayLike, lat_deg: ArrayLike) -> tuple[list[float], list[float]]:
    """Round to a centimetre; longitudes below 180 as the schema wants them."""
    lon = rounded_lon(turned_lon(lon_deg))
    return lon.tolist(), (np.round(np.asarray(lat_deg, dtype=float), LONLAT_DECIMALS) + 0.0).tolist()


def _bounds(plan: Plan) -> GPXBounds | None:
    lon, lat = _lonlat(
        pd.concat((plan.towers["lon"], plan.electrodes["lon"])), pd.concat((plan.towers["lat"], plan.electrodes["lat"]))
    )
    return GPXBounds(min(lat), max(lat), min(lon), max(lon)) if lon else None
