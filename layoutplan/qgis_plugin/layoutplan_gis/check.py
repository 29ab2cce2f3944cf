"""Check: stakes that were moved on the map, or staked in the field, held against the rules of their plan."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from qgis.core import (
    QgsProcessing,
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingFeedback,
    QgsProcessingOutputNumber,
    QgsProcessingOutputVectorLayer,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterFile,
    QgsProcessingParameterFolderDestination,
    QgsProcessingParameterNumber,
)

from .base import (
    PLAN_HELP,
    CommandAlgorithm,
    plan_folder,
    plan_parameter,
    refuse_open,
    refuse_unsaved,
    result_of,
)
from .loading import TABLES, load_layers
from .sources import write_source

_SHOWN = ("checks", "hints", "reported", "leads", "shifts", "missing", "electrodes")
_JOB = "Job file of the plan"
_MOST = 40  # lines of one kind in the log; the layers hold all
_COUNTS = {"BROKEN": "Broken rules", "MOVED": "Stakes moved or new", "MISSING": "Stakes missing"}


class CheckAlgorithm(CommandAlgorithm):
    """Runs ``layoutplan check``."""

    id_name, title = "check", "Check stakes that were moved or staked"
    purpose = (
        "Holds the stakes that are now in the layer 'Stakes H and S' of a plan, or points staked in the field, against "
        "the rules of the plan, and loads the verdicts. Nothing in the plan is changed. Save edits before you run it."
    )

    def initAlgorithm(self, configuration: Any = None) -> None:  # noqa: N802
        """Add parameters and outputs."""
        del configuration
        self.add(plan_parameter(), PLAN_HELP)
        self.add(
            QgsProcessingParameterFeatureSource(
                "STAKED", "Points staked in the field", [QgsProcessing.SourceType.TypeVectorPoint], optional=True
            ),
            "If left out, the stakes in the plan's own layer are checked, as they were moved there.",
        )
        self.add(
            QgsProcessingParameterBoolean("COMPLETE", "Every planned stake must be among them", False),
            "If not, planned stakes that are not among the points count as not surveyed yet.",
        )
        self.add(
            QgsProcessingParameterNumber(
                "TOLERANCE", "Match nameless points within, m", QgsProcessingParameterNumber.Type.Double, 30.0, False, 0
            ),
            "Points without a waypoint's name belong to the planned stake within this distance, in doubt to none.",
        )
        self.add(
            QgsProcessingParameterFile("READINGS", "Field readings", extension="csv", optional=True),
            "A CSV file; its columns are in the documentation under 'Checking'.",
        )
        self.add(
            QgsProcessingParameterFile("JOB", _JOB, extension="toml", optional=True),
            "For its elevation model: without it, slopes and lengths on the ground are not checked. For a plan made "
            "here with heights: job.toml in its folder 'gis_inputs'.",
        )
        self.add(
            QgsProcessingParameterFolderDestination("OUTPUT", "Folder of the result"),
            "Gets check.gpkg and check.csv.",
        )
        self.addOutput(QgsProcessingOutputVectorLayer("CHECKS", "Checks"))
        self.addOutput(QgsProcessingOutputVectorLayer("ELECTRODES", "Stakes as they are"))
        for name, title in _COUNTS.items():
            self.addOutput(QgsProcessingOutputNumber(name, title))

    def look(self, parameters: dict[str, Any], context: QgsProcessingContext) -> None:
        """Look for edits that are not in the file yet."""
        self.plan = plan_folder(self.parameterAsString(parameters, "PLAN", context))
        self.result = Path(self.parameterAsString(parameters, "OUTPUT", context))
        if self.result.exists() and self.result.samefile(self.plan):
            raise QgsProcessingException("Choose another folder for the result than that of the plan.")
        refuse_open(self.result / "check.gpkg", "the result of an earlier check", context.project())
        if not parameters.get("STAKED"):
            refuse_unsaved(self.plan / "plan.gpkg", context.project())

    def work(self, parameters: Any, context: Any, feedback: QgsProcessingFeedback) -> dict[str, Any]:
        """Run the command, load the verdicts."""
        options = [f"--tolerance={self.parameterAsDouble(parameters, 'TOLERANCE', context)!r}"]
        for name, option in (("READINGS", "--readings"), ("JOB", "--job")):
            if self.parameterAsFile(parameters, name, context):
                options += [option, self.parameterAsFile(parameters, name, context)]
        options += ["--complete"] if self.parameterAsBool(parameters, "COMPLETE", context) else []
        staked = self.parameterAsSource(parameters, "STAKED", context)
        with TemporaryDirectory(prefix="layoutplan-") as own:
            if staked is not None:
                write_source(staked, "staked", Path(own) / "staked.gpkg", context, feedback)
                options += ["--staked", str(Path(own) / "staked.gpkg")]
                self.copies["staked.gpkg, layer 'staked'"] = f"layer '{staked.sourceName()}'"
            arguments = ["check", "--json", "--out", str(self.result), *options, "--", str(self.plan)]
            found = result_of(self.command(arguments, feedback, None), "The check failed")
        self.copies["with --job"] = f"under '{_JOB}'"
        self._report(found, feedback)
        counts = {name: len(found.get(name.lower(), ())) for name in _COUNTS}
        titles = {name: f"Check: {TABLES[name][:1].lower()}{TABLES[name][1:]}" for name in _SHOWN}
        layers = load_layers(self.result / "check.gpkg", titles, context)
        chain = {key.upper(): layers[key] for key in ("checks", "electrodes") if key in layers}
        return {"OUTPUT": str(self.result), **chain, **counts}

    def _report(self, found: dict[str, Any], feedback: QgsProcessingFeedback) -> None:
        """Say what `layoutplan check` says on the command line, the worst in colour."""
        broken, missing = found.get("broken", ()), found.get("missing", ())
        breaking = {row.get("waypoint") for row in broken}
        feedback.pushInfo(
            f"{found.get('stakes', 0)} stakes checked: {len(found.get('moved', ()))} moved or new, {len(breaking)} "
            f"{'breaks' if len(breaking) == 1 else 'break'} rules, {len(missing)} missing, "
            f"{found.get('not_surveyed', 0)} not surveyed yet"
        )
        worse = [row for row in found.get("worse", ()) if row.get("verdict") != "broken"]
        _list(feedback.pushInfo, [f"moved or new: {_moved(row)}" for row in found.get("moved", ())])
        _list(feedback.pushWarning, [f"broken: {_figures(row, 'rule')}" for row in broken])
        _list(feedback.pushWarning, [f"worse than planned: {_worse(row)}" for row in worse])
        _list(feedback.pushWarning, [f"missing: {row.get('role')} of tower {row.get('tower_id')}" for row in missing])
        _list(feedback.pushInfo, [f"reported: {_told(row)}" for row in found.get("reported", ())])
        _list(feedback.pushWarning, [f"reading: {_figures(row, 'hint')}" for row in found.get("hints", ())])
        for text in found.get("problems", ()):
            feedback.pushWarning(self.known(str(text)))


def _list(tell: Callable[[str], None], texts: list[str]) -> None:
    for text in texts[:_MOST]:
        tell(text)
    if len(texts) > _MOST:
        tell(f"… and {len(texts) - _MOST} more, see the loaded layers and tables")


def _told(row: dict[str, Any]) -> str:
    note = f"; note: {row['note']}" if row.get("note") else ""
    return f"{row.get('waypoint')} {row.get('state') or 'no state'}; position {row.get('position')}{note}"


def _place(row: dict[str, Any]) -> str:
    return f"{row['role']} of tower {row['tower_id']}" if "role" in row else f"tower {row.get('tower_id')}"


def _moved(row: dict[str, Any]) -> str:
    if row.get("offset_m") is None:
        return f"{_place(row)}: not in the plan"
    where = f"{row['offset_m']:.2f} m at {row['offset_bearing_deg']:.0f} degrees"
    return f"{_place(row)}: {where} from where it was planned"


def _figures(row: dict[str, Any], name: str) -> str:
    words = f"{_place(row)}: {row.get(name)}"
    if row.get("measured") is not None:
        words += f" {row['measured']:.2f} {row.get('unit') or ''}".rstrip()
    return words if row.get("limit") is None else f"{words} (limit {row['limit']:g})"


def _worse(row: dict[str, Any]) -> str:
    before = f", was '{row['planned_verdict']}'" if row.get("planned_verdict") else ""
    return f"{_place(row)}: {row.get('rule')} is '{row.get('verdict')}'{before}"
