"""The commands as a user types them."""

import json
import re
import subprocess
import sys

import pytest
from click.testing import CliRunner

from layoutplan.cli.main import cli
from layoutplan.written.read import read_plan_tables

from ..changed_package import small_job


@pytest.fixture(scope="module")
def sample(sample_folder):
    return sample_folder / "job.toml"


@pytest.fixture(scope="module")
def planned(sample_run):
    """Its folder, to be read only, what was said, and the exit code."""
    return sample_run


@pytest.fixture(scope="module")
def no_load(tmp_path_factory):
    """A job that says nothing of load and faults."""
    folder = tmp_path_factory.mktemp("no_load")
    rows = [f"{n},{8 + 0.004 * n:.5f},46.0\n" for n in range(5)]
    (folder / "towers.csv").write_text("tower_id,lon,lat\n" + "".join(rows), "utf-8")
    text = '[[lines]]\nvoltage_kv = 220\ntowers = { path = "towers.csv" }\n[output]\nformats = ["gpkg", "json"]\n'
    (folder / "job.toml").write_text(text, "utf-8")
    return folder / "job.toml"


@pytest.fixture(scope="module")
def planned_without_load(no_load, tmp_path_factory):
    """Its folder, to be read only, and what was said."""
    folder = tmp_path_factory.mktemp("planned") / "p"
    return folder, CliRunner().invoke(cli, ["plan", str(no_load), "--out", str(folder)]).stdout


def strictly(text):
    """JSON without NaN and infinity, which the format does not have (RFC 8259, section 6)."""

    def refuse(constant):
        raise AssertionError(f"{constant} is not JSON")

    return json.loads(text, parse_constant=refuse)


def test_exit_code_1_because_one_tower_has_no_layout(planned):
    assert planned[2] == 1


def test_summary_counts_explains_and_warns(planned):
    text = planned[1]
    for words in (
        "27 towers",
        "tower 105: no layout; would give a layout: ",
        "agreement",
        "plan.gpkg",
        "caution:",
        "take precedence",
        "siting",
    ):
        assert words in text


def test_summary_names_the_worst_exposures(planned):
    text = planned[1]
    worst = json.loads((planned[0] / "plan.json").read_text("utf-8"))["summary"]["worst_exposure"]
    assert set(worst) == {"in service", "under a fault"}
    for state, row in worst.items():
        (line,) = [line for line in text.splitlines() if line.startswith(f"  worst exposure {state}: ")]
        assert f"{row['exposure']}, " in line
        assert f" at {row['tower_id']} ({row['role']})" in line
        value, times = re.search(r", ([\d.]+) \S+, ([\d.]+) times the limit of ", line).groups()
        assert float(value) == pytest.approx(row["value"], rel=0.006)
        assert float(times) == pytest.approx(row["value"] / row["limit"], rel=0.006)
    assert re.search(r"bias of the reading beyond 10 % at \d+ of 26 towers", text)
    assert re.search(r"unknown at 3$", text, re.MULTILINE)  # towers within a station's grid
    assert text.partition("written:")[0].count("unknown") == 1


def test_summary_counts_what_is_unknown(planned_without_load):
    folder, text = planned_without_load
    exposures = read_plan_tables(folder)["exposures"]
    unknown = int(exposures["ratio"].isna().sum())
    assert f"{unknown} of {len(exposures)} exposures are unknown: inputs missing, see the table exposures" in text
    assert "worst exposure known in service: " in text
    assert "worst exposure known under a fault: none; all are unknown" in text


