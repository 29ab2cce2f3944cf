"""stakes.kml and stakes.kmz against the OGC schema of KML 2.2 and another reader."""

import io
import re
import warnings
import zipfile
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path

import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from lxml import etree
from matplotlib.image import imread

from layoutplan.layout.levels import LEAD_LEVELS
from layoutplan.layout.rules import STATUSES
from layoutplan.outputs.columns import on_the_globe, turned_lon
from layoutplan.outputs.kml import write_kml, write_kmz
from layoutplan.outputs.kml.icons import icon_files
from layoutplan.outputs.points import tower_waypoints
from layoutplan.text import xml_text

KML = {"k": "http://www.opengis.net/kml/2.2"}
PLACES = [{}, {"lon": 180.0001, "lat": -17.0}, {"lon": -180.0, "lat": 65.0}, {"lon": 0.0, "lat": 0.0}]


@pytest.fixture(scope="module")
def schema() -> etree.XMLSchema:
    """The schema of OGC KML 2.2 (OGC 07-147r2), shipped as data in the wheel of fastkml."""
    return etree.XMLSchema(etree.parse(str(files("fastkml") / "schema" / "ogckml22.xsd")))


def tree(path: Path) -> etree._ElementTree:
    parser = etree.XMLParser(resolve_entities=False, no_network=True)
    if path.suffix == ".kmz":
        with zipfile.ZipFile(path) as archive:
            return etree.parse(io.BytesIO(archive.read("doc.kml")), parser)
    return etree.parse(str(path), parser)


def found(node, path: str) -> list:
    return node.xpath(path, namespaces=KML)


def named(document, style: str) -> dict[str, str]:
    """Coordinates of the placemarks of a style, by name."""
    marks = found(document, f"//k:Placemark[starts-with(k:styleUrl, '#style-{style}')]")
    return {mark.findtext("k:name", None, KML): mark.findtext(".//k:coordinates", None, KML).strip() for mark in marks}


@pytest.mark.first(2)
@pytest.mark.parametrize("write", [write_kml, write_kmz])
@pytest.mark.parametrize("place", PLACES, ids=str)
def test_valid(make_plan, tmp_path, schema, write, place) -> None:
    schema.assertValid(tree(write(on_the_globe(make_plan(14, **place)), tmp_path)))


@pytest.mark.parametrize("write", [write_kml, write_kmz])
def test_valid_without_any_stake(empty_plan, tmp_path, schema, write) -> None:
    document = tree(write(empty_plan, tmp_path))
    schema.assertValid(document)
    assert len(found(document, "//k:Point")) == len(empty_plan.towers)


def test_the_schema_refuses_what_is_wrong(plan, tmp_path, schema) -> None:
    text = write_kml(plan, tmp_path).read_text("utf-8")
    assert not schema.validate(etree.fromstring(text.replace("clampToGround", "clampToTower", 1).encode()))


def test_folders_by_line_and_tower(make_plan, tmp_path) -> None:
    plan = make_plan(hostile=False)
    document = tree(write_kml(plan, tmp_path))
    (line,) = found(document, "/k:kml/k:Document/k:Folder")
    assert line.findtext("k:name", None, KML) == "Line Valley 132"
    folders = [folder.findtext("k:name", None, KML) for folder in found(line, "k:Folder")]
    rows = zip(plan.towers["tower_id"], plan.towers["status"], strict=True)
    assert folders == [*(f"Tower {tower}: {status}" for tower, status in rows), "Spans"]
    first = found(line, "k:Folder[1]/k:Placemark/k:name/text()")
    assert first[:3] == [tower_waypoints(plan)[0], "001-H", "001-S"]
    assert first[3].startswith("001-H lead, ")
    assert len(found(line, "k:Folder[last()]/k:Placemark")) == len(plan.spans)


@pytest.mark.first(1)
@pytest.mark.parametrize("place", PLACES, ids=str)
def test_another_reader_finds_every_point_where_it_is(make_plan, tmp_path, place) -> None:
    """GDAL's own KML reader, layer by layer."""
    plan = on_the_globe(make_plan(14, **place))
    path = write_kml(plan, tmp_path)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # layers of one name, as two folders may have
        layers = [pyogrio.read_dataframe(path, layer=number) for number in range(len(pyogrio.list_layers(path)))]
    table = pd.concat(layers).drop_duplicates(subset=["Name"])
    shapes = dict(zip(table["Name"], table.geometry, strict=True))
    towers, stakes = plan.towers.assign(waypoint=tower_waypoints(plan)), plan.electrodes
    calm = ("all rules met", "take care", "compromise")
    stakes = stakes.assign(waypoint=stakes["waypoint"] + np.where(stakes["status"].isin(calm), "", "-NO"))
    for row in pd.concat((towers, stakes)).itertuples():
        x, y, *_ = shapes[row.waypoint].coords[0]
        assert abs((x - row.lon + 180) % 360 - 180) <= 1e-7
        assert abs(y - row.lat) <= 1e-7
    leads = {name: shape for name, shape in shapes.items() if " lead, " in name}
    assert len(leads) == len(plan.leads)
    for row in plan.leads.itertuples():
        (shape,) = [shape for name, shape in leads.items() if name.startswith(f"{row.waypoint} lead")]
        got, expected = np.array(shape.coords)[:, :2], shapely.get_coordinates(row.geometry)
        assert np.abs((got[:, 0] - expected[:, 0] + 180) % 360 - 180).max() <= 1e-7
        assert np.abs(got[:, 1] - expected[:, 1]).max() <= 1e-7


