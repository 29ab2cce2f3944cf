"""The comparison of plans made with several versions must find what differs, and let pass what is rounding."""

import importlib.util
import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from layoutplan.outputs import write_plan

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def comparison():
    spec = importlib.util.spec_from_file_location("same_tables", ROOT / "tests" / "same_tables.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def two(make_plan, tmp_path):
    """A plan and a copy, said to be made with another GDAL."""
    write_plan(make_plan(6, formats=("gpkg", "json")), tmp_path / "one")
    shutil.copytree(tmp_path / "one", tmp_path / "other")
    record = json.loads((tmp_path / "other" / "plan.json").read_text("utf-8"))
    record["software"]["GDAL"] = "0.0.0"
    (tmp_path / "other" / "plan.json").write_text(json.dumps(record), "utf-8")
    return tmp_path / "one", tmp_path / "other"


def change(folder, statement):
    with closing(sqlite3.connect(folder / "plan.gpkg")) as base:
        for (name,) in base.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            base.execute(f'DROP TRIGGER "{name}"')
        base.execute(statement)
        base.commit()


def test_a_plan_is_the_same_as_itself(comparison, two):
    assert comparison.main([str(folder) for folder in two]) == 0


@pytest.mark.first(1)
@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE electrodes SET lon = lon + 1e-7",
        "UPDATE electrodes SET distance_m = distance_m + 0.01",
        "UPDATE electrodes SET score = score * (1 + 5e-7)",
        "UPDATE towers SET reasons = replace(reasons, '43.2', '43.3')",
    ],
)
def test_one_step_of_rounding_is_no_difference(comparison, two, statement):
    change(two[1], statement)
    assert list(comparison.differences(*two)) == []


@pytest.mark.first(1)
@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE electrodes SET lon = lon + 2.1e-7 WHERE fid = 3", "electrodes, row 3, lon: "),
        ("UPDATE electrodes SET distance_m = distance_m + 0.03 WHERE fid = 2", "electrodes, row 2, distance_m: "),
        ("UPDATE electrodes SET score = score * 1.00001 WHERE fid = 1", "electrodes, row 1, score: "),
        ("UPDATE electrodes SET lon = NULL WHERE fid = 1", "row 1, lon: None, not "),
        ("UPDATE towers SET status = 'compromise' WHERE fid = 1", "towers, row 1, status: 'compromise', not "),
        ("UPDATE towers SET reasons = replace(reasons, '43.2', '43.4')", "reasons: "),
        ("UPDATE towers SET tower_id = '009' WHERE fid = 1", "towers, row 1, tower_id: "),
        (
            "UPDATE leads SET geom = (SELECT geom FROM leads WHERE fid = 2) WHERE fid = 1",
            "leads, row 1, geom: geometry",
        ),
        ("DELETE FROM checks WHERE fid = 1", "checks: "),
        ("ALTER TABLE checks ADD COLUMN more TEXT", "checks: "),
        ("DELETE FROM gpkg_contents WHERE table_name = 'checks'", "other tables: checks"),
    ],
)
def test_what_differs_is_named(comparison, two, statement, words):
    change(two[1], statement)
    found = list(comparison.differences(*two))
    assert any(words in text for text in found), found
    assert comparison.main([str(folder) for folder in two]) == 1


def test_the_same_software_must_give_the_same_bytes(comparison, two, tmp_path):
    shutil.copy(tmp_path / "one" / "plan.json", tmp_path / "other" / "plan.json")
    assert list(comparison.differences(*two)) == []
    change(two[1], "UPDATE electrodes SET lon = lon + 1e-9")
    assert "not the same bytes" in "".join(comparison.differences(*two))