def test_a_plan_without_any_layout_is_written_and_told(no_load, tmp_path):
    """An earth electrode so large that no reel reaches far enough out."""
    job = tmp_path / "job.toml"
    text = no_load.read_text("utf-8").replace("towers.csv", str(no_load.with_name("towers.csv")))
    text = text.replace('"json"]', '"json", "map"]')
    job.write_text(text + "[rules]\nelectrode_size_multiple = 20\n", "utf-8")
    result = CliRunner().invoke(cli, ["plan", str(job), "--out", str(tmp_path / "p")])
    assert result.exit_code == 1
    assert "5  no layout" in result.stdout
    assert "exposure" not in result.stdout
    assert (tmp_path / "p" / "map.html").stat().st_size > 100_000
    told = CliRunner().invoke(cli, ["explain", str(tmp_path / "p"), "2"])
    assert told.exit_code == 0
    assert "would give a layout (ask for them in this order)" in told.stdout


def test_explain_shows_exposures_and_what_is_unknown(planned, planned_without_load):
    text = CliRunner().invoke(cli, ["explain", str(planned[0]), "107"]).stdout
    for words in ("standing voltage of the tower", "IEC 60364-4-41", "EN 50522", "rods to bring", "voltage on arrival"):
        assert words in text
    text = CliRunner().invoke(cli, ["explain", str(planned_without_load[0]), "2"]).stdout
    assert re.search(r"\[unknown: .*no load current given", text)
    assert "nan" not in text.lower()


@pytest.mark.long
def test_json_of_unknown_figures_is_json(no_load, tmp_path):
    result = CliRunner().invoke(cli, ["plan", str(no_load), "--out", str(tmp_path / "p"), "--json"])
    last = strictly(result.stdout.splitlines()[-1])
    assert last["event"] == "result"
    assert last["summary"]["exposures_unknown"] > 0
    assert "under a fault" not in last["summary"]["worst_exposure"]


def test_explain_shows_limits_terms_alternatives_and_exclusions(planned):
    result = CliRunner().invoke(cli, ["explain", str(planned[0]), "107"])
    assert result.exit_code == 0
    for words in ("line clearance", "50.0", "common practice", "score", "alternatives", "excluded"):
        assert words in result.stdout


def test_explain_the_tower_without_layout(planned):
    result = CliRunner().invoke(cli, ["explain", str(planned[0]), "105"])
    assert "would give a layout (ask for them in this order)" in result.stdout
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


@pytest.mark.first(1)
@pytest.mark.parametrize(
    ("more", "words"),
    [
        ('[terrain]\nfiles = ["towers.csv"]\n', "towers.csv: cannot be read as an elevation raster"),
        ('[[fixed]]\ntower = "107"\nrole = "H"\nlon = 47.29\nlat = 9.85\n', "fixed[0]: stake H would stand"),
        ('[output]\ncrs = "metres"\n', "'output.crs': 'metres' is no coordinate reference system"),
    ],
)
def test_inspect_refuses_what_planning_would(sample, tmp_path, more, words):
    towers = sample.parent / "towers.csv"
    (tmp_path / "towers.csv").write_bytes(towers.read_bytes())
    (tmp_path / "job.toml").write_text('[[lines]]\ntowers = { path = "towers.csv" }\n' + more, "utf-8")
    for command in (["inspect"], ["plan", "--quiet", "--out", str(tmp_path / "plan")]):
        result = CliRunner().invoke(cli, [command[0], str(tmp_path / "job.toml"), *command[1:]])
        assert result.exit_code == 2
        assert words in result.stderr


@pytest.mark.long
def test_inspect_tells_of_the_ground_and_of_what_is_not_given(sample, tmp_path):
    result = CliRunner().invoke(cli, ["inspect", str(sample)])
    assert result.exit_code == 0
    assert "terrain: heights known at " in result.stdout
    assert "  dem.tif: terrain" in result.stdout
    (tmp_path / "towers.csv").write_bytes((sample.parent / "towers.csv").read_bytes())
    (tmp_path / "job.toml").write_text('[[lines]]\ntowers = { path = "towers.csv" }\n', "utf-8")
    bare = CliRunner().invoke(cli, ["inspect", str(tmp_path / "job.toml")]).stdout
    assert "terrain: no elevation model" in bare
    assert "no voltage_kv given; its voltages and currents are unknown" in bare


