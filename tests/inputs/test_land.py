"""Parcels: what a permission comes to on the days of the work."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
from shapely import LineString, Point, box

from layoutplan.errors import ColumnError, InputError, JobError, LayerError
from layoutplan.inputs import read_inputs
from layoutplan.inputs.land import GRANTED, REFUSED, TO_ASK
from layoutplan.job import load_job

TOWERS = gpd.GeoDataFrame({"tower_id": ["1", "2"]}, geometry=[Point(9.0, 47.0), Point(9.004, 47.0)], crs=4326)
CELL = 0.001


def parcels(count: int, **columns: Any) -> gpd.GeoDataFrame:
    """Strips beside each other from the first tower eastwards."""
    shapes = [box(9.0 + i * CELL, 46.999, 9.0 + (i + 1) * CELL, 47.001) for i in range(count)]
    return gpd.GeoDataFrame({"no": [f"7/{i}" for i in range(count)]} | columns, geometry=shapes, crs=4326)


def job_of(folder: Path, table: gpd.GeoDataFrame, land: str, work: str = "") -> Path:
    TOWERS.to_file(folder / "map.gpkg", layer="towers", driver="GPKG")
    table.to_file(folder / "map.gpkg", layer="parcels", driver="GPKG")
    text = (
        '[[lines]]\ntowers = { path = "map.gpkg", layer = "towers" }\n'
        f'[[land]]\npath = "map.gpkg"\nlayer = "parcels"\nparcel_column = "no"\n{land}\n{work}\n'
    )
    (folder / "job.toml").write_text(text, "utf-8")
    return folder / "job.toml"


def states(folder: Path, table: gpd.GeoDataFrame, land: str, work: str = "") -> list[str]:
    return read_inputs(load_job(job_of(folder, table, land, work))).land["state"].tolist()


WORK = "[work]\nfirst_day = 2026-04-13\nlast_day = 2026-04-24"


def test_permissions_in_plain_words(tmp_path: Path) -> None:
    table = parcels(5, state=["granted", "Asked", "REFUSED", "unknown", None])
    found = read_inputs(load_job(job_of(tmp_path, table, 'permission_column = "state"', WORK)))
    assert found.land["state"].tolist() == [GRANTED, TO_ASK, REFUSED, TO_ASK, TO_ASK]
    assert found.land["permission"].tolist() == ["granted", "asked", "refused", "unknown", "unknown"]
    assert found.land["parcel"].tolist() == [f"7/{i}" for i in range(5)]
    kinds = dict(zip(found.features["feature_id"], found.features["obstacle_class"], strict=True))
    assert sorted(kinds.values()) == ["land_unsettled"] * 3 + ["no_entry"]  # granted land is no obstacle
    assert found.problems == ()


def test_words_of_ones_own(tmp_path: Path) -> None:
    table = parcels(3, state=["ja", "nein", "vielleicht"])
    land = 'permission_column = "state"\npermission_map = { ja = "granted", nein = "refused" }'
    found = read_inputs(load_job(job_of(tmp_path, table, land, WORK)))
    assert found.land["state"].tolist() == [GRANTED, REFUSED, TO_ASK]
    assert any("'vielleicht'" in text and "count as unknown" in text for text in found.problems)


PARCEL = """\
<?xml version="1.0" encoding="UTF-8"?>
<gml:FeatureCollection xmlns:gml="http://www.opengis.net/gml/3.2" gml:id="all"
 xmlns:cp="http://inspire.ec.europa.eu/schemas/cp/4.0" xmlns:base="http://inspire.ec.europa.eu/schemas/base/3.3">
