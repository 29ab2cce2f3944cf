"""``layoutplan compare`` as a user types it."""

import json
import shutil

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
import shapely
from click.testing import CliRunner

import layoutplan
from layoutplan.cli.main import cli
from layoutplan.outputs.columns import TABLES
from layoutplan.outputs.gpkg import write_layers
from layoutplan.written.read import read_plan_tables

from ..effort import some

HOSTILE = (
    "a\x1b[31mb\x85\u202eend",
    "{{7*7}}",
    "</script><img src=x onerror=alert(1)>",
    "=1+1",
    "../x",
    "Башня 鉄塔 🗼",
    "a'; b",
)


@pytest.fixture(scope="module")
def old(sample_plan_with, tmp_path_factory):
    folder = tmp_path_factory.mktemp("plans") / "old"
    layoutplan.write(sample_plan_with(formats=("gpkg", "json")), folder)
    return folder


@pytest.fixture
def new(old, tmp_path):
    """A copy of the plan, to be edited."""
    return shutil.copytree(old, tmp_path / "new")


def rewrite(folder, edit):
    """Have the tables of a plan edited as in a GIS."""
    whole = read_plan_tables(folder)
    tables = {name: whole[name] for name in ("towers", "electrodes", "leads", "checks", "crossings", "exposures")}
    edit(tables)
    (folder / "plan.gpkg").unlink()
    crs = tables["towers"].crs.to_string()
    write_layers(tables, TABLES, folder / "plan.gpkg", crs)


def shift_one(tables):
    place = tables["electrodes"].geometry.iloc[4]
    tables["electrodes"].loc[4, "geometry"] = shapely.Point(place.x + 1e-4, place.y)


def run(*arguments):
    return CliRunner().invoke(cli, ["compare", *(str(argument) for argument in arguments)])


def strict_json(text):
    def refuse(name):
        raise AssertionError(f"{name} is no JSON")

    return json.loads(text, parse_constant=refuse)


def test_same_plan(old, new):
    result = run(old, new)
    assert result.exit_code == 0
    assert result.stdout == "no tower, stake, verdict, crossing or level of exposure differs (places within 0.05 m)\n"
    assert result.stderr == ""


def test_moved_stake(old, new):
    rewrite(new, shift_one)
    result = run(old, new)
    assert result.exit_code == 1
    summary, _, details = result.stdout.partition("\n\n")
    assert summary.startswith("stakes: 1 moved\nnote: 1 stake(s) of the new plan were moved by hand")
    row = read_plan_tables(old)["electrodes"].iloc[4]
    assert details.startswith(f"tower {row['tower_id']} of line '{row['line_id']}'\n  {row['role']} moved 7.5")
    assert f"m at 90.0 degrees true: {row['distance_m']:.1f} m at {row['bearing_true_deg']:.1f} degrees" in details


@pytest.mark.long
def test_bearing_of_359_97_is_north_in_words(old, new):
    def shift_north(tables):
        place = tables["electrodes"].geometry.iloc[4]
        tables["electrodes"].loc[4, "geometry"] = shapely.Point(place.x - 5e-8, place.y + 1e-4)

    rewrite(new, shift_north)
    assert strict_json(run(old, new, "--json").stdout)["stakes"][0]["move_bearing_deg"] > 359.95
    assert "moved 11.12 m at 0.0 degrees true" in run(old, new).stdout


@pytest.mark.long
def test_tolerance_option(old, new):
    rewrite(new, shift_one)
    assert run(old, new, "--tolerance", "8").exit_code == 0
    assert run(old, new, "--tolerance", "7").exit_code == 1


@pytest.mark.parametrize("tolerance", ["0", "-1", "0.001", "nan", "inf", "x"])
def test_tolerance_that_cannot_be_meant(old, tolerance):
    result = run(old, old, "--tolerance", tolerance)
    assert result.exit_code == 2
    assert "--tolerance" in result.stderr


def test_status_change_tells_why(old, new):
    def worse(tables):
        tables["towers"].loc[2, ["status", "reasons"]] = ["no layout", "because"]

    rewrite(new, worse)
    stdout = run(old, new).stdout
    assert "status: 1 now no layout" in stdout
    assert "tower 103 of line 'ostrel-varnau': all rules met -> no layout\n  now: because\n" in stdout


