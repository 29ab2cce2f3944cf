"""plan.gpkg, read back with SQLite alone and with the reader."""

import sqlite3
import struct
import time
from contextlib import closing

import numpy as np
import pyogrio
import pytest

from layoutplan.errors import OutputError
from layoutplan.outputs.columns import TABLES
from layoutplan.outputs.gpkg import write_gpkg
from layoutplan.written.read import read_plan_tables


def query(path, sql: str) -> list[tuple]:
    with closing(sqlite3.connect(path)) as base:
        return base.execute(sql).fetchall()


def point(blob: bytes) -> tuple[float, float]:
    """Decode a point from GeoPackage binary (OGC 12-128r18, clause 2.1.3): header, optional envelope, then WKB."""
    assert blob[:2] == b"GP"
    envelope = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}[(blob[3] >> 1) & 7]
    order, kind, x, y = struct.unpack("<BIdd", blob[8 + envelope : 8 + envelope + 21])
    assert (order, kind) == (1, 1)
    return x, y


def test_layers_columns_rows(plan, tmp_path) -> None:
    path = write_gpkg(plan, tmp_path)
    kinds = dict(query(path, "SELECT table_name, data_type FROM gpkg_contents"))
    styles = {"layer_styles": "attributes"}
    assert kinds == styles | {name: "features" if table.geometry else "attributes" for name, table in TABLES.items()}
    for name, table in TABLES.items():
        columns = [row[1] for row in query(path, f'PRAGMA table_info("{name}")') if row[1] not in ("fid", "geom")]
        assert columns == list(table.columns)
        assert query(path, f'SELECT count(*) FROM "{name}"') == [(len(getattr(plan, name)),)]
    assert query(path, "PRAGMA quick_check") == [("ok",)]
    assert query(path, "PRAGMA user_version") == [(10300,)]  # GeoPackage 1.3


def test_values_survive_letter_for_letter(plan, tmp_path) -> None:
    path = write_gpkg(plan, tmp_path)
    rows = query(path, 'SELECT tower_id, "order", lon, lat, map_covers, geom FROM towers ORDER BY fid')
    assert [row[0] for row in rows] == plan.towers["tower_id"].tolist()
    assert [row[1] for row in rows] == plan.towers["order"].tolist()
    assert [bool(row[4]) for row in rows] == plan.towers["map_covers"].tolist()
    for _, _, lon, lat, _, blob in rows:
        assert point(blob) == (lon, lat)
    unknown = query(path, "SELECT count(*) FROM checks WHERE measured IS NULL AND verdict = 'unknown'")
    assert unknown == [(len(plan.electrodes),)]


@pytest.mark.long
def test_same_plan_same_bytes(plan, tmp_path) -> None:
    files = []
    for name in "ab":
        (tmp_path / name).mkdir()
        files.append(write_gpkg(plan, tmp_path / name).read_bytes())
        time.sleep(0.01)  # the time of writing has milliseconds
    assert files[0] == files[1]
    assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") is None


def test_empty_tables_make_layers(empty_plan, tmp_path) -> None:
    path = write_gpkg(empty_plan, tmp_path)
    types = {row[1]: row[2] for row in query(path, 'PRAGMA table_info("electrodes")')}
    assert types["geom"] == "POINT"
    assert types["distance_m"] == "REAL"
    assert types["tower_id"] == "TEXT"
    assert {row[1] for row in query(path, 'PRAGMA table_info("exclusions")')} >= {"candidates", "of"}


@pytest.mark.long
def test_other_coordinate_system(make_plan, tmp_path) -> None:
    plan = make_plan(crs="EPSG:2056")  # the Swiss system
    path = write_gpkg(plan, tmp_path)
    assert query(path, "SELECT DISTINCT srs_id FROM gpkg_geometry_columns") == [(2056,)]
    (east, north) = point(query(path, "SELECT geom FROM towers LIMIT 1")[0][0])
    assert 2_740_000 < east < 2_780_000
    assert 1_210_000 < north < 1_240_000
    assert query(path, "SELECT lon FROM towers LIMIT 1")[0][0] == plan.towers["lon"].iloc[0]


@pytest.mark.first(1)
@pytest.mark.parametrize(
    ("crs", "message"),
    [
        ("EPSG:999999", r"output\.crs': 'EPSG:999999'"),
        ("nonsense", r"output\.crs': 'nonsense'"),
        ("+proj=gnom +lat_0=-47 +lon_0=-170", "layer 'towers': positions cannot be expressed"),  # the other hemisphere
    ],
)
def test_unusable_coordinate_systems(make_plan, tmp_path, crs: str, message: str) -> None:
    with pytest.raises(OutputError, match=message):
        write_gpkg(make_plan(crs=crs), tmp_path)


def test_read_back(plan, tmp_path) -> None:
    write_gpkg(plan, tmp_path)
    tables = read_plan_tables(tmp_path)
    assert set(tables) == set(TABLES)
    for name in ("electrodes", "checks", "relaxations"):
        found, given = tables[name], getattr(plan, name)
        assert found["tower_id"].tolist() == given["tower_id"].tolist()
    assert np.allclose(tables["electrodes"]["distance_m"], plan.electrodes["distance_m"])
    assert tables["leads"].crs == "EPSG:4326"
