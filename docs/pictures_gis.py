"""Pictures of a plan in QGIS, without a screen. Called by docs/pictures.py, on the Python that QGIS came with.

LAYOUTPLAN_CLI=… /usr/bin/python3 docs/pictures_gis.py PLAN SAMPLE OUT

PLAN is the folder of the sample's plan, SAMPLE a copy of the sample (QGIS writes into what it opens), OUT the folder
for the pictures. The windows hold QGIS's own layer tree, map and dialog, and nothing of its frame.
"""

import os
import sys
import tempfile
from pathlib import Path

os.environ["QT_QPA_PLATFORM"] = "offscreen"
sys.path[:0] = ["/usr/share/qgis/python/plugins", str(Path(__file__).parents[1] / "layoutplan" / "qgis_plugin")]

try:
    from qgis.core import (
        QgsApplication,
        QgsCoordinateReferenceSystem,
        QgsGeometry,
        QgsLayerTreeModel,
        QgsLayoutExporter,
        QgsPointXY,
        QgsProject,
        QgsVectorLayer,
    )
    from qgis.gui import QgsLayerTreeMapCanvasBridge, QgsLayerTreeView, QgsMapCanvas
    from qgis.PyQt.QtCore import Qt
    from qgis.PyQt.QtGui import QFont
    from qgis.PyQt.QtWidgets import QApplication, QSplitter
except ImportError as err:
    raise SystemExit(
        f"no PyQGIS in {sys.executable} ({err}); set PYQGIS_PYTHON to the Python that QGIS came with"
    ) from err

SIZE = (1300, 820)
TREE_PX, SCALE = 300, 4800
MIDDLE_TOWER = "108"
# what is moved in the picture of a check: H to the side of S, and a stake a few metres along
MOVED_DEG = {"107-H": (0.0, 0.00172), "108-S": (0.00012, 0.0)}
DIALOG_SIZE = (1000, 760)


def main(plan, sample, out):
    """Make all four."""
    application = QgsApplication([], True)
    application.initQgis()
    QApplication.setFont(QFont("DejaVu Sans", 9))
    plugin = with_plugin()  # the tools go with it
    dialog(sample, out / "gis_dialog.png")
    project = QgsProject.instance()
    project.clear()
    project.read(str(plan / "plan.qgz"))
    overview(project, out / "gis_overview.png")
    window(project, plan, out / "gis_result.png")
    checked(project, plan, out / "gis_check.png")
    del plugin
    sys.stdout.flush()
    os._exit(0)  # layers that only a cycle keeps alive crash the program when they go after it


def with_plugin():
    """Processing, with this plug-in's tools."""
    from layoutplan_gis import classFactory
    from processing.core.Processing import Processing

    Processing.initialize()
    plugin = classFactory(None)
    plugin.initProcessing()
    return plugin


def dialog(sample, path):
    """The dialog of the planning tool, filled in."""
    from processing.gui.AlgorithmDialog import AlgorithmDialog

    layers = {}
    for name in ("towers", "power_lines", "buildings", "roads"):
        layers[name] = QgsVectorLayer(f"{sample / 'valley.gpkg'}|layername={name}", name, "ogr")
        QgsProject.instance().addMapLayer(layers[name])
    tool = QgsApplication.processingRegistry().createAlgorithmById("layoutplan:plan")
    shown = AlgorithmDialog(tool, False, None)
    shown.resize(*DIALOG_SIZE)
    given = {"TOWERS": layers["towers"].id(), "ID_FIELD": "tower_id", "ORDER_FIELD": "seq"}
    given["OBSTACLES"] = [layers[name].id() for name in ("buildings", "roads")]
    given["CLASSES"] = ["buildings", "building", "roads", "minor_road"]
    shown.setParameters(given)
    shown.show()
    _settle()
    shown.grab().save(str(path))
    shown.close()


def overview(project, path):
    """The page to print, as QGIS prints it."""
    settings = QgsLayoutExporter.ImageExportSettings()
    settings.dpi = 72
    QgsLayoutExporter(project.layoutManager().layoutByName("Overview")).exportToImage(str(path), settings)


def window(project, plan, path):
    """Layers on the left, the map on the right, around one tower."""
    tree = QgsLayerTreeView()
    model = QgsLayerTreeModel(project.layerTreeRoot())
    for flag in (QgsLayerTreeModel.ShowLegend, QgsLayerTreeModel.AllowNodeChangeVisibility):
        model.setFlag(flag)
    tree.setModel(model)
    canvas = QgsMapCanvas()
    canvas.setCanvasColor(Qt.white)
    canvas.enableAntiAliasing(True)
    both = QSplitter(Qt.Horizontal)
    both.addWidget(tree)
    both.addWidget(canvas)
    both.resize(*SIZE)
    both.setSizes([TREE_PX, SIZE[0] - TREE_PX])
    bridge = QgsLayerTreeMapCanvasBridge(project.layerTreeRoot(), canvas)
    bridge.setCanvasLayers()
    both.show()
    _settle()
    canvas.setDestinationCrs(QgsCoordinateReferenceSystem("EPSG:32632"))
    canvas.setCenter(_place(plan, canvas))
    canvas.zoomScale(SCALE)
    canvas.refresh()
    _settle()
    canvas.waitWhileRendering()
    _settle()
    both.grab().save(str(path))
    canvas.setLayers([])
    both.close()


def checked(project, plan, path):
    """Stakes moved in the layer, saved, and checked by the tool."""
    import processing

    stakes = QgsVectorLayer(f"{plan / 'plan.gpkg'}|layername=electrodes", "stakes", "ogr")
    stakes.startEditing()
    for row in stakes.getFeatures():
        if row["waypoint"] in MOVED_DEG:
            point, (east, north) = row.geometry().asPoint(), MOVED_DEG[row["waypoint"]]
            moved = QgsPointXY(point.x() + east, point.y() + north)
            stakes.changeGeometry(row.id(), QgsGeometry.fromPointXY(moved))
    stakes.commitChanges()
    result = plan.parent / "check"
    processing.runAndLoadResults("layoutplan:check", {"PLAN": str(plan / "plan.gpkg"), "OUTPUT": str(result)})
    root = project.layerTreeRoot()
    for node in root.findLayers():
        if node.name() in ("Stakes H and S", "Leads", "Ways on foot", "Other positions"):
            node.setItemVisibilityChecked(False)
        node.setExpanded(node.name().startswith("Check: stakes"))
    window(project, plan, path)


def _place(plan, canvas):
    towers = QgsVectorLayer(f"{plan / 'plan.gpkg'}|layername=towers", "towers", "ogr")
    towers.setSubsetString(f"tower_id = '{MIDDLE_TOWER}'")
    point = next(towers.getFeatures()).geometry().asPoint()
    return canvas.mapSettings().layerToMapCoordinates(towers, point)


def _settle():
    for _ in range(50):
        QApplication.processEvents()


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        os.environ["QGIS_CUSTOM_CONFIG_PATH"] = str(Path(folder) / "profile")
        main(*(Path(argument).resolve() for argument in sys.argv[1:4]))
