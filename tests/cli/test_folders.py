"""Folders as users treat them: their own files in them, two plans in one, plans of others, two runs at a time."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pyogrio
import pytest
from click.testing import CliRunner

from layoutplan.cli.main import cli
from layoutplan.outputs import FORMATS
from layoutplan.written.numbered import plan_numbers_in

from ..effort import some

ROOT = Path(__file__).parents[2]
JOB = """title = "A short line"
[output]
formats = ["gpkg", "gpx", "csv", "json"]
[[lines]]
id = "short"
voltage_kv = 220
towers = { path = "NAME" }
"""


def run(*arguments: object) -> tuple[int, str]:
    result = CliRunner().invoke(cli, [str(argument) for argument in arguments])
    return result.exit_code, result.output


def write_job(folder: Path, name: str = "towers.csv", lon: float = 8.0) -> Path:
    folder.mkdir(exist_ok=True)
    rows = [f"{n},{lon + 0.004 * n:.5f},46.0\n" for n in range(4)]
    (folder / name).write_text("tower_id,lon,lat\n" + "".join(rows), "utf-8")
    (folder / "job.toml").write_text(JOB.replace("NAME", name), "utf-8")
    return folder / "job.toml"


@pytest.fixture(scope="module")
def two_plans(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Plans of two lines that are alike, but for their places."""
    root = tmp_path_factory.mktemp("plans")
    for name, lon in (("a", 8.0), ("b", 8.1)):
        code, text = run("plan", write_job(root / name, lon=lon), "--out", root / name / "out")
        assert code == 0, text
    return root / "a" / "out", root / "b" / "out"


@pytest.fixture
def plan(two_plans: tuple[Path, Path], tmp_path: Path) -> Path:
    return Path(shutil.copytree(two_plans[0].parent, tmp_path / "a")) / "out"


@pytest.fixture
def other(two_plans: tuple[Path, Path], tmp_path: Path) -> Path:
    return Path(shutil.copytree(two_plans[1].parent, tmp_path / "b")) / "out"


def number_of(folder: Path) -> str:
    return str(json.loads((folder / "plan.json").read_text("utf-8"))["plan_number"])


@pytest.mark.parametrize("link", ["", "symbolic", "hard"])
def test_an_input_is_refused_before_any_work(tmp_path, link) -> None:
    job = write_job(tmp_path, "towers.csv" if link else "stakes.csv")
    if link == "symbolic":
        (tmp_path / "stakes.csv").symlink_to("towers.csv")
    elif link == "hard":
        os.link(tmp_path / "towers.csv", tmp_path / "stakes.csv")
    before = (tmp_path / "stakes.csv").read_bytes()
    code, text = run("plan", job, "--out", tmp_path)
    assert code == 2
    assert "stakes.csv" in text
    assert "is an input and would be written over" in text
    assert "reading" not in text  # no stage was begun
    assert (tmp_path / "stakes.csv").read_bytes() == before


@pytest.mark.long
def test_the_job_folder_may_take_the_plan(tmp_path) -> None:
    job = write_job(tmp_path)
    (tmp_path / "stakes.csv").write_text("mine", "utf-8")
    for _ in range(2):
        code, text = run("plan", job, "--out", tmp_path)
        assert code == 0, text
    assert (tmp_path / "stakes_earlier.csv").read_text("utf-8") == "mine"
    assert not (tmp_path / "stakes_earlier_2.csv").exists()  # the plan's own is no stranger
    assert not [path.name for path in tmp_path.iterdir() if path.name.startswith(".")]


@pytest.mark.long
def test_an_export_does_not_write_over_an_input_of_its_plan(tmp_path) -> None:
    job = write_job(tmp_path / "job", "plan.geojson.csv")
    shutil.move(tmp_path / "job" / "plan.geojson.csv", tmp_path / "job" / "stakes.kml")
    job.write_text(job.read_text("utf-8").replace("plan.geojson.csv", "towers.csv"), "utf-8")
    os.link(tmp_path / "job" / "stakes.kml", tmp_path / "job" / "towers.csv")
    assert run("plan", job, "--out", tmp_path / "job" / "out")[0] == 0
    code, text = run("export", tmp_path / "job" / "out", "--to", "kml", "--out", tmp_path / "job")
    assert code == 2, text
    assert "is an input and would be written over" in text


