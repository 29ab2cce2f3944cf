"""A class that is added in one place, by the class file or by a job, is in every output with its label and its look."""

import re
import sqlite3
import zipfile
from contextlib import closing
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pyogrio
import pypdf
import pypdfium2
import pytest

from layoutplan.job import shipped_classes

from .changed_package import ROOT, Package, ditch_beside_the_line, small_job

pytestmark = pytest.mark.long

LABEL, NAME, COLOR = "leat with a hollow bank", "hollow_leat", "#c0a21e"
CLASS = f"""
label = "{LABEL}"
stake = "no"
keep_out_m = 1.0
lead_crossing = "care"
width_m = 1.0
on_foot = {{ effort = 2.0 }}
look = {{ group = "water", line = "{COLOR}", fill = "{COLOR}", width = 3 }}
"""
LAYER = """
[[layers]]
path = "added.gpkg"
obstacle_class = "hollow_leat"
name_column = "name"
"""


def texts(path: Path) -> str:
    """Everything that can be read in a file."""
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as archive:
            return "\n".join(archive.read(name).decode("utf-8", "ignore") for name in archive.namelist())
    if path.suffix == ".pdf":
        with closing(pypdfium2.PdfDocument(path)) as document:
            return "\n".join(page.get_textpage().get_text_range() for page in document)
    if path.suffix == ".gpkg":
        with closing(sqlite3.connect(path)) as base:
            return "\n".join(base.iterdump())
    if path.suffix == ".parquet":
        return str(pq.read_table(path).to_pylist())
    if path.suffix == ".fgb":
        return pyogrio.read_dataframe(path).to_csv()
    return path.read_text("utf-8")


@pytest.fixture(scope="module", params=["the class file", "a job laid over"])
def planned(request, tmp_path_factory):
    """Package, folder of the plan, and what the commands said."""
    folder = tmp_path_factory.mktemp("new")
    job = small_job(folder / "job")
    ditch_beside_the_line(folder / "job" / "added.gpkg")
    over = folder / "job" / "over.toml"
    if request.param == "the class file":
        package = Package.copied(folder)
        package.append("layoutplan/job/obstacle_classes.toml", f'\n[{NAME}]{CLASS}basis = "judgement"\n')
        over.write_text(LAYER)
    else:
        package = Package(ROOT)
        over.write_text(f"{LAYER}[classes.{NAME}]{CLASS}")
    formats = package.formats()
    over.write_text(f"{over.read_text()}\n[output]\nformats = {list(formats)}\n")
    whole = job.with_name("whole.toml")
    whole.write_text(job.read_text() + over.read_text())
    said = {"inspect": package.command("inspect", str(whole))}
    plan = folder / "plan"
    said["plan"] = package.command("plan", str(job), "--over", str(over), "--out", str(plan), code=(0, 1))
    said["check"] = package.command("check", str(plan), code=(0, 1))
    said["explain"] = package.command("explain", str(plan), "T1")
    files = {name: sorted(path for file in files for path in plan.glob(file)) for name, files in formats.items()}
    return package, plan, files, said


def test_every_format_tells_of_it_that_tells_of_any(planned) -> None:
    _, _, files, _ = planned
    labels = {row.label for name, row in shipped_classes().items() if name in ("minor_road", "track_path")}
    telling = set()
    for name, paths in files.items():
        assert paths, f"{name} wrote nothing"
        said = "\n".join(map(texts, paths))
        assert "unknown class" not in said
        told = [label for label in labels if label in said]
        assert bool(told) <= (LABEL in said), f"{name} tells of {told}"
        if LABEL in said:
            telling.add(name)
    assert {"gpkg", "kmz", "csv", "map", "review", "sheets", "json"} <= telling


def test_the_commands_tell_of_it(planned) -> None:
    _, _, _, said = planned
    assert NAME in said["inspect"]
    assert LABEL in said["explain"]
    assert "unknown" not in said["check"].replace("unknown:", "").split("\n")[0]


def test_stakes_keep_off_it_and_leads_across_are_minded(planned) -> None:
    _, plan, _, _ = planned
    crossings = pyogrio.read_dataframe(plan / "plan.gpkg", layer="crossings")
    met = crossings[crossings["obstacle_class"] == NAME]
    assert len(met) >= 4
    assert set(met["verdict"]) == {"take care"}
    stakes = pyogrio.read_dataframe(plan / "plan.gpkg", layer="electrodes").to_crs(25832).geometry
    obstacles = pyogrio.read_dataframe(plan / "plan.gpkg", layer="obstacles").to_crs(25832)
    (pool,) = obstacles[obstacles["name"] == "Pool"].geometry
    assert stakes.distance(pool).min() >= 1.0 - 1e-3


def test_its_look_is_drawn(planned) -> None:
    """On map, sheets and in the desktop GIS by its own colour, in the legends by its label."""
    _, plan, _, _ = planned
    page = (plan / "map.html").read_text("utf-8")
    assert re.search(rf'"{NAME}": {{"color": "{COLOR}", "weight": 3', page)
    assert re.search(rf'data-area="{NAME}"></canvas></dt><dd>{LABEL}<', page)
    rgb = [int(COLOR[place : place + 2], 16) for place in (1, 3, 5)]
    qml = texts(plan / "plan.gpkg")
    assert ",".join(map(str, rgb)) in qml
    assert ",".join(map(str, rgb)) in texts(plan / "plan.qgz")
    drawn = re.findall(r"([\d.]+) ([\d.]+) ([\d.]+) (?:rg|RG)\b", sheet_operators(plan / "sheets.pdf"))
    assert any(np.allclose([float(part) * 255 for part in found], rgb, atol=1) for found in set(drawn))
    assert f"OBSTACLES-{NAME.upper()}" in (plan / "stakes.dxf").read_text("utf-8")


def sheet_operators(path: Path) -> str:
    reader = pypdf.PdfReader(path)
    return "\n".join(page.get_contents().get_data().decode("latin-1") for page in reader.pages)


def test_a_program_of_its_own_finds_every_rule_kept(planned) -> None:
    package, plan, _, _ = planned
    if package.root == ROOT:  # it reads the class file of the repository
        job = plan.parent / "job" / "whole.toml"
        assert "0 violation(s)" in package.python("tests/independent_check.py", str(plan), str(job))


def test_a_later_export_knows_it_too(planned, tmp_path) -> None:
    package, plan, _, _ = planned
    package.command("export", str(plan), "--to", "map,csv,kmz", "--out", str(tmp_path))
    for name in ("map.html", "stakes.csv", "stakes.kmz"):
        assert (tmp_path / name).read_bytes() == (plan / name).read_bytes()


def test_a_class_of_a_job_is_refused_where_it_is_mistaken(tmp_path) -> None:
    package = Package(ROOT)
    job = small_job(tmp_path / "job")
    for text, part in (
        ("[classes.hollow_leat]\nkeep_out_m = 3\n", "A class of the job's own needs a label"),
        ("[classes.main_raod]\nkeep_out_m = 3\n", "did you mean 'main_road'"),
        ('[classes."Hollow Leat"]\nlabel = "x"\n', "small letters"),
        ('[classes.hollow_leat]\nlabel = "x"\nlook = { line = "blue" }\n', "classes.hollow_leat.look.line"),
        (LAYER, "layers[3]: no obstacle class 'hollow_leat'"),
    ):
        (tmp_path / "over.toml").write_text(text)
        said = package.command("plan", str(job), "--over", str(tmp_path / "over.toml"), "--out", "plan", code=2)
        assert part in said