<gml:featureMember><cp:CadastralParcel gml:id="CP.1">
<cp:areaValue uom="m2">8400</cp:areaValue>
<cp:geometry><gml:MultiSurface gml:id="m1" srsName="urn:ogc:def:crs:EPSG::4258"><gml:surfaceMember>
<gml:Polygon gml:id="p1"><gml:exterior><gml:LinearRing><gml:posList>
46.999 9.000 46.999 9.001 47.001 9.001 47.001 9.000 46.999 9.000
</gml:posList></gml:LinearRing></gml:exterior></gml:Polygon></gml:surfaceMember></gml:MultiSurface></cp:geometry>
<cp:inspireId><base:Identifier><base:localId>1</base:localId><base:namespace>X</base:namespace></base:Identifier></cp:inspireId>
<cp:label>7</cp:label>
<cp:nationalCadastralReference>X-0007</cp:nationalCadastralReference>
<cp:referencePoint><gml:Point gml:id="r1" srsName="urn:ogc:def:crs:EPSG::4258"><gml:pos>47 9.0005</gml:pos></gml:Point>
</cp:referencePoint></cp:CadastralParcel></gml:featureMember></gml:FeatureCollection>
"""


def test_parcels_as_inspire_has_them(tmp_path: Path) -> None:
    """Latitude first, a point of reference beside the area (INSPIRE D2.8.I.6; the file is invented)."""
    path = job_of(tmp_path, parcels(1), "")
    text = path.read_text("utf-8").replace('path = "map.gpkg"\nlayer = "parcels"\nparcel_column = "no"', "{land}")
    (tmp_path / "parcels.gml").write_text(PARCEL, "utf-8")
    land = 'path = "parcels.gml"\nparcel_column = "nationalCadastralReference"\npermission = "unknown"'
    path.write_text(text.replace("{land}", land), "utf-8")
    found = read_inputs(load_job(path))
    assert found.land[["parcel", "state"]].to_numpy().tolist() == [["X-0007", TO_ASK]]
    assert found.features.geometry.total_bounds == pytest.approx([9.0, 46.999, 9.001, 47.001])


def test_the_credit_of_the_register_is_kept_with_the_file(tmp_path: Path) -> None:
    job = load_job(job_of(tmp_path, parcels(2), 'permission = "granted"\nattribution = "The land office"'))
    (file,) = read_inputs(job).files
    assert file.attribution == "The land office"


@pytest.mark.parametrize(
    ("start", "end", "work", "expected"),
    [
        ("2026-01-01", "2026-12-31", WORK, GRANTED),
        ("2026-04-13", "2026-04-24", WORK, GRANTED),
        ("2026-04-14", None, WORK, TO_ASK),
        (None, "2026-04-23", WORK, TO_ASK),
        (None, None, WORK, GRANTED),
        (None, None, "", GRANTED),
        ("2026-01-01", None, "", TO_ASK),  # without days of work nobody knows whether it holds
        ("2026-04-20", None, "[work]\nfirst_day = 2026-04-20", GRANTED),
    ],
)
def test_dated_permission(tmp_path: Path, start: str | None, end: str | None, work: str, expected: str) -> None:
    table = parcels(1, state=["granted"], since=[start], until=[end])
    land = 'permission_column = "state"\nvalid_from_column = "since"\nvalid_to_column = "until"'
    assert states(tmp_path, table, land, work) == [expected]


def test_dates_kept_as_dates(tmp_path: Path) -> None:
    table = parcels(2, state=["granted"] * 2, until=[date(2026, 4, 24), date(2026, 4, 23)])
    assert states(tmp_path, table, 'permission_column = "state"\nvalid_to_column = "until"', WORK) == [GRANTED, TO_ASK]


@pytest.mark.parametrize(
    ("season", "work", "expected"),
    [
        (("03-01", "07-31"), WORK, REFUSED),
        (("04-24", "07-31"), WORK, REFUSED),
        (("04-25", "07-31"), WORK, GRANTED),
        (("11-01", "04-12"), WORK, GRANTED),  # over new year
        (("11-01", "04-13"), WORK, REFUSED),
        (("02-29", "02-29"), "[work]\nfirst_day = 2026-02-28", REFUSED),
        (("01-01", "02-29"), "[work]\nfirst_day = 2028-02-29", REFUSED),  # a leap year has the day
        (("02-29", "02-29"), "[work]\nfirst_day = 2028-02-28", GRANTED),
        (("03-01", "07-31"), "", TO_ASK),
        (("12-20", "01-10"), "[work]\nfirst_day = 2026-12-28\nlast_day = 2027-01-20", REFUSED),
    ],
)
def test_closed_season(tmp_path: Path, season: tuple[str, str], work: str, expected: str) -> None:
    land = f'permission = "granted"\nclosed_from = "{season[0]}"\nclosed_to = "{season[1]}"'
    assert states(tmp_path, parcels(1), land, work) == [expected]


def test_owner_reference_only(tmp_path: Path) -> None:
    table = parcels(1, ref=["P-0031"], owner=["a name that is nobody's business"], state=["refused"])
    land = 'permission_column = "state"\nowner_column = "ref"'
    found = read_inputs(load_job(job_of(tmp_path, table, land, WORK)))
    assert found.land["owner_ref"].tolist() == ["P-0031"]
    assert not any("nobody" in str(value) for value in [*found.land.astype(str).to_numpy().ravel()])
    assert found.features["name"].tolist() == ["parcel 7/0 (owner P-0031) permission refused"]


def test_overlapping_parcels_are_named(tmp_path: Path) -> None:
    table = parcels(3, state=["granted", "refused", "granted"])
    table.geometry = [*table.geometry[:2], box(9.0015, 46.999, 9.003, 47.001)]
    found = read_inputs(load_job(job_of(tmp_path, table, 'permission_column = "state"', WORK)))
    assert any("1 pair of parcels overlap (7/1 and 7/2)" in text for text in found.problems)


@pytest.mark.parametrize(
    ("columns", "land", "error", "words"),
    [
        ({"since": ["2026-05-01"], "until": ["2026-04-01"]},
         'permission = "granted"\nvalid_from_column = "since"\nvalid_to_column = "until"', ColumnError,
         ["feature 1", "ends (2026-04-01) before it begins (2026-05-01)"]),
        ({"since": ["next week"]}, 'permission = "granted"\nvalid_from_column = "since"', ColumnError,
         ["feature 1", "'since'", "'next week' is no date", "2026-04-13"]),
        ({}, 'permission_column = "state"', ColumnError, ["no column 'state'", "land[0].permission_column"]),
        ({}, 'permission = "maybe"', JobError, ["'granted', 'asked', 'refused' or 'unknown'"]),
        ({"state": ["granted"]}, 'permission = "granted"\npermission_column = "state"', JobError, ["not both"]),
        ({}, 'closed_from = "03-01"', JobError, ["go together"]),
        ({}, 'closed_from = "04-31"\nclosed_to = "05-01"', JobError, ["closed_from", "'04-31' is no day of the year"]),
    ],
)  # fmt: skip
def test_bad_input(
    tmp_path: Path, columns: dict[str, Any], land: str, error: type[Exception], words: list[str]
) -> None:
    with pytest.raises(error) as caught:
        states(tmp_path, parcels(1, **columns), land, WORK)
    for word in words:
        assert word in str(caught.value)


def test_days_in_the_wrong_order(tmp_path: Path) -> None:
    work = "[work]\nfirst_day = 2026-04-24\nlast_day = 2026-04-13"
    with pytest.raises(JobError, match="before first_day"):
        states(tmp_path, parcels(1), 'permission = "granted"', work)


def test_lines_are_no_parcels(tmp_path: Path) -> None:
    table = gpd.GeoDataFrame({"no": ["1"]}, geometry=[LineString([(9, 47), (9.001, 47)])], crs=4326)
    with pytest.raises(LayerError, match="LineString where an area was expected"):
        states(tmp_path, table, 'permission = "granted"')


def test_a_missing_file(tmp_path: Path) -> None:
    path = job_of(tmp_path, parcels(1), 'permission = "granted"')
    path.write_text(path.read_text("utf-8").replace('path = "map.gpkg"\nlayer', 'path = "gone.gpkg"\nlayer'), "utf-8")
    with pytest.raises(InputError, match="no such file"):
        read_inputs(load_job(path))
