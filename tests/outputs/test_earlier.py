"""What somebody changed in the folder of a plan is not lost when a new plan is written there."""

from pathlib import Path

import geopandas as gpd
import pyogrio
import pytest
from click.testing import CliRunner

from layoutplan.cli.main import cli
from layoutplan.errors import OutputError
from layoutplan.outputs import write, write_plan
from layoutplan.outputs.earlier import kept_copies

FORMATS = ("gpkg", "csv", "json")


@pytest.fixture
def folder(make_plan, tmp_path) -> Path:
    write_plan(make_plan(formats=FORMATS), tmp_path)
    return tmp_path


def move_a_stake(folder: Path) -> gpd.GeoDataFrame:
    """Do what a person does in a GIS: change the layer of electrodes and save."""
    stakes = pyogrio.read_dataframe(folder / "plan.gpkg", layer="electrodes")
    stakes.loc[0, "geometry"] = stakes.geometry.translate(0.001, 0.0).iloc[0]
    pyogrio.write_dataframe(stakes, folder / "plan.gpkg", layer="electrodes", driver="GPKG")
    return stakes


def test_nothing_changed_nothing_kept(folder, make_plan) -> None:
    assert kept_copies(folder) == {}
    write_plan(make_plan(12, formats=FORMATS), folder)
    assert sorted(path.name for path in folder.iterdir()) == ["plan.gpkg", "plan.json", "stakes.csv"]


def test_a_file_that_was_only_opened_is_not_kept(folder) -> None:
    content = bytearray((folder / "plan.gpkg").read_bytes())
    content[27] ^= 1  # SQLite's change counter
    (folder / "plan.gpkg").write_bytes(content)
    assert kept_copies(folder) == {}


def test_stakes_that_were_moved_and_notes_that_were_added_are_kept(folder, make_plan) -> None:
    stakes = move_a_stake(folder)
    (folder / "stakes.csv").write_text("a note", "utf-8")
    (folder / "waypoints.gpx").write_text("the user's own", "utf-8")  # not written by the plan, bears its name
    (folder / "notes.txt").write_text("the user's own", "utf-8")
    write_plan(make_plan(12, formats=(*FORMATS, "gpx")), folder)
    again = pyogrio.read_dataframe(folder / "plan_earlier.gpkg", layer="electrodes")
    assert again.geometry.geom_equals(stakes.geometry).all()
    assert (folder / "stakes_earlier.csv").read_text("utf-8") == "a note"
    assert (folder / "waypoints_earlier.gpx").read_text("utf-8") == "the user's own"
    assert len(pyogrio.read_dataframe(folder / "plan.gpkg", layer="towers")) == 12
    assert kept_copies(folder) == {}


def test_a_second_time_takes_another_name(folder, make_plan) -> None:
    for text in ("first", "second", "third"):
        (folder / "stakes.csv").write_text(text, "utf-8")
        write_plan(make_plan(12, formats=FORMATS), folder)
    found = [(folder / f"stakes_earlier{number}.csv").read_text("utf-8") for number in ("", "_2", "_3")]
    assert found == ["first", "second", "third"]


def test_a_run_that_fails_leaves_no_copy(folder, make_plan, monkeypatch) -> None:
    (folder / "stakes.csv").write_text("a note", "utf-8")
    replace = write.os.replace

    def held_open(source, target):
        if Path(target).name == "plan.json":
            raise PermissionError(13, "Permission denied", str(source), None, str(target))
        replace(source, target)

    monkeypatch.setattr(write.os, "replace", held_open)
    with pytest.raises(OutputError):
        write_plan(make_plan(12, formats=FORMATS), folder)
    assert (folder / "stakes.csv").read_text("utf-8") == "a note"
    assert not list(folder.glob("*_earlier*"))


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"files": 3}', '{"files": [{"file": "plan.gpkg"}]}', "\x00"])
def test_a_record_that_says_nothing_keeps_nothing(folder, text) -> None:
    move_a_stake(folder)
    (folder / "plan.json").write_text(text, "utf-8")
    assert kept_copies(folder) == {}


def test_exporting_over_a_changed_file_says_so(folder) -> None:
    (folder / "stakes.csv").write_text("a note", "utf-8")
    done = CliRunner().invoke(cli, ["export", str(folder), "--to", "csv"])
    assert done.exit_code == 0, done.output
    assert "stakes.csv was changed after the earlier plan was written: kept as stakes_earlier.csv" in done.stderr
    assert (folder / "stakes_earlier.csv").read_text("utf-8") == "a note"
