"""The commands as a user types them."""

import json
import subprocess
import sys

import pytest
from click.testing import CliRunner

from layoutplan.cli.main import cli


@pytest.fixture(scope="module")
def sample(sample_folder):
    return sample_folder / "job.toml"


@pytest.fixture(scope="module")
def planned(sample, tmp_path_factory):
    out = tmp_path_factory.mktemp("plan") / "valley"
    result = CliRunner().invoke(cli, ["plan", str(sample), "--out", str(out), "--timings"])
    return out, result


def test_exit_code_1_because_one_tower_has_no_layout(planned):
    assert planned[1].exit_code == 1


def test_summary_counts_explains_and_warns(planned):
    text = planned[1].stdout
    for words in (
        "27 towers",
        "no layout for tower 105",
        "agreement",
        "plan.gpkg",
        "caution:",
        "take precedence",
        "siting",
    ):
        assert words in text


def test_explain_shows_limits_terms_alternatives_and_exclusions(planned):
    result = CliRunner().invoke(cli, ["explain", str(planned[0]), "107"])
    assert result.exit_code == 0
    for words in ("line_clearance", "50.0", "common practice", "score", "alternatives", "excluded"):
        assert words in result.stdout


def test_explain_the_tower_without_layout(planned):
    result = CliRunner().invoke(cli, ["explain", str(planned[0]), "105"])
    assert "what would give a layout" in result.stdout
    assert "P-0031" in result.stdout


def test_explain_an_unknown_tower_suggests(planned):
    result = CliRunner().invoke(cli, ["explain", str(planned[0]), "1077"])
    assert result.exit_code == 2
    assert "no tower '1077'" in result.stderr
    assert "107" in result.stderr


def test_explain_without_a_plan(tmp_path):
    result = CliRunner().invoke(cli, ["explain", str(tmp_path), "1"])
    assert result.exit_code == 2
    assert "no plan here" in result.stderr


def test_inspect_says_what_is_there(sample):
    result = CliRunner().invoke(cli, ["inspect", str(sample)])
    assert result.exit_code == 0
    for words in ("24 towers", "angle towers", "river_canal", "coverage: the map covers", "SHA-256", "problems"):
        assert words in result.stdout


def test_start_writes_once(tmp_path):
    folder = tmp_path / "new"
    assert CliRunner().invoke(cli, ["start", str(folder)]).exit_code == 0
    assert "[[lines]]" in (folder / "job.toml").read_text("utf-8")
    again = CliRunner().invoke(cli, ["start", str(folder)])
    assert again.exit_code == 2
    assert "left alone" in again.stderr


def test_json_lines_and_nothing_else_on_stdout(sample, tmp_path):
    command = [sys.executable, "-m", "layoutplan", "plan", str(sample), "--out", str(tmp_path / "p"), "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    events = [json.loads(line) for line in done.stdout.splitlines()]
    assert {event["event"] for event in events[:-1]} == {"progress"}
    assert all({"percent", "message"} <= set(event) for event in events[:-1])
    last = events[-1]
    assert last["event"] == "result"
    assert last["output"].endswith("plan.gpkg")
    assert last["summary"]["by_status"]["no layout"] == 1
    assert done.stdout.isascii()


def test_quiet_says_nothing(sample, tmp_path):
    result = CliRunner().invoke(cli, ["plan", str(sample), "--out", str(tmp_path / "p"), "--quiet"])
    assert result.stdout == ""
    assert result.stderr == ""


def test_bad_input_is_one_message_and_code_2(tmp_path):
    job = tmp_path / "job.toml"
    job.write_text('[[lines]]\ntowers = { path = "missing.gpkg" }\n', "utf-8")
    result = CliRunner().invoke(cli, ["plan", str(job), "--out", str(tmp_path / "p")])
    assert result.exit_code == 2
    assert "missing.gpkg" in result.stderr
    assert "Traceback" not in result.stderr
    assert not (tmp_path / "p").exists()


def test_debug_shows_the_traceback(tmp_path):
    result = CliRunner().invoke(cli, ["plan", str(tmp_path / "no.toml"), "--out", str(tmp_path / "p"), "--debug"])
    assert type(result.exception).__name__ == "JobError"


def test_unknown_command_suggests():
    result = CliRunner().invoke(cli, ["pln"])
    assert result.exit_code == 2
    assert "pln" in result.stderr


def test_help_comes_without_the_heavy_libraries():
    code = "import sys; from layoutplan.cli.main import cli; cli(['--help'], standalone_mode=False); "
    code += "sys.exit(any(name in sys.modules for name in ('geopandas', 'folium', 'shapely')))"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, check=False).returncode == 0
