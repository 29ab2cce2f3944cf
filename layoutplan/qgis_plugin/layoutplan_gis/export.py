"""Export: sheets, waypoints and other files from a plan that is written already."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from qgis.core import (
    QgsProcessingException,
    QgsProcessingFeedback,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFolderDestination,
    QgsProcessingParameterNumber,
)

from .base import PLAN_HELP, CommandAlgorithm, plan_folder, plan_parameter
from .runner import failure

FORMATS = (
    *("sheets", "gpx", "kmz", "kml", "csv", "permissions", "survey", "dxf"),
    *("geojson", "map", "review", "review_table", "parquet", "flatgeobuf"),
)


class ExportAlgorithm(CommandAlgorithm):
    """Runs ``layoutplan export``."""

    id_name, title = "export", "Export sheets, waypoints and other files from a plan"
    purpose = (
        "Makes files from a plan without planning again: staking sheets to print, waypoints for receivers, lists, "
        "drawings, pages. A plan whose stakes were moved since is refused: its figures no longer belong to them."
    )

    def initAlgorithm(self, configuration: Any = None) -> None:  # noqa: N802
        """Add parameters and outputs."""
        del configuration
        self.add(plan_parameter(), PLAN_HELP)
        self.add(
            QgsProcessingParameterEnum(
                "FORMATS", "What to make", list(FORMATS), True, ["sheets", "gpx"], usesStaticStrings=True
            ),
            "sheets: staking sheets (PDF). gpx: waypoints. kmz, kml: telephones and globes. csv: staking list. "
            "permissions: list of parcels. survey: points for a controller. dxf: drawing. geojson, parquet, "
            "flatgeobuf: GIS files. map, review: pages for a browser. review_table: the reviewer's table.",
        )
        self.add(
            QgsProcessingParameterNumber(
                "SPLIT", "Waypoints in one file, at most", QgsProcessingParameterNumber.Type.Integer, None, True, 3
            ),
            "For receivers with a limit; only for gpx. If left out, as the plan's job says.",
        )
        self.add(
            QgsProcessingParameterFolderDestination("OUTPUT", "Folder for the files"),
            "Files of the same names are replaced.",
        )

    def work(self, parameters: Any, context: Any, feedback: QgsProcessingFeedback) -> dict[str, Any]:
        """Run the command."""
        folder = plan_folder(self.parameterAsString(parameters, "PLAN", context))
        formats = self.parameterAsEnumStrings(parameters, "FORMATS", context)
        if not formats:
            raise QgsProcessingException("Choose what to make.")
        out = Path(self.parameterAsString(parameters, "OUTPUT", context))
        options = ["--to", ",".join(formats), "--out", str(out)]
        if parameters.get("SPLIT") is not None:
            options.append(f"--split={self.parameterAsInt(parameters, 'SPLIT', context)}")
        outcome = self.command(["export", *options, "--", str(folder)], feedback, None)
        if outcome.code:
            raise QgsProcessingException(failure(outcome, "The export failed"))
        feedback.pushInfo("\n".join(outcome.lines))
        return {"OUTPUT": str(out)}
