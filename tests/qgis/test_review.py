"""Editing, checking, explaining, exporting a plan inside QGIS."""

import json
import shutil
import xml.etree.ElementTree as ET

import pytest
from qgis.core import (
    QgsApplication,
    QgsFeatureRequest,
    QgsGeometry,
    QgsPointXY,
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingFeatureSourceDefinition,
    QgsProject,
    QgsVectorLayer,
)
from qgis.PyQt.QtXml import QDomDocument


@pytest.fixture
def stakes(plan_copy):
    """The layer of the stakes, open in the project."""
    layer = QgsVectorLayer(f"{plan_copy / 'plan.gpkg'}|layername=electrodes", "Stakes", "ogr")
    assert layer.isValid()
    QgsProject.instance().addMapLayer(layer)
    yield layer
    QgsProject.instance().removeAllMapLayers()


def drag_beside_the_tower(layer, row, plan):
    """Move a stake to some metres off its tower, under the conductors."""
    towers = QgsVectorLayer(f"{plan}|layername=towers", "Towers", "ogr")
    towers.setSubsetString(f"tower_id = '{row['tower_id']}' AND line_id = '{row['line_id']}'")
    point = next(towers.getFeatures()).geometry().asPoint()
    layer.startEditing()
    layer.changeGeometry(row.id(), QgsGeometry.fromPointXY(QgsPointXY(point.x() + 0.0001, point.y())))


def signs_of(source):
    """Signs of a layer as it is opened; a refused run keeps its caller's variables, so no layer may be one of them."""
    layer = QgsVectorLayer(source, "s", "ogr")
    assert layer.labelsEnabled()
    document = QDomDocument()
    layer.exportNamedStyle(document)
    style = ET.fromstring(document.toString())
    assert style.find("renderer-v2").get("type") == "RuleRenderer"
    return {option.get("value") for option in style.iter("Option") if option.get("name") == "name"}


def test_a_stake_dragged_is_found_by_the_check_as_on_the_command_line(
    processing, feedback, command, stakes, plan_copy, tmp_path
):
    row = next(stakes.getFeatures())
    tower, role = row["tower_id"], row["role"]
    drag_beside_the_tower(stakes, row, plan_copy / "plan.gpkg")
    context = QgsProcessingContext()
    context.setProject(QgsProject.instance())
    parameters = {"PLAN": str(plan_copy / "plan.gpkg"), "OUTPUT": str(tmp_path / "result")}
    with pytest.raises(QgsProcessingException, match="edits that are not saved"):
        processing.run("layoutplan:check", parameters, feedback=feedback(), context=context)
    assert stakes.commitChanges()
    log = feedback()
    found = processing.run("layoutplan:check", parameters, feedback=log, context=context)
    said = json.loads(command("check", plan_copy, "--out", tmp_path / "line", "--json").stdout)
    assert [(item["tower_id"], item["role"]) for item in said["moved"]] == [(tower, role)]
    assert (found["MOVED"], found["MISSING"]) == (1, 0)
    assert found["BROKEN"] == len(said["broken"]) > 0
    first = said["broken"][0]
    figures = f"{first['measured']:.2f} {first['unit']} (limit {first['limit']:g})"
    assert f"broken: {role} of tower {tower}: {first['rule']} {figures}" in log.warnings
    assert sum(text.startswith("worse than planned") for text in log.warnings) == sum(
        row["verdict"] != "broken" for row in said["worse"]
    )
    assert any(f"moved or new: {role} of tower {tower}: " in text for text in log.said)
    assert any("'Job file of the plan'" in text for text in log.warnings)
    assert "--job" not in "".join(log.warnings)
    log = feedback()
    page = {"PLAN": parameters["PLAN"], "TOWER": tower, "OUTPUT": str(tmp_path / "why.html")}
    processing.run("layoutplan:explain", page, feedback=log, context=context)
    assert any(text.startswith(f"caution: plan.gpkg was changed: {tower} {role} moved. ") for text in log.warnings)
    stakes.project().addMapLayer(QgsVectorLayer(found["ELECTRODES"], "Check", "ogr"))
    with pytest.raises(QgsProcessingException, match=r"earlier check .* is open in this project"):
        processing.run("layoutplan:check", parameters, feedback=feedback(), context=context)
    now = {feature["waypoint"]: feature["change"] for feature in QgsVectorLayer(found["ELECTRODES"]).getFeatures()}
    assert now[row["waypoint"]] == "moved"
    assert (tmp_path / "result" / "check.csv").read_bytes() == (tmp_path / "line" / "check.csv").read_bytes()
    assert context.layersToLoadOnCompletion()
    assert {"circle", "diamond", "triangle", "square", "star", "cross"} <= signs_of(found["ELECTRODES"])
    where = f"{tmp_path / 'result' / 'check.gpkg'}|layername=shifts"
    assert [shift["waypoint"] for shift in QgsVectorLayer(where, "s", "ogr").getFeatures()] == [row["waypoint"]]


def test_a_plan_that_was_opened_and_left_as_it_was_is_exported_without_a_word(command, stakes, plan_copy, tmp_path):
    before = (plan_copy / "plan.gpkg").read_bytes()
    stakes.startEditing()
    stakes.rollBack()
    QgsProject.instance().removeAllMapLayers()
    assert (plan_copy / "plan.gpkg").read_bytes() != before  # the program has left its mark
    done = command("export", plan_copy, "--to", "csv", "--out", tmp_path / "made", expected=(0,))
    assert "was changed" not in done.stderr


