"""Explain: why the stakes of a tower stand where they stand."""

from __future__ import annotations

import re
from html import escape
from pathlib import Path
from typing import Any

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingFeedback,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterString,
)

from .base import CAUTION, PLAN_HELP, CommandAlgorithm, plan_folder, plan_parameter
from .runner import failure

_MOST = 20  # towers at a time; each is one start of the command
_PAGE = """<!DOCTYPE html>
<html><head><meta charset="utf-8"><title>layoutplan</title><style>pre {{ white-space: pre-wrap }}</style></head><body>
{body}
<p>{caution}</p>
</body></html>
"""


class ExplainAlgorithm(CommandAlgorithm):
    """Runs ``layoutplan explain``."""

    id_name, title = "explain", "Explain the stakes of a tower"
    writes_files = False
    purpose = (
        "Says what was measured against which limit, why the stakes stand where they stand, and why not elsewhere. "
        "Give the tower's id, or select features in the layer 'Towers', 'Stakes H and S' or 'Leads' and tick 'Selected "
        "features only'."
    )

    def initAlgorithm(self, configuration: Any = None) -> None:  # noqa: N802
        """Add parameters and outputs."""
        del configuration
        self.add(plan_parameter(), PLAN_HELP)
        self.add(
            QgsProcessingParameterString("TOWER", "Tower", optional=True),
            "The tower's number or name, as in the column tower_id.",
        )
        self.add(
            QgsProcessingParameterString("LINE", "Line of the tower", optional=True),
            "The line's id, where several lines have a tower of that name.",
        )
        self.add(
            QgsProcessingParameterFeatureSource(
                "FEATURES",
                "Or features of the plan",
                [QgsProcessing.SourceType.TypeVectorAnyGeometry],
                optional=True,
            ),
            f"Towers, stakes or leads of the plan, {_MOST} towers at the most.",
        )
        self.add(
            QgsProcessingParameterFileDestination("OUTPUT", "Explanation", "HTML files (*.html)"),
            "A page; it shows in the results viewer.",
        )

    def work(self, parameters: Any, context: Any, feedback: QgsProcessingFeedback) -> dict[str, Any]:
        """Run the command for each tower."""
        folder = plan_folder(self.parameterAsString(parameters, "PLAN", context))
        parts = []
        towers = self._towers(parameters, context)
        for number, (line, tower) in enumerate(towers):
            feedback.setProgress(100 * number / len(towers))
            options = [f"--line={line}"] if line else []
            outcome = self.command(["explain", *options, "--", str(folder), tower], feedback, None)
            if outcome.code:
                raise QgsProcessingException(failure(outcome, f"Tower {tower}"))
            text = "\n".join(outcome.lines)
            for caution in (line for line in outcome.lines if line.startswith("caution: ")):
                feedback.pushWarning(caution)
            feedback.pushConsoleInfo(_kept_in_columns(text))
            parts.append(f"<h2>Tower {escape(tower)}</h2>\n<pre>{escape(text)}</pre>")
        page = Path(self.parameterAsFileOutput(parameters, "OUTPUT", context))
        page.write_text(_PAGE.format(body="\n".join(parts), caution=escape(CAUTION)), "utf-8", "replace")
        return {"OUTPUT": str(page)}

    def _towers(self, parameters: Any, context: Any) -> list[tuple[str, str]]:
        tower = self.parameterAsString(parameters, "TOWER", context)
        features = self.parameterAsSource(parameters, "FEATURES", context)
        if tower and features is not None:
            raise QgsProcessingException(f"Both tower {tower} and features are given. Leave one of them empty.")
        if tower:
            return [(self.parameterAsString(parameters, "LINE", context), tower)]
        if features is None:
            raise QgsProcessingException("Name a tower, or give features of the plan.")
        names = [field.name() for field in features.fields()]
        if "tower_id" not in names:
            raise QgsProcessingException("these features have no column 'tower_id'. Take a layer of the plan.")
        line = "line_id" if "line_id" in names else "tower_id"
        found = dict.fromkeys(
            (str(feature[line]) if line == "line_id" else "", str(feature["tower_id"]))
            for feature in features.getFeatures()
        )
        if not found or len(found) > _MOST:
            raise QgsProcessingException(
                f"{len(found)} towers are chosen. Select one to {_MOST}, and tick 'Selected features only'."
            )
        return list(found)


def _kept_in_columns(text: str) -> str:
    """Text whose columns stay below each other in the log, which draws several blanks as one."""
    return re.sub(" (?= )", "\u00a0", text)
