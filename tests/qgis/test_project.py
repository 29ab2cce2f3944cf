"""plan.qgz opened in QGIS: layers in order and dressed, labels by scale, the map to print looked at by measuring it."""

import json
import shutil
import sqlite3
from contextlib import closing

import pytest
from qgis.core import (
    QgsCoordinateTransform,
    QgsLayoutExporter,
    QgsMapRendererParallelJob,
    QgsMapSettings,
    QgsProject,
    QgsReadWriteContext,
    QgsRectangle,
    QgsScaleCalculator,
)
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor
from qgis.PyQt.QtXml import QDomDocument


@pytest.fixture(scope="module")
def folder(planned, tmp_path_factory):
    """A copy that QGIS may open, where the path is not plain."""
    return shutil.copytree(planned, tmp_path_factory.mktemp("project") / "Plan für 'x' 塔")


@pytest.fixture
def project(processing, folder):
    project = QgsProject()
    assert project.read(str(folder / "plan.qgz")), project.error()
    yield project
    project.clear()


def layers(project):
    return [node.layer() for node in project.layerTreeRoot().findLayers()]


def layer(project, name):
    (found,) = [layer for layer in layers(project) if layer.name() == name]
    return found


def test_all_layers_are_there_in_order_over_the_obstacles(project, folder):
    names = [layer.name() for layer in layers(project)]
    assert names[:6] == ["Towers", "Stakes H and S", "Leads", "Other positions", "Ways on foot", "Spans"]
    assert names.index("Obstacles (lines)") < names.index("Obstacles (areas)") < names.index("Rules and verdicts")
    with closing(sqlite3.connect(folder / "plan.gpkg")) as base:
        tables = {"Towers": "towers", "Stakes H and S": "electrodes", "Rules and verdicts": "checks", "Leads": "leads"}
        for title, table in tables.items():
            (count,) = base.execute(f'SELECT count(*) FROM "{table}"').fetchone()
            assert layer(project, title).featureCount() == count
        (count,) = base.execute("SELECT count(*) FROM obstacles").fetchone()
    assert sum(found.featureCount() for found in layers(project) if found.name().startswith("Obstacles")) == count
    assert all(found.isValid() for found in layers(project))


def test_it_moves_with_its_folder(processing, folder, tmp_path):
    away = shutil.copytree(folder, tmp_path / "elsewhere")
    project = QgsProject()
    assert project.read(str(away / "plan.qgz"))
    assert all(found.source().startswith(str(away)) for found in layers(project))
    project.clear()


def test_layers_are_dressed_named_and_credited(project, folder):
    assert project.crs().authid() == "EPSG:32632"
    for name in ("Towers", "Stakes H and S", "Leads", "Ways on foot", "Obstacles (areas)"):
        assert layer(project, name).renderer().type() == "RuleRenderer"
        assert layer(project, name).crs().authid() == "EPSG:4326"
    assert layer(project, "Towers").fields().field("tower_id").alias() == "tower"
    assert layer(project, "Obstacles (areas)").attribution()
    assert project.readBoolEntry("CopyrightLabel", "/Enabled")[0]
    record = json.loads((folder / "plan.json").read_text("utf-8"))
    assert project.title() == f"{record['title']} ({record['plan_number']})"


def drawn(project, names, scale, size=500):
    """Picture of layers about the middle of the towers."""
    settings = QgsMapSettings()
    settings.setDestinationCrs(project.crs())
    settings.setLayers([layer(project, name) for name in names])
    settings.setOutputSize(QSize(size, size))
    settings.setOutputDpi(96)
    towers = layer(project, "Towers")
    settings.setBackgroundColor(QColor("white"))
    move = QgsCoordinateTransform(towers.crs(), project.crs(), project)
    place = move.transform(next(towers.getFeatures("tower_id = '113'")).geometry().asPoint())
    half = size / 96 * 0.0254 * scale / 2
    settings.setExtent(QgsRectangle(place.x() - half, place.y() - half, place.x() + half, place.y() + half))
    job = QgsMapRendererParallelJob(settings)
    job.start()
    job.waitForFinished()
    return job.renderedImage()


def ink(image):
    """Pixels that are not white."""
    picture = image.convertToFormat(image.Format.Format_RGB32)
    bits = picture.constBits()
    bits.setsize(picture.sizeInBytes())
    data = bytes(bits)
    return sum(data[place : place + 3] != b"\xff\xff\xff" for place in range(0, len(data), 4))


