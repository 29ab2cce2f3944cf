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

# new ones at the end: models and scripts keep the numbers. (Options that are texts themselves stay blank in the list
# of QGIS 3.22, but for those that are ticked.)
FORMATS = {
    "sheets": "Staking sheets to print (PDF)",
    "gpx": "Waypoints for receivers (GPX)",
    "kmz": "For telephones and globes (KMZ)",
    "kml": "The same as one text, without signs (KML)",
    "csv": "Staking list (CSV)",
    "permissions": "Parcels and permissions (CSV); only if the job names land",
    "survey": "Points for a survey controller (CSV)",
    "dxf": "Drawing (DXF)",
    "geojson": "Towers, stakes and leads (GeoJSON)",
    "map": "Map for a browser (HTML)",
    "review": "The reviewer's page (HTML)",
    "review_table": "The reviewer's table (CSV)",
    "parquet": "All tables (GeoParquet)",
    "flatgeobuf": "All layers (FlatGeobuf)",
}


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
            QgsProcessingParameterEnum("FORMATS", "What to make", list(FORMATS.values()), True, [0, 1]),
            "What each of them holds is described in the documentation under 'Outputs'.",
        )
        self.add(
            QgsProcessingParameterNumber(
                "SPLIT", "Waypoints in one file, at most", QgsProcessingParameterNumber.Type.Integer, None, True, 3
            ),
            "For receivers with a limit; only for GPX. If left out, as the plan's job says.",
        )
        self.add(
            QgsProcessingParameterFolderDestination("OUTPUT", "Folder for the files"),
            "Files of the same names are replaced.",
        )

    def work(self, parameters: Any, context: Any, feedback: QgsProcessingFeedback) -> dict[str, Any]:
        """Run the command."""
        folder = plan_folder(self.parameterAsString(parameters, "PLAN", context))
        formats = self._formats(parameters, context)
        out = Path(self.parameterAsString(parameters, "OUTPUT", context))
        options = ["--to", ",".join(formats), "--out", str(out)]
        if parameters.get("SPLIT") is not None:
            options.append(f"--split={self.parameterAsInt(parameters, 'SPLIT', context)}")
        outcome = self.command(["export", *options, "--", str(folder)], feedback, None)
        if outcome.code:
            raise QgsProcessingException(failure(outcome, "The export failed"))
        feedback.pushInfo("\n".join(outcome.lines))
        return {"OUTPUT": str(out)}

    def _formats(self, parameters: Any, context: Any) -> list[str]:
        given = parameters.get("FORMATS")
        texts = given.split(",") if isinstance(given, str) else given if isinstance(given, (list, tuple)) else []
        for text in map(str, texts):
            if not text.strip().isdigit():  # a model lets it through, and QGIS would take it for the first one
                raise QgsProcessingException(f"'{text}' is no number of a format; give numbers, 0 for the first.")
        formats = [list(FORMATS)[number] for number in self.parameterAsEnums(parameters, "FORMATS", context)]
        if not formats:
            raise QgsProcessingException("Choose what to make.")
        return formats
