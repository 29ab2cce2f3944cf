"""One reading of an OpenStreetMap extract, for the power lines in it, the obstacles, or both."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely
from shapely import Polygon

from layoutplan.arrays import FloatArray
from layoutplan.errors import InputError
from layoutplan.inputs.corridor import Corridor
from layoutplan.inputs.geodetic import Geometries
from layoutplan.inputs.osm_collect import Collector
from layoutplan.inputs.osm_objects import clear_osm_errors, header, objects, require_sorted, ways
from layoutplan.inputs.osm_tags import TagRules, is_evidence
from layoutplan.inputs.osm_text import check_osm_text
from layoutplan.inputs.signs import Signs
from layoutplan.inputs.vector import require_file
from layoutplan.text import clean

ATTRIBUTION = "© OpenStreetMap contributors, ODbL 1.0"
SUPPORTS = frozenset({"tower", "pole", "portal", "terminal"})
LINES = frozenset({"line", "minor_line"})
_NO_DATE = datetime(1970, 1, 1, tzinfo=UTC)  # of objects that carry none


@dataclass(frozen=True, slots=True)
class PowerWay:
    """A way tagged as an overhead power line.

    Attributes
    ----------
    way_id : int
    tags : mapping
    nodes : tuple of int
        Ids of the nodes that are in the extract.
    lonlat_deg : ndarray, shape (n, 2)
    missing : int
        Nodes of the way that are not in the extract.
    """

    way_id: int
    tags: Mapping[str, str]
    nodes: tuple[int, ...]
    lonlat_deg: FloatArray
    missing: int


@dataclass(frozen=True, slots=True)
class OsmExtract:
    """What was taken from an extract.

    Attributes
    ----------
    path : Path
    box : Polygon or None
        The header's bounding box, EPSG:4326.
    data_date : str or None
        The header's, else that of the newest object that was looked at: the data may be younger.
    things : DataFrame
        One row for each object and class it belongs to: ``kind`` (node, way, relation), ``osm_id``, ``obstacle_class``,
        ``name``, ``width_m``, ``flaw`` (empty, or why it is not whole), ``geometry`` (unrepaired).
    evidence : ndarray, shape (n, 2)
        Vertices of everything that shows the map is worked out there.
    power_ways : tuple of PowerWay
    supports : mapping
        Tags of the nodes that carry lines, by node id.
    bounds : tuple of float or None
        West, south, east, north of all the obstacles and evidence in the file; None if there are none.
    lost : tuple of str
        Obstacles of which neither nodes nor edges are in the extract.
    signs : Signs
        Of houses and of land cover.
    coastlines : ndarray of LineString
        All of the file's.
    """

    path: Path
    box: Polygon | None
    data_date: str | None
    things: pd.DataFrame
    evidence: FloatArray
    power_ways: tuple[PowerWay, ...]
    supports: Mapping[int, Mapping[str, str]]
    bounds: tuple[float, float, float, float] | None
    lost: tuple[str, ...]
    signs: Signs
    coastlines: Geometries


def read_osm(
    path: Path,
    *,
    rules: TagRules | None,
    lines: bool,
    corridor: Corridor | None = None,
    tick: Callable[[], None] = lambda: None,
) -> OsmExtract:
    """Read an extract once.

    Parameters
    ----------
    path : Path
        ``.osm``, ``.osm.pbf``, ``.osm.gz`` or ``.osm.bz2``.
    rules : TagRules or None
        What makes an obstacle; None leaves obstacles and evidence out.
    lines : bool
        Whether to take power lines and their towers.
    corridor : Corridor, optional
        Obstacles elsewhere may be left out.
    tick : callable, optional
        Called now and then while reading.

    Returns
    -------
    OsmExtract
        Lines, things, evidence and extent.

    Raises
    ------
    InputError
        If the file is missing, truncated, damaged, not sorted or no OpenStreetMap file.
    """
    require_file(path)
    check_osm_text(path)
    power = _PowerLines()
    collector = Collector(rules, corridor) if rules else None
    newest = _NO_DATE
    with clear_osm_errors(path):
        about = header(path)
        box, date = _box(about), clean(about.get("osmosis_replication_timestamp") or about.get("timestamp") or "")
        for thing in objects(path, rules, tick):
            if _is_passed_over(thing):
                continue
            if thing.is_relation():
                if collector:
                    collector.take_relation(thing, dict(thing.tags))
                continue
            if not date:
                newest = max(newest, thing.timestamp)
            if thing.id < 0:
                raise InputError(
                    f"{path.name}: holds objects with ids below zero (never uploaded), whose nodes cannot be found. "
                    "Give them ids above zero, or save the map as a GeoPackage."
                )
            tags = dict(thing.tags)
            if lines:
                power.take(thing, tags)
            if collector:
                collector.take(thing, tags, evidence=is_evidence(tags))
        require_sorted(path, {*power.lacking, *(collector.lacking if collector else ())})
        if collector:
            for way in ways(path, collector.edges(), tick):
                collector.take_edge(way)
    things, evidence, lost = collector.finish() if collector else (pd.DataFrame(), np.empty((0, 2)), ())
    bounds = collector.bounds if collector else None
    signs, coast = (collector.signs, collector.coastlines) if collector else (Signs(), np.empty(0, dtype=object))
    lines_there, supports = tuple(power.ways), power.supports
    return OsmExtract(
        path, box, date or _stated(newest), things, evidence, lines_there, supports, bounds, lost, signs, coast
    )


def _is_passed_over(thing: Any) -> bool:
    """Whether an object is one already met (closed ways come again as areas), or deleted."""
    if thing.is_area():
        return bool(thing.from_way())
    return bool(thing.deleted or not thing.visible)


class _PowerLines:
    """Power lines and the nodes that carry them, as they come."""

    def __init__(self) -> None:
        self.ways: list[PowerWay] = []
        self.supports: dict[int, Mapping[str, str]] = {}
        self.lacking: list[int] = []

    def take(self, thing: Any, tags: dict[str, str]) -> None:
        power = tags.get("power")
        if thing.is_node() and power in SUPPORTS:
            self.supports[thing.id] = tags
        elif thing.is_way() and power in LINES:
            there = [(node.ref, node.lon, node.lat) for node in thing.nodes if node.location.valid()]
            refs, lon, lat = zip(*there, strict=True) if there else ((), (), ())
            missing = [node.ref for node in thing.nodes if not node.location.valid()]
            self.lacking += missing[:1]
            self.ways.append(PowerWay(thing.id, tags, tuple(refs), np.column_stack((lon, lat)), len(missing)))


def _stated(newest: datetime) -> str | None:
    """Date of the newest object, as headers write it; None if none carries one."""
    return None if newest == _NO_DATE else newest.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _box(header: Any) -> Polygon | None:
    box = header.box()
    if not box.valid():
        return None
    low, high = box.bottom_left, box.top_right
    polygon = shapely.box(low.lon, low.lat, high.lon, high.lat)
    return polygon if polygon.area > 0 else None
