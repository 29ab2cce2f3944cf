"""Holds written ways on foot against the map by other means: shapely in the planar system of a job, no lattice.

What a way must not cross is read from the map files themselves, through GDAL; nothing is imported from ``layoutplan``.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely

START_M = 1.0  # a way begins on the centreline of its road, which may be one that nobody walks across
SPARE_M = 0.1


@dataclass(frozen=True)
class Barriers:
    """What nobody walks through, and where roads, paths and gates lead through it; planar coordinates in metres.

    Attributes
    ----------
    blocked : GeoDataFrame
        Columns ``kind`` and ``geometry``: lines and areas.
    openings : ndarray of Geometry
        Lines of roads and paths, points of gates.
    """

    blocked: gpd.GeoDataFrame
    openings: Any

    def breaches(self, ways: gpd.GeoDataFrame, cell_m: float) -> list[str]:
        """Every way that goes through something elsewhere than within a cell of where a road leads through it."""
        shapes = self.blocked.geometry.to_numpy()
        tree, roads = shapely.STRtree(shapes), shapely.STRtree(self.openings)
        found = []
        for way in ways[ways.geometry.notna()].itertuples():
            begins = shapely.Point(way.geometry.coords[0]).buffer(START_M)
            walked = way.geometry.difference(begins) if way.to == "tower" else way.geometry
            for row in tree.query(walked, predicate="intersects"):
                near = self.openings[roads.query(shapes[row], predicate="dwithin", distance=cell_m)]
                through = shapely.intersection(near, shapes[row])
                gates = near[shapely.get_dimensions(near) == 0]
                open_to = shapely.union_all(shapely.buffer([*through, *gates], cell_m + SPARE_M))
                left = walked.intersection(shapes[row]).difference(open_to)
                if not left.is_empty:
                    kind = self.blocked["kind"].iloc[row]
                    found.append(f"{way.line_id} {way.tower_id} to {way.to}: through {kind} at {left.centroid.wkt}")
        return found


def written_ways(folder: Path, crs: str) -> gpd.GeoDataFrame:
    """Ways of a written plan."""
    return pyogrio.read_dataframe(folder / "plan.gpkg", layer="approaches").to_crs(crs)


def sample_barriers(path: Path) -> Barriers:
    """Barriers of the sample's GeoPackage."""
    roads = pyogrio.read_dataframe(path, layer="roads")
    parts = [(name, pyogrio.read_dataframe(path, layer=name)) for name in ("buildings", "fences", "cliffs", "railways")]
    water = pyogrio.read_dataframe(path, layer="waterways")
    parts += [("river", water[water["kind"] == "river"]), ("lake", pyogrio.read_dataframe(path, layer="water_areas"))]
    parts.append(("main road", roads[roads["kind"] == "main_road"]))
    blocked = pd.concat([table[["geometry"]].assign(kind=kind) for kind, table in parts], ignore_index=True)
    walked = ["minor_road", "street", "track", "path", "road_bridge"]
    return Barriers(gpd.GeoDataFrame(blocked, crs=roads.crs), roads[roads["kind"].isin(walked)].geometry.to_numpy())


_MAIN = ("motorway", "trunk", "primary", "secondary", "raceway")
_FENCES = ("fence", "wall", "city_wall", "retaining_wall", "hedge", "guard_rail", "handrail")
_GATES = ("gate", "lift_gate", "swing_gate", "sliding_gate", "kissing_gate", "stile", "entrance", "cattle_grid")


def extract_barriers(path: Path, bounds: Any, crs: str) -> Barriers:
    """Barriers of an OpenStreetMap extract, read with GDAL's own driver."""
    tables = {name: _osm(path, name, bounds, crs) for name in ("points", "lines", "multipolygons")}
    line, area, point = tables["lines"], tables["multipolygons"], tables["points"]
    above = ~line["tunnel"] & ~line["bridge"]
    main = line["highway"].str.removesuffix("_link").isin(_MAIN)
    blocked = {
        "building": area[area["building"] != ""],
        "water": area[area["natural"] == "water"],
        "river": line[line["waterway"].isin(["river", "canal"]) & above],
        "railway": line[line["railway"].isin(["rail", "light_rail", "narrow_gauge", "tram"]) & above],
        "main road": line[main & above],
        "fence": line[line["barrier"].isin(_FENCES)],
        "cliff": line[line["natural"] == "cliff"],
    }
    shut = pd.concat([table[["geometry"]].assign(kind=kind) for kind, table in blocked.items()], ignore_index=True)
    walked = (line["highway"] != "") & ~(main & above) & ~line["tunnel"]
    gates = point[point["barrier"].isin(_GATES)]
    openings = np.concatenate([table.geometry.to_numpy() for table in (line[walked], gates)])
    return Barriers(gpd.GeoDataFrame(shut, crs=crs), openings)


def _osm(path: Path, layer: str, bounds: Any, crs: str) -> gpd.GeoDataFrame:
    pyogrio.set_gdal_config_options({"OGR_INTERLEAVED_READING": "YES"})
    table = pyogrio.read_dataframe(path, layer=layer, bbox=tuple(bounds), TAGS_FORMAT="JSON")
    tags = table["other_tags"].fillna("{}").map(_tags)
    for name in ("highway", "barrier", "natural", "waterway", "building", "railway"):
        own = table[name].fillna("") if name in table else ""
        table[name] = np.where(own != "", own, tags.map(lambda found, name=name: found.get(name, "")))
    for name in ("tunnel", "bridge"):
        table[name] = tags.map(lambda found, name=name: found.get(name, "no") not in ("no", "building_passage"))
    return table.to_crs(crs)


def _tags(text: Any) -> dict[str, str]:
    return dict(text if isinstance(text, dict) else json.loads(text))