def test_small_things_are_drawn_only_where_they_can_be_read(project):
    stakes = ["Stakes H and S"]
    assert ink(drawn(project, stakes, 20_000)) > 0
    assert ink(drawn(project, stakes, 60_000)) == 0
    towers = layer(project, "Towers")
    towers.setLabelsEnabled(False)
    signs = {scale: ink(drawn(project, ["Towers"], scale)) for scale in (10_000, 20_000, 150_000)}
    towers.setLabelsEnabled(True)
    words = {scale: ink(drawn(project, ["Towers"], scale)) - count for scale, count in signs.items()}
    assert words[150_000] == 0  # no text at all
    assert words[10_000] > 0
    assert words[20_000] > 0


def test_buildings_are_not_anything_else_on_an_overview(project):
    areas = layer(project, "Obstacles (areas)")
    areas.setLabelsEnabled(False)
    areas.setSubsetString("obstacle_class = 'building'")
    near, far = (drawn(project, ["Obstacles (areas)"], scale) for scale in (20_000, 30_000))
    areas.setSubsetString("")
    assert ink(near) > 0
    assert ink(far) == 0


def test_the_map_to_print(project, tmp_path):
    (layout,) = project.layoutManager().layouts()
    assert layout.pageCollection().pageCount() == 1
    reference = layout.referenceMap()
    extent, towers = reference.extent(), layer(project, "Towers")
    move = QgsCoordinateTransform(towers.crs(), project.crs(), project)
    for name in ("Towers", "Stakes H and S"):
        for feature in layer(project, name).getFeatures():
            assert extent.contains(move.transform(feature.geometry().asPoint()))
    calculator = QgsScaleCalculator()
    calculator.setMapUnits(project.crs().mapUnits())
    calculator.setDpi(25.4)
    assert calculator.calculate(extent, reference.rect().width()) == pytest.approx(reference.scale(), rel=1e-3)
    texts = [item.currentText() for item in layout.items() if hasattr(item, "currentText")]
    assert f"1 : {reference.scale():,.0f}" in " ".join(texts)
    assert any("Local codes, the asset owner's rules and licensed practice take precedence" in text for text in texts)
    assert any("Map data:" in text for text in texts)
    (bar,) = [item for item in layout.items() if hasattr(item, "unitsPerSegment")]
    assert bar.linkedMap() == reference
    metres = bar.unitsPerSegment() * (1000 if bar.unitLabel() == "km" else 1)
    document = QDomDocument()
    parent = document.createElement("x")
    bar.writeXml(parent, document, QgsReadWriteContext())
    drawn_mm = float(parent.firstChildElement().attribute("segmentMillimeters"))
    # the program measures on the ellipsoid: up to 0.04 % off the grid in a UTM zone
    assert drawn_mm == pytest.approx(1000 * metres / reference.scale(), rel=1e-3)
    exporter = QgsLayoutExporter(layout)
    assert exporter.exportToPdf(str(tmp_path / "o.pdf"), exporter.PdfExportSettings()) == exporter.Success
    assert (tmp_path / "o.pdf").stat().st_size > 20_000


def test_the_legend_lists_what_is_on_the_map_only(project):
    (layout,) = project.layoutManager().layouts()
    (legend,) = [item for item in layout.items() if hasattr(item, "legendFilterByMapEnabled")]
    assert legend.legendFilterByMapEnabled()
    assert legend.linkedMap() == layout.referenceMap()
    names = [node.name() for node in legend.model().rootGroup().findLayers()]
    assert "Towers" in names
    assert "Rules and verdicts" not in names
    size = legend.sizeWithUnits()
    assert size.width() <= 92.5
    page = layout.pageCollection().page(0).rect()
    assert legend.pagePos().y() + size.height() < page.height()


def test_words_of_the_job_are_not_run(command, sample, processing, tmp_path):
    hostile = '[% env("HOME") %] <b>x</b> &'
    lines = (sample / "job.toml").read_text("utf-8").splitlines()
    (title,) = [number for number, line in enumerate(lines) if line.startswith("title = ")]
    lines[title] = f"title = '{hostile}'"
    job = sample / "hostile.toml"
    job.write_text("\n".join([*lines, "[output]", 'formats = ["gpkg", "project", "json"]']), "utf-8")
    command("plan", job, "--out", tmp_path / "hostile", "--quiet")
    project = QgsProject()
    assert project.read(str(tmp_path / "hostile" / "plan.qgz"))
    assert project.title().startswith(hostile)
    (layout,) = project.layoutManager().layouts()
    texts = [item.currentText() for item in layout.items() if hasattr(item, "currentText")]
    assert any(text.startswith('[ % env("HOME") %] <b>x</b>') for text in texts)
    project.clear()
