"""Plans that somebody edited, or handed over: what no plan holds is named, with the layer and the row."""

import json
import shutil
import sqlite3
from contextlib import closing

import pytest
from click.testing import CliRunner

from layoutplan.cli.main import cli

from ..effort import few, some

TOWERS = "tower_id,lon,lat\n1,8.000,49.000\n2,8.004,49.001\n3,8.008,49.001\n"
JOB = """\
[[lines]]
towers = { path = "towers.csv" }
[[layers]]
path = "map.geojson"
obstacle_class = "building"
[output]
formats = ["gpkg", "json"]
"""
RING = [[8.001, 49.0005], [8.002, 49.0005], [8.002, 49.001], [8.001, 49.001], [8.001, 49.0005]]
SHAPE = {"type": "Polygon", "coordinates": [RING]}
MAP = {"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {}, "geometry": SHAPE}]}


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sound")
    (folder / "towers.csv").write_text(TOWERS, "utf-8")
    (folder / "map.geojson").write_text(json.dumps(MAP), "utf-8")
    (folder / "job.toml").write_text(JOB, "utf-8")
    result = CliRunner().invoke(cli, ["plan", str(folder / "job.toml"), "--out", str(folder / "plan"), "--quiet"])
    assert result.exit_code == 0, result.output
    return folder / "plan"


@pytest.fixture
def folder(planned, tmp_path):
    return shutil.copytree(planned, tmp_path / "plan")


def change(folder, *statements):
    with closing(sqlite3.connect(folder / "plan.gpkg")) as base:
        for (name,) in base.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            base.execute(f'DROP TRIGGER "{name}"')
        for statement in statements:
            base.execute(statement)
        base.execute("UPDATE gpkg_ogr_contents SET feature_count = NULL")  # the triggers would have kept it right
        base.commit()


def readers(folder, planned):
    """Commands that read a plan."""
    return ["explain", str(folder), "2"], ["check", str(folder)], ["compare", str(folder), str(planned)]


@pytest.mark.long
def test_named_by_every_reader(folder, planned):
    change(folder, "UPDATE checks SET verdict = 'odd'")
    for command in readers(folder, planned):
        result = CliRunner().invoke(cli, command)
        assert result.exit_code == 2, (command, result.output)
        assert "layer 'checks', row 1: verdict is 'odd'" in result.stderr
        assert "Plan again into this folder" in result.stderr


@pytest.mark.first(2)
@pytest.mark.parametrize(
    ("statement", "words"),
    some(
        [
            ("UPDATE obstacles SET obstacle_class = 'castle'", "layer 'obstacles', row 1: obstacle_class is 'castle'"),
            ("UPDATE obstacles SET obstacle_class = NULL", "obstacle_class is empty"),
            ("UPDATE towers SET status = 'fine' WHERE tower_id = '2'", "layer 'towers', row 2: status is 'fine'"),
            ("UPDATE towers SET status = NULL", "status is empty"),
            ("UPDATE towers SET tower_id = NULL", "layer 'towers', row 1: no tower_id"),
            ("UPDATE towers SET line_id = NULL", "layer 'towers', row 1: no line_id"),
            ("UPDATE towers SET tower_id = '2'", "tower '2' of line 'line' is there more than once"),
            ("UPDATE towers SET lon = NULL", "no longitude and latitude"),
            ("UPDATE towers SET geom = NULL", "layer 'towers', row 1: no point"),
            ("UPDATE checks SET verdict = 'odd'", "layer 'checks', row 1: verdict is 'odd'"),
            ("UPDATE checks SET verdict = NULL", "verdict is empty"),
            ("DELETE FROM towers", "layer 'towers' holds no tower"),
            ("DELETE FROM towers WHERE tower_id = '2'", "tower '2' of line 'line' is in layer 'spans' but not in"),
            ("DELETE FROM spans", "layer 'spans' holds no span"),
            ("UPDATE spans SET line_id = 'zzz'", "layer 'spans' holds none of line 'line'"),
            ("UPDATE spans SET geom = NULL", "layer 'spans', row 1: no line between two places"),
            ("UPDATE spans SET geom = (SELECT geom FROM towers LIMIT 1)", "no line between two places"),
            ("ALTER TABLE towers DROP COLUMN status", "layer 'towers' has no column status"),
            ("ALTER TABLE checks DROP COLUMN verdict", "layer 'checks' has no column verdict"),
        ],
        7,
    ),
    ids=range(19),
)
def test_named_where_it_is_read(folder, planned, statement, words):
    change(folder, statement)
    for command in few(readers(folder, planned), 1):
        result = CliRunner().invoke(cli, command)
        assert result.exit_code == 2, (command, result.output)
        assert words in result.stderr
        assert "Plan again into this folder" in result.stderr


@pytest.mark.long
def test_tables_in_a_system_without_places_on_the_earth(folder, planned):
    site = 'LOCAL_CS["site",UNIT["metre",1]]'
    change(folder, f"UPDATE gpkg_spatial_ref_sys SET definition = '{site}', organization = 'NONE'")
    for command in (["explain", str(folder), "2"], ["compare", str(planned), str(folder)]):
        result = CliRunner().invoke(cli, command)
        assert result.exit_code == 2, result.exception
        assert "not a readable plan" in result.stderr


@pytest.mark.first(1)
@pytest.mark.parametrize(
    ("statements", "words"),
    [
        (
            ("UPDATE leads SET lead_level = 'harmless' WHERE role = 'S'",),
            "layer 'leads', row 2: lead_level is 'harmless'",
        ),
        (("UPDATE electrodes SET status = 'fine'",), "layer 'electrodes', row 1: status is 'fine'"),
        (
            (
                "ALTER TABLE electrodes DROP COLUMN slope_deg",
                "ALTER TABLE electrodes ADD COLUMN slope_deg TEXT DEFAULT 'x'",
            ),
            "layer 'electrodes', column 'slope_deg' holds no numbers",
        ),
        (
            (
                "ALTER TABLE pairs DROP COLUMN side",
                "ALTER TABLE pairs ADD COLUMN side REAL",
                "INSERT INTO pairs (side) VALUES (1)",
            ),
            "layer 'pairs', column 'side' holds no texts",
        ),
    ],
)
def test_whatever_the_schema_says_of_a_column_is_asked(folder, statements, words):
    """Codes and types of every column that is there, not only of those without which nobody can read."""
    change(folder, *statements)
    result = CliRunner().invoke(cli, ["explain", str(folder), "2"])
    assert result.exit_code == 2, result.output
    assert words in result.stderr


@pytest.mark.long
@pytest.mark.parametrize("cell", ["NULL", "''"])
def test_a_stake_drawn_by_hand_has_no_status_yet(folder, cell):
    change(folder, f"UPDATE electrodes SET status = {cell}", f"UPDATE leads SET lead_level = {cell}")
    result = CliRunner().invoke(cli, ["check", str(folder)])
    assert result.exit_code in (0, 1), result.output


@pytest.mark.long
def test_a_plan_from_before_levels_were_stored_is_read_but_not_written_anew(folder, planned):
    """Nothing that reads it would go wrong, so its version is the same; what would draw its leads is refused."""
    change(folder, *(f"ALTER TABLE leads DROP COLUMN lead_level{ending}" for ending in ("", "_fault")))
    for command in readers(folder, planned):
        result = CliRunner().invoke(cli, command)
        assert result.exit_code in (0, 1), (command, result.output)
    result = CliRunner().invoke(cli, ["export", str(folder), "--to", "map"])
    assert result.exit_code == 2
    assert "layer 'leads' of plan.gpkg has no column lead_level, lead_level_fault. Plan again" in result.stderr


@pytest.mark.first(1)
@pytest.mark.parametrize(
    "statement",
    [
        "ALTER TABLE alternatives DROP COLUMN caution_crossings",
        "ALTER TABLE approaches DROP COLUMN tower_id",
        "ALTER TABLE electrodes DROP COLUMN easting",
        "ALTER TABLE exposures DROP COLUMN ratio",
    ],
)
def test_any_other_column_that_was_taken_away(folder, statement):
    change(folder, statement)
    result = CliRunner().invoke(cli, ["explain", str(folder), "2"])
    assert result.exit_code == 2, result.exception
    assert "Plan again into this folder" in result.stderr


@pytest.mark.first(1)
@pytest.mark.parametrize(
    "statement",
    some(
        [
            "UPDATE electrodes SET role = 'Q'",
            "UPDATE electrodes SET role = NULL",
            "UPDATE electrodes SET geom = NULL",
            "UPDATE electrodes SET waypoint = NULL",
            "UPDATE electrodes SET tower_id = 'nope'",
            "UPDATE electrodes SET distance_m = NULL, lon = NULL",
            "UPDATE obstacles SET geom = NULL",
            "DELETE FROM electrodes",
            "DELETE FROM leads",
            "DELETE FROM exposures",
        ],
        4,
    ),
)
def test_stakes_may_be_edited_in_any_way(folder, planned, statement):
    change(folder, statement)
    for command in few(readers(folder, planned)[::-1], 2):
        result = CliRunner().invoke(cli, command)
        assert result.exit_code in (0, 1, 2), (command, result.exception)
        assert result.exception is None or isinstance(result.exception, SystemExit), (command, result.exception)


@pytest.mark.first(1)
@pytest.mark.parametrize(
    "table", ["name,lon,lat\nfoo,8.3,49.3\nbar,8.31,49.3\n", "name,lon,lat\n1,8.3,49.3\n"], ids=["texts", "numbers"]
)
def test_staked_points_that_match_no_planned_stake(folder, table):
    staked = folder.parent / "staked.csv"
    staked.write_text(table, "utf-8")
    result = CliRunner().invoke(cli, ["check", str(folder), "--staked", str(staked)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert result.exit_code in (0, 1)  # planned stakes that are not among the points are not surveyed yet
    assert "8.3" in result.output or "foo" in result.output or "not surveyed" in result.output


ODD_FILES = [
    "5",
    "[5]",
    '[{"file": 5}]',
    '[{"file": "a", "sha256": [1]}]',
    '{"a": 1}',
    "null",
    '[{"file": "' + "n" * 5000 + '"}]',
]
ODD_RECORDS = [f'{{"format_version": 3, "files": {files}}}' for files in ODD_FILES]
ODD_RECORDS += ["[" * 100_000, '{"format_version": ' + "9" * 5000 + "}", "null", "5"]
ODD_RECORDS.append('{"format_version": 3, "settings": ' + '{"a": ' * 900 + "1" + "}" * 901)


@pytest.mark.long
@pytest.mark.parametrize("record", some(ODD_RECORDS[::-3] + ODD_RECORDS[1::3] + ODD_RECORDS[::3], 2), ids=range(12))
def test_an_odd_record_in_the_target_keeps_nobody_from_planning(planned, tmp_path, record):
    target = tmp_path / "target"
    target.mkdir()
    (target / "plan.json").write_text(record, "utf-8")
    job = planned.parent / "job.toml"
    result = CliRunner().invoke(cli, ["plan", str(job), "--out", str(target), "--quiet"])
    assert result.exit_code == 0, (result.output, result.exception)
    assert json.loads((target / "plan.json").read_text("utf-8"))["summary"]


@pytest.mark.parametrize("record", ODD_RECORDS, ids=range(len(ODD_RECORDS)))
def test_an_odd_record_is_refused_where_it_is_read(folder, record):
    (folder / "plan.json").write_text(record, "utf-8")
    result = CliRunner().invoke(cli, ["check", str(folder)])
    assert result.exit_code == 2, (result.output, result.exception)
    assert "plan.json" in result.stderr
    assert "Plan again into this folder" in result.stderr or "newer layoutplan" in result.stderr
