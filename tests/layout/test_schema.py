"""The schema of the tables against what is written, and the recipe for a column."""

import csv
import json
import re
import shutil
import sqlite3
import subprocess
import sys
import zipfile
from collections import Counter
from contextlib import closing
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import layoutplan
from layoutplan import load_job
from layoutplan.checking.check import check_folder
from layoutplan.layout.schema import TABLES, tables
from layoutplan.outputs.checked import write_checked
from layoutplan.outputs.permissions import write_permissions
from layoutplan.profiles.profile import profile

ROOT = Path(__file__).parents[2]
SECTIONS = ("plan", "check", "comparison", "list", "profile")
EVERY = [(section, name) for section in SECTIONS for name in tables(section)]
UNITS = {  # by how a name ends, the longest first
    "_kv_m": "kV/m", "_ohm_m": "ohm m", "_ohm": "ohm", "_deg": "degrees", "_pct": "%", "_min": "minutes", "_hz": "Hz",
    "_kv": "kV", "_ka": "kA", "_ma": "mA", "_m": "m", "_v": "V", "_a": "A", "_s": "s",
}  # fmt: skip
# the program's words for nothing, and what libraries write where a number is missing
NOTHING = re.compile(r"nan|NaN|None|<NA>|null|nat|NaT")


def unit_of(name: str) -> str:
    """Unit that a name says."""
    bare = re.sub(r"_(low|high)$", "", name)
    if re.fullmatch(r"(.*_)?(lon|lat)", bare):
        return "degrees"
    return next((unit for end, unit in UNITS.items() if bare.endswith(end)), "")


# ---- the schema itself


@pytest.mark.parametrize(("section", "name"), EVERY)
def test_names_say_the_unit(section, name):
    for column in tables(section)[name].columns.values():
        assert column.unit == unit_of(column.name), column.name
        assert not column.unit or column.title.endswith(f", {column.unit}")
        assert not column.unit or column.is_figure


@pytest.mark.parametrize(("section", "name"), EVERY)
def test_no_two_columns_of_a_table_bear_one_title(section, name):
    """GeoPackage demands it, and so does anyone who reads them."""
    titles = Counter(column.title for column in tables(section)[name].columns.values())
    assert max(titles.values()) == 1
    assert all("_" not in title for title in titles)


@pytest.mark.parametrize(("section", "name"), EVERY)
def test_every_column_is_told_in_full(section, name):
    table = tables(section)[name]
    assert table.meaning.endswith(".")
    assert set(table.rests_on) <= set(table.columns)
    for column in table.columns.values():
        assert column.meaning.endswith("."), column.name
        assert set(column.empty) <= {"never", "unknown", "not given", "does not apply", "none"}
        assert len(column.empty) == 1 or "never" not in column.empty
        assert (column.decimals, column.figures, column.shown) == (None,) * 3 or column.is_figure
        assert column.is_figure or "unknown" not in column.empty or column.type == "text"


def test_titles_of_tables_are_distinct():
    for section in SECTIONS:
        titles = [table.title for table in tables(section).values()]
        assert len(set(titles)) == len(titles)


def test_what_is_in_a_plan_and_in_a_check_is_the_same():
    """A layer of one name has one title and kind of shapes; a column of the check that the plan has is the plan's."""
    for name, table in tables("check").items():
        if name in TABLES:
            assert (table.title, table.geometry) == (TABLES[name].title, TABLES[name].geometry)
            shared = [each for each in table.columns if each in TABLES[name].columns]
            assert shared == [each for each in TABLES[name].columns if each in shared]
            assert all(table.columns[each].title == TABLES[name].columns[each].title for each in shared)


# ---- what the sample writes


def columns_of(path):
    """Columns of each layer but its number and shape, by SQLite alone."""
    with closing(sqlite3.connect(path)) as base:
        names = [name for (name,) in base.execute("SELECT table_name FROM gpkg_contents") if name != "layer_styles"]
        return {
            name: [row[1] for row in base.execute(f'PRAGMA table_info("{name}")') if row[1] not in ("fid", "geom")]
            for name in names
        }


def head_of(path):
    with path.open(encoding="utf-8", newline="") as file:
        return next(csv.reader(file))


@pytest.fixture(scope="module")
def written_plan(sample_run):
    return sample_run[0]