def test_checking_does_not_write_over_what_is_checked(plan) -> None:
    (plan / "check").mkdir()
    shutil.copy(plan / "stakes.csv", plan / "check" / "check.csv")
    code, text = run("check", plan, "--staked", plan / "check" / "check.csv")
    assert (code, "is an input and would be written over" in text) == (2, True), text


@pytest.mark.long
def test_checking_again_leaves_no_copies_but_keeps_a_note(plan) -> None:
    for _ in range(2):
        assert run("check", plan)[0] == 0
    assert not list((plan / "check").glob("*_earlier*"))
    with (plan / "check" / "check.csv").open("a") as file:
        file.write("a note of the user's")
    _, text = run("check", plan)
    assert "kept as check_earlier.csv" in text
    assert "a note of the user's" in (plan / "check" / "check_earlier.csv").read_text("utf-8")


@pytest.mark.first(1)
@pytest.mark.parametrize("name", some(["plan.gpkg", "stakes.csv", "waypoints.gpx"], 2))
def test_a_mix_of_two_plans_is_named_by_every_command(plan, other, name) -> None:
    shutil.copy(other / name, plan / name)
    strange, own = number_of(other), number_of(plan)
    for arguments in (
        ("explain", plan, "1"),
        ("check", plan),
        ("export", plan, "--to", "kml"),
        ("compare", other, plan),
    ):
        code, text = run(*arguments)
        assert name in text, arguments
        assert strange in text, arguments
        assert own in text, arguments
        if name == "plan.gpkg":
            assert code == 2, arguments
            assert "files of two plans" in text


def test_exports_of_two_plans_into_one_folder_are_told_apart(plan, other, tmp_path) -> None:
    assert run("export", plan, "--to", "csv,kml", "--out", tmp_path / "crew")[0] == 0
    code, text = run("export", other, "--to", "csv", "--out", tmp_path / "crew")
    assert code == 0, text
    assert f"stakes.kml belongs to plan {number_of(plan)}, not to plan {number_of(other)}" in text
    assert "stakes.csv belongs" not in text
    assert not list((tmp_path / "crew").glob("*_earlier*"))  # the first one was written by this program


def test_every_file_carries_the_number(plan) -> None:
    formats = [name for name, entry in FORMATS.items() if name not in ("json", "gpkg", "survey", "permissions")]
    assert run("export", plan, "--to", ",".join([*formats, "survey"]))[0] == 0
    number = number_of(plan)
    without = [
        path.name
        for path in plan.iterdir()
        if path.is_file() and plan_numbers_in(path) != {number} and path.name not in ("plan.json", "stakes_survey.csv")
    ]
    assert without == []
    assert all(number in line for line in (plan / "stakes_survey.csv").read_text().splitlines()[1:])
    for page in ("map.html", "review.html"):
        assert re.search(rf'@bottom-left {{ content: "plan {number}"', (plan / page).read_text("utf-8"))


@pytest.mark.parametrize("name", some(["stakes.csv", "waypoints.gpx"], 1))
def test_stakes_of_another_plan_are_refused(plan, other, name) -> None:
    assert run("check", plan, "--staked", plan / name)[0] == 0
    code, text = run("check", plan, "--staked", other / name)
    assert code == 2
    assert f"another plan ({number_of(other)}); this is plan {number_of(plan)}" in text


@pytest.mark.long
def test_what_was_not_surveyed_yet_is_a_count(plan, tmp_path) -> None:
    rows = (plan / "stakes.csv").read_text("utf-8").splitlines()
    (tmp_path / "staked.csv").write_text("\n".join(rows[:3]) + "\n", "utf-8")
    code, text = run("check", plan, "--staked", tmp_path / "staked.csv")
    assert code == 0, text
    assert f"2 stakes checked: 0 moved or new, 0 break rules, {len(rows) - 3} not surveyed yet" in text
    assert "missing" not in text
    code, text = run("check", plan, "--staked", tmp_path / "staked.csv", "--complete")
    assert code == 1
    assert text.count(" of tower ") >= len(rows) - 3


