"""Small good inputs of every kind: four towers and a few things around them."""

from __future__ import annotations

import shutil
import warnings
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import osmium
import rasterio
import shapely

TOWERS = "tower_id,lon,lat,seq,base,soil\n1,8.000,49.000,1,6.5,100\n2,8.004,49.001,2,6,80\n3,8.008,49.001,3,6,90\n"
TOWERS += "4,8.012,49.000,4,7,100\n"
JOB = """\
title = "Fuzz"
[[lines]]
id = "a"
voltage_kv = 110
half_width_m = 6.0
start_grid_ohm = 0.5
load = { current_a = 200, maximum_a = 400 }
fault = { clearing_time_s = 0.3, table = { path = "faults.csv" } }
[[lines.sections]]
conductors = [CONDUCTORS]
[lines.towers]
path = "TOWERS"
order_column = "seq"
base_width_column = "base"
soil_resistivity_column = "soil"
LAYERS
[work]
first_day = 2026-05-04
[terrain]
files = ["DEM"]
[soil]
resistivity_ohm_m = 100.0
[method]
rods_available = 3
[rules]
reel_m = 150.0
max_induced_v = 50.0
[output]
formats = ["gpkg", "json"]
"""
CONDUCTOR = "{{ phase = '{}', offset_m = {}, attachment_height_m = {}, sag_m = 6.0, diameter_mm = 21.0, "
CONDUCTOR += "resistance_ohm_per_km = {} }}"
WIRES = (("A", -4.0, 18.0, 0.1), ("B", 4.0, 18.0, 0.1), ("C", 3.0, 22.0, 0.1), ("E", 0.0, 26.0, 0.4))
JOB = JOB.replace("CONDUCTORS", ", ".join(CONDUCTOR.format(*wire) for wire in WIRES))
LAYER = '[[layers]]\npath = "NAME"\nclass_column = "kind"\nname_column = "name"\nwidth_column = "width"\n'
LAYER += '[layers.class_map]\nroad = "minor_road"\nhouse = "building"\nriver = "river_canal"\n'


def write_seed(folder: Path, *, layer: str = "map.geojson", towers: str = "towers.csv", dem: str = "dem.tif") -> None:
    """Write a job with its inputs, the map and the towers in the formats that the names say."""
    folder.mkdir(parents=True, exist_ok=True)
    if not (layer and towers and dem):
        _write_part(folder, layer, towers, dem)
        return
    osm = layer.endswith((".osm", ".pbf"))
    part = f'[[layers]]\npath = "{layer}"\n' if osm else LAYER.replace("NAME", layer)
    part += '[[land]]\npath = "land.geojson"\nparcel_column = "parcel"\npermission_column = "permission"\n'
    text = JOB.replace("TOWERS", towers).replace("LAYERS", part).replace("DEM", dem)
    (folder / "job.toml").write_text(text, "utf-8")
    (folder / "faults.csv").write_text("tower_id,from_start_ka,from_end_ka\n1,5,6\n2,5,6\n3,4,6\n4,4,7\n", "utf-8")
    _towers(folder / towers)
    _osm(folder / layer) if osm else _layer(folder / layer)
    _land(folder / "land.geojson")
    _dem(folder / dem)


def _write_part(folder: Path, layer: str, towers: str, dem: str) -> None:
    """Write a job of little more than the file that is to be changed, so that an example takes no time."""
    text = f'[[lines]]\ntowers = {{ path = "{towers or "towers.csv"}" }}\n'
    if layer:
        part = f'[[layers]]\npath = "{layer}"\n' if layer.endswith((".osm", ".pbf")) else LAYER.replace("NAME", layer)
        (_osm if layer.endswith((".osm", ".pbf")) else _layer)(folder / layer)
        text += part
    if dem:
        text += f'[terrain]\nfiles = ["{dem}"]\n'
        _dem(folder / dem)
    _towers(folder / (towers or "towers.csv"))
    (folder / "job.toml").write_text(text + '[output]\nformats = ["gpkg", "json"]\n', "utf-8")


def _towers(path: Path) -> None:
    if path.suffix == ".csv":
        path.write_text(TOWERS, "utf-8")
        return
    rows = [line.split(",") for line in TOWERS.split()[1:]]
    columns = {"tower_id": [row[0] for row in rows]}
    columns |= {name: [float(row[i]) for row in rows] for name, i in (("seq", 3), ("base", 4), ("soil", 5))}
    _save(columns, [shapely.Point(float(row[1]), float(row[2])) for row in rows], path)


def _layer(path: Path) -> None:
    shapes = [
        shapely.LineString([(7.99, 49.0015), (8.004, 49.0019), (8.02, 49.0014)]),
        shapely.box(8.0035, 49.0004, 8.0038, 49.0006),
        shapely.MultiPolygon([shapely.box(8.007, 49.0018, 8.0075, 49.002), shapely.box(8.009, 49.0, 8.0093, 49.0002)]),
        shapely.LineString([(8.01, 48.99), (8.0102, 49.01)]),
        shapely.Point(8.0121, 49.0008),
    ]
    columns = {
        "kind": ["road", "house", "house", "river", "house"],
        "name": ["Upper road", "", "Mill", "Brook", "Shed"],
        "width": ["6", "", "", "3.5", "4"],
    }
    if path.suffix == ".shp":  # one kind of geometry in a file
        columns, shapes = {key: [values[0], values[3]] for key, values in columns.items()}, [shapes[0], shapes[3]]
    _save(columns, shapes, path)


