"""``layoutplan profile`` as a user types it: files, pictures, messages."""

import csv
import struct
import subprocess
import sys
import zlib

import pytest
from click.testing import CliRunner
from defusedxml import ElementTree

from layoutplan.cli.main import cli
from layoutplan.outputs.earlier import LEDGER_NAME

from ..effort import some

HOSTILE = [
    "$\\frac{1}{0}$",
    "=1+1",
    "../../up",
    "塔 7",
    "<b>&amp;</b>--]]>",
    "_under",
    "Башня 12",
    "🗼",
    "x" * 90,
    "\uffff!",
]
FOOT = "Computed, not measured"


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    """Return a job file: one straight line of towers with names that mean harm."""
    folder = tmp_path_factory.mktemp("job")
    names = [*HOSTILE, *map(str, range(11))]
    with (folder / "towers.csv").open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["tower_id", "lon", "lat"])
        rows.writerows([name, f"{8 + 0.004 * i:.5f}", "46.0"] for i, name in enumerate(names))
    (folder / "job.toml").write_text(
        '[[lines]]\nid = "a $x_1$ <&> line"\nvoltage_kv = 380\ntowers = { path = "towers.csv" }\n'
        "load = { current_a = 900, maximum_a = 1800 }\nfault = { current_ka = 20.0, clearing_time_s = 0.4 }\n",
        "utf-8",
    )
    return folder / "job.toml"


def run(job, tower, out, *more):
    return CliRunner().invoke(cli, ["profile", str(job), "--tower", tower, "--out", str(out), *more])