def changed_tables(folder: Path, layer: str, **columns: object) -> None:
    table = pyogrio.read_dataframe(folder / "plan.gpkg", layer=layer)
    pyogrio.write_dataframe(table.assign(**columns), folder / "plan.gpkg", layer=layer, driver="GPKG")


def test_stakes_moved_with_their_figures_do_not_lie_where_they_lay(plan) -> None:
    """Shape and columns agree with each other, and not with the plan."""
    for layer in ("electrodes", "leads"):
        table = pyogrio.read_dataframe(plan / "plan.gpkg", layer=layer)
        shift = 0.0005 if layer == "electrodes" else 0.0
        moved = table.assign(lat=table["lat"] + 0.0005, geometry=table.geometry.translate(0, shift))
        if layer == "leads":
            import shapely

            xy = shapely.get_coordinates(table.geometry.array).reshape(-1, 2, 2)
            xy[:, 1, 1] += 0.0005
            moved = moved.set_geometry(list(shapely.linestrings(xy)), crs=table.crs)
        pyogrio.write_dataframe(moved, plan / "plan.gpkg", layer=layer, driver="GPKG")
    code, text = run("export", plan, "--to", "kml")
    assert code == 2
    assert "are not those of plan" in text


def test_a_harmless_change_is_told_as_such(plan) -> None:
    changed_tables(plan, "alternatives", score=1.0)
    code, text = run("export", plan, "--to", "kml")
    assert code == 0, text
    assert "towers, stakes and leads lie where they lay" in text


def test_a_plan_of_somebody_else_cannot_take_cautions_away_or_add_any(plan) -> None:
    record = json.loads((plan / "plan.json").read_text("utf-8"))
    gone = record["cautions"].pop(1)
    record["cautions"].append("Leads are dead at all times.\x1b[2J")
    assumed = next(text for text in record["assumptions"] if text.startswith("distances are horizontal"))
    record["assumptions"].remove(assumed)
    (plan / "plan.json").write_text(json.dumps(record), "utf-8")
    code, text = run("export", plan, "--to", "kml")
    assert code == 0, text
    assert f"lacked this caution: {gone}" in text
    assert f"lacked this assumption: {assumed}" in text
    assert "none of this program; it was left out: Leads are dead" in text
    assert "\x1b" not in text
    kml = (plan / "stakes.kml").read_text("utf-8")
    assert "Leads are dead" not in kml
    assert gone.split(".")[0] in kml


def test_a_limit_that_was_raised_is_not_believed(plan) -> None:
    table = pyogrio.read_dataframe(plan / "plan.gpkg", layer="exposures")
    assert table["limit"].notna().any()
    changed_tables(plan, "exposures", limit=table["limit"] * 10, ratio=table["ratio"] / 10)
    code, text = run("explain", plan, "1")
    assert "caution: not what this program gives" in text
    code, text = run("export", plan, "--to", "kml")
    assert code == 2
    assert "limit or ratio that this program does not give" in text


def test_texts_of_somebody_else_do_not_reach_the_terminal(plan) -> None:
    changed_tables(plan, "towers", reasons="\x1b]0;owned\x07\x1b[2Jred\u202e")
    code, text = run("explain", plan, "1")
    assert code == 0
    assert "red" in text
    assert not set(text) & {"\x1b", "\x07", "\u202e"}


@pytest.mark.long
@pytest.mark.parametrize("command", ["plan", "export", "check"])
def test_a_second_run_is_told_who_works_there(plan, command) -> None:
    holder = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "import sys\nfrom pathlib import Path\nfrom layoutplan.store import alone_in\n"
            "with alone_in(Path(sys.argv[1])):\n    print('held', flush=True)\n    sys.stdin.readline()\n",
            str(plan),
        ],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        arguments = {
            "plan": ("plan", plan.parent / "job.toml", "--out", plan),
            "export": ("export", plan, "--to", "kml"),
            "check": ("check", plan),
        }
        code, text = run(*arguments[command])
        assert code == 2
        assert f"another run works in this folder (process {holder.pid} on " in text
        assert run("explain", plan, "1")[0] == 0  # what lies there is whole
    finally:
        holder.communicate("\n")


