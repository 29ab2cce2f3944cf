"""One job file laid over another."""

import pytest

from layoutplan import load_job
from layoutplan.errors import JobError

BASE = """
title = "below"
[[lines]]
id = "a"
voltage_kv = 220
centreline = { path = "course.gpkg", where = "id = 1" }
towers = { path = "t.csv", id_column = "nr", where = "x = 1" }
[[lines]]
id = "b"
towers = { path = "b.csv" }
[[layers]]
path = "roads.gpkg"
obstacle_class = "main_road"
[rules]
reel_m = 120
min_angle_deg = 35
"""


@pytest.fixture
def laid(tmp_path):
    def laid(over, base=BASE):
        (tmp_path / "above").mkdir(exist_ok=True)
        (tmp_path / "job.toml").write_text(base, "utf-8")
        (tmp_path / "above" / "over.toml").write_text(over, "utf-8")
        return load_job(tmp_path / "job.toml", tmp_path / "above" / "over.toml")

    return laid


def test_keys_of_the_upper_file_count_and_the_others_stay(laid):
    job = laid("[rules]\nreel_m = 200\n")
    assert (job.rules.reel_m, job.rules.min_angle_deg, job.title) == (200, 35, "below")


def test_paths_are_relative_to_the_file_they_stand_in(laid, tmp_path):
    job = laid('[[layers]]\npath = "rail.gpkg"\nobstacle_class = "railway"\n')
    assert [layer.path for layer in job.layers] == [tmp_path / "roads.gpkg", tmp_path / "above" / "rail.gpkg"]


def test_an_obstacle_is_never_taken_off(laid):
    assert len(laid("layers = []\n").layers) == 1


def test_other_towers_leave_nothing_of_the_earlier_source(laid, tmp_path):
    first, second = laid('lines = [{ towers = { path = "t.gpkg" }, voltage_kv = 110 }]\n').lines
    assert first.towers.path == tmp_path / "above" / "t.gpkg"
    assert (first.towers.id_column, first.towers.where, first.centreline) == ("tower_id", None, None)
    assert (first.id, first.voltage_kv, second.id) == ("a", 110, "b")


def test_a_number_of_the_line_leaves_its_towers(laid, tmp_path):
    first = laid("lines = [{ voltage_kv = 110 }]\n").lines[0]
    assert first.towers.path == tmp_path / "t.csv"
    assert first.centreline is not None


@pytest.mark.parametrize(
    ("over", "words"),
    [
        ("[rules]\nreel_lenght_m = 3\n", ["job.toml with", "over.toml", "unknown key 'rules.reel_lenght_m'"]),
        ("[[rules]\n", ["over.toml", "not valid TOML"]),
        ("lines = 3\n", ["lines"]),
        ("lines = [3]\n", ["lines[0]"]),
        ("rules = 3\n", ["rules"]),
    ],
)
def test_errors_name_both_files_or_the_one_that_is_wrong(laid, over, words):
    with pytest.raises(JobError) as err:
        laid(over)
    assert all(word in str(err.value) for word in words), err.value