def test_coordinates_are_longitude_latitude_on_the_ground(make_plan, tmp_path) -> None:
    plan = on_the_globe(make_plan(lon=180.0001, lat=-17.0))
    document = tree(write_kmz(plan, tmp_path))
    signs = ("H", "S", "H-not-yet", "S-not-yet")
    stakes = {name.removesuffix("-NO"): place for sign in signs for name, place in named(document, sign).items()}
    for row in plan.electrodes.itertuples():
        lon, lat = map(float, stakes[row.waypoint].split(","))
        assert -180 <= lon < 180
        assert lon == pytest.approx(turned_lon(row.lon), abs=0.51e-7)
        assert lat == pytest.approx(row.lat, abs=0.51e-7)
    modes = found(document, "//k:altitudeMode/text()")
    assert set(modes) == {"clampToGround"}
    assert len(modes) == len(found(document, "//k:coordinates"))
    assert len(found(document, "//k:LineString[k:tessellate = '1']")) == len(found(document, "//k:LineString"))


def test_every_level_status_and_role_has_its_style(plan, tmp_path) -> None:
    document = tree(write_kml(plan, tmp_path))
    used = {url.removeprefix("#") for url in found(document, "//k:styleUrl/text()")}
    given = found(document, "//k:Style/@id")
    assert used <= set(given)
    assert len(set(given)) == len(given) == len(STATUSES) + 4 + len(LEAD_LEVELS) + 3
    widths = {
        style.get("id"): float(style.findtext(".//k:width", None, KML))
        for style in found(document, "//k:Style[k:LineStyle]")
    }
    levels = [widths[f"style-lead-{level}"] for level in ("above", "unknown", "near", "below")]
    assert levels == sorted(set(levels), reverse=True), "the nearer to a limit, the wider"


def test_the_level_of_a_lead_is_told_in_words(plan, tmp_path) -> None:
    names = named(tree(write_kml(plan, tmp_path)), "lead")
    levels = {name.partition(" lead, in service ")[2] for name in names}
    assert levels <= {"above a limit", "of unknown voltage", "near a limit", "up to half of every limit"}
    assert len(levels) > 1
    unknown = plan.leads[plan.leads["lead_level"] == "unknown"]["waypoint"]
    assert len(unknown)
    assert all(f"{waypoint} lead, in service of unknown voltage" in names for waypoint in unknown)


def test_nothing_outside_the_file_is_referred_to(plan, tmp_path) -> None:
    text = etree.tostring(tree(write_kml(plan, tmp_path)))
    assert not found(etree.fromstring(text), "//k:href")
    addresses = set(re.findall(rb"[a-z]+://[^\s\"<]+", text))
    assert addresses == {b"http://www.opengis.net/kml/2.2"}, "the namespace, which nobody fetches"
    path = write_kmz(plan, tmp_path)
    with zipfile.ZipFile(path) as archive:
        members = archive.namelist()
    assert set(found(tree(path), "//k:href/text()")) == set(members[1:])
    assert set(re.findall(rb"[a-z]+://[^\s\"<]+", etree.tostring(tree(path)))) == addresses


class Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.text += data


def shown(html: str) -> Tags:
    parser = Tags()
    parser.feed(html)
    parser.close()
    return parser


@pytest.mark.parametrize("write", [write_kml, write_kmz])
def test_hostile_text_is_text(make_plan, tmp_path, hostile_texts, write) -> None:
    """Balloons are HTML in every viewer, and $[…] in them is filled in from the data."""
    more = ("]]>", "$[description]", "&lt;b&gt;", "a\ufffeb\uffff")
    plan = make_plan(len(hostile_texts) + 8)
    ids = plan.towers["tower_id"].tolist()
    names = dict(zip(ids[-len(more) :], more, strict=True))
    tables = {
        name: getattr(plan, name).replace({"tower_id": names}) for name in ("towers", "electrodes", "leads", "checks")
    }
    for name, table in tables.items():
        object.__setattr__(plan, name, table)
    document = tree(write(plan, tmp_path))
    folders = found(document, "//k:Folder/k:name/text()")
    html = [shown(text) for text in found(document, "//k:description/text()")]
    for hostile in (*hostile_texts, *more):
        assert any(name.startswith(f"Tower {xml_text(hostile)}: ") for name in folders), hostile
        assert any(f"Tower {xml_text(hostile)}" in " ".join(page.text.split()) for page in html), hostile
    assert {tag for page in html for tag in page.tags} == {"b", "table", "tr", "td", "a", "ul", "li", "p"}
    attributes = {attribute for page in html for attribute, _ in page.attributes}
    assert attributes == {"border", "cellpadding", "href"}
    links = [value for page in html for attribute, value in page.attributes if attribute == "href"]
    assert all(re.fullmatch(r"geo:-?[0-9.]+,-?[0-9.]+", link) for link in links)
    assert set(found(document, "//k:BalloonStyle/k:text/text()")) == {"$[description]"}, "names are no HTML"
    assert not any("$[" in text for text in found(document, "//k:description/text()"))
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202e\ufffe\uffff]", "".join(document.getroot().itertext()))


