"""Plan: the electrodes of every tower, from layers of the project, from a job file, or from both."""

from __future__ import annotations

import shutil
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from qgis.core import (
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingFeedback,
    QgsProcessingOutputFile,
    QgsProcessingOutputVectorLayer,
)

from .base import SILENCE_S, CommandAlgorithm, refuse_open, result_of
from .job_text import job_text
from .loading import TABLES, load_layers
from .plan_inputs import layer_job, line_job, number_job, obstacle_layers, raster_file
from .plan_parameters import add_parameters

INPUTS = "gis_inputs"
_SHOWN = ("obstacles", "permissions", "spans", "approaches", "leads", "electrodes", "towers")
_CHAINABLE = {"towers": "TOWERS_LAYER", "electrodes": "ELECTRODES", "leads": "LEADS", "approaches": "APPROACHES"}


class PlanAlgorithm(CommandAlgorithm):
    """Runs ``layoutplan plan``."""

    id_name, title = "plan", "Plan electrodes beside the towers of a line"
    purpose = (
        "Proposes, tower by tower, where the current electrode H and the potential electrode S may be staked, with "
        "reasons, and loads the result. Give the towers as a layer, or a job file, or both: what is given here is then "
        "laid over the job file, and layers are added to its layers. Where the map does not reach, nothing is called "
        "clear.\n\nThe folder of the plan also gets the files for receivers, telephones, printers and reviewers. The "
        f"layers that were used are kept in it, in '{INPUTS}', with the job file that was made of them."
    )

    def initAlgorithm(self, configuration: Any = None) -> None:  # noqa: N802
        """Add parameters and outputs."""
        del configuration
        add_parameters(self)
        self.addOutput(QgsProcessingOutputFile("PLAN", "Plan (plan.gpkg)"))
        for name, output in _CHAINABLE.items():
            self.addOutput(QgsProcessingOutputVectorLayer(output, TABLES[name]))

    def look(self, parameters: dict[str, Any], context: QgsProcessingContext) -> None:
        """Take what belongs to the project's own thread: which layers, what lies open."""
        self.obstacles = obstacle_layers(self, parameters, context)
        self.heights = raster_file(self, parameters, context)
        folder = Path(self.parameterAsString(parameters, "OUTPUT", context))
        refuse_open(folder / "plan.gpkg", "the plan", context.project())

    def work(self, parameters: Any, context: Any, feedback: QgsProcessingFeedback) -> dict[str, Any]:
        """Copy the layers, write the job, run the command, load what it wrote."""
        base = self.parameterAsFile(parameters, "JOB", context)
        out = Path(self.parameterAsString(parameters, "OUTPUT", context))
        with TemporaryDirectory(prefix="layoutplan-") as name:
            own = Path(name)
            job = self._job(parameters, context, feedback, own)
            if job:
                (own / "job.toml").write_text(job_text(job), "utf-8")
                self.copies[str(own / "job.toml")] = "this dialog"
            files = [text for text in (base, str(own / "job.toml") if job else "") if text]
            self._run(files, out, feedback)
            if job:
                _keep(own, out / INPUTS, feedback)
        file = out / "plan.gpkg"
        found = load_layers(file, {name: TABLES[name] for name in _SHOWN}, context)
        layers = {output: found[name] for name, output in _CHAINABLE.items() if name in found}
        return {"OUTPUT": str(out), "PLAN": str(file), **layers}

    def _job(self, parameters: Any, context: Any, feedback: Any, own: Path) -> dict[str, Any]:
        base = self.parameterAsFile(parameters, "JOB", context)
        job = {**line_job(self, parameters, context, feedback, own), **number_job(self, parameters, context)}
        if "lines" not in job and not base:
            raise QgsProcessingException("Give a layer of towers, or a job file that names them.")
        layers = layer_job(self, parameters, context, feedback, own)
        if layers:
            job["layers"] = layers
        if self.heights:
            job["terrain"] = {"files": [self.heights]}
        return job

    def _run(self, files: list[str], out: Path, feedback: QgsProcessingFeedback) -> None:
        before = set(out.glob(".layoutplan-*"))
        over = ["--over", files[1]] if len(files) > 1 else []
        try:
            outcome = self.command(["plan", "--json", "--out", str(out), *over, "--", files[0]], feedback, SILENCE_S)
        finally:
            for unfinished in set(out.glob(".layoutplan-*")) - before:  # of a command that was killed
                shutil.rmtree(unfinished, ignore_errors=True)
        if any("no obstacle class" in text for text in outcome.errors):
            outcome.errors.append("Give the class of a layer under 'Class of each obstacle layer'.")
        result = result_of(outcome, "Planning failed")
        counts = result.get("summary", {}).get("by_status", {})
        for status, count in counts.items():
            feedback.pushInfo(f"{count:5d}  {status}")
        for text in (*result.get("problems", ()), *result.get("cautions", ())):
            feedback.pushWarning(self.known(str(text)))


def _keep(own: Path, target: Path, feedback: QgsProcessingFeedback) -> None:
    """Keep job file and layers with the plan, so that it can be made again without the desktop program."""
    try:
        if target.exists():
            shutil.rmtree(target)
        shutil.copytree(own, target)
    except OSError as err:
        feedback.pushWarning(f"the plan is written, but not the layers that it was made from: {err}")