def rows_of(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def texts_of(path):
    root = ElementTree.parse(path).getroot()
    return ["".join(element.itertext()) for element in root.iter("{http://www.w3.org/2000/svg}text")]


@pytest.fixture(scope="module")
def drawn(job, tmp_path_factory):
    out = tmp_path_factory.mktemp("drawn") / "new" / "folder"
    return out, run(job, "5", out, "--format", "svg")


def test_three_plots_each_with_its_table(drawn):
    out, result = drawn
    assert result.exit_code == 0, result.output
    names = [f"5_{kind}.{end}" for kind in ("bearing", "distance") for end in ("svg", "csv")]
    names += [f"line_a_x_1_line.{end}" for end in ("svg", "csv")]
    assert sorted(path.name for path in out.iterdir()) == sorted([*names, LEDGER_NAME])
    assert all(str(out / name) in result.stdout for name in names)


def test_says_what_ten_degrees_cost_and_warns(drawn):
    words = drawn[1].stdout
    for part in ("10 degrees off costs", "assumptions:", "generic", "caution:", "take precedence"):
        assert part in words
    assert "unknown" not in words.split("assumptions:")[0]


def test_columns_of_figures_carry_their_units(drawn):
    out, _ = drawn
    units = ("_m", "_deg", "_v", "_kv", "_pct", "_ohm", "_a_low", "_a_high", "_v_low", "_v_high")
    plain = {"line_id", "tower_id", "side", "order", "keeps_angle", "footing_estimated"}
    for name in ("5_bearing", "5_distance", "line_a_x_1_line"):
        rows = rows_of(out / f"{name}.csv")
        assert all(column in plain or column.endswith(units) for column in rows[0])
        assert all(value != "" for row in rows for value in row.values())
    assert len(rows_of(out / "5_bearing.csv")) == 900


def test_the_curves_are_the_figures_of_the_table(drawn):
    """Points of the longest curve, read back out of the drawing, are an even stretch of the table's."""
    out, _ = drawn
    ring = [float(row["induced_v"]) for row in rows_of(out / "5_bearing.csv") if row["distance_m"] == "140.0"]
    paths = [
        element.get("d").split()
        for element in ElementTree.parse(out / "5_bearing.svg").getroot().iter("{http://www.w3.org/2000/svg}path")
        if element.get("clip-path") and (element.get("d") or "").count("L") == len(ring)
    ]
    heights = [[float(value) for value in path[2::3]] for path in paths]
    wanted = [*ring, ring[0]]
    fits = []
    for height in heights:
        low, high = height[wanted.index(min(wanted))], height[wanted.index(max(wanted))]
        scale = (max(wanted) - min(wanted)) / (high - low)
        drawn_v = [min(wanted) + (value - low) * scale for value in height]
        fits.append(max(abs(a - b) for a, b in zip(drawn_v, wanted, strict=True)))
    assert min(fits) < 1e-3 * max(wanted)


@pytest.mark.parametrize("name", ["5_bearing", "5_distance", "line_a_x_1_line"])
def test_pictures_say_what_they_show_and_what_they_are_not(drawn, name):
    texts = texts_of(drawn[0] / f"{name}.svg")
    whole = " ".join(texts)
    assert "a $x_1$ <&> line" in whole
    assert FOOT in whole
    assert "generic cross-section" in whole
    assert any(text in ("V", "kV") for text in texts)


def test_the_cost_of_ten_degrees_stands_on_the_plot(drawn):
    out, result = drawn
    cost = result.stdout.split("10 degrees off costs ")[1].split(" V")[0]
    assert f"10° off the best bearing costs {cost} V (left)" in " ".join(texts_of(out / "5_bearing.svg"))


@pytest.mark.long
@pytest.mark.parametrize("kind", some(["svg", "png"], 1))
def test_the_same_job_gives_the_same_bytes_in_another_process(job, drawn, in_pixels, tmp_path, kind):
    here = drawn[0] if kind == "svg" else in_pixels
    command = [sys.executable, "-m", "layoutplan", "profile", str(job), "--tower", "5", "--format", kind]
    done = subprocess.run([*command, "--out", str(tmp_path / "there")], capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stderr == b""
    assert len(list(here.iterdir())) > 6
    for path in here.iterdir():
        assert path.read_bytes() == (tmp_path / "there" / path.name).read_bytes()


@pytest.fixture(scope="module")
def in_pixels(job, tmp_path_factory):
    out = tmp_path_factory.mktemp("in_pixels")
    assert run(job, "5", out).exit_code == 0
    return out


def test_no_date_and_no_program_in_the_pictures(in_pixels, drawn):
    assert len(list(in_pixels.glob("*.png"))) == 3
    for path in in_pixels.glob("*.png"):
        kinds = list(png_chunks(path.read_bytes()))
        assert kinds[0] == "IHDR"
        assert not set(kinds) & {"tIME", "tEXt", "iTXt", "zTXt"}
    for path in drawn[0].glob("*.svg"):
        text = path.read_text("utf-8")
        assert "<dc:date>" not in text
        assert "matplotlib.org" not in text


def png_chunks(data):
    at = 8
    while at < len(data):
        size, kind = struct.unpack(">I4s", data[at : at + 8])
        assert zlib.crc32(data[at + 4 : at + 8 + size]) == struct.unpack(">I", data[at + 8 + size : at + 12 + size])[0]
        yield kind.decode()
        at += 12 + size


@pytest.mark.long
@pytest.mark.parametrize("tower", some(["../../up", "塔 7", "=1+1", "<b>&amp;</b>--]]>", "\uffff!"], 1))
def test_hostile_names_are_drawn_written_and_kept_in_the_folder(job, tmp_path, tower):
    result = run(job, tower, tmp_path / "out", "--format", "svg")
    assert result.exit_code == 0, result.output
    files = sorted(path for path in (tmp_path / "out").iterdir() if path.name != LEDGER_NAME)
    assert len(files) == 6
    assert sorted(tmp_path.iterdir()) == [tmp_path / "out"]
    for path in files:
        if path.suffix == ".svg":
            assert FOOT in " ".join(texts_of(path))
        else:
            assert not any(value.startswith(("=", "+", "@")) for row in rows_of(path) for value in row.values())
    (bearing,) = (tmp_path / "out").glob("*_bearing.csv")
    assert rows_of(bearing)[0]["tower_id"].removeprefix("'") == tower


@pytest.mark.long
def test_own_files_are_replaced_and_others_left_alone(job, tmp_path):
    (tmp_path / "5_bearing.csv").write_text("mine, too", "utf-8")
    (tmp_path / "notes.txt").write_text("mine", "utf-8")
    for kind in ("png", "svg"):
        assert run(job, "5", tmp_path, "--format", kind).exit_code == 0
    assert (tmp_path / "5_bearing.csv").read_text("utf-8").startswith("line_id")
    assert (tmp_path / "notes.txt").read_text("utf-8") == "mine"
    assert (tmp_path / "5_bearing_earlier.csv").read_text("utf-8") == "mine, too"
    assert len(list(tmp_path.glob("*_earlier*"))) == 1
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == [LEDGER_NAME]


@pytest.mark.long
def test_unknown_load_and_fault_are_said_and_left_empty(job, tmp_path):
    bare = job.with_name("bare.toml")
    lines = job.read_text("utf-8").splitlines()
    bare.write_text("\n".join(line for line in lines if not line.startswith(("load", "fault"))), "utf-8")
    result = run(bare, "5", tmp_path, "--format", "svg")
    assert result.exit_code == 0, result.output
    for words in ("no load current given ([lines.load])", "no fault current given ([lines.fault])"):
        assert f"unknown: {words}" in result.stdout
        for picture in ("5_bearing.svg", "5_distance.svg", "line_a_x_1_line.svg"):
            assert words in " ".join(texts_of(tmp_path / picture))
    row = rows_of(tmp_path / "5_distance.csv")[0]
    assert row["induced_v"] == row["induced_fault_v"] == row["transferred_fault_v"] == ""
    assert row["bias_pct"] != ""
    assert rows_of(tmp_path / "line_a_x_1_line.csv")[0]["earth_potential_rise_kv"] == ""


def test_nothing_known_at_all_is_an_error_and_writes_nothing(job, tmp_path):
    dark = job.with_name("dark.toml")
    keep = [line for line in job.read_text("utf-8").splitlines() if not line.startswith(("load", "fault", "voltage"))]
    dark.write_text("\n".join(keep), "utf-8")
    result = run(dark, "5", tmp_path / "out")
    assert result.exit_code == 2
    assert "has no voltage_kv" in result.stderr
    assert not (tmp_path / "out").exists()


def test_an_unknown_tower_suggests(job, tmp_path):
    result = run(job, "55", tmp_path / "out")
    assert result.exit_code == 2
    assert "no tower '55'" in result.stderr
    assert "instance 5" in result.stderr
    assert "Traceback" not in result.stderr
    debug = run(job, "55", tmp_path / "out", "--debug")
    assert type(debug.exception).__name__ == "JobError"


@pytest.mark.long
def test_a_folder_that_cannot_be_is_an_error(job, tmp_path):
    (tmp_path / "file").write_text("", "utf-8")
    result = run(job, "5", tmp_path / "file" / "out")
    assert result.exit_code == 2
    assert "is not a folder, or lies below a file" in result.stderr


def test_usage(job, tmp_path):
    assert CliRunner().invoke(cli, ["profile", str(job), "--out", str(tmp_path)]).exit_code == 2
    assert run(job, "5", tmp_path, "--format", "pdf").exit_code == 2


@pytest.mark.long
def test_settings_of_the_users_own_do_not_show(job, drawn, tmp_path, monkeypatch):
    import matplotlib as mpl

    monkeypatch.setitem(mpl.rcParams, "font.size", 20.0)
    monkeypatch.setitem(mpl.rcParams, "text.usetex", True)
    assert run(job, "5", tmp_path, "--format", "svg").exit_code == 0
    for path in tmp_path.glob("*.svg"):
        assert path.read_bytes() == (drawn[0] / path.name).read_bytes()
    assert mpl.rcParams["font.size"] == 20.0


@pytest.mark.long
def test_the_drawing_library_is_loaded_for_this_command_only():
    code = "import sys, layoutplan.cli.profile, layoutplan.profiles.profile, layoutplan.planning.pipeline, "
    code += "layoutplan.outputs.write; sys.exit('matplotlib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, check=False).returncode == 0