def test_start_writes_once(tmp_path):
    folder = tmp_path / "new"
    assert CliRunner().invoke(cli, ["start", str(folder)]).exit_code == 0
    assert "[[lines]]" in (folder / "job.toml").read_text("utf-8")
    again = CliRunner().invoke(cli, ["start", str(folder)])
    assert again.exit_code == 2
    assert "left alone" in again.stderr


def test_json_lines_and_nothing_else_on_stdout(tmp_path):
    job = small_job(tmp_path / "job")
    (tmp_path / "few.toml").write_text('[output]\nformats = ["gpkg", "json"]\n', "utf-8")
    command = [sys.executable, "-m", "layoutplan", "plan", str(job), "--over", str(tmp_path / "few.toml")]
    command += ["--out", str(tmp_path / "p"), "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    events = [strictly(line) for line in done.stdout.splitlines()]
    assert {event["event"] for event in events[:-1]} == {"progress"}
    assert all({"percent", "message"} <= set(event) for event in events[:-1])
    last = events[-1]
    assert last["event"] == "result"
    assert last["output"].endswith("plan.gpkg")
    assert sum(last["summary"]["by_status"].values()) == 4
    assert done.returncode == int(last["summary"]["by_status"]["no layout"] > 0)
    assert all(row["ratio"] > 0 for row in last["summary"]["worst_exposure"].values())
    assert done.stdout.isascii()


@pytest.mark.long
def test_quiet_says_nothing(no_load, tmp_path):
    result = CliRunner().invoke(cli, ["plan", str(no_load), "--out", str(tmp_path / "p"), "--quiet"])
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


@pytest.mark.long
def test_a_second_job_file_is_laid_over_the_first(no_load, tmp_path):
    over = tmp_path / "over.toml"
    over.write_text("[rules]\nreel_m = 90.0\n", "utf-8")
    result = CliRunner().invoke(
        cli, ["plan", str(no_load), "--over", str(over), "--out", str(tmp_path / "p"), "--quiet"]
    )
    assert result.exit_code == 0, result.output
    tables = read_plan_tables(tmp_path / "p")
    assert 60 < tables["electrodes"]["lead_length_m"].max() <= 90
    missing = CliRunner().invoke(
        cli, ["plan", str(no_load), "--over", str(tmp_path / "no"), "--out", str(tmp_path / "q")]
    )
    assert missing.exit_code == 2
    assert "no such job file" in missing.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="there a program is ended without being asked")
def test_a_terminated_run_leaves_no_unfinished_files(no_load, tmp_path):
    job = no_load.with_name("long.toml")  # its files take long enough to be stopped in the middle
    job.write_text(no_load.read_text("utf-8").replace('"json"]', '"json", "map", "review", "sheets"]'), "utf-8")
    arguments = [sys.executable, "-m", "layoutplan", "plan", str(job), "--out", str(tmp_path), "--json"]
    with subprocess.Popen(arguments, stdout=subprocess.PIPE, text=True) as run:
        for line in run.stdout:
            if "writing files" in line:
                break
        run.terminate()
    assert run.returncode == 128 + 15
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_place_of_the_plans_folder_is_refused_before_planning(sample, tmp_path):
    (tmp_path / "plan").write_text("", "utf-8")
    result = CliRunner().invoke(cli, ["plan", str(sample), "--out", str(tmp_path / "plan")])
    assert result.exit_code == 2
    assert result.stderr.endswith("is not a folder. Choose another folder for the plan. Nothing was changed there.\n")
    assert "%" not in result.stderr  # nothing was begun


def test_start_into_a_file_says_so(tmp_path):
    (tmp_path / "job.toml").write_text("mine", "utf-8")
    result = CliRunner().invoke(cli, ["start", str(tmp_path / "job.toml")])
    assert result.exit_code == 2
    assert "is a file. Name a folder" in result.stderr
    assert (tmp_path / "job.toml").read_text("utf-8") == "mine"
