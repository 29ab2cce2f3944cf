"""The same valley as OpenStreetMap data: nodes, ways and relations with tags."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import osmium
from numpy.typing import ArrayLike
from osmium.osm import Box, Location, mutable
from shapely import LineString, Polygon

from . import power
from .shapes import FloatArray
from .tables import FIXED_DATE
from .world import MAP_BOX, World

Tags = dict[str, str]
_SPLIT_AT = "111"  # the main line is two ways that meet at this tower
_WIDTH_LAYERS = ("roads", "waterways")
_TAGS: dict[tuple[str, str], Tags] = {
    ("power_lines", "line"): {"power": "line"},
    ("power_lines", "minor_line"): {"power": "minor_line", "voltage": "20000"},
    ("substations", "substation"): {"power": "substation"},
    ("substations", "plant"): {"power": "plant", "plant:source": "hydro"},
    ("roads", "main_road"): {"highway": "primary"},
    ("roads", "road_tunnel"): {"highway": "primary", "tunnel": "yes", "layer": "-1"},
    ("roads", "minor_road"): {"highway": "unclassified"},
    ("roads", "road_bridge"): {"highway": "unclassified", "bridge": "yes", "layer": "1"},
    ("roads", "street"): {"highway": "residential"},
    ("roads", "track"): {"highway": "track"},
    ("roads", "path"): {"highway": "path"},
    ("railways", "rail"): {"railway": "rail"},
    ("waterways", "river"): {"waterway": "river"},
    ("waterways", "stream"): {"waterway": "stream"},
    ("waterways", "culvert"): {"waterway": "stream", "tunnel": "culvert", "layer": "-1"},
    ("waterways", "ditch"): {"waterway": "ditch"},
    ("water_areas", "river"): {"natural": "water", "water": "river"},
    ("water_areas", "lake"): {"natural": "water", "water": "lake"},
    ("water_areas", "pond"): {"natural": "water", "water": "pond"},
    ("water_areas", "oxbow"): {"natural": "water", "water": "oxbow"},
    ("wetlands", "marsh"): {"natural": "wetland", "wetland": "marsh"},
    ("protected_areas", "nature_reserve"): {"boundary": "protected_area", "protect_class": "4"},
    ("buildings", "house"): {"building": "house"},
    ("buildings", "church"): {"building": "church"},
    ("buildings", "school"): {"building": "school"},
    ("buildings", "station"): {"building": "train_station"},
    ("buildings", "industrial"): {"building": "industrial"},
    ("buildings", "service"): {"building": "service"},
    ("buildings", "farm"): {"building": "farm"},
    ("buildings", "barn"): {"building": "barn"},
    ("landuse", "residential"): {"landuse": "residential"},
    ("landuse", "garden"): {"leisure": "garden"},
    ("landuse", "cemetery"): {"landuse": "cemetery"},
    ("landuse", "school"): {"amenity": "school"},
    ("landuse", "sports"): {"leisure": "pitch"},
    ("landuse", "industrial"): {"landuse": "industrial"},
    ("landuse", "farmyard"): {"landuse": "farmyard"},
    ("landuse", "quarry"): {"landuse": "quarry"},
    ("landuse", "wood"): {"natural": "wood"},
    ("landuse", "crops"): {"landuse": "farmland"},
    ("pipelines", "gas"): {"man_made": "pipeline", "location": "underground", "substance": "gas"},
    ("cables", "cable"): {"power": "cable", "location": "underground", "voltage": "20000"},
    ("fences", "fence"): {"barrier": "fence"},
    ("fences", "hedge"): {"barrier": "hedge"},
    ("cliffs", "cliff"): {"natural": "cliff"},
}
_TOWER_TAGS: dict[str, Tags] = {
    "lattice_4": {"power": "tower", "structure": "lattice"},
    "lattice_3": {"power": "tower", "structure": "lattice", "design": "three-legged"},
    "frame_2": {"power": "portal", "design": "h-frame"},
    "pole": {"power": "pole", "structure": "tubular"},
}


@dataclass
class _Extract:
    """What has been drawn so far; ids count up from 1 for each kind of object, as they are first met."""

    node_ids: dict[tuple[int, int], int] = field(default_factory=dict)
    node_tags: dict[int, Tags] = field(default_factory=dict)
    ways: list[tuple[list[int], Tags]] = field(default_factory=list)
    relations: list[tuple[list[tuple[str, int, str]], Tags]] = field(default_factory=list)

    def nodes(self, lonlat: ArrayLike) -> list[int]:
        """Return node ids; places that coincide share a node."""
        keys = map(tuple, np.round(np.asarray(lonlat) * 1e7).astype(int).tolist())
        return [self.node_ids.setdefault(key, len(self.node_ids) + 1) for key in keys]

    def way(self, lonlat: ArrayLike, tags: Tags) -> int:
        """Add a way; a closed ring ends with the node it began with."""
        self.ways.append((self.nodes(lonlat), tags))
        return len(self.ways)

    def area(self, shape: Polygon, tags: Tags) -> None:
        """Add an area: a closed way, or a relation where it has holes or is a boundary."""
        kind = "boundary" if "boundary" in tags else "multipolygon"
        if kind == "multipolygon" and not shape.interiors:
            self.way(shape.exterior.coords, tags)
            return
        rings = [(shape.exterior, "outer"), *((ring, "inner") for ring in shape.interiors)]
        members = [("w", self.way(ring.coords, {}), role) for ring, role in rings]
        self.relations.append((members, {"type": kind, **tags}))


def write_osm(world: World, path: Path) -> None:
    """Write the map, power lines first (so that their way ids are 1, 2, 3, …), sorted by kind and id."""
    extract = _Extract()
    for row in world.features.to_crs("EPSG:4326").itertuples():
        _draw(extract, row)
    _mark_towers(extract, world.towers.to_crs("EPSG:4326"))
    _write(extract, path)


def _draw(extract: _Extract, row: Any) -> None:
    tags = dict(_TAGS[row.layer, row.kind])
    if row.layer in _WIDTH_LAYERS:
        tags["width"] = f"{row.width_m:g}"
    if row.name:
        tags["name"] = row.name
    if row.line_id:
        tags["voltage"] = f"{power.VOLTAGE_KV[row.line_id] * 1000}"
    if isinstance(row.geometry, Polygon):
        extract.area(row.geometry, tags)
        return
    for part in _ways_of(row.geometry, row.line_id):
        extract.way(part, tags)


def _ways_of(line: LineString, line_id: str) -> Iterable[FloatArray]:
    """Return a line's course as ways; only the main line is more than one."""
    knots = np.asarray(line.coords)
    if line_id != power.MAIN:
        return [knots]
    numbers = [tower.tower_id for tower in power.towers() if tower.line_id == power.MAIN]
    k = numbers.index(_SPLIT_AT)
    return [knots[: k + 1], knots[k:]]


def _mark_towers(extract: _Extract, towers: gpd.GeoDataFrame) -> None:
    for tower in towers.itertuples():
        (node,) = extract.nodes([tower.geometry.coords[0]])
        extract.node_tags[node] = {**_TOWER_TAGS[tower.structure], "ref": tower.tower_id}


def _write(extract: _Extract, path: Path) -> None:
    header = osmium.io.Header()
    header.set("generator", "sample_gis/make_sample.py")
    header.set("osmosis_replication_timestamp", FIXED_DATE)
    west, south, east, north = MAP_BOX
    header.add_box(Box(Location(west, south), Location(east, north)))
    with osmium.SimpleWriter(str(path), header=header, overwrite=True) as writer:
        for (lon, lat), node in extract.node_ids.items():
            place = Location(lon / 1e7, lat / 1e7)
            writer.add_node(mutable.Node(id=node, version=1, location=place, tags=extract.node_tags.get(node, {})))
        for number, (nodes, tags) in enumerate(extract.ways, 1):
            writer.add_way(mutable.Way(id=number, version=1, nodes=nodes, tags=tags))
        for number, (members, tags) in enumerate(extract.relations, 1):
            writer.add_relation(mutable.Relation(id=number, version=1, members=members, tags=tags))
