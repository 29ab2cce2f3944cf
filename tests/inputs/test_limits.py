"""Files that would hang the program or fill the memory are refused with the key that lifts the limit."""

from __future__ import annotations

import bz2
import gzip
import time
import zipfile
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine

from layoutplan.errors import InputError
from layoutplan.inputs.crossings import count_crossings
from layoutplan.inputs.csv_table import read_csv
from layoutplan.inputs.door import allowing
from layoutplan.inputs.features import repair
from layoutplan.inputs.osm_areas import area_from_edges
from layoutplan.inputs.osm_file import read_osm
from layoutplan.inputs.raster import open_raster
from layoutplan.inputs.vector import open_vector
from layoutplan.inputs.vector_table import read_vector
from layoutplan.job import Job
from layoutplan.job.reading import Reading
from layoutplan.job.section import FileSource
from layoutplan.job.terrain import Terrain
from layoutplan.terrain.raster_file import read_header

LINES = [{"id": "1", "towers": {"path": "t.csv"}}]


def job(**reading: Any) -> Job:
    return Job.model_validate({"lines": LINES, "reading": reading})


def star(points: int) -> shapely.Polygon:
    """Each edge crosses nearly all others; after repair it has about as many vertices as crossings."""
    turn = 2 * np.pi * np.arange(points) * ((points - 1) // 2) / points
    return shapely.Polygon(np.column_stack((8 + 0.01 * np.cos(turn), 49 + 0.01 * np.sin(turn))))


def test_a_star_is_refused_at_once() -> None:
    begin = time.process_time()
    with pytest.raises(InputError, match=r"map, the area with a corner at 49.* more than the 20,000 .*max_crossings"):
        repair(np.array([star(2001)], dtype=object), "map")
    assert time.process_time() - begin < 10  # repairing it takes more than a minute


def test_a_small_star_is_repaired_and_the_limit_can_be_moved() -> None:
    small = np.array([star(51)], dtype=object)
    assert shapely.is_valid(repair(small, "map")[0]).all()
    with allowing(job(max_crossings=1000)), pytest.raises(InputError, match="max_crossings"):
        repair(small, "map")


@pytest.mark.parametrize("points", [5, 7, 31, 101])
def test_crossings_of_a_star(points: int) -> None:
    """Of the densest star each edge crosses all others but itself and its two neighbours."""
    assert count_crossings(star(points), 0) >= 1
    found = count_crossings(star(points), 10**6 if points > 31 else 0)
    exact = points * (points - 3) // 2
    assert found in (0, exact) if points > 31 else found == exact


def test_crossings_of_what_is_sound() -> None:
    ring = shapely.Point(8, 49).buffer(0.1, quad_segs=5000)
    holes = ring.difference(shapely.Point(8, 49).buffer(0.05, quad_segs=5000))
    for shape in (ring, holes, shapely.MultiPolygon([ring]), ring.boundary):
        assert count_crossings(shape, 100) == 0
    bow = shapely.Polygon([(0, 0), (1, 1), (1, 0), (0, 1)])
    assert count_crossings(bow, 0) == 1
    assert count_crossings(shapely.GeometryCollection([bow, bow.boundary]), 0) >= 2


def test_edges_around_the_earth(tmp_path: Path) -> None:
    """A zigzag in the wrong units would be cut into pieces without end."""
    zigzag = shapely.LineString(np.column_stack((np.tile([-1e9, 1e9], 500), np.linspace(0, 1e9, 1000))))
    gpd.GeoDataFrame(geometry=[zigzag], crs=25832).to_file(tmp_path / "a.gpkg")
    found = open_vector(FileSource(path=tmp_path / "a.gpkg"), "layers[0]")
    with pytest.raises(InputError, match=r"vertices in one feature.*reading\.max_vertices"):
        read_vector(found, ())


def test_features_and_rows(tmp_path: Path) -> None:
    gpd.GeoDataFrame(geometry=shapely.points(np.arange(50.0), 1.0), crs=4326).to_file(tmp_path / "a.gpkg")
    found = open_vector(FileSource(path=tmp_path / "a.gpkg"), "layers[0]")
    with allowing(job(max_rows=50)):
        assert len(read_vector(found, ()).rows) == 50
    with allowing(job(max_rows=49)), pytest.raises(InputError, match=r"50 features to be read, or more.*max_rows"):
        read_vector(found, ())
    (tmp_path / "a.csv").write_text("a\n" + "1\n" * 50)
    with allowing(job(max_rows=10)), pytest.raises(InputError, match=r"a\.csv: 51 rows.*reading\.max_rows"):
        read_csv(FileSource(path=tmp_path / "a.csv"))


ONE_PIECE = {"tiled": True, "blockxsize": 30_000, "blockysize": 30_000, "compress": "deflate"}


def raster_file(path: Path, height: int, width: int, **keys: Any) -> Path:
    shape = {"driver": "GTiff", "height": height, "width": width, "count": 1, "dtype": "uint8", "crs": 4326}
    with rasterio.open(path, "w", transform=Affine(1e-5, 0, 8, 0, -1e-5, 49), sparse_ok=True, **shape, **keys):
        return path


@pytest.mark.parametrize(
    "open_it", [lambda path: read_header(path, Terrain()), lambda path: open_raster(path).__enter__()]
)
def test_rasters_in_one_piece(tmp_path: Path, open_it: Any) -> None:
    path = raster_file(tmp_path / "a.tif", 30_000, 30_000, **ONE_PIECE)
    with pytest.raises(InputError, match=r"900,000,000 cells stored as one piece.*reading\.max_block_cells"):
        open_it(path)
    tiled = raster_file(
        tmp_path / "b.tif", 2_000_000, 2_000_000, tiled=True, blockxsize=4096, blockysize=4096, BIGTIFF="YES"
    )
    with pytest.raises(InputError, match=r"4,000,000,000,000 cells, more than .*reading\.max_raster_cells"):
        open_it(tiled)


def test_a_tile_of_a_virtual_raster_counts_too(tmp_path: Path) -> None:
    raster_file(tmp_path / "a.tif", 30_000, 30_000, **ONE_PIECE)
    (tmp_path / "a.vrt").write_text(
        '<VRTDataset rasterXSize="2" rasterYSize="2"><SRS>EPSG:4326</SRS><GeoTransform>8,0.1,0,49,0,-0.1</GeoTransform>'
        '<VRTRasterBand dataType="Byte" band="1"><SimpleSource><SourceFilename relativeToVRT="1">a.tif</SourceFilename>'
        "<SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>"
    )
    with pytest.raises(InputError, match=r"a\.tif: 900,000,000 cells stored as one piece"):
        read_header(tmp_path / "a.vrt", Terrain())


def bomb(path: Path, name: str, size: int) -> Path:
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open(name, "w", force_zip64=True) as member,
    ):
        for _ in range(size // 10_000_000):
            member.write(bytes(10_000_000))
    return path


def test_archives_that_grow(tmp_path: Path) -> None:
    with allowing(job(max_unpacked_mb=40)):
        with pytest.raises(InputError, match=r"N42E001\.hgt\.zip: 50 MB unpacked.*reading\.max_unpacked_mb"):
            read_header(bomb(tmp_path / "N42E001.hgt.zip", "N42E001.hgt", 50_000_000), Terrain())
        for name in ("a.shp.zip", "a.kmz", "a.zip"):
            with pytest.raises(InputError, match=r"50 MB unpacked.*reading\.max_unpacked_mb"):
                open_vector(FileSource(path=bomb(tmp_path / name, "a.shp", 50_000_000)), "layers[0]")


def osm_text(middle: str) -> str:
    return f'<osm version="0.6"><node id="1" version="1" lon="8" lat="49"/>{middle}</osm>'


@pytest.mark.parametrize("name", ["a.osm", "a.osm.gz", "a.osm.bz2"])
@pytest.mark.parametrize(
    ("middle", "why"),
    [
        ("<!--" + "x" * 3_000_000 + "-->", "a tag or comment of more than a megabyte"),
        ('<node id="2" version="1" lon="8" lat="49"><tag k="a" v="' + "x" * 3_000_000 + '"/></node>', "of more than a"),
        ("\n" * 30_000_000, r"MB unpacked.*reading\.max_unpacked_mb"),
        ("<a>" * 100 + "</a>" * 100, "nested more than"),
        ("&x;", "broken XML"),
    ],
    ids=["comment", "text", "size", "depth", "entity"],
)
def test_extracts_that_grow(tmp_path: Path, name: str, middle: str, why: str) -> None:
    packed = {"gz": gzip.compress, "bz2": bz2.compress}.get(name.rsplit(".")[-1], bytes)
    (tmp_path / name).write_bytes(packed(osm_text(middle).encode()))
    with allowing(job(max_unpacked_mb=20)), pytest.raises(InputError, match=why):
        read_osm(tmp_path / name, rules=None, lines=True)


def test_an_extract_with_a_document_type(tmp_path: Path) -> None:
    (tmp_path / "a.osm").write_text('<!DOCTYPE osm [<!ENTITY x SYSTEM "/etc/hostname">]>' + osm_text("&x;"))
    with pytest.raises(InputError, match="document type"):
        read_osm(tmp_path / "a.osm", rules=None, lines=True)


def test_sound_extracts_in_all_packings(tmp_path: Path) -> None:
    text = osm_text("<!-- > > > -->" * 3).encode()
    for name, packed in (("a.osm", text), ("a.osm.gz", gzip.compress(text)), ("a.osm.bz2", bz2.compress(text))):
        (tmp_path / name).write_bytes(packed)
        assert read_osm(tmp_path / name, rules=None, lines=True).power_ways == ()


def test_edges_of_an_area_that_cross_without_end() -> None:
    ring = shapely.get_coordinates(star(2001))
    halves = [shapely.to_wkb(shapely.LineString(ring[:1001])), shapely.to_wkb(shapely.LineString(ring[1000:]))]
    with pytest.raises(InputError, match="max_crossings"):
        area_from_edges(halves, "map.osm, relation 7")


def test_every_limit_says_how_it_is_lifted() -> None:
    counts = {name for name, field in Reading.model_fields.items() if field.annotation is int}
    assert counts == {
        "max_rows",
        "max_vertices",
        "max_crossings",
        "max_unpacked_mb",
        "max_raster_cells",
        "max_block_cells",
    }
