"""plan.qgz as a document, read with lxml and zipfile; opening it in the program: tests/qgis/test_project.py."""

import zipfile
from dataclasses import replace
from xml.etree.ElementTree import Element

import numpy as np
import pytest
from lxml import etree

from layoutplan.errors import OutputError
from layoutplan.outputs.gis_project import write_project
from layoutplan.outputs.gis_project.items import PaperBox, legend_height_mm, legend_item
from layoutplan.outputs.gis_project.shown import ShownLayer
from layoutplan.outputs.gis_project.view import BAR_STEPS, SCALE_STEPS, round_down, round_up
from layoutplan.outputs.installed import chosen_formats
from layoutplan.outputs.plan_number import plan_number
from layoutplan.text import label_text


def document(plan, folder):
    folder.mkdir(exist_ok=True)
    with zipfile.ZipFile(write_project(plan, folder)) as archive:
        assert archive.namelist() == ["plan.qgs"]
        return etree.fromstring(archive.read("plan.qgs"))


def test_every_layer_of_the_list_is_there_with_data_beside_it(plan, tmp_path) -> None:
    root = document(plan, tmp_path)
    layers = {layer.findtext("id"): layer for layer in root.find("projectlayers")}
    listed = root.find("layer-tree-group").iter("layer-tree-layer")
    assert [node.get("id") for node in listed] == list(layers)
    assert len(layers) > 4
    for layer in layers.values():
        assert layer.findtext("datasource").startswith("./plan.gpkg|layername=")
        assert layer.find("aliases") is not None
    assert root.find("properties/Paths/Absolute").text == "false"


def test_tables_without_rows_are_left_out(plan, tmp_path) -> None:
    empty = replace(plan, approaches=plan.approaches.iloc[:0], exclusions=plan.exclusions.iloc[:0])
    titles = {layer.findtext("layername") for layer in document(empty, tmp_path).find("projectlayers")}
    assert not titles & {"Ways on foot", "Candidates excluded"}
    assert "Towers" in titles


def test_same_plan_same_bytes(plan, tmp_path) -> None:
    files = []
    for name in "ab":
        (tmp_path / name).mkdir()
        files.append(write_project(plan, tmp_path / name).read_bytes())
    assert files[0] == files[1]


def test_foreign_text_stays_text(make_plan, hostile_texts, tmp_path) -> None:
    """No title makes the document invalid or is run by a label."""
    plain = make_plan(2)
    for number, text in enumerate([*hostile_texts, '[% env("HOME") %]', "a\x00b\ufffe\ud800"]):
        titled = replace(plain, job=plain.job.model_copy(update={"title": text}))
        root = document(titled, tmp_path / str(number))
        for label in root.iter("LayoutItem"):
            assert "[%" not in (label.get("labelText") or "")
        assert "[%" not in root.find("properties/CopyrightLabel/Label").text


def test_label_text_leaves_nothing_to_run() -> None:
    for text in ("[% 1 %]", "[[% 1 %]", "[\u200e% 1 %]", "[\u202e%1%]", "[[[%%%"):
        assert "[%" not in label_text(text)


@pytest.mark.parametrize("grid", ["EPSG:25832", "EPSG:2263", "+proj=tmerc +lat_0=47 +lon_0=9.8 +ellps=GRS80"])
def test_the_map_shows_all_towers_at_a_round_scale(plan, tmp_path, grid) -> None:
    """EPSG:2263 has US survey feet, the last one no code at all; New York's system does not reach the plan's place."""
    if grid == "EPSG:2263":
        moved = plan.towers.assign(lon=plan.towers["lon"] * 0 - 74.0, lat=plan.towers["lat"] * 0 + 40.7)
        plan = replace(plan, towers=moved, electrodes=plan.electrodes.iloc[:0], leads=plan.leads.iloc[:0])
    root = document(replace(plan, grid_crs=grid), tmp_path)
    reference = root.find("projectCrs/spatialrefsys")
    assert (reference.findtext("authid") or "").startswith("EPSG") == grid.startswith("EPSG")
    assert reference.findtext("wkt").startswith("PROJCRS")
    (item,) = [item for item in root.iter("LayoutItem") if item.get("id") == "map"]
    extent = {name: float(value) for name, value in item.find("Extent").attrib.items()}
    width_mm = float(item.get("size").split(",")[0])
    unit_m = 0.3048006096012192 if grid == "EPSG:2263" else 1.0
    scale = (extent["xmax"] - extent["xmin"]) * unit_m / width_mm * 1000
    (said,) = [text for text in labels(root) if text.startswith("1 : ")]
    assert float(said.split()[2].replace(",", "")) == pytest.approx(scale, rel=1e-5)


def labels(root) -> list[str]:
    return [item.get("labelText") for item in root.iter("LayoutItem") if item.get("labelText")]


def test_cautions_and_credit_are_printed(plan, tmp_path) -> None:
    text = " ".join(labels(document(plan, tmp_path)))
    assert all(caution in text for caution in plan.cautions)
    assert "What is not drawn is not free" in text
    assert "Map data: " in text


@pytest.mark.parametrize("steps", [BAR_STEPS, SCALE_STEPS])
def test_round_numbers(steps) -> None:
    for value in [*np.geomspace(0.37, 9.9e5, 400), 1.0, 1000.0, 2500.0]:
        above, below = round_up(value, steps), round_down(value, steps)
        assert 0.39 * value <= below <= value * (1 + 1e-9)
        assert value <= above * (1 + 1e-9) <= 2.6 * value
        for found in (above, below):
            assert np.isclose(found / 10 ** np.floor(np.log10(found) + 1e-12), steps).any()


def test_it_is_not_written_without_its_data() -> None:
    with pytest.raises(OutputError, match=r"'project' shows plan\.gpkg beside it"):
        chosen_formats(["project", "json"])
    assert [entry.name for entry in chosen_formats(["project"], there=["gpkg"])] == ["project"]
    assert {entry.name for entry in chosen_formats(["project", "gpkg"])} == {"gpkg", "project"}


def test_a_long_title_leaves_room_and_the_plan_number_stays(make_plan, tmp_path) -> None:
    plain = make_plan(2)
    for number, title in enumerate(["Short", "Long words " * 40]):
        titled = replace(plain, job=plain.job.model_copy(update={"title": title}))
        root = document(titled, tmp_path / str(number))
        texts = [item.get("labelText") or "" for item in root.iter("LayoutItem")]
        (shown,) = [text for text in texts if text.startswith(title[:5])]
        assert len(shown) <= 96
        assert sum(plan_number(titled) in text for text in texts) == 1


def layer(signs, number):
    return ShownLayer("obstacles", f"Layer {number}", "", "Obstacles", kind=None, signs=signs)


@pytest.mark.parametrize("signs", [10, 40, 70, 400])
def test_a_legend_shrinks_to_its_box_but_not_beyond_reading(signs) -> None:
    layers = [layer(signs, 1)]
    box = PaperBox(0, 0, 92, 180)
    size = float(legend_item(box, Element("LayoutItem"), layers).get("symbolHeight")) / 3.0
    assert size == pytest.approx(min(1.0, max(0.6, 180 / legend_height_mm(layers))), rel=1e-4)
    assert (size < 1.0) == (signs > 44)  # 180 mm hold two headings of 4.5 mm and 45 signs of 3.8 mm