@pytest.fixture(scope="module")
def written_check(written_plan, tmp_path_factory):
    """The sample checked with points that moved, what was said of them, one that is missing, and readings."""
    folder = tmp_path_factory.mktemp("check")
    stakes = pd.read_csv(written_plan / "stakes.csv").iloc[1:]
    moved = stakes[["waypoint", "lon", "lat"]].rename(columns={"waypoint": "name"})
    told = {"state": "staked", "time": "2026-05-01T09:30:00Z", "note": "by the hedge"}
    moved.assign(lon=moved["lon"] + 1e-4, accuracy=2.34567, **told).to_csv(folder / "staked.csv", index=False)
    tower = stakes.iloc[[2]][["line_id", "tower_id"]]
    tower.assign(voltage_h_v=3.0, voltage_s_v=9.0).to_csv(folder / "readings.csv", index=False)
    found = check_folder(written_plan, staked=folder / "staked.csv", readings=folder / "readings.csv")
    write_checked(found.tables, found.crs, folder / "out")
    return folder / "out"


def test_every_column_of_the_plan_is_in_the_schema_and_the_other_way_round(written_plan):
    assert columns_of(written_plan / "plan.gpkg") == {name: [*table.columns] for name, table in TABLES.items()}


def test_every_column_of_a_check_is_in_the_schema_and_the_other_way_round(written_check):
    assert columns_of(written_check / "check.gpkg") == {
        name: [*table.columns] for name, table in tables("check").items()
    }


def test_heads_of_csv_files(written_plan, written_check, sample_plan, tmp_path):
    lists = tables("list")
    assert head_of(written_plan / "stakes.csv") == [*lists["stakes"].columns]
    assert head_of(written_plan / "review.csv") == [*lists["review"].columns]
    assert head_of(written_check / "check.csv") == [*lists["check"].columns]
    assert head_of(write_permissions(sample_plan, tmp_path)) == [*lists["permissions"].columns]


@pytest.mark.long
def test_tables_of_a_profile(sample_folder):
    made = profile(load_job(sample_folder / "job.toml"), "110")
    for name, schema in tables("profile").items():
        assert [*made.tables[name]] == [*schema.columns]
        hold(made.tables[name], schema)


def hold(frame, schema):
    """Types, empty cells, codes and ranges of a table are as its schema says."""
    for column in schema.columns.values():
        cells = frame[column.name]
        empty = cells.isna() | (cells.map(lambda cell: isinstance(cell, str) and not cell.strip()))
        assert column.empty != ("never",) or not empty.any(), column.name
        known = cells[~empty]
        if column.type == "text":
            assert all(isinstance(cell, str) for cell in known), column.name
            assert not known.map(lambda cell: bool(NOTHING.fullmatch(cell))).any(), column.name
        elif column.type == "true or false":
            assert known.isin([True, False]).all(), column.name
        else:
            assert pd.api.types.is_numeric_dtype(cells) or empty.all(), column.name
        if column.type == "integer":
            assert (known == known.round()).all(), column.name
        if column.decimals is not None:
            assert np.allclose(known, known.astype(float).round(column.decimals), rtol=0, atol=1e-12), column.name
        low, high = {"bearing": (0, 360), "longitude": (-180, 180), "latitude": (-90, 90)}.get(
            column.type, (-np.inf, np.inf)
        )
        if np.isfinite(low):
            assert ((known >= low) & (known < high)).all(), column.name
        assert not column.values or known.isin(column.values).all(), column.name


@pytest.mark.parametrize("name", TABLES)
def test_types_and_empty_cells_of_the_plan(written_plan, name):
    with closing(sqlite3.connect(written_plan / "plan.gpkg")) as base:
        hold(pd.read_sql_query(f'SELECT * FROM "{name}"', base), TABLES[name])


@pytest.mark.parametrize("name", tables("check"))
def test_types_and_empty_cells_of_a_check(written_check, name):
    with closing(sqlite3.connect(written_check / "check.gpkg")) as base:
        hold(pd.read_sql_query(f'SELECT * FROM "{name}"', base), tables("check")[name])


def test_whatever_may_be_empty_is_empty_somewhere_or_told_why(sample_plan):
    """What the sample leaves empty, the schema says may be; here the cells whose meaning matters most."""
    towers = sample_plan.towers.set_index("tower_id")
    without = towers[towers["status"] == "no layout"]
    assert len(without)
    assert without["bias_pct"].isna().all()
    assert "does not apply" in TABLES["towers"].columns["bias_pct"].empty
    assert towers["footing_resistance_ohm"].isna().any()
    assert TABLES["towers"].columns["footing_resistance_ohm"].empty == ("not given",)


# ---- the recipe of DEVELOPERS.md: a column is one row, and the code that fills it

