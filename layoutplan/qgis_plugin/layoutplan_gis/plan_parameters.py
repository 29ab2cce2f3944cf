"""What the planning dialog asks."""

from __future__ import annotations

from typing import Any

from qgis.core import (
    QgsProcessing,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterField,
    QgsProcessingParameterFile,
    QgsProcessingParameterFolderDestination,
    QgsProcessingParameterMatrix,
    QgsProcessingParameterMultipleLayers,
    QgsProcessingParameterNumber,
    QgsProcessingParameterRasterLayer,
)

from .plan_inputs import NUMBERS

_KIND = QgsProcessing.SourceType


def add_parameters(algorithm: Any) -> None:
    """Add all parameters, with their help."""
    _add_line(algorithm)
    _add_map(algorithm)
    for name, number in NUMBERS.items():
        algorithm.add(
            QgsProcessingParameterNumber(
                name, number.title, QgsProcessingParameterNumber.Type.Double, None, True, number.least, number.most
            ),
            number.help_text,
        )
    algorithm.add(
        QgsProcessingParameterFile("JOB", "Job file with everything else", extension="toml", optional=True),
        "A TOML file with whatever is not asked here: conductors, loads, faults, soil, land, rules, outputs. "
        "'layoutplan start FOLDER' writes one to fill in. What is given in this dialog counts more.",
    )
    algorithm.add(
        QgsProcessingParameterFolderDestination("OUTPUT", "Folder of the plan"),
        "All files of the plan are written into it, complete or not at all: a run that fails or is cancelled leaves an "
        "earlier plan as it was. Keep it; a temporary folder is gone when the program closes.",
    )


def _add_line(algorithm: Any) -> None:
    algorithm.add(
        QgsProcessingParameterFeatureSource("TOWERS", "Towers", [_KIND.TypeVectorPoint], optional=True),
        "Points, one for each tower of one line. If left out, the job file must name the towers.",
    )
    for name, title, help_text in (
        ("ID_FIELD", "Column with the tower's number or name", "Each must occur once. If left out: tower_id."),
        (
            "ORDER_FIELD",
            "Column with the order along the line",
            "Numbers. If left out, towers follow the line, or the order of the rows where there is no line.",
        ),
    ):
        algorithm.add(
            QgsProcessingParameterField(name, title, parentLayerParameterName="TOWERS", optional=True), help_text
        )
    algorithm.add(
        QgsProcessingParameterFeatureSource("LINE", "Course of the line", [_KIND.TypeVectorLine], optional=True),
        "The line's centreline. If left out, it is built through the towers in their order.",
    )


def _add_map(algorithm: Any) -> None:
    algorithm.add(
        QgsProcessingParameterMultipleLayers("OBSTACLES", "Obstacles", _KIND.TypeVectorAnyGeometry, optional=True),
        "Layers with what keeps stakes and leads away. A column 'obstacle_class' gives the class of each feature; "
        "where there is none, see the next parameter.",
    )
    algorithm.add(
        QgsProcessingParameterMatrix(
            "CLASSES", "Class of each obstacle layer", numberRows=1, headers=["Layer", "Obstacle class"], optional=True
        ),
        "For layers without a column 'obstacle_class': the layer's name and its class, for instance building, "
        "main_road, railway, pipeline. A layer that bears the name of a class needs no row. The classes are listed in "
        "the documentation.",
    )
    algorithm.add(
        QgsProcessingParameterFile("OSM", "OpenStreetMap extract", optional=True),
        "A file .osm.pbf, .osm, .osm.gz or .osm.bz2. Classes come from its tags. Credit: OpenStreetMap contributors.",
    )
    algorithm.add(
        QgsProcessingParameterRasterLayer("DEM", "Heights of the ground", optional=True),
        "An elevation raster in a file. Without one, slopes and drops are unknown.",
    )
