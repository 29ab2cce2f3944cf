"""The valley as GeoPackage, tower list and terrain raster."""

from __future__ import annotations

import csv
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import rasterio
from affine import Affine

from . import power
from .shapes import GRID_CRS, from_grid
from .terrain import height_m
from .world import AREA_LAYERS, World

FIXED_DATE = "2024-05-01T00:00:00Z"
LAYERS = (
    "power_lines", "substations", "roads", "railways", "waterways", "water_areas", "wetlands", "protected_areas",
    "buildings", "landuse", "pipelines", "cables", "fences", "cliffs",
)  # fmt: skip
CELL_M, NO_DATA = 20.0, -9999.0
_BEYOND_MAP_M, _STRIP_M = 180.0, 80.0


def write_geopackage(world: World, path: Path) -> None:
    """Write all layers into one GeoPackage; the date in it is fixed so that nothing depends on the clock."""
    path.unlink(missing_ok=True)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FIXED_DATE})
    try:
        for name, table in _layers(world).items():
            table.to_file(path, layer=name, driver="GPKG", engine="pyogrio", VERSION="1.3")
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _layers(world: World) -> dict[str, gpd.GeoDataFrame]:
    tables = {"towers": world.towers}
    for name in LAYERS:
        table = world.features[world.features["layer"] == name]
        unused = ["layer", *(["width_m"] if name in AREA_LAYERS else []), *(["line_id"] if name != LAYERS[0] else [])]
        tables[name] = table.drop(columns=unused)
    may_drive = {"track": "owner's permission", "path": "no"}
    tables["roads"].insert(3, "vehicle", [may_drive.get(kind, "yes") for kind in tables["roads"]["kind"]])
    tables["parcels"] = world.parcels
    tables["map_reach"] = gpd.GeoDataFrame({"name": ["edge of the map"]}, geometry=[world.reach], crs=GRID_CRS)
    return tables


def write_tower_list(world: World, path: Path) -> None:
    """Write the towers of the main line with longitude and latitude."""
    table = world.towers[world.towers["line_id"] == power.MAIN].to_crs("EPSG:4326")
    with path.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(["tower_id", "lon", "lat", "structure", "base_width_m", "earth_electrode_m"])
        for tower in table.itertuples():
            size = "" if np.isnan(tower.earth_electrode_m) else f"{tower.earth_electrode_m:g}"
            place = (f"{tower.geometry.x:.7f}", f"{tower.geometry.y:.7f}")
            rows.writerow([tower.tower_id, *place, tower.structure, f"{tower.base_width_m:g}", size])


def write_fault_currents(path: Path) -> None:
    """Write what a fault at each tower of the main line draws from either end."""
    with path.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(["tower_id", "from_start_ka", "from_end_ka"])
        rows.writerows((name, f"{start:.2f}", f"{end:.2f}") for name, start, end in power.fault_currents_ka())


def write_terrain(world: World, path: Path) -> None:
    """Write heights in decimetre steps; the outermost strip of cells has none."""
    west, south, east, north = world.reach.buffer(_BEYOND_MAP_M + _STRIP_M).bounds
    west, north = np.floor(west / CELL_M) * CELL_M, np.ceil(north / CELL_M) * CELL_M
    x = np.arange(west + CELL_M / 2, east, CELL_M)
    y = np.arange(north - CELL_M / 2, south, -CELL_M)
    cells = np.stack(np.meshgrid(x, y), axis=-1)
    height = np.round(height_m(from_grid(cells.reshape(-1, 2))), 1).reshape(cells.shape[:2])
    inner_west, inner_south, inner_east, inner_north = world.reach.buffer(_BEYOND_MAP_M).bounds
    inside = (cells >= [inner_west, inner_south]).all(-1) & (cells <= [inner_east, inner_north]).all(-1)
    profile = {"driver": "GTiff", "dtype": "float32", "count": 1, "crs": GRID_CRS, "nodata": NO_DATA}
    packing = {"compress": "deflate", "predictor": 3, "zlevel": 9}
    size = {"width": len(x), "height": len(y), "transform": Affine(CELL_M, 0, west, 0, -CELL_M, north)}
    with rasterio.open(path, "w", **profile, **packing, **size) as raster:
        raster.write(np.where(inside, height, NO_DATA).astype("float32"), 1)
        raster.units = ("m",)
