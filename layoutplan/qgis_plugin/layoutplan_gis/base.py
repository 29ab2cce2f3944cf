"""What the algorithms share: the command found and run, its answers told, its layers loaded."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from qgis.core import (
    QgsApplication,
    QgsProcessingAlgorithm,
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingFeedback,
    QgsProcessingParameterFile,
    QgsProject,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QThread
from qgis.PyQt.QtGui import QIcon

from .command import CommandError, checked_version, found_command
from .runner import Cancelled, Listener, Outcome, failure, run
from .setting import command_setting

CAUTION = (
    "What comes out is a proposal from maps. It is no substitute for a site visit, for the owners' records of buried "
    "cables and pipes, for permission to enter, or for the safety rules of the asset owner. Local codes, the asset "
    "owner's rules and licensed practice take precedence."
)
SILENCE_S = 180.0


class CommandAlgorithm(QgsProcessingAlgorithm):
    """An algorithm that starts the command."""

    id_name, title, purpose = "", "", ""
    writes_files = True
    """Whether the command itself writes files."""

    def createInstance(self) -> CommandAlgorithm:  # noqa: N802
        """Return a new one."""
        return type(self)()

    def name(self) -> str:
        """Stands behind the colon in the id."""
        return self.id_name

    def displayName(self) -> str:  # noqa: N802
        """Title in the toolbox."""
        return self.title

    def tags(self) -> list[str]:
        """Words by which the toolbox finds it."""
        return ["earthing", "grounding", "electrode", "stake", "tower", "power line", "transmission line"]

    def shortHelpString(self) -> str:  # noqa: N802
        """Text beside the dialog."""
        return f"{self.purpose}\n\n{CAUTION}"

    def icon(self) -> QIcon:
        """Sign in the toolbox."""
        return QIcon(str(Path(__file__).with_name("icon.svg")))

    def add(self, parameter: Any, help_text: str) -> None:
        """Add a parameter with its help."""
        parameter.setHelp(help_text)
        self.addParameter(parameter)

    def canExecute(self) -> tuple[bool, str]:  # noqa: N802
        """Whether the command is there; asked by the window before a dialog opens."""
        try:
            _command()
        except CommandError as err:
            return False, str(err)
        return True, ""

    def prepareAlgorithm(  # noqa: N802
        self, parameters: dict[str, Any], context: QgsProcessingContext, feedback: QgsProcessingFeedback
    ) -> bool:
        """Look at what belongs to the project's own thread."""
        del feedback
        self.refusal: str | None = None
        self.copies: dict[str, str] = {}
        """What was made for the command, as the command names it, and as the user knows it."""
        try:
            self.look(parameters, context)
        except QgsProcessingException as err:
            self.refusal = str(err)  # raised from here it would only be told as "there were errors"
        return True

    def processAlgorithm(  # noqa: N802
        self, parameters: dict[str, Any], context: QgsProcessingContext, feedback: QgsProcessingFeedback
    ) -> dict[str, Any]:
        """Do the work, in a thread of its own."""
        if self.refusal is not None:
            raise QgsProcessingException(self.refusal)
        return self.work(parameters, context, feedback)

    def look(self, parameters: dict[str, Any], context: QgsProcessingContext) -> None:
        """Take from the project what is needed later; QgsProcessingException if something stands against the run."""

    def work(self, parameters: Any, context: Any, feedback: QgsProcessingFeedback) -> dict[str, Any]:
        """Run the command and return the outputs."""
        raise NotImplementedError

    def command(self, arguments: Sequence[str], feedback: QgsProcessingFeedback, silence_s: float | None) -> Outcome:
        """Run the command; QgsProcessingException if it is not there, cannot be run, or was stopped."""
        last = [""]

        def progress(percent: float, text: str) -> None:
            feedback.setProgress(percent)
            if text != last[0]:
                feedback.setProgressText(text)
                last[0] = text

        listener = Listener(progress, lambda text: feedback.pushInfo(self.known(text)), feedback.isCanceled, silence_s)
        try:
            program = _command()  # again: only the window asks canExecute
            feedback.pushInfo(f"{program}, version {checked_version(program, os.environ)}")
            outcome = run([str(program), *arguments], listener, os.environ)
        except CommandError as err:
            raise QgsProcessingException(str(err)) from err
        except Cancelled as err:
            late = err.finished and self.writes_files
            words = "Cancelled too late: the command had finished, its files are written."
            raise QgsProcessingException(words if late else "Cancelled. Nothing was changed.") from err
        outcome.errors = [self.known(text) for text in outcome.errors]
        return outcome

    def known(self, text: str) -> str:
        """Words of the command, with the user's own names for what was copied."""
        for made, own in self.copies.items():
            text = text.replace(made, own)
        return text


def _command() -> Path:
    return found_command(command_setting(), os.environ, Path.home(), os.name == "nt")


def result_of(outcome: Outcome, what: str) -> dict[str, Any]:
    """Return the result of a run that says one; QgsProcessingException with the command's words if it failed.

    Code 1 alone is no failure: it says that a tower has no layout, or that a rule is broken.
    """
    if outcome.code not in (0, 1) or not outcome.result:
        raise QgsProcessingException(failure(outcome, what))
    return outcome.result


def plan_parameter() -> QgsProcessingParameterFile:
    """Parameter for a plan: its GeoPackage; that of the plan open in the project, if it is one."""
    return QgsProcessingParameterFile("PLAN", "Plan (plan.gpkg)", extension="gpkg", defaultValue=_open_plan())


def _open_plan() -> str | None:
    program = QgsApplication.instance()
    if program is None or program.thread() != QThread.currentThread():
        return None  # the project belongs to the program's own thread
    layers = QgsProject.instance().mapLayers().values()
    files = {layer.source().partition("|")[0] for layer in layers if isinstance(layer, QgsVectorLayer)}
    plans = [text for text in files if Path(text).name == "plan.gpkg"]
    return plans[0] if len(plans) == 1 else None


PLAN_HELP = "The file plan.gpkg in the folder of a plan. The file plan.json must lie beside it."


def plan_folder(text: str) -> Path:
    """Folder of a plan, from its GeoPackage; QgsProcessingException if that is none."""
    path = Path(text.partition("|")[0])
    if path.name != "plan.gpkg" or not path.is_file():
        raise QgsProcessingException(
            f"'{path}' is no plan: choose the file plan.gpkg in the folder that the planner wrote, with plan.json "
            "beside it."
        )
    return path.parent


def layers_from(file: Path, project: QgsProject | None) -> list[Any]:
    """Layers of the project whose data lie in a file."""
    if project is None:
        return []
    return [
        layer
        for layer in project.mapLayers().values()
        if isinstance(layer, QgsVectorLayer) and _same_file(layer.source().partition("|")[0], file)
    ]


def refuse_open(file: Path, what: str, project: QgsProject | None) -> None:
    """QgsProcessingException if the file that a run would replace is open in the project: it would show old figures."""
    if layers_from(file, project):
        raise QgsProcessingException(
            f"{what} in '{file.parent}' is open in this project. Take its layers out of the project first, or choose "
            "another folder."
        )


def refuse_unsaved(file: Path, project: QgsProject | None) -> None:
    """QgsProcessingException if a layer of the file has edits that are not in the file yet."""
    for layer in layers_from(file, project):
        if layer.isModified():
            raise QgsProcessingException(f"layer '{layer.name()}' has edits that are not saved. Save them, run again.")


def _same_file(text: str, file: Path) -> bool:
    try:
        return os.path.samefile(text, file)
    except (OSError, ValueError):
        return False
