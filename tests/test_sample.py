"""The sample data: made by its script, small, all invented, and decisive where its README says so."""

from __future__ import annotations

import re
import subprocess
import sys
from functools import cache
from pathlib import Path

import geopandas as gpd
import numpy as np
import osmium
import pandas as pd
import pyogrio
import pytest
import rasterio
import shapely

from layoutplan.job import Layer, load_job

SAMPLE = Path(__file__).parents[1] / "sample_gis"
LAYERS = (
    "towers", "power_lines", "substations", "roads", "railways", "waterways", "water_areas", "wetlands",
    "protected_areas", "buildings", "landuse", "pipelines", "cables", "fences", "cliffs", "parcels", "map_reach",
)  # fmt: skip
JOBS = ("job.toml", "job_osm.toml")
ROUNDING_M = 0.05  # coordinates are kept to the centimetre; other versions of the geometry library may round otherwise
ROUNDING_DEG = 5e-7
CLEAR_OF_LINE_M, LEAST_ANGLE_DEG, REACH_M = 58.0, 30, 150 / 1.05  # 8 m half width and the default rules

# how many rows of a GeoPackage layer answer to how many objects of which tag in the OpenStreetMap file
SAME_COUNT = (
    ("roads", "highway"),
    ("railways", "railway"),
    ("waterways", "waterway"),
    ("buildings", "building"),
    ("fences", "barrier"),
    ("pipelines", "man_made"),
)


