"""The Processing provider: its name, its sign, its setting, its algorithms."""

from __future__ import annotations

from pathlib import Path

from qgis.core import QgsProcessingProvider
from qgis.PyQt.QtGui import QIcon

from .check import CheckAlgorithm
from .explain import ExplainAlgorithm
from .export import ExportAlgorithm
from .plan import PlanAlgorithm
from .setting import add_setting, remove_setting

ICON = Path(__file__).with_name("icon.svg")


class LayoutplanProvider(QgsProcessingProvider):
    """The algorithms that start the ``layoutplan`` command."""

    def id(self) -> str:
        """Stands before the colon in the algorithms' ids."""
        return "layoutplan"

    def name(self) -> str:
        """Name in the toolbox."""
        return "layoutplan"

    def longName(self) -> str:  # noqa: N802
        """Name with what it is for."""
        return "layoutplan: electrodes for tower-earthing measurements"

    def icon(self) -> QIcon:
        """Sign in the toolbox."""
        return QIcon(str(ICON))

    def load(self) -> bool:
        """Add setting and algorithms."""
        add_setting(self.name(), str(ICON))
        self.refreshAlgorithms()
        return True

    def unload(self) -> None:
        """Take the setting away."""
        remove_setting()

    def loadAlgorithms(self) -> None:  # noqa: N802
        """Add the algorithms."""
        for kind in (PlanAlgorithm, CheckAlgorithm, ExplainAlgorithm, ExportAlgorithm):
            self.addAlgorithm(kind())