@pytest.mark.long
def test_rules_crossings_exposures_and_stakes_in_words(old, new):
    def edit(tables):
        checks, crossings, exposures, stakes = (
            tables[name] for name in ("checks", "crossings", "exposures", "electrodes")
        )
        checks.loc[(checks["waypoint"] == "102-H") & (checks["rule"] == "reel"), "verdict"] = "broken"
        more = crossings.iloc[:1].assign(
            tower_id="102", role="H", waypoint="102-H", met_by="lead", obstacle_class="track_path", name="Old Way"
        )
        tables["crossings"] = pd.concat([crossings, more], ignore_index=True)
        mine = (exposures["waypoint"] == "102-H") & (exposures["exposure"] == "induced by a fault")
        exposures.loc[mine, "ratio"] = float("nan")
        tables["electrodes"] = stakes[stakes["waypoint"] != "102-S"]

    rewrite(new, edit)
    stdout = run(old, new).stdout
    lead = read_plan_tables(old)["leads"].set_index("waypoint").loc["102-H", "lead_length_m"]
    for words in (
        f"  H newly broken: reel ({lead:.1f} m, limit 150.0 m; was kept)",
        "  H lead newly crosses track or path 'Old Way'",
        "(below half) -> ? (unknown)",
        "  S gone: was ",
        "exposures: 1 now unknown",
        "crossings: 1 of leads H",
    ):
        assert words in stdout
    assert "safe" not in stdout


@pytest.mark.long
def test_swapped_stakes_in_words(old, new):
    def swap(tables):
        places = tables["electrodes"].geometry.to_list()
        tables["electrodes"].loc[[4, 5], "geometry"] = gpd.GeoSeries([places[5], places[4]], index=[4, 5], crs=4326)

    rewrite(new, swap)
    stdout = run(old, new).stdout
    assert stdout.startswith("stakes: 2 swapped\n")
    assert "H swapped places with the other stake: " in stdout


@pytest.mark.long
def test_long_groups_are_cut_unless_all_is_asked_for(old, new):
    record = json.loads((new / "plan.json").read_text("utf-8"))
    record["obstacle_classes"] = {name: {**row, "keep_out_m": 1e3} for name, row in record["obstacle_classes"].items()}
    (new / "plan.json").write_text(json.dumps(record), "utf-8")
    count = len(record["obstacle_classes"])
    cut, whole = run(old, new), run(old, new, "--all")
    assert cut.exit_code == whole.exit_code == 0
    assert f"plan.json: {count} obstacle_classes" in cut.stdout
    assert cut.stdout.count("-> 1000.0") == 20
    assert f"... and {count - 20} more lines (--all shows them)" in cut.stdout
    assert whole.stdout.count("-> 1000.0") == count
    assert "more lines" not in whole.stdout


@pytest.mark.long
def test_json_is_one_plain_object(old, new):
    rewrite(new, shift_one)
    result = run(old, new, "--json")
    assert result.exit_code == 1
    assert result.stdout.isascii()
    assert result.stdout.count("\n") == 1
    found = strict_json(result.stdout)
    assert found["same"] is False
    assert found["complete"] is True
    assert found["counts"]["stakes"] == {"moved": 1}
    assert found["stakes"][0]["change"] == "moved"
    assert found["stakes"][0]["moved_m"] == pytest.approx(7.57, abs=0.02)
    assert found["towers"][0]["move_bearing_deg"] is None
    assert found["file"] is None
    same = strict_json(run(old, old, "--json").stdout)
    assert same["same"] is True
    assert not any(same[name] for name in ("towers", "stakes", "checks", "crossings", "exposures", "record", "notes"))


@pytest.mark.long
@pytest.mark.parametrize("name", some(HOSTILE, 1))
def test_hostile_names_stay_text(old, tmp_path, name):
    folders = [shutil.copytree(old, tmp_path / age) for age in ("a", "b")]

    def rename(tables):
        for table in tables.values():
            if "tower_id" in table:
                table["line_id"] = name
                table.loc[table["tower_id"] == "103", "tower_id"] = name
                for column in {"reasons", "crossings", "detail", "name"} & set(table.columns):
                    table[column] = name

    def edit(tables):
        rename(tables)
        shift_one(tables)
        tables["towers"].loc[2, "reasons"] = name
        tables["crossings"]["feature_id"] = f"{name} (x 1) at 3.0 m"

    rewrite(folders[0], rename)
    rewrite(folders[1], edit)
    record = json.loads((folders[1] / "plan.json").read_text("utf-8"))
    record["settings"] |= {"title": name, name: name}
    (folders[1] / "plan.json").write_text(json.dumps(record), "utf-8")
    out = tmp_path / "out.gpkg"
    plain, machine = run(*folders, "--all", "--out", out), run(*folders, "--json")
    assert plain.exit_code == machine.exit_code == 1
    assert not {char for char in plain.stdout if ord(char) < 32 or 127 <= ord(char) < 160 or char == "\u202e"} - {"\n"}
    assert machine.stdout.isascii()
    counts = strict_json(machine.stdout)["counts"]
    assert counts["stakes"] == {"moved": 1}
    assert counts["record"] == {"settings": 2}
    assert len(pyogrio.read_dataframe(out, layer="changes")) == 1


