"""A made-up corridor of any length, as GeoPackage and job file, for timing. Same size, same seed: same data."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from affine import Affine
from rasterio.windows import Window

SPAN_M = 300.0
HALF_WIDTH_M = 600.0
FEATURES_PER_KM2 = 220
_KINDS = {
    "building": (0.45, "area", 8.0, 5),
    "minor_road": (0.10, "line", 150.0, 8),
    "track_path": (0.10, "line", 150.0, 8),
    "stream_ditch": (0.07, "line", 150.0, 8),
    "fence_wall": (0.05, "line", 100.0, 6),
    "river_canal": (0.01, "line", 300.0, 12),
    "woodland": (0.08, "area", 80.0, 12),
    "crops": (0.08, "area", 80.0, 10),
    "garden_residential": (0.04, "area", 40.0, 10),
    "protected_area": (0.02, "area", 100.0, 14),
}
JOB = """\
title = "Benchmark corridor, {count} towers"
[[lines]]
id = "L"
towers = {{ path = "corridor.gpkg", layer = "towers" }}
voltage_kv = 220
load = {{ current_a = 400, maximum_a = 900 }}
fault = {{ current_ka = 12, clearing_time_s = 0.3 }}
[[layers]]
path = "corridor.gpkg"
layer = "map"
class_column = "kind"
name_column = "name"
class_map = {{ {classes} }}
[output]
formats = ["gpkg", "gpx", "csv", "geojson", "json"]
"""
TERRAIN = '[terrain]\nfiles = ["dem.tif"]\n'
NO_WAYS = "[access]\nfind_ways = false\n"
_CELL_DEG, _BLOCK, _MARGIN_M = 3 / 3600, 256, 3000.0


def make_corridor(folder: Path, towers: int, seed: int = 1, *, ground: bool = True) -> Path:
    """Write ``corridor.gpkg``, ``dem.tif`` and ``job.toml`` into a folder; return the job file.

    Without ``ground`` there is no elevation model, and ways on foot are not looked for.
    """
    rng = np.random.default_rng(seed)
    heading = np.radians(np.clip(np.cumsum(rng.normal(0, 4, towers)), -40, 40))
    x, y = np.cumsum(SPAN_M * np.cos(heading)), np.cumsum(SPAN_M * np.sin(heading))
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "corridor.gpkg"
    path.unlink(missing_ok=True)
    axis = np.column_stack((x, y))
    points = gpd.GeoDataFrame({"tower_id": np.arange(1, towers + 1)}, geometry=shapely.points(_lonlat(axis)), crs=4326)
    points.to_file(path, layer="towers", driver="GPKG")
    features = _features(rng, axis)
    features.to_file(path, layer="map", driver="GPKG")
    job = folder / "job.toml"
    classes = ", ".join(f'{kind} = "{kind}"' for kind in _KINDS)
    job.write_text(JOB.format(count=towers, classes=classes) + (TERRAIN if ground else NO_WAYS), "utf-8")
    if ground:
        _write_terrain(folder / "dem.tif", axis)
    return job


def _write_terrain(path: Path, axis: np.ndarray) -> None:
    """Hills in cells of 3 seconds of arc; only blocks near the line are filled."""
    margin = np.array([_MARGIN_M, _MARGIN_M])
    low, high = _lonlat(axis.min(axis=0) - margin), _lonlat(axis.max(axis=0) + margin)
    width, height = np.ceil((high - low) / _CELL_DEG / _BLOCK).astype(int) * _BLOCK
    profile = {"width": int(width), "height": int(height), "count": 1, "dtype": "float32", "crs": "EPSG:4326"}
    profile |= {"tiled": True, "blockxsize": _BLOCK, "blockysize": _BLOCK, "compress": "deflate", "nodata": -9999.0}
    profile["transform"] = Affine(_CELL_DEG, 0, low[0], 0, -_CELL_DEG, high[1])
    cell = np.abs(_lonlat(axis) - [low[0], high[1]]) / _CELL_DEG / _BLOCK
    near = np.concatenate([np.floor(cell + np.array(step)) for step in np.ndindex(3, 3)]).astype(int) - 1
    with rasterio.open(path, "w", driver="GTiff", sparse_ok=True, **profile) as dem:
        for column, row in np.unique(near.clip(0, [width // _BLOCK - 1, height // _BLOCK - 1]), axis=0).tolist():
            x = (np.arange(_BLOCK) + column * _BLOCK)[None] * _CELL_DEG * 74_500.0
            y = (np.arange(_BLOCK) + row * _BLOCK)[:, None] * _CELL_DEG * 111_200.0
            hills = 300.0 + 60.0 * np.sin(x / 500.0) * np.cos(y / 400.0)
            dem.write(hills.astype("float32")[None], window=Window(column * _BLOCK, row * _BLOCK, _BLOCK, _BLOCK))


def _lonlat(xy_m: np.ndarray) -> np.ndarray:
    """Longitude and latitude about 48 N; the corridor winds about the parallel, so a plain stretch will do."""
    lat = 48.0 + xy_m[..., 1] / 111_200.0
    lon = -20.0 + xy_m[..., 0] / (111_320.0 * np.cos(np.radians(48.0)))
    return np.stack((lon, lat), axis=-1)


def _features(rng: np.random.Generator, axis: np.ndarray) -> gpd.GeoDataFrame:
    count = int(len(axis) * SPAN_M * 2 * HALF_WIDTH_M / 1e6 * FEATURES_PER_KM2)
    shares = np.array([row[0] for row in _KINDS.values()])
    kind = rng.choice(len(_KINDS), count, p=shares / shares.sum())
    centre = axis[rng.integers(0, len(axis), count)]
    centre = centre + np.column_stack(
        (rng.uniform(-SPAN_M / 2, SPAN_M / 2, count), rng.uniform(-1, 1, count) * HALF_WIDTH_M)
    )
    geometry = np.empty(count, dtype=object)
    for number, (_, shape, size_m, vertices) in enumerate(_KINDS.values()):
        rows = np.flatnonzero(kind == number)
        make = _rings if shape == "area" else _lines
        geometry[rows] = make(rng, centre[rows], size_m, vertices)
    names = np.array([f"feature {i}" if i % 3 else "" for i in range(count)])
    return gpd.GeoDataFrame({"kind": np.array(list(_KINDS))[kind], "name": names}, geometry=geometry, crs=4326)


def _rings(rng: np.random.Generator, centre: np.ndarray, size_m: float, vertices: int) -> np.ndarray:
    turn = 2 * np.pi * np.arange(vertices) / vertices + rng.uniform(0, 2 * np.pi, (len(centre), 1))
    reach = size_m * rng.uniform(0.6, 1.2, (len(centre), vertices))
    ring = centre[:, None] + np.stack((reach * np.cos(turn), reach * np.sin(turn)), axis=-1)
    return shapely.polygons(_lonlat(np.concatenate((ring, ring[:, :1]), axis=1)))


def _lines(rng: np.random.Generator, centre: np.ndarray, size_m: float, vertices: int) -> np.ndarray:
    turn = rng.uniform(0, np.pi, (len(centre), 1))
    along = np.linspace(-size_m, size_m, vertices)
    across = np.cumsum(rng.normal(0, size_m / 20, (len(centre), vertices)), axis=1)
    x = along * np.cos(turn) - across * np.sin(turn)
    y = along * np.sin(turn) + across * np.cos(turn)
    return shapely.linestrings(_lonlat(centre[:, None] + np.stack((x, y), axis=-1)))
