"""Files made later from a written plan: the same bytes, and never from a plan that was changed."""

import dataclasses
import json
import re
import shutil
from io import BytesIO
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pyogrio
import pypdfium2
import pytest
import shapely
from click.testing import CliRunner
from pandas.testing import assert_frame_equal

from layoutplan.cli.main import cli
from layoutplan.errors import OutputError
from layoutplan.layout.model import Plan
from layoutplan.outputs import FORMATS, write_plan
from layoutplan.outputs.columns import TABLES, on_the_globe, with_columns
from layoutplan.text import clean
from layoutplan.written.export import export_plan
from layoutplan.written.stored import stored_plan

from ..effort import some
from .conftest import build_plan

LATER = tuple(name for name in FORMATS if name not in ("json", "sheets"))  # sheets draw contours of files elsewhere
BASE = ("gpkg", "json")
UNROUNDED = ("gpkg", "map", "dxf", "parquet", "flatgeobuf")


@pytest.fixture(scope="module")
def sample(sample_plan):
    """A real plan: with land, terrain, faults, two lines."""
    return sample_plan


@pytest.fixture(scope="module")
def base(tmp_path_factory) -> Path:
    """A plan without further files; to be read only."""
    folder = tmp_path_factory.mktemp("base")
    write_plan(build_plan(formats=BASE), folder)
    return folder


@pytest.fixture
def folder(base, tmp_path) -> Path:
    """A copy of it."""
    return Path(shutil.copytree(base, tmp_path, dirs_exist_ok=True))


def with_formats(plan: Plan, **output: object) -> Plan:
    changed = plan.job.output.model_copy(update=output)
    return dataclasses.replace(plan, job=plan.job.model_copy(update={"output": changed}))


def as_read(plan: Plan) -> Plan:
    """Clean every text of the tables, as reading does; a GeoPackage would cut one at U+0000."""
    tables = {item.name: getattr(plan, item.name) for item in dataclasses.fields(plan)}
    frames = {name: table for name, table in tables.items() if isinstance(table, pd.DataFrame)}
    texts = {name: frame.select_dtypes(["str", "object"]).columns for name, frame in frames.items()}
    cleaned = {
        name: frame.assign(**{column: frame[column].map(clean, na_action="ignore") for column in texts[name]})
        for name, frame in frames.items()
    }
    return dataclasses.replace(plan, **cleaned)


def exported_equal(plan: Plan, folder, formats=LATER) -> None:
    wanted = [name for name in formats if FORMATS[name].applies_to(plan)]
    written = {
        path.name: path.read_bytes() for path in write_plan(with_formats(plan, formats=(*wanted, *BASE)), folder / "a")
    }
    files, stored = export_plan(folder / "a", wanted, folder / "b")
    assert stored.changed == ""
    assert {path.name for path in files} == set(written) - {"plan.json"} - (
        {"plan.gpkg"} if "gpkg" not in wanted else set()
    )
    for path in files:
        if path.suffix == ".parquet":  # its footer names the types in memory, which an empty column does not keep
            assert_same_table(path.read_bytes(), written[path.name])
        else:
            assert path.read_bytes() == written[path.name], path.name


def assert_same_table(one: bytes, other: bytes) -> None:
    tables = [pq.read_table(BytesIO(data)).to_pylist() for data in (one, other)]
    assert repr(tables[0]) == repr(tables[1])


@pytest.mark.long
def test_every_format_later_is_as_from_planning_hostile_names(make_plan, tmp_path) -> None:
    exported_equal(as_read(make_plan(14)), tmp_path)


def test_every_format_later_is_as_from_planning_sample(sample, tmp_path) -> None:
    exported_equal(sample, tmp_path)


@pytest.mark.long
def test_every_format_later_is_as_from_planning_without_stakes(empty_plan, tmp_path) -> None:
    exported_equal(empty_plan, tmp_path)


