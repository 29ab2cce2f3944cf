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


def kept(folder) -> list[str]:
    """Files that would be kept if a plan wrote others of their names."""
    elsewhere = folder.parent / f"{folder.name} new"
    elsewhere.mkdir(exist_ok=True)
    for path in folder.iterdir():
        (elsewhere / path.name).write_text("new", "utf-8")
    return sorted(kept_copies(folder, elsewhere.iterdir()))


def test_nothing_changed_nothing_kept(folder, make_plan) -> None:
    assert kept(folder) == []
    write_plan(make_plan(12, formats=FORMATS), folder)
    assert sorted(path.name for path in folder.iterdir()) == ["plan.gpkg", "plan.json", "stakes.csv"]


def test_a_file_that_was_only_opened_is_not_kept(folder) -> None:
    content = bytearray((folder / "plan.gpkg").read_bytes())
    content[27] ^= 1  # SQLite's change counter
    (folder / "plan.gpkg").write_bytes(content)
    assert kept(folder) == []


@pytest.mark.long
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
    assert kept(folder) == ["notes.txt", "plan_earlier.gpkg", "stakes_earlier.csv", "waypoints_earlier.gpx"]


@pytest.mark.long
def test_a_second_time_takes_another_name(folder, make_plan) -> None:
    for text in ("first", "second", "third"):
        (folder / "stakes.csv").write_text(text, "utf-8")
        write_plan(make_plan(12, formats=FORMATS), folder)
    found = [(folder / f"stakes_earlier{number}.csv").read_text("utf-8") for number in ("", "_2", "_3")]
    assert found == ["first", "second", "third"]


@pytest.mark.long
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


@pytest.mark.long
@pytest.mark.parametrize("text", ["", "[]", "{}", '{"files": 3}', '{"files": [{"file": "plan.gpkg"}]}', "\x00"])
def test_where_no_record_says_whose_the_files_are_all_are_kept(folder, make_plan, text) -> None:
    before = {name: (folder / name).read_bytes() for name in ("plan.gpkg", "stakes.csv")}
    (folder / "plan.json").write_text(text, "utf-8")
    write_plan(make_plan(12, formats=FORMATS), folder)
    for name, content in before.items():
        copy = (folder / name).with_stem(f"{Path(name).stem}_earlier")
        assert copy.read_bytes() == content
    ours = "files" in text and text != '{"files": 3}'
    assert (folder / "plan_earlier.json").exists() != ours


@pytest.mark.long
def test_files_of_the_user_in_a_folder_without_a_plan_are_kept(make_plan, tmp_path) -> None:
    own = {"stakes.csv": "my towers", "plan.json": '{"my": "plan"}', "waypoints.gpx": "mine", "plan.gpkg": "my layers"}
    for name, text in own.items():
        (tmp_path / name).write_text(text, "utf-8")
    write_plan(make_plan(formats=(*FORMATS, "gpx")), tmp_path)
    for name, text in own.items():
        assert (tmp_path / name).with_stem(f"{Path(name).stem}_earlier").read_text("utf-8") == text
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]


def test_a_link_of_the_user_is_kept_and_what_it_leads_to_is_not_written(make_plan, tmp_path) -> None:
    (tmp_path / "elsewhere.csv").write_text("mine", "utf-8")
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "stakes.csv").symlink_to(tmp_path / "elsewhere.csv")
    write_plan(make_plan(formats=("csv", "json")), tmp_path / "out")
    assert (tmp_path / "elsewhere.csv").read_text("utf-8") == "mine"
    assert (tmp_path / "out" / "stakes_earlier.csv").is_symlink()
    assert not (tmp_path / "out" / "stakes.csv").is_symlink()


def test_a_folder_of_that_name_is_refused(make_plan, tmp_path) -> None:
    (tmp_path / "stakes.csv").mkdir()
    with pytest.raises(OutputError, match="is a folder"):
        write_plan(make_plan(formats=("csv", "json")), tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["stakes.csv"]


def test_exporting_over_a_changed_file_says_so(folder) -> None:
    (folder / "stakes.csv").write_text("a note", "utf-8")
    done = CliRunner().invoke(cli, ["export", str(folder), "--to", "csv"])
    assert done.exit_code == 0, done.output
    assert "stakes.csv was not, or is no longer, as this program wrote it: kept as stakes_earlier.csv" in done.stderr
    assert (folder / "stakes_earlier.csv").read_text("utf-8") == "a note"