def _land(path: Path) -> None:
    columns = {"parcel": ["12/3", "12/4"], "permission": ["granted", "refused"]}
    _save(columns, [shapely.box(7.99, 48.99, 8.006, 49.01), shapely.box(8.006, 48.99, 8.03, 49.01)], path)


def _save(columns: dict[str, Any], shapes: list[Any], path: Path) -> None:
    table = gpd.GeoDataFrame(columns, geometry=shapes, crs="EPSG:4326")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        table.to_parquet(path) if path.suffix == ".parquet" else table.to_file(path)


def _osm(path: Path) -> None:
    pbf = path.suffix == ".pbf"
    kind = osmium.io.File(str(path), "pbf,pbf_compression=none") if pbf else str(path)  # so that changes get through
    thing = osmium.osm.mutable
    places = [(7.99, 49.0015), (8.004, 49.0019), (8.02, 49.0014), (8.0035, 49.0004), (8.0038, 49.0004)]
    places += [(8.0038, 49.0006), (8.0035, 49.0006), (8.012, 49.0008), (8.0122, 49.0008), (8.0122, 49.001)]
    with osmium.SimpleWriter(kind, overwrite=True) as writer:
        for number, place in enumerate(places, 1):
            tags = {"power": "tower", "ref": str(number)} if number == 2 else {}
            writer.add_node(thing.Node(id=number, version=1, location=place, tags=tags))
        road = {"highway": "residential", "name": "Upper road", "width": "6 m"}
        writer.add_way(thing.Way(id=1, version=1, nodes=[1, 2, 3], tags=road))
        writer.add_way(thing.Way(id=2, version=1, nodes=[4, 5, 6, 7, 4], tags={"building": "yes", "name": "Mill"}))
        writer.add_way(thing.Way(id=3, version=1, nodes=[8, 9, 10, 8], tags={"landuse": "quarry"}))
        members = [("w", 2, "outer"), ("w", 3, "inner")]
        writer.add_relation(
            thing.Relation(id=1, version=1, members=members, tags={"type": "multipolygon", "natural": "water"})
        )


def _dem(path: Path) -> None:
    rows, columns = np.mgrid[0:60, 0:80]
    heights = (100 + rows * 0.3 + columns * 0.2).astype(np.float32)
    place = rasterio.Affine(0.0004, 0.0, 7.99, 0.0, -0.0004, 49.01)
    if path.suffix == ".asc":
        head = "ncols 80\nnrows 60\nxllcorner 7.99\nyllcorner 48.986\ncellsize 0.0004\nNODATA_value -9999\n"
        body = "\n".join(" ".join(f"{value:.1f}" for value in row) for row in heights)
        path.write_text(head + body + "\n", "utf-8")
        path.with_suffix(".prj").write_text(rasterio.crs.CRS.from_epsg(4326).to_wkt(), "utf-8")
        return
    shape = {"width": 80, "height": 60, "count": 1, "dtype": "float32"}
    tiff = path.with_suffix(".tif")
    with rasterio.open(tiff, "w", driver="GTiff", crs="EPSG:4326", transform=place, **shape) as raster:
        raster.write(heights, 1)
    if path.suffix == ".vrt":
        path.write_text(
            '<VRTDataset rasterXSize="80" rasterYSize="60"><SRS>EPSG:4326</SRS><GeoTransform>7.99, 0.0004, 0, 49.01, '
            '0, -0.0004</GeoTransform><VRTRasterBand dataType="Float32" band="1"><SimpleSource><SourceFilename '
            f'relativeToVRT="1">{tiff.name}</SourceFilename><SourceBand>1</SourceBand></SimpleSource></VRTRasterBand>'
            "</VRTDataset>",
            "utf-8",
        )


def write_staked(folder: Path, plan: Path) -> None:
    """Write what a crew may bring back: points as CSV and GPX, and readings."""
    from layoutplan.written.read import read_plan_tables

    stakes = read_plan_tables(plan)["electrodes"]
    rows = list(zip(stakes["waypoint"], stakes["lon"], stakes["lat"], strict=True))
    lines = [
        f"{name},{lon + 1e-5:.7f},{lat:.7f},3.5,2026-05-05T10:00:00Z,measured,\n" if number % 2
        else f'{name},,,,2026-05-05T10:00:00Z,failed,"\'=1+1, rock"\n'
        for number, (name, lon, lat) in enumerate(rows, 1)
    ]  # fmt: skip
    (folder / "staked.csv").write_text("waypoint,lon,lat,accuracy_m,time,state,note\n" + "".join(lines), "utf-8")
    points = "".join(
        f'<wpt lat="{lat:.7f}" lon="{lon:.7f}"><ele>100</ele><time>2026-05-05T10:00:00Z</time><name>{name}</name>'
        "<hdop>1.2</hdop></wpt>\n"
        for name, lon, lat in rows
    )
    head = '<?xml version="1.0"?>\n<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">\n'
    readings = (
        "tower_id,electrode_h_ohm,electrode_s_ohm,leakage_total_a,tower_resistance_ohm\n1,50,60,0.2,4\n2,40,,0.1,5\n"
    )
    (folder / "readings.csv").write_text(readings, "utf-8")
    (folder / "staked.gpx").write_text(f"{head}{points}</gpx>\n", "utf-8")


def copy_seed(seed: Path, folder: Path) -> None:
    """Copy a seed for one example."""
    shutil.copytree(seed, folder)