ROW = 'twice_distance_m = { type = "number", title = "twice the distance", unit = "m", decimals = 3, shown = 1, '
ROW += 'empty = "never", meaning = "Twice as far." }\n'
JOB = """
[[lines]]
id = "a"
voltage_kv = 110
towers = { path = "towers.csv", id_column = "id" }
[output]
formats = ["gpkg", "project", "csv", "geojson", "json"]
"""


@pytest.fixture(scope="module")
def with_a_column(tmp_path_factory):
    """A plan made by a copy of the program with a column more."""
    folder = tmp_path_factory.mktemp("copy")
    shutil.copytree(
        Path(layoutplan.__file__).parent, folder / "layoutplan", ignore=shutil.ignore_patterns("__pycache__")
    )
    (folder / "docs").mkdir()
    shutil.copy(ROOT / "docs" / "generate.py", folder / "docs")
    add(folder / "layoutplan/layout/columns.toml", "[group.place.columns]\n", ROW, last_before="\n[group.stake]\n")
    add(folder / "layoutplan/planning/stakes.py", '        "distance_m": chosen.distance_m,\n',
        '        "twice_distance_m": 2.0 * chosen.distance_m,\n')  # fmt: skip
    (folder / "towers.csv").write_text("id,lon,lat\n1,8.0,47.0\n2,8.004,47.0\n3,8.008,47.0\n", "utf-8")
    (folder / "job.toml").write_text(JOB, "utf-8")
    run(folder, "-m", "layoutplan", "plan", "job.toml", "--out", "out")
    return folder


def add(path, after, text, last_before=""):
    """Put a line into a file: behind another, or at the end of what begins with it."""
    whole = path.read_text("utf-8")
    assert whole.count(after) == 1
    place = whole.index(last_before, whole.index(after)) if last_before else whole.index(after) + len(after)
    path.write_text(whole[:place] + text + whole[place:], "utf-8")


def run(folder, *arguments):
    done = subprocess.run(
        [sys.executable, *arguments], cwd=folder, env={"PYTHONPATH": str(folder), "PATH": ""}, capture_output=True,
        text=True, timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode in (0, 1), done.stderr
    return done.stdout


@pytest.mark.long
def test_a_column_more_is_in_every_file(with_a_column):
    out = with_a_column / "out"
    for layer in ("electrodes", "leads"):
        names = columns_of(out / "plan.gpkg")[layer]
        assert names.index("twice_distance_m") == names.index("reasons") + 1, "where its row stands"
        with closing(sqlite3.connect(out / "plan.gpkg")) as base:
            found = pd.read_sql_query(f"SELECT distance_m, twice_distance_m FROM {layer}", base)
        assert len(found)
        assert np.allclose(found["twice_distance_m"], 2 * found["distance_m"], atol=0.0011)
    head = head_of(out / "stakes.csv")
    assert head.index("twice_distance_m") == head.index("reasons") + 1
    rows = json.loads((out / "plan.geojson").read_text("utf-8"))["features"]
    assert {row["properties"]["kind"] for row in rows if "twice_distance_m" in row["properties"]} == {
        "electrode",
        "lead",
    }


@pytest.mark.long
def test_a_column_more_has_its_title_in_desktop_programs(with_a_column):
    out = with_a_column / "out"
    with closing(sqlite3.connect(out / "plan.gpkg")) as base:
        titles = base.execute("SELECT table_name, title FROM gpkg_data_columns WHERE column_name = 'twice_distance_m'")
        assert sorted(titles) == [("electrodes", "twice the distance, m"), ("leads", "twice the distance, m")]
        (style,) = base.execute("SELECT styleQML FROM layer_styles WHERE f_table_name = 'leads'").fetchone()
    assert 'name="twice the distance, m"' in style
    with zipfile.ZipFile(out / "plan.qgz") as packed:
        (name,) = [name for name in packed.namelist() if name.endswith(".qgs")]
        assert 'name="twice the distance, m"' in packed.read(name).decode("utf-8")


@pytest.mark.long
def test_a_column_more_is_read_back_and_on_the_page(with_a_column):
    run(with_a_column, "-m", "layoutplan", "export", "out", "--to", "parquet", "--out", "more")
    assert "twice_distance_m" in pd.read_parquet(with_a_column / "more" / "plan_electrodes.parquet")
    write = "import sys; sys.path.insert(0, 'docs'); sys.stdout.reconfigure(encoding='utf-8'); import generate; "
    page = run(with_a_column, "-c", write + "print(generate.columns_page())")
    assert "| `twice_distance_m` | twice the distance, m | number | 3, 1 | Twice as far. | never |" in page
