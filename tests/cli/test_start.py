"""``layoutplan start``: what is written can be used at once, and nothing of the user's is touched."""

import errno
import os
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from layoutplan.cli.main import cli
from layoutplan.job.sample import SAMPLE_FILES, write_sample

ROOT = Path(__file__).parents[2]


def start(folder, *options):
    return CliRunner().invoke(cli, ["start", *options, str(folder)])


def contents(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.mark.long
def test_the_sample_is_the_one_of_the_repository_and_can_be_used_at_once(sample_folder, tmp_path):
    folder = tmp_path / "new" / "valley"
    done = start(folder, "--sample")
    assert (done.exit_code, done.stderr) == (0, "")
    assert f"layoutplan plan {folder / 'job.toml'}" in done.stdout
    assert contents(folder) == {name: (sample_folder / name).read_bytes() for name in SAMPLE_FILES}
    for job in ("job.toml", "job_land.toml", "job_osm.toml"):
        looked = CliRunner().invoke(cli, ["inspect", str(folder / job)])
        assert looked.exit_code == 0, looked.stderr
        assert "no such file" not in looked.output


def test_the_wheel_carries_all_files_of_the_sample_but_the_script_that_makes_them(sample_folder):
    """What the build is told; that a wheel alone is enough is tried where one is built."""
    build = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert build["force-include"] == {f"sample_gis/{name}": f"layoutplan/sample/{name}" for name in SAMPLE_FILES}
    there = {path.name for path in sample_folder.iterdir() if path.is_file()}
    assert there - set(SAMPLE_FILES) == {"make_sample.py"}


@pytest.mark.parametrize("name", ["job.toml", "dem.tif", "fault_currents.csv"])
def test_what_is_there_is_left_alone(tmp_path, name):
    (tmp_path / name).write_text("mine", "utf-8")
    done = start(tmp_path, "--sample")
    assert done.exit_code == 2
    assert done.stderr == f"error: {tmp_path / name} exists and was left alone. Choose another folder.\n"
    assert contents(tmp_path) == {name: b"mine"}


def test_a_link_that_leads_nowhere_is_left_alone(tmp_path):
    (tmp_path / "dem.tif").symlink_to(tmp_path / "gone" / "dem.tif")
    assert start(tmp_path, "--sample").exit_code == 2
    assert [path.name for path in tmp_path.iterdir()] == ["dem.tif"]


def test_a_folder_with_other_things_in_it_is_fine(tmp_path):
    (tmp_path / "notes.txt").write_text("mine", "utf-8")
    assert start(tmp_path, "--sample").exit_code == 0
    assert set(contents(tmp_path)) == {*SAMPLE_FILES, "notes.txt"}


def test_no_half_of_a_sample_stays_on_a_full_disk(tmp_path, monkeypatch):
    """The disk is full when the third file is opened."""
    opened = []
    plain = Path.open

    def full(path, mode="r", *rest, **more):
        if mode == "xb":
            opened.append(path)
            if len(opened) == 3:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return plain(path, mode, *rest, **more)

    monkeypatch.setattr(Path, "open", full)
    done = start(tmp_path / "s", "--sample")
    assert done.exit_code == 2
    assert "the sample cannot be written: No space left on device" in done.stderr
    assert contents(tmp_path / "s") == {}


def test_into_a_file(tmp_path):
    (tmp_path / "s").write_text("mine", "utf-8")
    done = start(tmp_path / "s", "--sample")
    assert done.exit_code == 2
    assert "is a file" in done.stderr


def test_the_same_from_python(tmp_path):
    assert write_sample(tmp_path / "a") == tmp_path / "a" / "job.toml"
