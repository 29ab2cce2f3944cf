"""GeoParquet and FlatGeobuf, read back by other libraries than wrote them: pyarrow and GDAL."""

import dataclasses
import json

import geopandas as gpd
import numpy as np
import pyarrow.parquet as pq
import pyogrio
import pytest
import shapely

from layoutplan.errors import OutputError
from layoutplan.outputs import write_plan
from layoutplan.outputs.columns import TABLES
from layoutplan.outputs.flatgeobuf import write_flatgeobuf
from layoutplan.outputs.geoparquet import write_geoparquet

LAYERS = {name: table.geometry for name, table in TABLES.items() if table.geometry}


def assert_same_shapes(found, given) -> None:
    """Equal to a centimetre; what has no shape has none (ways that nobody knows)."""
    assert (shapely.is_missing(found) == shapely.is_missing(given)).all()
    there = ~shapely.is_missing(given)
    assert shapely.equals_exact(found[there], given[there], 1e-7).all()


def test_parquet_by_pyarrow(plan, tmp_path) -> None:
    paths = write_geoparquet(plan, tmp_path)
    assert [path.name for path in paths] == [f"plan_{name}.parquet" for name in TABLES]
    for path, (name, table) in zip(paths, TABLES.items(), strict=True):
        given, found = getattr(plan, name), pq.read_table(path)
        assert found.num_rows == len(given)
        assert found.column_names[: len(table.columns)] == list(table.columns)
        if table.geometry:
            meta = json.loads(found.schema.metadata[b"geo"])
            assert meta["version"] == "1.1.0"
            assert meta["columns"]["geometry"]["encoding"] == "WKB"
            assert meta["columns"]["geometry"]["crs"]["id"] == {"authority": "EPSG", "code": 4326}
            assert_same_shapes(shapely.from_wkb(found["geometry"].to_pylist()), given.geometry.array)


def test_flatgeobuf_by_gdal(plan, tmp_path) -> None:
    paths = write_flatgeobuf(plan, tmp_path)
    assert [path.name for path in paths] == [f"plan_{name}.fgb" for name in LAYERS]
    for path, name in zip(paths, LAYERS, strict=True):
        given = getattr(plan, name)
        meta, _, shapes, fields = pyogrio.raw.read(path)
        assert meta["crs"] == "EPSG:4326"
        assert list(meta["fields"]) == list(TABLES[name].columns)
        assert_same_shapes(shapely.from_wkb(shapes), given.geometry.array)
        if "tower_id" in meta["fields"]:  # rows in the plan's order, texts letter for letter
            assert fields[list(meta["fields"]).index("tower_id")].tolist() == given["tower_id"].tolist()


@pytest.mark.parametrize("write", [write_geoparquet, write_flatgeobuf])
def test_hostile_names_come_back_as_they_were(make_plan, hostile_texts, tmp_path, write) -> None:
    plan = make_plan(len(hostile_texts) + 2)
    paths = write(plan, tmp_path)
    suffix = paths[0].suffix
    read = gpd.read_parquet if suffix == ".parquet" else gpd.read_file
    shown = set(read(tmp_path / f"plan_towers{suffix}")["tower_id"])
    assert shown == {text.partition("\x00")[0] if suffix == ".fgb" else text for text in plan.towers["tower_id"]}
    assert {path.name for path in tmp_path.iterdir()} == {path.name for path in paths}  # names come from the program


@pytest.mark.long
@pytest.mark.parametrize("write", [write_geoparquet, write_flatgeobuf])
def test_other_coordinate_system(make_plan, tmp_path, write) -> None:
    plan = make_plan(crs="EPSG:2056")
    paths = write(plan, tmp_path)
    read = gpd.read_parquet if paths[0].suffix == ".parquet" else gpd.read_file
    found = read(paths[0])
    assert found.crs == "EPSG:2056"
    back = shapely.get_coordinates(found.geometry.to_crs(4326).array)
    assert np.abs(back - shapely.get_coordinates(plan.towers.geometry.array)).max() < 1e-7
    with pytest.raises(OutputError, match=r"output\.crs"):
        write(make_plan(crs="nonsense"), tmp_path)


@pytest.mark.parametrize("write", [write_geoparquet, write_flatgeobuf])
def test_empty_tables(empty_plan, tmp_path, write) -> None:
    for path in write(empty_plan, tmp_path):
        name = path.stem.removeprefix("plan_")
        columns = pq.read_schema(path).names if path.suffix == ".parquet" else list(pyogrio.read_info(path)["fields"])
        assert columns[: len(TABLES[name].columns)] == list(TABLES[name].columns)


@pytest.mark.parametrize("write", [write_geoparquet, write_flatgeobuf])
def test_same_plan_same_bytes(make_plan, tmp_path, write) -> None:
    made = []
    for name in "ab":
        (tmp_path / name).mkdir()
        made.append([path.read_bytes() for path in write(make_plan(), tmp_path / name)])
    assert made[0] == made[1]


@pytest.mark.long
def test_several_files_move_and_go_with_the_plan(make_plan, tmp_path) -> None:
    formats = ("gpkg", "parquet", "flatgeobuf", "json")
    written = write_plan(make_plan(formats=formats), tmp_path)
    assert [path.name for path in written[:2]] == ["plan.gpkg", "plan_towers.parquet"]
    record = json.loads((tmp_path / "plan.json").read_text("utf-8"))
    assert {file["file"] for file in record["files"]} == {path.name for path in written} - {"plan.json"}
    write_plan(make_plan(formats=("gpkg", "json")), tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == {"plan.gpkg", "plan.json"}


def test_geometry_that_is_missing(plan, tmp_path) -> None:
    """A parcel without shape stays a row."""
    shapes = plan.permissions.geometry.copy()
    shapes.iloc[0] = None
    plan = dataclasses.replace(plan, permissions=plan.permissions.set_geometry(shapes))
    write_flatgeobuf(plan, tmp_path)
    write_geoparquet(plan, tmp_path)
    for found in (
        gpd.read_file(tmp_path / "plan_permissions.fgb"),
        gpd.read_parquet(tmp_path / "plan_permissions.parquet"),
    ):
        assert found.geometry.isna().tolist() == shapes.isna().tolist()
