"""Small invented inputs: tower tables, GeoPackages and OpenStreetMap files made for one test each."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest

from layoutplan.job import Job

TOWERS = "tower_id,lon,lat\n1,8.00,49.00\n2,8.01,49.00\n3,8.02,49.00\n"


class OsmFile:
    """Builds an OpenStreetMap XML file node by node."""

    def __init__(self, path: Path, *, box: tuple[float, float, float, float] | None = None) -> None:
        self.path = path
        self._parts = ['<osm version="0.6">']
        if box:
            west, south, east, north = box
            self._parts.append(f'<bounds minlon="{west}" minlat="{south}" maxlon="{east}" maxlat="{north}"/>')
        self._nodes: list[str] = []
        self._ways: list[str] = []
        self._relations: list[str] = []
        self._last = 0

    def node(self, lon: float, lat: float, osm_id: int | None = None, **tags: str) -> int:
        osm_id = osm_id or self._next()
        self._nodes.append(f'<node id="{osm_id}" version="1" lon="{lon}" lat="{lat}">{_tags(tags)}</node>')
        return osm_id

    def way(self, nodes: list[int], osm_id: int | None = None, **tags: str) -> int:
        osm_id = osm_id or self._next()
        refs = "".join(f'<nd ref="{node}"/>' for node in nodes)
        self._ways.append(f'<way id="{osm_id}" version="1">{refs}{_tags(tags)}</way>')
        return osm_id

    def line(self, places: list[tuple[float, float]], osm_id: int | None = None, **tags: str) -> int:
        return self.way([self.node(*place) for place in places], osm_id, **tags)

    def square(self, lon: float, lat: float, size: float, osm_id: int | None = None, **tags: str) -> int:
        corners = [self.node(lon + x * size, lat + y * size) for x, y in ((0, 0), (1, 0), (1, 1), (0, 1))]
        return self.way([*corners, corners[0]], osm_id, **tags)

    def relation(self, ways: list[tuple[int, str]], osm_id: int | None = None, **tags: str) -> int:
        osm_id = osm_id or self._next()
        members = "".join(f'<member type="way" ref="{way}" role="{role}"/>' for way, role in ways)
        self._relations.append(f'<relation id="{osm_id}" version="1">{members}{_tags(tags)}</relation>')
        return osm_id

    def save(self) -> Path:
        parts = [*self._parts, *self._nodes, *self._ways, *self._relations, "</osm>"]
        self.path.write_text("\n".join(parts), "utf-8")
        return self.path

    def _next(self) -> int:
        self._last += 1
        return self._last


def _tags(tags: dict[str, str]) -> str:
    return "".join(f'<tag k="{escape(key.replace("__", ":"))}" v="{escape(value)}"/>' for key, value in tags.items())


@pytest.fixture
def osm_file(tmp_path: Path) -> Callable[..., OsmFile]:
    return lambda name="map.osm", **keys: OsmFile(tmp_path / name, **keys)


@pytest.fixture
def make_job() -> Callable[..., Job]:
    """A job from plain dictionaries, as its file would give it."""
    return lambda **keys: Job.model_validate(keys)


@pytest.fixture
def towers_csv(tmp_path: Path) -> Callable[..., Path]:
    def write(text: str | bytes = TOWERS, name: str = "towers.csv") -> Path:
        path = tmp_path / name
        path.write_bytes(text.encode() if isinstance(text, str) else text)
        return path

    return write


@pytest.fixture
def layer_file(tmp_path: Path) -> Callable[..., Path]:
    """Write geometries and columns as a vector layer; `layer` may be given several times for one file."""

    def write(geometry: list[Any], name: str = "map.gpkg", crs: Any = "EPSG:4326", **keys: Any) -> Path:
        path = tmp_path / name
        layer = keys.pop("layer", None)
        table = gpd.GeoDataFrame(keys, geometry=geometry, crs=crs, index=range(len(geometry)))
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", "'crs' was not provided")
            table.to_file(path, **({"layer": layer} if layer else {}))
        return path

    return write
