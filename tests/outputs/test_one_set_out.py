"""The same stake, read from every file that a person takes along: one warning, one set-out, one plan number."""

import csv
import html
import json
import re
import zipfile
from types import SimpleNamespace

import ezdxf
import geopandas as gpd
import gpxpy
import pypdfium2
import pytest
from click.testing import CliRunner

from layoutplan.cli.main import cli
from layoutplan.layout.rules import MAY_STAKE
from layoutplan.layout.set_out import marked_name, set_out, warning
from layoutplan.outputs import write_plan
from layoutplan.outputs.plan_number import plan_number

FORMATS = ("gpkg", "gpx", "kmz", "csv", "geojson", "survey", "dxf", "map", "review", "sheets", "json")


def plain(text):
    """Text without tags, line breaks and what HTML writes letters by."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", text)))


@pytest.fixture(scope="module")
def folder(sample_plan_with, tmp_path_factory):
    folder = tmp_path_factory.mktemp("all")
    write_plan(sample_plan_with(formats=FORMATS), folder)
    return folder


@pytest.fixture(scope="module")
def stakes(sample_plan):
    """One stake of each status: warned of and not."""
    table = sample_plan.electrodes.drop_duplicates("status")
    rows = [SimpleNamespace(**row) for row in table.drop(columns="geometry").to_dict("records")]
    assert {row.status in MAY_STAKE for row in rows} == {True, False}
    return rows


@pytest.fixture(scope="module")
def pages(folder):
    """Text of each page of the sheets."""
    document = pypdfium2.PdfDocument(folder / "sheets.pdf")
    return [plain(page.get_textpage().get_text_range()) for page in document]


def test_a_crossing_has_one_wording(folder, sample_plan, pages):
    """On paper, on the phone and in the tables alike; numbers of the map stand in columns of their own."""
    ids = sorted(set(sample_plan.obstacles["feature_id"]))
    phone = plain((folder / "map.html").read_text("utf-8"))
    for row in sample_plan.leads[sample_plan.leads["crossings"] != ""].itertuples():
        what = row.crossings.partition(" at ")[0]
        assert what in phone
        (page,) = (page for page in pages if re.search(rf"{re.escape(row.waypoint)}\b", page) and "scan for H" in page)
        assert what in page
    for table in ("towers", "electrodes", "leads", "relaxations", "checks", "agreements"):
        texts = getattr(sample_plan, table)
        for column in {"reasons", "crossings", "text", "detail", "what"} & set(texts.columns):
            words = "\n".join(texts[column].astype(str))
            assert not [number for number in ids if f"({number})" in words or f" {number}\n" in words], (table, column)
    referred = set(", ".join(filter(None, sample_plan.checks["reference"])).split(", "))
    assert referred <= set(ids)
    assert referred


def test_gpx(folder, stakes, sample_plan):
    gpx = gpxpy.parse((folder / "waypoints.gpx").read_text("utf-8"))
    found = {point.name: point for point in gpx.waypoints}
    for stake in stakes:
        point = found[marked_name(stake.waypoint, stake.status, 10)]
        assert point.name.endswith("-NO") == bool(warning(stake.status))
        assert point.comment.startswith(warning(stake.status))
        assert set_out(stake).line in point.comment
        assert set_out(stake).line in point.description
        assert set_out(stake).middle in point.description
        assert plan_number(sample_plan) in point.description
        assert (point.symbol == stake.role) == (not warning(stake.status))


def test_kmz(folder, stakes, sample_plan):
    with zipfile.ZipFile(folder / "stakes.kmz") as archive:
        text = archive.read("doc.kml").decode()
        icons = {name for name in archive.namelist() if name.endswith(".png")}
    assert plan_number(sample_plan) in text
    for stake in stakes:
        name = marked_name(stake.waypoint, stake.status, 10)
        (found,) = re.findall(rf"<Placemark[^>]*>\s*<name>{name}</name>.*?</Placemark>", text, re.S)
        assert f"#style-{stake.role}{'-not-yet' if warning(stake.status) else ''}<" in found
        shown = plain(html.unescape(found))
        said = set_out(stake)
        assert all(
            part in shown for part in (warning(stake.status), said.line, said.middle, said.distance, said.bearing)
        )
    assert {"icons/H_not_yet.png", "icons/S_not_yet.png"} <= icons


def test_tables(folder, stakes, sample_plan):
    with (folder / "stakes.csv").open(encoding="utf-8", newline="") as file:
        listed = {row["waypoint"]: row for row in csv.DictReader(file)}
    features = json.loads((folder / "plan.geojson").read_text("utf-8"))["features"]
    spread = {f["properties"]["waypoint"]: f["properties"] for f in features if f["properties"]["kind"] == "electrode"}
    layer = gpd.read_file(folder / "plan.gpkg", layer="electrodes").set_index("waypoint")
    for stake in stakes:
        row = listed[stake.waypoint]
        assert (row["warning"], row["plan_number"]) == (warning(stake.status), plan_number(sample_plan))
        figures = {
            name: None if text == "" else float(text)
            for name, text in row.items()
            if "set_out_" in name and name != "set_out_from"
        }
        figures |= {name: float(row[name]) for name in ("lead_length_m", "distance_m", "bearing_true_deg")}
        rebuilt = [
            SimpleNamespace(**figures, set_out_from=row["set_out_from"]),
            SimpleNamespace(**spread[stake.waypoint]),
            layer.loc[stake.waypoint],
        ]
        assert [set_out(one) for one in rebuilt] == [set_out(stake)] * 3


def test_survey_and_drawing(folder, stakes, sample_plan):
    listed = (folder / "stakes_survey.csv").read_text("ascii")
    drawing = ezdxf.readfile(next(folder.glob("*.dxf")))
    blocks = {(block.get_attrib_text("WAYPOINT") or ""): block for block in drawing.modelspace().query("INSERT")}
    texts = [text.dxf.text for text in drawing.modelspace().query("TEXT")]
    for stake in stakes:
        assert f"{marked_name(stake.waypoint, stake.status, 10)} {stake.status} {plan_number(sample_plan)}" in listed
        block = blocks[stake.waypoint]
        assert block.get_attrib_text("SET_OUT") == set_out(stake).line
        assert block.get_attrib_text("FROM_MIDDLE") == set_out(stake).middle
        assert (block.dxf.layer == "STAKES-NOT-YET") == bool(warning(stake.status))
        assert not warning(stake.status) or warning(stake.status) in texts


@pytest.mark.parametrize("name", ["map.html", "review.html"])
def test_pages(folder, stakes, sample_plan, name):
    shown = plain((folder / name).read_text("utf-8"))
    assert plan_number(sample_plan) in shown
    for stake in stakes:
        assert set_out(stake).middle in shown
        assert f"{set_out(stake).line}" in shown
        assert warning(stake.status) in shown


def test_sheets(pages, stakes, sample_plan):
    for stake in stakes:
        (page,) = [text for text in pages if f"{stake.waypoint} " in text and "Set out from" in text]
        assert set_out(stake).line in page
        assert plan_number(sample_plan) in page
        assert not warning(stake.status) or "NOT YET" in page


def test_explain(folder, stakes):
    for stake in stakes:
        result = CliRunner().invoke(cli, ["explain", str(folder), stake.tower_id, "--line", stake.line_id])
        shown = plain(result.output)
        said = set_out(stake)
        assert all(text in shown for text in (warning(stake.status), said.line, said.middle))


def test_no_lone_letter_stands_for_south(folder):
    with (folder / "stakes.csv").open(encoding="utf-8", newline="") as file:
        assert {row["octant"] for row in csv.DictReader(file)} <= {
            *("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
        }


def test_a_marked_name_comes_home():
    from layoutplan.checking.matching_pairs import claims

    names = ["103-H-NO", "103 h no", "103XH", "103X-H", "104-S", "nothing"]
    assert claims(names, ["103-H", "103X-H", "104-S"]).tolist() == [0, 0, 0, 1, 2, -1]