def test_the_balloon_of_a_stake(make_plan, tmp_path) -> None:
    plan = make_plan(hostile=False)
    document = tree(write_kml(plan, tmp_path))
    (mark,) = found(document, "//k:Placemark[k:name = '001-H']")
    page = shown(mark.findtext("k:description", None, KML))
    lead = plan.leads.iloc[0]
    told = ("Auxiliary current electrode H, tower 001", "88.5 m on the ground", "92.5 m level, 171.0° true")
    for words in (*told, lead["handling"], lead["handling_fault"], "right side"):
        assert words in page.text
    (link,) = [value for name, value in page.attributes if name == "href"]
    lat, lon = map(float, link.removeprefix("geo:").split(","))
    assert (lon, lat) == pytest.approx((plan.electrodes["lon"][0], plan.electrodes["lat"][0]), abs=0.51e-7)
    data = {node.get("name"): node.findtext("k:value", None, KML) for node in found(mark, ".//k:Data")}
    assert data["role"] == "H"
    assert data["tower_id"] == "001"
    assert float(data["distance_m"]) == 92.5
    assert mark.findtext("k:Snippet", None, KML).startswith("H from leg ahead right: 88.5 m on the ground")


def test_lines_in_the_order_of_the_plan(make_plan, tmp_path) -> None:
    plan = make_plan(hostile=False)
    for name in ("towers", "spans", "electrodes", "leads"):
        table = getattr(plan, name).copy()
        table.loc[: len(table) // 2, "line_id"] = "Z line"
        object.__setattr__(plan, name, table)
    lines = found(tree(write_kml(plan, tmp_path)), "/k:kml/k:Document/k:Folder/k:name/text()")
    assert lines == ["Line Z line", "Line Valley 132"]


def test_cautions_and_credit_are_in_the_file(plan, tmp_path) -> None:
    page = shown(found(tree(write_kml(plan, tmp_path)), "/k:kml/k:Document/k:description/text()")[0])
    assert all(caution in page.text for caution in plan.cautions)
    assert "© OpenStreetMap contributors, ODbL" in page.text


def test_the_archive(plan, tmp_path) -> None:
    path = write_kmz(plan, tmp_path)
    first = path.read_bytes()
    with zipfile.ZipFile(path) as archive:
        members = archive.infolist()
        assert members[0].filename == "doc.kml", "viewers take the first one (common practice)"
        assert archive.testzip() is None
        assert {member.date_time for member in members} == {(1980, 1, 1, 0, 0, 0)}
    path.unlink()
    assert write_kmz(plan, tmp_path).read_bytes() == first
    assert write_kml(plan, tmp_path).read_bytes() == write_kml(plan, tmp_path).read_bytes()


def test_the_archive_in_another_reader(make_plan, tmp_path) -> None:
    plan = make_plan(hostile=False)
    path = write_kmz(plan, tmp_path)
    count = sum(pyogrio.read_info(path, layer=number)["features"] for number in range(len(pyogrio.list_layers(path))))
    assert count >= len(plan.towers) + len(plan.electrodes) + len(plan.leads) + len(plan.spans)


def test_signs_are_pictures_that_differ_without_colour() -> None:
    pictures = {name: imread(io.BytesIO(content), format="png") for name, content in icon_files().items()}
    assert all(picture.shape == (48, 48, 4) for picture in pictures.values())
    assert all(picture[0, :, 3].max() == 0 and picture[:, 0, 3].max() == 0 for picture in pictures.values()), "cut off"
    shapes = {name: picture[..., 3] > 0.5 for name, picture in pictures.items()}
    names = list(shapes)
    for i, one in enumerate(names):
        for other in names[i + 1 :]:
            filled = np.abs(pictures[one][24, 24, :3].mean() - pictures[other][24, 24, :3].mean())
            assert (shapes[one] ^ shapes[other]).sum() > 60 or filled > 0.5, (one, other)
    assert (shapes["icons/H.png"] ^ shapes["icons/S.png"]).sum() > 200