@pytest.mark.long
@pytest.mark.parametrize("lon", some([180.0001, -180.0], 1), ids=str)
def test_every_format_later_is_as_from_planning_at_the_antimeridian(make_plan, tmp_path, lon) -> None:
    exported_equal(as_read(make_plan(8, lon=lon, lat=-17.0)), tmp_path)


@pytest.mark.long
def test_every_format_later_is_as_from_planning_projected_tables(sample, tmp_path) -> None:
    """The tables on file are in metres; turned back, they agree to what the formats show.

    Map features are not rounded in the plan, so that on the map the last digit of a vertex may turn (0.1 m); drawing
    and columnar files carry more digits of them.
    """
    plan = with_formats(sample, crs="EPSG:25832")
    exported_equal(plan, tmp_path, [name for name in LATER if name not in UNROUNDED and not FORMATS[name].beside])
    write_plan(with_formats(plan, formats=("map", *BASE)), tmp_path / "a")
    old = (tmp_path / "a" / "map.html").read_text("utf-8")
    ((path,), _) = export_plan(tmp_path / "a", ["map"], tmp_path / "c")
    new = path.read_text("utf-8")
    assert len(new) == len(old)
    assert sum(one != other for one, other in zip(old, new, strict=True)) < 20


@pytest.mark.long
def test_what_shows_the_plan_s_tables_goes_beside_them(sample, tmp_path) -> None:
    written = write_plan(with_formats(sample, formats=("project", *BASE), crs="EPSG:25832"), tmp_path / "a")
    (project,) = [path for path in written if path.name == "plan.qgz"]
    before = project.read_bytes()
    project.unlink()
    export_plan(tmp_path / "a", ["project"])
    assert project.read_bytes() == before
    with pytest.raises(OutputError, match=r"shows plan\.gpkg beside it"):
        export_plan(tmp_path / "a", ["project"], tmp_path / "b")
    assert not (tmp_path / "b").exists()


@pytest.mark.long
def test_a_plan_that_a_desktop_program_opened_is_not_a_changed_plan(sample, tmp_path) -> None:
    """SQLite counts changes and readers in the first hundred bytes, also where nothing was changed."""
    write_plan(with_formats(sample, formats=BASE), tmp_path)
    file = tmp_path / "plan.gpkg"
    head = bytearray(file.read_bytes())
    for place in (18, 19, 27, 95, 99):
        head[place] ^= 1
    file.write_bytes(head)
    assert export_plan(tmp_path, ["csv"], tmp_path / "b")[1].changed == ""
    head[17] ^= 1  # the page size
    file.write_bytes(head)
    with pytest.raises(OutputError):
        export_plan(tmp_path, ["csv"], tmp_path / "c")


@pytest.mark.long
def test_sheets_later_are_those_of_the_same_plan(sample, tmp_path) -> None:
    """All but the contours: a plan does not hold the elevation model, and the sheets say so."""
    write_plan(with_formats(sample, formats=("sheets", *BASE)), tmp_path / "a")
    export_plan(tmp_path / "a", ["sheets"], tmp_path / "b")
    old, new = (pypdfium2.PdfDocument(tmp_path / name / "sheets.pdf") for name in "ab")
    assert len(old) == len(new)
    number = json.loads((tmp_path / "a" / "plan.json").read_text("utf-8"))["plan_number"]
    for one, other in zip(old, new, strict=True):
        texts = [page.get_textpage().get_text_range() for page in (one, other)]
        assert all(number in text for text in texts)
        assert texts[0].splitlines()[:4] == texts[1].splitlines()[:4]