@pytest.mark.parametrize("name", ["check", "explain", "export"])
def test_the_plan_that_is_open_is_offered(processing, stakes, plan_copy, tmp_path, name):
    def offered():
        found = QgsApplication.processingRegistry().createAlgorithmById(f"layoutplan:{name}")
        return found.parameterDefinition("PLAN").defaultValue()

    assert offered() == str(plan_copy / "plan.gpkg")
    other = shutil.copytree(plan_copy, tmp_path / "other") / "plan.gpkg"
    QgsProject.instance().addMapLayer(QgsVectorLayer(f"{other}|layername=towers", "Another plan", "ogr"))
    assert offered() is None  # which one is for the user to say


def test_points_staked_in_the_field_and_selected(processing, feedback, stakes, plan_copy, tmp_path):
    memory = stakes.materialize(QgsFeatureRequest())
    memory.setName("as staked")
    QgsProject.instance().addMapLayer(memory)
    memory.selectByIds([feature.id() for feature in memory.getFeatures()][:4])
    staked = QgsProcessingFeatureSourceDefinition(memory.id(), selectedFeaturesOnly=True)
    context = QgsProcessingContext()
    context.setProject(QgsProject.instance())
    parameters = {"PLAN": str(plan_copy / "plan.gpkg"), "STAKED": staked, "OUTPUT": str(tmp_path / "result")}
    log = feedback()
    found = processing.run("layoutplan:check", parameters, feedback=log, context=context)
    assert (found["MOVED"], found["MISSING"]) == (0, 0)
    assert any("48 not surveyed yet" in text for text in log.said)
    log = feedback()
    complete = {**parameters, "COMPLETE": True, "OUTPUT": str(tmp_path / "c")}
    found = processing.run("layoutplan:check", complete, feedback=log, context=context)
    assert (found["MOVED"], found["MISSING"]) == (0, 48)
    assert sum(text.startswith("missing: ") for text in log.warnings) == 40
    assert "… and 8 more, see the loaded layers and tables" in log.warnings
    memory.startEditing()
    memory.changeAttributeValue(memory.selectedFeatureIds()[0], memory.fields().lookupField("waypoint"), "")
    log = feedback()
    processing.run("layoutplan:check", {**parameters, "OUTPUT": str(tmp_path / "b")}, feedback=log, context=context)
    assert any(text.startswith("layer 'as staked': matched by place") for text in log.warnings)
    memory.rollBack()


def test_planning_into_a_plan_that_lies_open_is_refused(processing, feedback, stakes, plan_copy):
    context = QgsProcessingContext()
    context.setProject(QgsProject.instance())
    parameters = {"JOB": str(plan_copy / "none.toml"), "OUTPUT": str(plan_copy)}
    with pytest.raises(QgsProcessingException, match="open in this project"):
        processing.run("layoutplan:plan", parameters, feedback=feedback(), context=context)


def test_explaining_by_name_and_by_selection(processing, feedback, command, stakes, plan_copy, tmp_path):
    parameters = {"PLAN": str(plan_copy / "plan.gpkg"), "OUTPUT": str(tmp_path / "why.html")}
    log = feedback()
    processing.run("layoutplan:explain", {**parameters, "TOWER": "107"}, feedback=log)
    text = command("explain", plan_copy, "107").stdout
    assert text.strip() in "\n".join(log.said).replace("\u00a0", " ")
    assert "  " not in "\n".join(log.said)  # the log draws several blanks as one
    page = (tmp_path / "why.html").read_text("utf-8")
    assert "Tower 107" in page
    assert "take precedence" in page
    stakes.selectByExpression("\"tower_id\" IN ('107', '108')")
    chosen = QgsProcessingFeatureSourceDefinition(stakes.id(), selectedFeaturesOnly=True)
    context = QgsProcessingContext()
    context.setProject(QgsProject.instance())
    processing.run("layoutplan:explain", {**parameters, "FEATURES": chosen}, feedback=feedback(), context=context)
    page = (tmp_path / "why.html").read_text("utf-8")
    assert page.count("<h2>") == 2
    both = {**parameters, "TOWER": "107", "FEATURES": chosen}
    with pytest.raises(QgsProcessingException, match="Both tower 107 and features"):
        processing.run("layoutplan:explain", both, feedback=feedback(), context=context)
    with pytest.raises(QgsProcessingException, match="Tower 9"):
        processing.run("layoutplan:explain", {**parameters, "TOWER": "9<b>"}, feedback=feedback())


def test_export_makes_what_the_plan_made(processing, feedback, plan_copy, tmp_path):
    parameters = {"PLAN": str(plan_copy / "plan.gpkg"), "FORMATS": [1, 4], "OUTPUT": str(tmp_path / "files")}
    processing.run("layoutplan:export", parameters, feedback=feedback())
    for name in ("waypoints.gpx", "stakes.csv"):
        assert (tmp_path / "files" / name).read_bytes() == (plan_copy / name).read_bytes()


def test_chosen_formats_are_kept_in_the_history(processing):
    """QGIS 3.22 forgets there, and leaves blank in the list, options that are texts themselves."""
    algorithm = QgsApplication.processingRegistry().algorithmById("layoutplan:export")
    parameter = algorithm.parameterDefinition("FORMATS")
    assert parameter.valueAsPythonString([0, 4], QgsProcessingContext()) == "[0,4]"
    assert not parameter.usesStaticStrings()


def test_a_format_that_is_no_number_is_refused_in_a_model(processing, feedback, plan_copy, tmp_path):
    algorithm = QgsApplication.processingRegistry().algorithmById("layoutplan:export")
    parameters = {"PLAN": str(plan_copy / "plan.gpkg"), "FORMATS": ["csv"], "OUTPUT": str(tmp_path / "files")}
    with pytest.raises(QgsProcessingException, match="'csv' is no number"):
        algorithm.run(parameters, QgsProcessingContext(), feedback(), catchExceptions=False)