@pytest.fixture(scope="module")
def remade(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Run the script as a user would."""
    folder = tmp_path_factory.mktemp("sample")
    subprocess.run([sys.executable, "-B", str(SAMPLE / "make_sample.py"), str(folder)], check=True, timeout=120)
    return folder


@pytest.fixture(scope="module")
def extract() -> dict[str, list[tuple[int, dict[str, str], np.ndarray]]]:
    return read_extract(SAMPLE / "valley.osm.pbf")


def read_extract(path: Path) -> dict[str, list[tuple[int, dict[str, str], np.ndarray]]]:
    """Return tagged nodes, ways and relations as (id, tags, places or members), in the file's order."""
    found: dict[str, list[tuple[int, dict[str, str], np.ndarray]]] = {"node": [], "way": [], "relation": []}
    for thing in osmium.FileProcessor(str(path)).with_locations():
        tags = dict(thing.tags)
        if thing.is_node() and tags:
            found["node"].append((thing.id, tags, np.array([[thing.lon, thing.lat]])))
        elif thing.is_way():
            found["way"].append((thing.id, tags, np.array([[node.lon, node.lat] for node in thing.nodes])))
        elif thing.is_relation():
            found["relation"].append((thing.id, tags, np.array([member.ref for member in thing.members])))
    return found


@cache
def table(layer: str, folder: Path = SAMPLE) -> gpd.GeoDataFrame:
    return gpd.read_file(folder / "valley.gpkg", layer=layer)


def main_towers() -> gpd.GeoDataFrame:
    towers = table("towers")
    return towers[towers["line_id"] == "ostrel-varnau"].sort_values("seq").set_index("tower_id")


# ---- the script makes what is shipped -----------------------------------------------------------------------------


@pytest.mark.parametrize("layer", LAYERS)
def test_script_remakes_the_geopackage(layer: str, remade: Path) -> None:
    shipped, again = table(layer), table(layer, remade)
    assert shipped.crs == again.crs == "EPSG:25832"
    pd.testing.assert_frame_equal(shipped.drop(columns="geometry"), again.drop(columns="geometry"), atol=1)
    assert (shipped.geom_type == again.geom_type).all()
    assert shapely.hausdorff_distance(shipped.geometry.values, again.geometry.values).max() < ROUNDING_M


def test_script_remakes_the_openstreetmap_file(remade: Path, extract: dict) -> None:
    again = read_extract(remade / "valley.osm.pbf")
    for kind, shipped in extract.items():
        assert [(number, tags) for number, tags, _ in shipped if kind != "node"] == [
            (number, tags) for number, tags, _ in again[kind] if kind != "node"
        ]
        assert sorted(str(tags) for _, tags, _ in shipped) == sorted(str(tags) for _, tags, _ in again[kind])
    drawn = [[shapely.linestrings(places) for _, _, places in each["way"]] for each in (extract, again)]
    assert shapely.hausdorff_distance(*drawn).max() < ROUNDING_DEG
    assert [list(members) for _, _, members in extract["relation"]] == [list(m) for _, _, m in again["relation"]]


def test_script_remakes_the_tower_list(remade: Path) -> None:
    shipped, again = (pd.read_csv(folder / "towers.csv", dtype={"tower_id": str}) for folder in (SAMPLE, remade))
    pd.testing.assert_frame_equal(shipped, again, atol=ROUNDING_DEG, rtol=0)
    assert len(shipped) == 24


def test_script_remakes_the_terrain(remade: Path) -> None:
    with rasterio.open(SAMPLE / "dem.tif") as shipped, rasterio.open(remade / "dem.tif") as again:
        assert (shipped.crs, shipped.transform, shipped.nodata) == (again.crs, again.transform, again.nodata)
        np.testing.assert_allclose(shipped.read(1), again.read(1), atol=0.11)  # heights are in steps of 0.1 m


def test_no_file_is_left_over_or_missing(remade: Path) -> None:
    data = {path.name for path in SAMPLE.iterdir() if path.suffix in {".gpkg", ".pbf", ".csv", ".tif"}}
    assert data == {path.name for path in remade.iterdir()}


def test_sample_is_small() -> None:
    assert sum(path.stat().st_size for path in SAMPLE.rglob("*") if path.is_file()) < 2_000_000


# ---- what is in it ------------------------------------------------------------------------------------------------


def test_layers_are_all_there_and_filled() -> None:
    assert [name for name, _ in pyogrio.list_layers(SAMPLE / "valley.gpkg")] == list(LAYERS)
    assert all(pyogrio.read_info(SAMPLE / "valley.gpkg", layer=layer)["features"] > 0 for layer in LAYERS)


@pytest.mark.parametrize("layer", LAYERS)
def test_shapes_are_sound(layer: str) -> None:
    shapes = table(layer).geometry
    assert shapes.is_valid.all()
    assert not shapes.is_empty.any()


def test_header_says_where_the_map_ends() -> None:
    box = osmium.FileProcessor(str(SAMPLE / "valley.osm.pbf")).header.box()
    west, south, east, north = table("map_reach").to_crs("EPSG:4326").total_bounds
    assert (box.bottom_left.lon, box.bottom_left.lat) == pytest.approx((west, south), abs=1e-6)
    assert (box.top_right.lon, box.top_right.lat) == pytest.approx((east, north), abs=1e-6)


def test_ids_are_positive_and_sorted(extract: dict) -> None:
    for objects in extract.values():
        ids = [number for number, _, _ in objects]
        assert ids[0] >= 1
        assert ids == sorted(set(ids))


@pytest.mark.parametrize(("layer", "key"), SAME_COUNT)
def test_both_maps_hold_the_same(layer: str, key: str, extract: dict) -> None:
    assert sum(key in tags for _, tags, _ in extract["way"]) == len(table(layer))


def test_both_maps_have_the_towers_at_the_same_places(extract: dict) -> None:
    towers = table("towers").drop_duplicates(["tower_id", "geometry"]).set_index("tower_id").to_crs("EPSG:4326")
    nodes = {tags["ref"]: places[0] for _, tags, places in extract["node"] if "ref" in tags}
    assert sorted(nodes) == sorted(towers.index)
    places = np.array([nodes[number] for number in towers.index])
    np.testing.assert_allclose(places, shapely.get_coordinates(towers.geometry.values), atol=1e-7)


def test_terrain_has_a_border_without_data_and_covers_the_towers() -> None:
    with rasterio.open(SAMPLE / "dem.tif") as raster:
        heights = raster.read(1, masked=True)
        towers = np.array(list(raster.sample(shapely.get_coordinates(main_towers().geometry.values), masked=True)))
    edge = np.concatenate([heights.mask[0], heights.mask[-1], heights.mask[:, 0], heights.mask[:, -1]])
    assert edge.all()
    assert 590 < towers.min() < towers.max() < 720
    assert heights.max() > 1200


@pytest.mark.parametrize("name", JOBS)
def test_jobs_name_layers_that_exist(name: str) -> None:
    job = load_job(SAMPLE / name)
    assert [line.id for line in job.lines if line.measured] == ["ostrel-varnau", "kress-tee"]
    for layer in job.layers:
        assert layer.path.exists()
        if not layer.is_osm:
            rows = gpd.read_file(layer.path, layer=layer.layer, where=layer.where)
            assert not rows.empty
            assert _unmapped(layer, rows) == set()


def _unmapped(layer: Layer, rows: gpd.GeoDataFrame) -> set[str]:
    columns = {name for name in (layer.name_column, layer.width_column, layer.class_column) if name} - {*rows.columns}
    return columns | (set(rows[layer.class_column]) - {*layer.class_map} if layer.class_column else set())


def test_jobs_and_readme_need_nothing_of_this_machine() -> None:
    for path in (*(SAMPLE / name for name in JOBS), SAMPLE / "README.md"):
        assert not re.search(r"(^|[\s\"'`(])/(home|tmp|work|root|Users)/", path.read_text("utf-8"))


# ---- invented -----------------------------------------------------------------------------------------------------


def test_every_name_is_on_the_list_of_invented_names(extract: dict) -> None:
    listed = re.split(r"[,.]\s+|\.$", (SAMPLE / "README.md").read_text("utf-8").split("## Invented names")[1].strip())
    in_tables = {name for layer in LAYERS[1:-2] for name in table(layer)["name"]}
    in_extract = {tags["name"] for kind in extract.values() for _, tags, _ in kind if "name" in tags}
    assert in_tables - {""} == in_extract
    assert in_extract == set(listed) - {""}


def test_no_operator_and_no_owner_is_named(extract: dict) -> None:
    keys = {key for kind in extract.values() for _, tags, _ in kind for key in tags}
    columns = {column for layer in LAYERS for column in table(layer).columns}
    assert not [word for word in keys | columns if re.search("operator|brand|network|owner(?!_ref)", word)]
    assert table("parcels")["owner_ref"].str.fullmatch(r"P-\d{4}").all()
    assert set(table("parcels")["permission"]) == {"granted", "asked", "refused", "unknown"}


# ---- the towers that the README speaks of -------------------------------------------------------------------------


def test_main_line_is_an_ordinary_line() -> None:
    towers = shapely.get_coordinates(main_towers().geometry.values)
    steps = np.diff(towers, axis=0)
    spans_m, headings_deg = np.hypot(*steps.T), np.degrees(np.unwrap(np.arctan2(steps[:, 1], steps[:, 0])))
    assert len(towers) == 24
    assert 180 <= spans_m.min() < spans_m.max() <= 380
    angle_towers = main_towers().index[1:-1][np.abs(np.diff(headings_deg)) > 5]
    assert list(angle_towers) == ["106", "111", "117", "121"]


def test_only_the_first_tower_stands_beyond_the_map() -> None:
    beyond = ~main_towers().within(table("map_reach").geometry.iloc[0])
    assert list(main_towers().index[beyond]) == ["101"]


def _leads(number: str, left: bool) -> np.ndarray:
    """Return straight leads from a tower out to one side as far as the reel goes, one a degree.

    The first 58 m off the line are left in: whatever bars a lead there bars every stake beyond.
    """
    towers = main_towers().geometry
    here, after = (
        shapely.get_coordinates(towers.iloc[k])[0] for k in (towers.index.get_loc(number) + d for d in (0, 1))
    )
    ahead = np.degrees(np.arctan2(*(after - here)[::-1]))
    turn = np.arange(LEAST_ANGLE_DEG, 181 - LEAST_ANGLE_DEG) * (1 if left else -1)
    bearing = np.radians(ahead + turn)
    ends = here + np.column_stack([np.cos(bearing), np.sin(bearing)]) * REACH_M
    return shapely.linestrings(np.stack([np.broadcast_to(here, ends.shape), ends], axis=1))


def _barred(number: str, left: bool, *barriers: shapely.Geometry) -> np.ndarray:
    """Whether each lead meets a barrier, by at least 5 m, before it is clear of the line."""
    leads = _leads(number, left)
    slant = np.sin(np.radians(np.arange(LEAST_ANGLE_DEG, 181 - LEAST_ANGLE_DEG)))
    start = shapely.line_interpolate_point(leads, 0)
    met = shapely.intersection(leads, shapely.union_all(shapely.clip_by_rect(barriers, *shapely.total_bounds(leads))))
    return ~shapely.is_empty(met) & (shapely.distance(start, met) * slant < CLEAR_OF_LINE_M - 5)


def _river() -> shapely.Geometry:
    areas = table("water_areas")
    return areas[areas["kind"] == "river"].union_all()


def test_no_layout_at_105_but_for_one_owner() -> None:
    parcels = table("parcels")
    refused = parcels[parcels["permission"] == "refused"]
    near = refused[refused.distance(main_towers().geometry["105"]) < REACH_M]
    assert list(near["owner_ref"]) == ["P-0031"]
    assert _barred("105", True, _river()).all()
    assert _barred("105", False, *near.geometry).all()


def _barriers() -> list[shapely.Geometry]:
    """Return the ground that no lead may cross, save where power lines lead over it."""
    roads, parcels = table("roads"), table("parcels")
    return [
        *roads[roads["kind"] == "main_road"].geometry,
        *parcels[parcels["permission"] == "refused"].geometry,
        *table("railways").geometry,
        *table("buildings").geometry,
        _river(),
    ]


def test_only_the_right_side_at_108() -> None:
    assert _barred("108", True, _river()).all()
    assert not _barred("108", False, *_barriers()).any()


@pytest.mark.parametrize("number", ["102", "103", "106", "109", "110", "114", "115", "117", "118", "119", "120", "122"])
def test_nothing_bars_the_way_square_to_the_line(number: str) -> None:
    square = slice(60 - 15, 60 + 16)  # leads up to 15° off the perpendicular
    for left in (True, False):
        assert not _barred(number, left, *_barriers())[square].any()