def test_the_whole_plan_comes_back(sample, tmp_path) -> None:
    write_plan(with_formats(sample, formats=BASE), tmp_path)
    back, before = stored_plan(tmp_path).plan, on_the_globe(sample)
    for item in dataclasses.fields(Plan):
        old, new = getattr(before, item.name), getattr(back, item.name)
        if isinstance(old, pd.DataFrame):
            old = with_columns(old, item.name) if item.name in TABLES else old
            assert isinstance(new, gpd.GeoDataFrame) == isinstance(old, gpd.GeoDataFrame), item.name
            assert_frame_equal(
                pd.DataFrame(new), pd.DataFrame(old).reset_index(drop=True), check_dtype=False, check_exact=True
            )
    assert back.summary == before.summary
    assert back.assumptions == before.assumptions
    assert back.cautions == before.cautions
    assert [file.sha256 for file in back.files] == [file.sha256 for file in before.files]
    assert back.grid_crs == before.grid_crs
    assert back.job.rules == before.job.rules
    assert back.job.lines[0].load == before.job.lines[0].load


@pytest.mark.long
def test_the_record_names_what_was_made_later_and_the_next_plan_removes_it(folder, make_plan) -> None:
    before = json.loads((folder / "plan.json").read_text("utf-8"))
    export_plan(folder, ["gpx", "csv"])
    record = json.loads((folder / "plan.json").read_text("utf-8"))
    assert [entry["file"] for entry in record.pop("files")] == ["plan.gpkg", "stakes.csv", "waypoints.gpx"]
    assert record == {key: value for key, value in before.items() if key != "files"}
    write_plan(make_plan(12, formats=BASE), folder)
    assert sorted(path.name for path in folder.iterdir()) == ["plan.gpkg", "plan.json"]


def edited(folder, layer: str, change) -> None:
    """Change a layer as a desktop GIS would."""
    table = pyogrio.read_dataframe(folder / "plan.gpkg", layer=layer)
    pyogrio.write_dataframe(change(table), folder / "plan.gpkg", layer=layer, driver="GPKG")


