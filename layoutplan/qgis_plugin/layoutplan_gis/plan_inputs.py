"""From the parameters of the planning dialog to the job file."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, NamedTuple

from qgis.core import QgsProcessingException, QgsVectorLayer

from .sources import Snapshot, write_source

CLASS_COLUMN = "obstacle_class"
LAYERS_FILE = "layers.gpkg"


class Number(NamedTuple):
    """A number of the dialog and where it goes in the job file."""

    title: str
    section: str
    key: str
    least: float
    most: float
    help_text: str


NUMBERS = {
    "CLEARANCE": Number(
        "Stake to the outermost conductor of any power line, m",
        *("rules", "line_clearance_m", 0.0, 1e5),
        "Measured to the line. If left out: the job file's, else 50 m (common practice, no published source).",
    ),
    "MIN_DISTANCE": Number(
        "Tower to stake, at least, m",
        *("rules", "min_distance_m", 0.0, 1e5),
        "Whatever the other rules say. If left out: the job file's, else what the other rules ask.",
    ),
    "MIN_ANGLE": Number(
        "Lead to each adjoining span, at least, degrees",
        *("rules", "min_angle_deg", 0.0, 90.0),
        "If left out: the job file's, else 30 degrees (common practice, no published source).",
    ),
    "REEL": Number(
        "Lead on the reel, m",
        *("rules", "reel_m", 0.1, 1e5),
        "No lead is longer. If left out: the job file's, else 150 m.",
    ),
    "VOLTAGE": Number(
        "Nominal voltage of the line, kV",
        *("lines", "voltage_kv", 0.1, 2000.0),
        "Of the first line. If left out: the job file's; without it figures that need it are unknown.",
    ),
}


def line_job(algorithm: Any, parameters: Any, context: Any, feedback: Any, own: Path) -> dict[str, Any]:
    """Section of the line: its towers and course copied to ``own``, its voltage; empty if none is given."""
    line: dict[str, Any] = {}
    towers = algorithm.parameterAsSource(parameters, "TOWERS", context)
    if towers is not None:
        line["towers"] = _towers(algorithm, parameters, context, feedback, own, towers)
    elif parameters.get("TOWERS"):
        raise QgsProcessingException("the layer of the towers cannot be read.")
    course = algorithm.parameterAsSource(parameters, "LINE", context)
    if course is not None:
        line["centreline"] = _copied(algorithm, course, "line", context, feedback, own)
    if parameters.get("VOLTAGE") is not None:
        line["voltage_kv"] = algorithm.parameterAsDouble(parameters, "VOLTAGE", context)
    return {"lines": [line]} if line else {}


def _towers(algorithm: Any, parameters: Any, context: Any, feedback: Any, own: Path, towers: Any) -> dict[str, str]:
    names = [field.name() for field in towers.fields()]
    chosen = {
        "id_column": algorithm.parameterAsString(parameters, "ID_FIELD", context) or "tower_id",
        "order_column": algorithm.parameterAsString(parameters, "ORDER_FIELD", context),
    }
    for column in filter(None, chosen.values()):
        if column not in names:
            raise QgsProcessingException(
                f"the towers' layer has no column '{column}'; it has: {', '.join(names) or 'none'}. Choose the column "
                "with the tower's number or name."
            )
    written = _copied(algorithm, towers, "towers", context, feedback, own)
    return {**written, **{key: column for key, column in chosen.items() if column}}


def _copied(algorithm: Any, source: Any, name: str, context: Any, feedback: Any, own: Path) -> dict[str, str]:
    """Copy of a source, of which the command is to speak by the source's own name."""
    algorithm.copies[f"{LAYERS_FILE}, layer '{name}'"] = f"layer '{source.sourceName()}'"
    return write_source(source, name, own / LAYERS_FILE, context, feedback)


def number_job(algorithm: Any, parameters: Any, context: Any) -> dict[str, Any]:
    """Section of the rules, with the numbers that are given."""
    given = {
        number.key: algorithm.parameterAsDouble(parameters, name, context)
        for name, number in NUMBERS.items()
        if number.section == "rules" and parameters.get(name) is not None
    }
    return {"rules": given} if given else {}


def obstacle_layers(algorithm: Any, parameters: Any, context: Any) -> list[tuple[Snapshot, str]]:
    """Obstacle layers as they are now, each with its class; empty where a column tells it."""
    cells = [str(cell or "").strip() for cell in algorithm.parameterAsMatrix(parameters, "CLASSES", context)]
    classes = {cells[place]: cells[place + 1] for place in range(0, len(cells) - 1, 2) if cells[place]}
    found = []
    for layer in algorithm.parameterAsLayerList(parameters, "OBSTACLES", context) or ():
        if not isinstance(layer, QgsVectorLayer) or not layer.isValid():
            raise QgsProcessingException(f"obstacle layer '{layer.name()}' is no vector layer that can be read.")
        has_column = layer.fields().lookupField(CLASS_COLUMN) >= 0
        # a layer read from a file without a project has the name "file" or "file — layer"
        name = layer.name()
        short = name.rpartition(" — ")[2]
        named = classes.pop(name, "") or classes.pop(short, "")
        found.append((Snapshot(layer), named or ("" if has_column else short)))
    if classes:
        raise QgsProcessingException(
            f"a class is given for '{next(iter(classes))}', but no obstacle layer bears that name; they are: "
            f"{', '.join(source.sourceName() for source, _ in found) or 'none'}."
        )
    return found


def layer_job(algorithm: Any, parameters: Any, context: Any, feedback: Any, own: Path) -> list[dict[str, Any]]:
    """Sections of the map, the obstacle layers copied to ``own``."""
    layers: list[dict[str, Any]] = []
    for number, (source, named) in enumerate(algorithm.obstacles, 1):
        entry: dict[str, Any] = {**_copied(algorithm, source, f"obstacles_{number}", context, feedback, own)}
        if named:
            entry["obstacle_class"] = named
        else:
            # each value stands for itself; the command says which one is no class
            entry.update(class_column=CLASS_COLUMN, class_map={name: name for name in source.values(CLASS_COLUMN)})
        if source.fields().lookupField("name") >= 0:
            entry["name_column"] = "name"
        layers.append(entry)
    extract = algorithm.parameterAsFile(parameters, "OSM", context)
    if extract:
        layers.append({"path": os.path.abspath(extract)})
    return layers


def raster_file(algorithm: Any, parameters: Any, context: Any) -> str:
    """File of the elevation raster; empty if none is given."""
    layer = algorithm.parameterAsRasterLayer(parameters, "DEM", context)
    if layer is None:
        if parameters.get("DEM"):
            raise QgsProcessingException("the raster with the heights cannot be read.")
        return ""
    path = layer.source().partition("|")[0]
    if not os.path.isfile(path):
        raise QgsProcessingException(
            f"raster '{layer.name()}' does not lie in a file. Save it as a GeoTIFF file and choose that."
        )
    return os.path.abspath(path)
