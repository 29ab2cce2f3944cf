"""Nothing is fetched, and nothing is read but files of the kinds that are allowed."""

from __future__ import annotations

import importlib.util
import json
import os
import socket
import sqlite3
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from types import ModuleType
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
import pyproj
import pytest
import rasterio
import shapely

from layoutplan.errors import InputError, JobError, LayerError, LayoutPlanError
from layoutplan.files import why_not_read
from layoutplan.inputs import door
from layoutplan.inputs.provenance import Ledger
from layoutplan.inputs.raster import open_raster
from layoutplan.inputs.staked import read_staked
from layoutplan.inputs.vector import open_vector
from layoutplan.inputs.vector_table import read_vector
from layoutplan.job import Job, load_job
from layoutplan.job.section import FileSource
from layoutplan.job.terrain import Terrain
from layoutplan.terrain.raster_file import read_header

POINTS = gpd.GeoDataFrame(
    {"a": np.array([1, 2], dtype=np.int32)}, geometry=[shapely.Point(8, 49), shapely.Point(8.1, 49)], crs=4326
)
LAYER = '<OGRVRTDataSource><OGRVRTLayer name="a"><SrcDataSource {}>{}</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>'


def load_online() -> ModuleType:
    spec = importlib.util.spec_from_file_location("online", Path(__file__).with_name("online.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


online = load_online()
VECTOR, RASTER = online.installed()


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """A listener that every request would come to; hosts of this machine are exempt from proxies, as at some firms."""
    listener = online.Server()
    for key, value in online.environment(listener.url).items():
        monkeypatch.setenv(key, value)
    for key in ("no_proxy", "NO_PROXY"):
        monkeypatch.delenv(key)  # as importing the door does
    yield listener
    listener.close()


def through_the_door(name: str) -> list[Callable[[], object]]:
    path = Path(name)

    def vector() -> None:
        read_vector(open_vector(FileSource(path=path), "layers[0]"), ())

    def raster() -> None:
        with open_raster(path) as opened:
            opened.read(1)

    return [vector, raster, lambda: read_header(path, Terrain()), lambda: read_staked(path, "EPSG:4326")]


@pytest.mark.long
def test_what_is_tried_goes_on_line_where_nobody_minds(tmp_path: Path) -> None:
    """Without this the tests below would prove nothing."""
    program = Path(__file__).with_name("online.py")
    run = subprocess.run(
        [sys.executable, str(program), str(tmp_path)], capture_output=True, text=True, timeout=300, check=True
    )
    asked = json.loads(run.stdout)
    assert {f"vector {name}" for name in VECTOR} | {f"raster {name}" for name in RASTER} <= set(asked)
    assert [name for name, number in asked.items() if not name.startswith("file") and number == 0] == []
    assert sum(number > 0 for name, number in asked.items() if name.startswith("file")) >= 15


def test_no_driver_goes_on_line(tmp_path: Path, server: Any) -> None:
    texts = {f"vector {driver}": found for driver, found in online.names(VECTOR, f"{server.url}/v").items()}
    texts |= {f"raster {driver}": found for driver, found in online.names(RASTER, f"{server.url}/r").items()}
    texts |= {f"file {name}": [str(path)] for name, path in online.files(tmp_path, server.url).items()}
    attempts = {
        name: [attempt for text in found for attempt in through_the_door(text)] for name, found in texts.items()
    }
    asked = online.went_on_line(server, attempts)
    assert len(asked) == len(VECTOR) + len(RASTER) + len(list(tmp_path.iterdir()))  # and nothing new beside them
    assert {name: number for name, number in asked.items() if number} == {}
    assert server.asked == []


def test_the_network_is_closed_for_what_gets_past_the_door(tmp_path: Path, server: Any) -> None:
    with rasterio.Env(**door.CLOSED):
        asked = online.went_on_line(server, online.handed_over(VECTOR, RASTER, tmp_path, server.url))
    # this driver has a network of its own; the door does not let it in
    assert {name for name, number in asked.items() if number} <= {"raster netCDF"}
    assert "netCDF" not in door.RASTER_DRIVERS


def test_the_network_is_closed_from_the_first_import_on() -> None:
    code = (
        "import layoutplan.inputs.door, os, pyogrio, pyproj.network;"
        "print(pyogrio.get_gdal_config_option('GDAL_HTTP_PROXY'), pyproj.network.is_network_enabled(),"
        " os.environ['PROJ_NETWORK'], 'no_proxy' in os.environ)"
    )
    keys = {**os.environ, "PROJ_NETWORK": "ON", "no_proxy": "127.0.0.1"}
    run = subprocess.run(
        [sys.executable, "-c", code], env=keys, capture_output=True, text=True, timeout=100, check=True
    )
    assert run.stdout.split() == ["127.0.0.1:9", "False", "OFF", "False"]


def test_nothing_is_left_to_an_unknown_kind(tmp_path: Path, server: Any) -> None:
    """What is crafted is refused by name of the file, in words, and not by accident."""
    refused = {}
    for name, path in online.files(tmp_path, server.url).items():
        try:
            read_vector(open_vector(FileSource(path=path), "layers[0]"), ())
        except LayoutPlanError as err:
            refused[name] = str(err)
    let_in = set(online.files(tmp_path / "again", server.url)) - set(refused)
    assert let_in <= {"schema.gml", "links.kml", "links.kmz", "overlay.kml", "pages.json", "links.geojson", "stac.json"}
    assert "names services" in refused["wfs.xml"]
    assert "names services" in refused["wfs_as_table.dbf"]
    assert "names services" in refused["wfs_in_comment.gml"]
    assert "no file on this machine" in refused["service_layer.vrt"]
    assert "no file on this machine" in refused["remote_layer.vrt"]
    assert "document type" in refused["entity.gml"]
    assert "is a view" in refused["view.gpkg"]


@pytest.mark.parametrize(
    "name",
    ["/vsicurl/http://h/a.gpkg", "https://h/a.gpkg", "WFS:http://h/w", "s3://b/a.tif", "a/https:/h/b", "\\vsizip\\a"],
)
def test_names_of_places_elsewhere(name: str) -> None:
    assert "Only files on this machine are read" in why_not_read(Path(name))


def test_names_that_only_look_like_it(tmp_path: Path) -> None:
    for name in ("vsi maps/a.gpkg", "map: v2/a.gpkg", "C:/a.gpkg", "a:b", "1:25000/a.tif"):
        assert why_not_read(tmp_path / name) == "", name


def test_names_of_places_elsewhere_in_a_job(tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    job.write_text('[[lines]]\nid = "1"\ntowers = { path = "https://h/t.csv", id_column = "id" }\n')
    source = load_job(job).lines[0].towers
    assert source is not None
    with pytest.raises(InputError, match="names a server"):
        open_vector(source, "lines[0].towers")


@pytest.fixture
def pipe(tmp_path: Path) -> Callable[[str], Path]:
    def make(name: str) -> Path:
        os.mkfifo(tmp_path / name)
        return tmp_path / name

    return make


@pytest.mark.parametrize("suffix", ["gpkg", "csv", "gpx", "tif", "hgt.zip", "osm.pbf", "toml", "parquet", "gdb"])
def test_pipes_are_not_waited_for(pipe: Callable[[str], Path], suffix: str) -> None:
    path = pipe(f"a.{suffix}")
    for attempt in through_the_door(str(path)):
        with pytest.raises(InputError, match="a named pipe, where a file was expected"):
            attempt()
    with pytest.raises(JobError, match="a named pipe"):
        load_job(path)
    Job.model_validate({"lines": [{"id": "1", "towers": {"path": path, "id_column": "id"}}]})


def test_devices_and_sockets(tmp_path: Path) -> None:
    with closing(socket.socket(socket.AF_UNIX)) as end:
        os.chdir(tmp_path)
        end.bind("s.gpkg")
        with pytest.raises(InputError, match="a socket, where a file was expected"):
            open_vector(FileSource(path=tmp_path / "s.gpkg"), "layers[0]")
    with pytest.raises(InputError, match="a device"):
        open_vector(FileSource(path=Path("/dev/zero")), "layers[0]")
    with pytest.raises(JobError, match="a device"):
        load_job("/dev/zero")


def test_a_pipe_within_a_folder(tmp_path: Path) -> None:
    folder = tmp_path / "a.gdb"
    folder.mkdir()
    os.mkfifo(folder / "a.gdbtable")
    with pytest.raises(InputError, match="a named pipe"):
        open_vector(FileSource(path=folder), "layers[0]")


@pytest.mark.parametrize(
    ("name", "driver"),
    [
        ("a.gpkg", "GPKG"),
        ("a.shp", "ESRI Shapefile"),
        ("a.geojson", "GeoJSON"),
        ("a.geojsonl", "GeoJSONSeq"),
        ("a.fgb", "FlatGeobuf"),
        ("a.gml", "GML"),
        ("a.kml", "LIBKML"),
        ("a.kmz", "LIBKML"),
        ("a.gpx", "GPX"),
        ("a.dxf", "DXF"),
        ("a.tab", "MapInfo File"),
        ("a.mif", "MapInfo File"),
        ("a.gdb", "OpenFileGDB"),
        ("a.sqlite", "SQLite"),
        ("a.json", "GeoJSON"),
    ],
)
def test_every_kind_that_is_promised(tmp_path: Path, name: str, driver: str) -> None:
    table = POINTS[["geometry"]] if driver in ("GPX", "DXF") else POINTS
    keys = {"layer": "waypoints"} if driver == "GPX" else {}
    pyogrio.write_dataframe(table, tmp_path / name, driver=driver, **keys)
    found = open_vector(FileSource(path=tmp_path / name, layer=keys.get("layer"), crs="EPSG:4326"), "layers[0]")
    assert found.driver in door.VECTOR_DRIVERS
    assert len(read_vector(found, ()).geometry) == 2


def test_a_zip_whatever_its_letters(tmp_path: Path) -> None:
    POINTS.to_file(tmp_path / "a.shp")
    with zipfile.ZipFile(tmp_path / "A.ZIP", "w") as archive:
        for part in tmp_path.glob("a.*"):
            archive.write(part, part.name)
    assert len(read_vector(open_vector(FileSource(path=tmp_path / "A.ZIP"), "k"), ["a"]).rows) == 2


def test_nothing_is_written_beside_what_is_read(tmp_path: Path) -> None:
    for name, driver in (("a.gml", "GML"), ("a.shp", "ESRI Shapefile"), ("a.gpkg", "GPKG"), ("a.kml", "LIBKML")):
        pyogrio.write_dataframe(POINTS, tmp_path / name, driver=driver)
        if name == "a.gml":
            (tmp_path / "a.xsd").unlink()
        before = sorted(tmp_path.iterdir())
        read_vector(open_vector(FileSource(path=tmp_path / name), "k"), ())
        assert sorted(tmp_path.iterdir()) == before


def layer_vrt(path: Path, name: str, relative: bool = True) -> FileSource:
    path.write_text(LAYER.format('relativeToVRT="1"' if relative else "", name))
    return FileSource(path=path)


def test_a_virtual_layer_of_local_files_is_read_and_listed(tmp_path: Path) -> None:
    (tmp_path / "data").mkdir()
    POINTS.to_file(tmp_path / "data" / "a.gpkg", layer="a")
    source = layer_vrt(tmp_path / "a.vrt", "data/a.gpkg")
    assert len(read_vector(open_vector(source, "layers[0]"), ["a"]).rows) == 2
    ledger = Ledger()
    ledger.note(source.path, "map")
    assert [file.path.name for file in ledger.files()] == ["a.vrt", "a.gpkg"]


def test_a_virtual_layer_reaches_no_further_than_the_job(tmp_path: Path) -> None:
    (tmp_path / "job" / "virtual").mkdir(parents=True)
    (tmp_path / "else").mkdir()
    POINTS.to_file(tmp_path / "else" / "a.gpkg", layer="a")
    POINTS.to_file(tmp_path / "job" / "a.gpkg", layer="a")
    far = layer_vrt(tmp_path / "job" / "virtual" / "far.vrt", str(tmp_path / "else" / "a.gpkg"), relative=False)
    near = layer_vrt(tmp_path / "job" / "virtual" / "near.vrt", "../a.gpkg")
    for source in (far, near):
        with pytest.raises(InputError, match=r"lies outside the folders .* Add its folder to reading\.folders"):
            open_vector(source, "layers[0]")
    text = '[[lines]]\nid = "1"\ntowers = { path = "t.csv", id_column = "id" }\n'
    (tmp_path / "job" / "job.toml").write_text(text)
    with door.allowing(load_job(tmp_path / "job" / "job.toml")):
        assert open_vector(near, "layers[0]").features == 2
        with pytest.raises(InputError, match="lies outside"):
            open_vector(far, "layers[0]")
    (tmp_path / "job" / "job.toml").write_text(text + '[reading]\nfolders = ["../else"]\n')
    with door.allowing(load_job(tmp_path / "job" / "job.toml")):
        assert open_vector(far, "layers[0]").features == 2


def test_a_link_is_followed_before_it_is_judged(tmp_path: Path) -> None:
    (tmp_path / "job").mkdir()
    POINTS.to_file(tmp_path / "a.gpkg", layer="a")
    (tmp_path / "job" / "a.gpkg").symlink_to(tmp_path / "a.gpkg")
    with pytest.raises(InputError, match="lies outside"):
        open_vector(layer_vrt(tmp_path / "job" / "a.vrt", "a.gpkg"), "layers[0]")


def test_virtual_layers_that_name_each_other(tmp_path: Path) -> None:
    source = layer_vrt(tmp_path / "a.vrt", "b.vrt")
    layer_vrt(tmp_path / "b.vrt", "a.vrt")
    with pytest.raises(InputError):
        open_vector(source, "layers[0]")
    for number in range(12):
        layer_vrt(tmp_path / f"{number}.vrt", f"{number + 1}.vrt")
    with pytest.raises(InputError, match="more than 8 deep"):
        open_vector(FileSource(path=tmp_path / "0.vrt"), "layers[0]")


def changed(path: Path, *commands: str) -> Path:
    with closing(sqlite3.connect(path)) as base, base:
        for command in commands:
            base.execute(command)
    return path


ENDLESS = "WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT x AS fid, x AS a, NULL AS geom FROM n"


@pytest.mark.parametrize("name", ["gpkg_contents", "rtree_a_geom", "gpkg_geometry_columns", "a"])
def test_an_endless_view_is_not_run(tmp_path: Path, name: str) -> None:
    POINTS.to_file(tmp_path / "map.gpkg", layer="a")
    changed(
        tmp_path / "map.gpkg",
        *([f"DROP TABLE {name}"] if name != "a" else ["ALTER TABLE a RENAME TO b"]),
        f"CREATE VIEW {name} AS {ENDLESS}",
    )
    with pytest.raises(InputError, match=r"is a view|a view; only tables are read"):
        open_vector(FileSource(path=tmp_path / "map.gpkg", layer="a"), "layers[0]")


def test_a_view_beside_the_layer_is_let_be(tmp_path: Path) -> None:
    POINTS.to_file(tmp_path / "map.gpkg", layer="a")
    changed(tmp_path / "map.gpkg", f"CREATE VIEW mine AS {ENDLESS}")
    assert open_vector(FileSource(path=tmp_path / "map.gpkg", layer="a"), "layers[0]").features == 2


def test_columns_that_are_worked_out(tmp_path: Path) -> None:
    POINTS.to_file(tmp_path / "map.gpkg", layer="a")
    changed(tmp_path / "map.gpkg", "ALTER TABLE a ADD COLUMN big TEXT AS (hex(zeroblob(100000000)))")
    with pytest.raises(LayerError, match="column big is worked out when read"):
        open_vector(FileSource(path=tmp_path / "map.gpkg"), "layers[0]")


def test_triggers_do_not_run(tmp_path: Path) -> None:
    POINTS.to_file(tmp_path / "map.gpkg", layer="a")
    changed(tmp_path / "map.gpkg", "CREATE TRIGGER t AFTER INSERT ON a BEGIN DELETE FROM a; END")
    before = (tmp_path / "map.gpkg").read_bytes()
    assert open_vector(FileSource(path=tmp_path / "map.gpkg"), "layers[0]").features == 2
    assert (tmp_path / "map.gpkg").read_bytes() == before


@pytest.mark.parametrize(
    "where",
    [
        "a IN (WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT x FROM n)",
        "length(hex(zeroblob(1000000000))) > 1",
        "ogr_geocode('Berlin') IS NOT NULL",
        "load_extension('x') = 1",
        "1 = 1; DROP TABLE a",
    ],
)
def test_a_filter_only_compares(tmp_path: Path, where: str) -> None:
    POINTS.to_file(tmp_path / "map.gpkg", layer="a")
    with pytest.raises(InputError, match="A filter compares columns with values"):
        open_vector(FileSource(path=tmp_path / "map.gpkg", where=where), "layers[0]")


@pytest.mark.parametrize(
    "where",
    ["a = 1", "a IN (1, 3)", "lower(CAST(a AS TEXT)) = '1' AND NOT (a = 2)", "\"a\" <> 2 AND 'select (' <> 'b'"],
)
def test_filters_as_people_write_them(tmp_path: Path, where: str) -> None:
    POINTS.to_file(tmp_path / "map.gpkg", layer="a")
    found = open_vector(FileSource(path=tmp_path / "map.gpkg", where=where), "layers[0]")
    assert read_vector(found, ["a"]).columns["a"].tolist() == [1]


def test_a_name_with_a_mark_of_archives(tmp_path: Path) -> None:
    POINTS.to_file(tmp_path / "a.gpkg", layer="a")
    (tmp_path / "a.gpkg").rename(tmp_path / "a!b.gpkg")
    with pytest.raises(InputError, match="Rename it"):
        open_vector(FileSource(path=tmp_path / "a!b.gpkg"), "layers[0]")


def test_proj_fetches_no_grids() -> None:
    assert not pyproj.network.is_network_enabled()
    assert np.isfinite(pyproj.Transformer.from_crs(4269, 4326, always_xy=True).transform(-100, 40)).all()
