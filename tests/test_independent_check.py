"""The independent check must find what is wrong: a good plan is spoiled in many places, and it has to name each."""

import importlib.util
import shutil
import sqlite3
from pathlib import Path

import pytest

from .effort import some

ROOT = Path(__file__).parents[1]

# What is done to the plan, each to another tower, and what must be said of that tower
AT_ONE_TOWER = [
    ("102", "UPDATE electrodes SET distance_m = distance_m + 0.02", "distance is"),
    ("103", "UPDATE electrodes SET bearing_true_deg = bearing_true_deg - 0.02", "bearing is"),
    ("104", "UPDATE electrodes SET lon = lon + 1e-6", "lon and lat"),
    ("106", "UPDATE electrodes SET octant = 'X'", "octant X"),
    ("107", "UPDATE electrodes SET side = 'above'", "not to the above"),
    ("108", "UPDATE electrodes SET reasons = 'x'", "the reasons do not say so"),
    ("109", "UPDATE electrodes SET angle_to_line_deg = 45.5", "angle to the line"),
    ("110", "UPDATE electrodes SET distance_to_line_m = distance_to_line_m + 1", "line's axis"),
    ("111", "UPDATE electrodes SET lead_length_m = lead_length_m - 1", "with its slack"),
    ("112", "UPDATE electrodes SET set_out_level_m = set_out_level_m + 0.1", "is not the distance from"),
    ("112", "UPDATE electrodes SET set_out_bearing_deg = set_out_bearing_deg + 1", "is not the bearing from"),
    ("112", "UPDATE electrodes SET set_out_bearing_magnetic_deg = set_out_bearing_magnetic_deg + 3", "compass"),
    ("112", "UPDATE electrodes SET set_out_ground_m = set_out_ground_m + 0.3", "tape"),
    ("112", "UPDATE electrodes SET set_out_from = 'tower middle'", "set out from"),
    ("112", "UPDATE electrodes SET warning = 'DO NOT STAKE'", "no warning"),
    ("113", "UPDATE electrodes SET easting = easting + 0.01", "grid position"),
    ("114", "UPDATE electrodes SET bearing_grid_deg = bearing_true_deg", "grid bearing"),
    ("115", "UPDATE electrodes SET leg = 'left back' WHERE role = 'H' AND", "one and the same leg"),
    ("116", "DELETE FROM electrodes WHERE role = 'H' AND", "has stakes 'S'"),
    ("117", "DELETE FROM leads WHERE role = 'S' AND", "has leads 'H'"),
    ("118", "UPDATE checks SET verdict = 'broken' WHERE rule = 'reel' AND", "check reel is broken"),
    ("119", "UPDATE towers SET reasons = ''", "has no reasons"),
    ("120", "UPDATE towers SET status = 'safe'", "unknown status"),
    ("121", "UPDATE towers SET map_covers = 0", "map does not cover the tower"),
    ("107", "UPDATE crossings SET feature_id = 'no such'", "named that is none"),
    ("107", "UPDATE leads SET crossings = 'ditch at 9.0 m'", "the table of crossings does not"),
    ("123", "DELETE FROM checks WHERE rule = 'line_clearance' AND", "no check of line_clearance"),
    ("101", "UPDATE checks SET verdict = 'kept'", "called kept where the map is silent (reach)"),
]
ELSEWHERE = [
    (["UPDATE electrodes SET waypoint = 'SAME'"], "one waypoint name"),
    (["DELETE FROM crossings"], "is not named"),
    (["UPDATE leads SET crossings = replace(crossings, ' at ', ' at 1')"], "the table of crossings does not"),
    (["UPDATE crossings SET at_m = at_m + 100 WHERE at_m > 0"], "is not at 1"),
    (["UPDATE electrodes SET status = 'all rules met'", "UPDATE towers SET status = 'all rules met'"], "to be agreed"),
    (["UPDATE checks SET measured = measured + 1 WHERE rule LIKE 'keep_out:%'"], "check keep_out"),
    (["DELETE FROM towers WHERE tower_id = '110'"], "tower 110 of line"),
    (["UPDATE towers SET tower_id = '103' WHERE tower_id = '102'"], "listed 2 times"),
    (["UPDATE obstacles SET keep_out_m = 0 WHERE obstacle_class = 'building'"], "obstacle class building"),
    (["UPDATE obstacles SET obstacle_class = 'no_entry'"], "the lead crosses no_entry"),
    (["UPDATE relaxations SET rule = 'keep_out:railway', needed = 0.9, unit = 'm'"], "below its floor of 10"),
    (["UPDATE relaxations SET rule = 'line_clearance', needed = 12, unit = 'm'"], "below its floor of 30"),
    (["UPDATE relaxations SET rule = 'lead_crossing:building'"], "a lead across building is advised"),
    (["UPDATE relaxations SET rule = 'lead_crossing:railway' WHERE rank = 1"], "before something gentler"),
]


