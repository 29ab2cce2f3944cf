"""What is loaded into the project: all of it, dressed, in order, with columns in plain words."""

import shutil

import pytest
from qgis.core import QgsProcessingContext, QgsProject, QgsVectorLayer
from qgis.PyQt.QtCore import QCoreApplication, QEvent


@pytest.fixture(scope="module")
def opened(planned, tmp_path_factory):
    """A copy of the sample plan that QGIS may open."""
    return shutil.copytree(planned, tmp_path_factory.mktemp("opened") / "plan")


@pytest.fixture(scope="module")
def loaded(processing, opened):
    """The layers of the sample plan in a project, as the window loads them."""
    from layoutplan_gis.loading import TABLES, load_layers
    from processing.gui.Postprocessing import handleAlgorithmResults
    from qgis.core import QgsApplication

    project = QgsProject.instance()
    context = QgsProcessingContext()
    context.setProject(project)
    load_layers(opened / "plan.gpkg", TABLES, context)
    algorithm = QgsApplication.processingRegistry().algorithmById("layoutplan:plan")
    assert handleAlgorithmResults(algorithm, context, None, {})
    yield [node.layer() for node in project.layerTreeRoot().findLayers()]
    project.removeAllMapLayers()


def test_towers_lie_above_stakes_leads_ways_and_obstacles(loaded):
    order = ["Towers", "Stakes H and S", "Leads", "Other positions", "Ways on foot", "Spans"]
    names = [layer.name() for layer in loaded]
    assert names[: len(order)] == order
    assert not [name for name in names if name.startswith("Land")]  # nothing in it: the job names no land
    assert names.index("Obstacles (lines)") < names.index("Obstacles (areas)")


def test_no_obstacle_is_left_out(loaded, planned, table):
    parts = [layer for layer in loaded if layer.name().startswith("Obstacles")]
    assert len(parts) >= 2
    assert sum(layer.featureCount() for layer in parts) == len(table(planned / "plan.gpkg", "obstacles"))


def test_layers_are_dressed_and_labelled(loaded):
    by_name = {layer.name(): layer for layer in loaded}
    for name in ("Towers", "Stakes H and S", "Leads", "Ways on foot", "Obstacles (areas)", "Obstacles (lines)"):
        assert by_name[name].renderer().type() == "RuleRenderer", name
    for name in ("Towers", "Stakes H and S"):
        assert by_name[name].labelsEnabled(), name


def test_columns_are_named_in_plain_words(loaded):
    stakes = next(layer for layer in loaded if layer.name() == "Stakes H and S")
    names = {field.name(): field.alias() for field in stakes.fields()}
    assert names["distance_m"] == "distance from the tower middle, m"
    assert names["bearing_true_deg"] == "true bearing from the tower middle, degrees"
    assert names["tower_id"] == "tower"


def test_each_kind_of_obstacles_lists_its_own_rules_once(loaded):
    for title, kind in (("areas", 2), ("lines", 1)):
        (layer,) = [layer for layer in loaded if layer.name() == f"Obstacles ({title})"]
        labels = [item.label() for item in layer.renderer().legendSymbolItems()]
        assert len(labels) == len(set(labels)) > 3
        symbols = {rule.symbol().type() for rule in layer.renderer().rootRule().children()}
        assert symbols == {kind}  # all of them, not folded below a heading


def test_a_layer_that_is_opened_by_hand_is_dressed_too(processing, opened):
    layer = QgsVectorLayer(f"{opened / 'plan.gpkg'}|layername=towers", "t", "ogr")
    assert layer.renderer().type() == "RuleRenderer"
    assert layer.labelsEnabled()
    assert layer.fields().field("tower_id").alias() == "tower"
    table = QgsVectorLayer(f"{opened / 'plan.gpkg'}|layername=checks", "c", "ogr")
    assert table.fields().field("tower_id").alias() == "tower"


def test_the_same_file_can_be_loaded_again_when_the_window_of_the_first_run_is_gone(processing, opened):
    from layoutplan_gis.loading import TABLES, load_layers

    for _ in range(2):
        context = QgsProcessingContext()
        context.setProject(QgsProject.instance())
        load_layers(opened / "plan.gpkg", TABLES, context)
        assert all(details.postProcessor() for details in context.layersToLoadOnCompletion().values())
        del context
        QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


def test_layers_of_a_folder_that_is_not_temporary_bear_their_titles_too(processing, opened, tmp_path, monkeypatch):
    """QGIS names layers by their tables unless told otherwise, but not those in the temporary folder."""
    from layoutplan_gis.loading import TABLES, load_layers

    monkeypatch.setenv("TMPDIR", str(tmp_path))
    context = QgsProcessingContext()
    context.setProject(QgsProject.instance())
    load_layers(opened / "plan.gpkg", TABLES, context)
    names = set()
    for source, details in context.layersToLoadOnCompletion().items():
        layer = QgsVectorLayer(source, "x", "ogr")
        assert not layer.isTemporary()
        details.setOutputLayerName(layer)
        names.add(layer.name())
    assert {"Towers", "Stakes H and S", "Obstacles (areas)", "Obstacles (lines)"} <= names
    assert names.isdisjoint(TABLES)