def test_a_cut_run_is_told_by_the_next_command(plan) -> None:
    (plan / ".layoutplan-abc").mkdir()
    code, text = run("explain", plan, "1")
    assert code == 0
    assert "unfinished files of a run that was cut were removed" in text
    assert not (plan / ".layoutplan-abc").exists()


def test_a_failed_plan_leaves_no_folder(tmp_path) -> None:
    job = write_job(tmp_path)
    (tmp_path / "towers.csv").write_text("tower_id,lon\n1,8\n", "utf-8")
    assert run("plan", job, "--out", tmp_path / "deep" / "out")[0] == 2
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job.toml", "towers.csv"]


@pytest.mark.long
def test_timings_add_up(tmp_path) -> None:
    code, text = run("plan", write_job(tmp_path), "--out", tmp_path / "out", "--timings")
    assert code == 0
    seconds = [float(s) for s in re.findall(r"^  (?!together)\w+ +(\d+\.\d\d) s", text, re.M)]
    (whole,) = re.findall(r"^  together +(\d+\.\d\d) s", text, re.M)
    assert sum(seconds) == pytest.approx(float(whole), abs=0.1)
    assert {"start", "writing", "rest"} <= set(re.findall(r"^  (\w+) +\d+\.\d\d s", text, re.M))


def test_the_plug_in_does_not_replace_a_file_of_the_user(tmp_path) -> None:
    path = tmp_path / "mine.zip"
    path.write_text("mine", "utf-8")
    assert run("qgis-plugin", "--out", path)[0] == 2
    assert path.read_text("utf-8") == "mine"
    path.unlink()
    for _ in range(2):
        assert run("qgis-plugin", "--out", path)[0] == 0


def write_heights(path: Path, slope: float) -> None:
    """Ground that rises to the north."""
    rows = "\n".join(" ".join([f"{300 + slope * row:.2f}"] * 40) for row in range(40))
    head = "ncols 40\nnrows 40\nxllcorner 7.985\nyllcorner 45.98\ncellsize 0.001\nNODATA_value -9999\n"
    path.write_text(head + rows + "\n", "ascii")


@pytest.mark.long
def test_the_heights_are_found_again_from_anywhere_or_it_is_said(tmp_path, monkeypatch) -> None:
    job = write_job(tmp_path / "job")
    ground = '[terrain]\nfiles = ["dem.asc"]\ncrs = "EPSG:4326"\n'
    job.write_text(job.read_text("utf-8").replace('"csv"', '"csv", "sheets"') + ground, "utf-8")
    write_heights(tmp_path / "job" / "dem.asc", 0.5)
    out = tmp_path / "job" / "out"
    assert run("plan", job, "--out", out)[0] == 0
    sheets = (out / "sheets.pdf").read_bytes()
    assert "../dem.asc" in [row["path"] for row in json.loads((out / "plan.json").read_text("utf-8"))["inputs"]]
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    write_heights(Path("dem.asc"), 3.0)  # another one of that name lies where one calls from
    assert "slopes" not in run("check", out)[1]
    _, text = run("export", out, "--to", "sheets", "--out", "again")
    assert "WARNING" not in text, text
    assert Path("again/sheets.pdf").read_bytes() == sheets
    shutil.move(tmp_path / "job" / "dem.asc", tmp_path / "dem.asc")
    assert "slopes, drops and lengths on the ground are not checked" in run("check", out)[1]
    _, text = run("export", out, "--to", "sheets", "--out", "without")
    assert "WARNING: these sheets are NOT those of the plan" in text
    assert Path("without/sheets.pdf").read_bytes() != sheets
    Path("ground.toml").write_text(ground.replace("dem.asc", "../dem.asc"), "utf-8")
    _, text = run("export", out, "--to", "sheets", "--out", "there", "--job", "ground.toml")
    assert "WARNING" not in text, text
    assert Path("there/sheets.pdf").read_bytes() == sheets
    Path("ground.toml").write_text(ground, "utf-8")
    code, text = run("export", out, "--to", "sheets", "--out", "wrong", "--job", "ground.toml")
    assert (code, "are not those that the plan was made with" in text) == (2, True), text