@pytest.mark.long
def test_layers(old, new, tmp_path):
    rewrite(new, shift_one)
    out = tmp_path / "deep" / "moves.gpkg"
    result = run(old, new, "--out", out)
    assert result.exit_code == 1
    assert result.stdout.endswith(f"written: {out}\n")
    assert pyogrio.list_layers(out).tolist() == [["changes", "LineString"], ["towers_changed", "Point"]]
    move, tower = (pyogrio.read_dataframe(out, layer=name).iloc[0] for name in ("changes", "towers_changed"))
    start, end = shapely.get_coordinates(move["geometry"])
    place = read_plan_tables(old)["electrodes"].geometry.iloc[4]
    assert start == pytest.approx([place.x, place.y], abs=2e-9)
    assert end == pytest.approx([place.x + 1e-4, place.y], abs=2e-9)
    assert move["tower_id"] == tower["tower_id"]
    assert tower["stakes"] == 1
    again = tmp_path / "again.gpkg"
    run(old, new, "--out", again, "--json")
    assert again.read_bytes() == out.read_bytes()


@pytest.mark.long
def test_layers_without_differences(old, tmp_path):
    out = tmp_path / "none.gpkg"
    assert run(old, old, "--out", out).exit_code == 0
    assert [len(pyogrio.read_dataframe(out, layer=name)) for name in ("changes", "towers_changed")] == [0, 0]


def test_existing_file_is_left_alone_unless_forced(old, tmp_path):
    out = tmp_path / "mine.gpkg"
    out.write_text("mine")
    result = run(old, old, "--out", out)
    assert result.exit_code == 2
    assert "left alone" in result.stderr
    assert out.read_text() == "mine"
    assert run(old, old, "--out", out, "--force").exit_code == 0
    assert len(pyogrio.list_layers(out)) == 2


def test_a_plan_is_never_replaced(old, new):
    before = (new / "plan.gpkg").read_bytes()
    result = run(old, new, "--out", new / "plan.gpkg", "--force")
    assert result.exit_code == 2
    assert "one of the plans to compare" in result.stderr
    assert (new / "plan.gpkg").read_bytes() == before


@pytest.mark.parametrize("name", ["moves.shp", "moves", "folder.gpkg"])
def test_no_name_for_a_geopackage(old, tmp_path, name):
    (tmp_path / "folder.gpkg").mkdir()
    result = run(old, old, "--out", tmp_path / name, "--force")
    assert result.exit_code == 2
    assert "Traceback" not in result.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["folder.gpkg"]


def test_without_record_the_rest_is_compared(old, new):
    (new / "plan.json").unlink()
    result = run(old, new)
    assert result.exit_code == 0
    assert (
        "note: the new plan has no plan.json: settings, obstacle classes, software and inputs could not"
        in result.stdout
    )


@pytest.mark.long
def test_without_exposures_the_plans_are_not_called_the_same(old, new):
    rewrite(new, lambda tables: tables.pop("exposures"))
    result = run(old, new)
    assert result.exit_code == 1
    assert result.stdout.splitlines() == [
        "nothing differs in what could be compared, but not everything could be",
        "note: the new plan.gpkg has no layer 'exposures': exposures could not be compared",
        "note: the new plan: changed after the plan was written: plan.gpkg",
    ]


@pytest.mark.parametrize("turned", [False, True])
def test_plan_of_another_version(old, new, turned):
    record = json.loads((new / "plan.json").read_text("utf-8"))
    (new / "plan.json").write_text(json.dumps({**record, "format_version": 99}), "utf-8")
    result = run(*((new, old) if turned else (old, new)))
    assert result.exit_code == 2
    assert "format_version is 99" in result.stderr
    assert result.stdout == ""


def test_no_plan_there(old, tmp_path):
    for folders in ((old, tmp_path), (tmp_path / "nowhere", old)):
        result = run(*folders)
        assert result.exit_code == 2
        assert "no plan here" in result.stderr


def test_debug_shows_the_traceback(tmp_path):
    assert type(run(tmp_path, tmp_path, "--debug").exception).__name__ == "OutputError"


def test_help_names_the_exit_codes():
    text = " ".join(run("--help").stdout.split())
    for words in (
        "OLD NEW",
        "Exit codes: 0",
        "1 some of these differ, or could not be compared",
        "--tolerance",
        "--force",
    ):
        assert words in text
