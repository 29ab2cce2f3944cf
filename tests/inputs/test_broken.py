"""Broken and odd files, as trial by many changes found them: each gives words, none a traceback."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import numpy as np
import osmium
import pyarrow as pa
import pyarrow.parquet as pq
import pyproj
import pytest
import shapely

from layoutplan.errors import ColumnError, CRSError, InputError, OutputError
from layoutplan.inputs.csv_table import read_csv, read_csv_towers
from layoutplan.inputs.geodetic import cut_long
from layoutplan.inputs.osm_file import read_osm
from layoutplan.inputs.osm_tags import TagRules
from layoutplan.inputs.systems import parse_crs
from layoutplan.inputs.towers import read_towers
from layoutplan.inputs.vector import open_vector
from layoutplan.inputs.vector_table import read_vector
from layoutplan.job import TowerSource, shipped_classes
from layoutplan.job.section import FileSource
from layoutplan.outputs.gpkg import named_crs

Write = Callable[..., Path]
SITE = 'ENGCRS["Site",EDATUM["s"],CS[Cartesian,2],AXIS["x",east],AXIS["y",north],LENGTHUNIT["metre",1]]'
NO_GRID = "+proj=longlat +ellps=bessel +nadgrids=nothere.gsb +no_defs"
SYSTEMS = [
    (SITE, "'Site' is tied to no place on the Earth"),
    ('LOCAL_CS["site",UNIT["metre",1]]', "tied to no place on the Earth"),
    ("EPSG:5773", "tied to no place on the Earth"),  # heights above a geoid
    ("EPSG:4978", "'WGS 84' is geocentric"),
    (NO_GRID, "needs a grid file that is not there"),
    ("+proj=longlat +a=1737400 +b=1737400 +no_defs", "cannot be turned into longitude and latitude"),  # the Moon's size
    ("+proj=airy", "cannot be turned into longitude and latitude"),  # has no inverse
]


@pytest.mark.parametrize(("system", "words"), SYSTEMS)
def test_a_system_without_a_place_is_refused_wherever_it_is_named(system: str, words: str, layer_file: Write) -> None:
    with pytest.raises(CRSError, match=words):
        parse_crs(system, "map.gpkg", "layers[0].crs")
    path = layer_file([shapely.Point(8, 49)], crs=pyproj.CRS(system))
    with pytest.raises(CRSError, match=rf"map.gpkg, layer 'map': .*{words}.*Set layers\[0\].crs"):
        open_vector(FileSource(path=path), "layers[0]")
    with pytest.raises(OutputError, match=r"job key 'output.crs': layers cannot be written in"):
        named_crs(system)


@pytest.mark.parametrize("number", [-1, 99])
def test_a_geopackage_with_a_system_that_is_none(number: int, layer_file: Write) -> None:
    path = layer_file([shapely.Point(8, 49)])
    with closing(sqlite3.connect(path)) as base:
        for (name,) in base.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            base.execute(f'DROP TRIGGER "{name}"')
        base.execute("INSERT INTO gpkg_spatial_ref_sys VALUES ('odd', 99, 'NONE', 99, 'garbage[', NULL)")
        for table in ("gpkg_contents", "gpkg_geometry_columns"):
            base.execute(f"UPDATE {table} SET srs_id = {number}")
        base.commit()
    with pytest.raises(InputError, match=r"Set layers\[0\].crs|cannot be read"):
        open_vector(FileSource(path=path), "layers[0]")
    given = open_vector(FileSource(path=path, crs="EPSG:4326"), "layers[0]")  # the fix that the message names
    assert given.crs == "EPSG:4326"


def test_a_geometry_larger_than_the_earth_is_not_cut_to_pieces() -> None:
    far = np.array([shapely.LineString([(0, 0), (1e300, 0)]), shapely.LineString([(0, 0), (5e9, 0)])], dtype=object)
    assert shapely.get_num_coordinates(cut_long(far, pyproj.CRS("EPSG:25832"))).tolist() == [2, 2]
    near = np.array([shapely.LineString([(0, 0), (2e7, 0)])], dtype=object)
    assert shapely.get_num_coordinates(cut_long(near, pyproj.CRS("EPSG:25832"))).tolist() == [20_001]


def test_cells_that_hold_lists_are_text(tmp_path: Path) -> None:
    place = {"type": "Point", "coordinates": [8, 49]}
    rows = [{"type": "Feature", "properties": {"kind": kind}, "geometry": place} for kind in (["a", "b"], ["c"], None)]
    (tmp_path / "map.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": rows}), "utf-8")
    found = open_vector(FileSource(path=tmp_path / "map.geojson"), "layers[0]")
    assert read_vector(found, ["kind"]).columns["kind"].tolist() == ["['a', 'b']", "['c']", None]


def test_a_system_file_in_an_old_encoding(layer_file: Write) -> None:
    path = layer_file([shapely.Point(8, 49)], name="map.shp")
    text = path.with_suffix(".prj").read_bytes()
    path.with_suffix(".prj").write_bytes(text.replace(b"GCS_WGS_1984", b"GCS_WGS\x9c1984", 1))
    with pytest.raises(InputError, match=r"map\.shp"):
        open_vector(FileSource(path=path), "layers[0]")


@pytest.mark.parametrize("geo", [b"{", b"5", b"{}", b'{"primary_column": "g", "columns": {"g": 5}}'])
def test_parquet_that_says_odd_things_of_its_geometry(tmp_path: Path, geo: bytes) -> None:
    table = pa.table({"g": [b"x"]}).replace_schema_metadata({b"geo": geo})
    pq.write_table(table, tmp_path / "map.parquet")
    with pytest.raises(InputError, match=r"map.parquet: what it says of its geometry cannot be understood"):
        open_vector(FileSource(path=tmp_path / "map.parquet"), "layers[0]")


def test_an_extract_with_a_tag_that_is_no_text(tmp_path: Path) -> None:
    plain = osmium.io.File(str(tmp_path / "whole.osm.pbf"), "pbf,pbf_compression=none")
    thing = osmium.osm.mutable
    with osmium.SimpleWriter(plain, overwrite=True) as writer:
        writer.add_node(thing.Node(id=1, version=1, location=(8.0, 49.0), tags={"power": "tower", "name": "abcdefgh"}))
    data = (tmp_path / "whole.osm.pbf").read_bytes()
    (tmp_path / "map.osm.pbf").write_bytes(data.replace(b"abcdefgh", b"abc\xff\xfefgh"))
    with pytest.raises(InputError, match=r"map.osm.pbf: holds a tag that is not UTF-8 text .*Correct that tag"):
        read_osm(tmp_path / "map.osm.pbf", rules=None, lines=True)


@pytest.mark.parametrize("cell", ["4_7", "8_004e-3", "٨.٠٠٤", "8.004.1"])
def test_a_longitude_is_a_plain_number(towers_csv: Write, cell: str) -> None:
    path = towers_csv(f"tower_id,lon,lat\n1,8.0,49.0\n2,{cell},49.0\n")
    with pytest.raises(ColumnError, match=r"row 3, field 'lon': .* is not a finite number"):
        read_csv_towers(TowerSource(path=path), "lines[0].towers")


def test_cells_and_rows_without_end(towers_csv: Write) -> None:
    long = towers_csv("tower_id,lon,lat\n1,8,49\n" + "x" * 1_000_000 + ",8.01,49\n")
    with pytest.raises(InputError, match="row 3: a cell of more than 131,072 letters"):
        read_csv(FileSource(path=long))
    wide = towers_csv(",".join(f"c{i}" for i in range(5000)) + "\n" + ",".join("1" * 5000) + "\n")
    with pytest.raises(InputError, match="5,000 columns; at most 2,000 are taken"):
        read_csv(FileSource(path=wide))
    named = towers_csv("tower_id,lon,lat\n1,8,49\n" + "x" * 100_000 + ",8.01,49\n")
    with pytest.raises(ColumnError, match="a tower id of 100,000 letters; at most 200 are taken"):
        read_towers(TowerSource(path=named), "lines[0].towers")


def test_figures_beyond_physics(towers_csv: Write) -> None:
    path = towers_csv("tower_id,lon,lat,w\n1,8,49,6.8\n2,8.01,49,680\n")
    with pytest.raises(ColumnError, match="row 3, field 'w': 680 m cannot be meant: at most 60 m"):
        read_towers(TowerSource(path=path, base_width_column="w"), "lines[0].towers")


NODE = '<node id="1" lat="49" lon="8" version="1">{}</node>'


@pytest.mark.parametrize(
    ("inside", "words"),
    [
        (NODE.format(f'<tag k="name" v="{"a" * 70_000}"/>'), "OSM tag value is too long"),
        (NODE.format(f'<tag k="{"a" * 70_000}" v="a"/>'), "OSM tag key is too long"),
        (f'<relation id="1"><member type="way" ref="1" role="{"a" * 70_000}"/></relation>', "role is too long"),
        ('<node id="abc" lat="49" lon="8"/>', "illegal id: 'abc'"),
        ('<node id="-9223372036854775808" lat="49" lon="8"/>', "illegal id"),
        ('<node id="1" lat="49" lon="8" version="99999999999999"/>', "illegal version"),
        ('<node id="1" lat="49" lon="8" timestamp="9999-99-99T00:00:00Z"/>', "can not parse timestamp"),
    ],
    ids=["value", "key", "role", "id", "least id", "version", "timestamp"],
)
@pytest.mark.parametrize("rules", [None, TagRules(shipped_classes())], ids=["lines", "map"])
def test_what_the_library_for_extracts_raises_is_put_in_words(tmp_path, inside, words, rules):
    """It raises a `ValueError` for what its own writer would never write."""
    path = tmp_path / "map.osm"
    path.write_text(f'<osm version="0.6">{inside}</osm>', "utf-8")
    with pytest.raises(InputError, match=rf"map.osm: cannot be read to its end .*{words}"):
        read_osm(path, rules=rules, lines=True)
