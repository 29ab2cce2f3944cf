"""plan.json: everything to defend the plan with, nothing of the machine."""

import hashlib
import json
from pathlib import Path

from layoutplan.job import shipped_classes
from layoutplan.layout.rules import STATUSES
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.record import short_names, write_record
from layoutplan.outputs.words import STATUS_MEANING
from layoutplan.store.record import FORMAT_VERSION, read_plan_record


def test_contents(plan, tmp_path) -> None:
    (tmp_path / "stakes.csv").write_bytes(b"x")
    write_record(plan, tmp_path)
    record = read_plan_record(tmp_path)
    assert record["format_version"] == FORMAT_VERSION
    assert record["summary"] == plan.summary
    assert record["plan_number"] == plan_number(plan)
    assert record["inputs"][0]["sha256"] == "ab" * 32
    assert record["inputs"][1]["data_date"] == "2026-03-01"
    assert record["cautions"] == list(plan.cautions)
    assert record["settings"]["rules"]["reel_m"] == plan.job.rules.reel_m
    assert set(record["obstacle_classes"]) == set(shipped_classes())
    assert record["obstacle_classes"]["power_line"]["keep_out_m"] == plan.job.rules.line_clearance_m
    assert set(record["software"]) == {"layoutplan", "python", "numpy", "shapely", "GEOS", "pyproj", "PROJ", "GDAL"}
    assert record["files"] == [{"file": "stakes.csv", "sha256": hashlib.sha256(b"x").hexdigest()}]


def test_every_status_is_explained() -> None:
    assert tuple(STATUS_MEANING) == STATUSES
    assert not any("safe" in text.lower() for text in STATUS_MEANING.values())


def test_nothing_of_the_machine(make_plan, tmp_path) -> None:
    plan = make_plan(font=Path("/home/somebody/fonts/letters.ttf"))
    terrain = plan.job.terrain.model_copy(update={"files": (Path("/home/somebody/maps/dem.tif"),)})
    object.__setattr__(plan, "job", plan.job.model_copy(update={"terrain": terrain}))
    text = write_record(plan, tmp_path).read_text("utf-8")
    assert "/home" not in text
    assert str(tmp_path) not in text
    record = json.loads(text)
    assert record["settings"]["lines"][0]["towers"]["path"] == "towers.gpkg"
    assert record["settings"]["output"]["font"] == "letters.ttf"
    assert record["settings"]["terrain"]["files"] == ["dem.tif"]
    assert record["problems"] == ["valley.osm.pbf: 2 areas could not be built {{7*7}}."]
    assert "workers" not in record["settings"]["search"]


def test_same_plan_same_bytes_whatever_the_workers(plan, make_plan, tmp_path) -> None:
    first = write_record(plan, tmp_path).read_bytes()
    (tmp_path / "plan.json").unlink()
    search = plan.job.search.model_copy(update={"workers": 7})
    object.__setattr__(plan, "job", plan.job.model_copy(update={"search": search}))
    assert write_record(plan, tmp_path).read_bytes() == first


def test_short_names_tell_files_apart() -> None:
    paths = [Path("/a/x/map.gpkg"), Path("/a/y/map.gpkg"), Path("/b/y/map.gpkg"), Path("/a/towers.csv")]
    names = short_names(paths)
    assert names[paths[0]] == "x/map.gpkg"
    assert names[paths[1]] == "a/y/map.gpkg"
    assert names[paths[2]] == "b/y/map.gpkg"
    assert names[paths[3]] == "towers.csv"