@pytest.fixture(scope="module")
def check():
    spec = importlib.util.spec_from_file_location("independent_check", ROOT / "tests" / "independent_check.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def written(sample_run):
    return sample_run[0]


def spoil(written, folder, statements):
    """Copy the plan and do something to it."""
    for name in ("plan.gpkg", "plan.json"):
        shutil.copy(written / name, folder / name)
    with sqlite3.connect(folder / "plan.gpkg") as tables:
        for (trigger,) in tables.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            tables.execute(f'DROP TRIGGER "{trigger}"')  # they call functions that only a GIS has
        for statement in statements:
            assert tables.execute(statement).rowcount > 0, statement
    tables.close()
    return folder


def job_text(folder):
    """The sample's job file, to be put elsewhere."""
    text = (folder / "job.toml").read_text("utf-8")
    for name in ("valley.gpkg", "dem.tif"):
        text = text.replace(f'"{name}"', f"'{folder / name}'")
    return text


@pytest.fixture(scope="module")
def found_at_towers(check, written, sample_folder, tmp_path_factory):
    statements = [
        f"{text}{'' if text.endswith('AND') else ' WHERE'} tower_id = '{tower}'" for tower, text, _ in AT_ONE_TOWER
    ]
    folder = spoil(written, tmp_path_factory.mktemp("spoiled"), statements)
    return check.violations(folder, sample_folder / "job.toml")


@pytest.mark.parametrize(("tower", "statement", "words"), AT_ONE_TOWER)
def test_spoiled_tower_is_found_out(found_at_towers, tower, statement, words):
    assert any(f"tower {tower}" in text and words in text for text in found_at_towers)


def test_only_spoiled_towers_are_named(found_at_towers):
    spoiled = [tower for tower, _, _ in AT_ONE_TOWER]
    assert all(any(f"tower {tower}" in text for tower in spoiled) for text in found_at_towers)


@pytest.mark.parametrize(("statements", "words"), some(ELSEWHERE, 1), ids=[words for _, words in ELSEWHERE])
def test_spoiled_plan_is_found_out(check, written, sample_folder, tmp_path, statements, words):
    folder = spoil(written, tmp_path, statements)
    assert any(words in text for text in check.violations(folder, sample_folder / "job.toml"))


@pytest.mark.long
@pytest.mark.parametrize(
    ("rules", "words"),
    some(
        [
            (["line_clearance_m = 58.5"], ["outermost conductor of a planned span"]),
            (["min_angle_deg = 45", "slack_pct = 9"], ["angle to the line", "with its slack"]),
            (["reel_m = 66", "same_side_min_angle_deg = 150"], ["than the reel", "between two leads on one side"]),
            (["electrode_size_multiple = 9"], ["is below"]),
            (["min_distance_m = 80"], ["is below 80.00 m"]),
        ],
        1,
    ),
)
def test_plan_made_by_laxer_rules_is_found_out(check, written, sample_folder, tmp_path, rules, words):
    text = job_text(sample_folder)
    (tmp_path / "job.toml").write_text("\n".join([text[: text.index("[rules]")], "[rules]", *rules, ""]), "utf-8")
    found = check.violations(written, tmp_path / "job.toml")
    assert all(any(word in text for text in found) for word in words)


@pytest.mark.long
def test_plan_made_for_other_classes_is_found_out(check, written, sample_folder, tmp_path):
    classes = (
        "[classes.stream_ditch]\nkeep_out_m = 60\n[classes.crops]\nstake = 'no'\n"
        "[classes.protected_area]\nlead_crossing = 'no'\n"
    )
    (tmp_path / "job.toml").write_text(f"{job_text(sample_folder)}\n{classes}", "utf-8")
    found = check.violations(written, tmp_path / "job.toml")
    for words in ("from stream_ditch", "from crops", "the lead crosses protected_area"):
        assert any(words in text for text in found)


def test_it_imports_nothing_of_what_it_checks():
    text = (ROOT / "tests" / "independent_check.py").read_text("utf-8")
    assert "import layoutplan" not in text
    assert "from layoutplan" not in text