def moved(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    shapes = table.geometry.to_numpy().copy()
    shapes[2] = shapely.transform(shapes[2], lambda xy: xy + np.array([1e-5, 0.0]))
    return table.set_geometry(gpd.GeoSeries(shapes, crs=table.crs))


@pytest.mark.first(2)
@pytest.mark.parametrize(
    ("layer", "change"),
    [
        ("electrodes", moved),
        ("towers", moved),
        ("leads", moved),
        ("electrodes", lambda table: table.drop(index=3)),
        ("leads", lambda table: table.drop(index=3)),
        ("electrodes", lambda table: table.assign(lat=table["lat"] + 1e-5)),
    ],
    ids=["stake moved", "tower moved", "lead moved", "stake deleted", "lead deleted", "figures changed"],
)
def test_a_plan_whose_stakes_were_moved_is_refused(folder, layer, change) -> None:
    """The figures of a moved stake are those of its old place."""
    edited(folder, layer, change)
    with pytest.raises(OutputError, match=r"plan\.gpkg was changed: .*layoutplan check.*plan again"):
        export_plan(folder, ["gpx"])
    assert sorted(path.name for path in folder.iterdir()) == ["plan.gpkg", "plan.json"]


@pytest.mark.long
def test_a_harmless_change_is_said(folder) -> None:
    edited(folder, "spans", lambda table: table.assign(note="mine"))
    done = CliRunner().invoke(cli, ["export", str(folder), "--to", "gpx,review"])
    assert done.exit_code == 0, done.stderr
    assert "note: plan.gpkg was changed after the plan was written" in done.stderr
    assert "plan.gpkg was changed after the plan was written" in (folder / "review.html").read_text("utf-8")
    with pytest.raises(OutputError, match="not written anew"):
        export_plan(folder, ["gpkg"])


@pytest.mark.first(1)
@pytest.mark.parametrize(
    ("formats", "message"),
    [
        (["json"], "not made again later"),
        (["gpxx"], "option --to: no format 'gpxx'; did you mean 'gpx'"),
        (["permissions"], r"'permissions' needs \[\[land\]\] in the job"),
    ],
)
def test_formats_that_cannot_be_made(make_plan, tmp_path, formats, message) -> None:
    plan = make_plan(formats=BASE)
    write_plan(dataclasses.replace(plan, job=plan.job.model_copy(update={"land": ()})), tmp_path)
    with pytest.raises(OutputError, match=message):
        export_plan(tmp_path, formats)


@pytest.mark.long
def test_two_plans_are_not_mixed(base, make_plan, tmp_path) -> None:
    write_plan(make_plan(3, formats=BASE), tmp_path / "b")
    with pytest.raises(OutputError, match="holds another plan"):
        export_plan(base, ["gpx"], tmp_path / "b")


def test_a_plan_taken_apart(folder, make_plan) -> None:
    record = json.loads((folder / "plan.json").read_text("utf-8"))
    del record["inputs"]
    (folder / "plan.json").write_text(json.dumps(record), "utf-8")
    with pytest.raises(OutputError, match=r"plan\.json or plan\.gpkg was taken apart \(KeyError: 'inputs'\)"):
        stored_plan(folder)
    (folder / "plan.gpkg").unlink()
    pyogrio.write_dataframe(make_plan().towers, folder / "plan.gpkg", layer="towers", driver="GPKG")
    with pytest.raises(OutputError, match="has no layer spans, electrodes"):
        stored_plan(folder)


@pytest.mark.long
@pytest.mark.parametrize(
    ("layer", "change", "message"),
    [
        ("towers", lambda table: table.drop(columns="lon"), "changed: layer 'towers' has no column lon"),
        ("leads", lambda table: table.drop(columns="handling"), "layer 'leads' of plan.gpkg has no column handling"),
        ("checks", lambda table: table.drop(columns="basis"), "changed: layer 'checks' has no column basis"),
        ("towers", lambda table: pd.DataFrame(table.drop(columns="geometry")), "'towers' has no geometry"),
    ],
)
def test_tables_taken_apart(make_plan, tmp_path, layer, change, message) -> None:
    plan = make_plan(formats=BASE)
    write_plan(plan, tmp_path)
    (tmp_path / "plan.gpkg").unlink()
    for name in TABLES:
        table = with_columns(getattr(on_the_globe(plan), name), name)
        table = change(table) if name == layer else table
        pyogrio.write_dataframe(table, tmp_path / "plan.gpkg", layer=name, driver="GPKG")
    with pytest.raises(OutputError, match=message):
        export_plan(tmp_path, ["csv"])


def test_on_the_command_line(folder) -> None:
    done = CliRunner().invoke(cli, ["export", str(folder), "--to", "gpx, csv", "--out", str(folder / "new")])
    assert done.exit_code == 0, done.stderr
    assert sorted(path.name for path in (folder / "new").glob("[!.]*")) == ["stakes.csv", "waypoints.gpx"]
    assert "caution:" in done.stdout
    listed = CliRunner().invoke(cli, ["export", "--list"]).stdout
    assert all(re.search(rf"^{name}\s+{re.escape(entry.files[0])}", listed, re.M) for name, entry in FORMATS.items())
    for arguments in ([], [str(folder)], ["--to", "gpx"]):
        assert CliRunner().invoke(cli, ["export", *arguments]).exit_code == 2
    nowhere = CliRunner().invoke(cli, ["export", str(folder / "nowhere"), "--to", "gpx"])
    assert nowhere.exit_code == 2
    assert "no plan here" in nowhere.stderr


@pytest.mark.long
def test_a_font_that_a_plan_of_somebody_else_names_is_not_opened(make_plan, tmp_path) -> None:
    font, folder = tmp_path / "own.ttf", tmp_path / "plan"
    font.write_bytes(b"whatever lies on this machine")
    write_plan(with_formats(make_plan(3), formats=BASE, font=font), folder)
    record = json.loads((folder / "plan.json").read_text("utf-8"))
    assert record["settings"]["output"]["font"] == "own.ttf"  # its name, not where it lay
    record["settings"]["output"]["font"] = str(font)
    (folder / "plan.json").write_text(json.dumps(record), "utf-8")
    named = stored_plan(folder).plan.job.output.font
    assert named is not None
    assert named.name == "own.ttf"
    assert not named.exists()
