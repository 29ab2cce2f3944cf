"""The plug-in: it adds the provider and takes it away again."""

from __future__ import annotations

from typing import Any

from qgis.core import QgsApplication

from .provider import LayoutplanProvider


class LayoutplanPlugin:
    """What the desktop program loads."""

    def __init__(self, iface: Any) -> None:
        self.iface = iface
        self.provider: LayoutplanProvider | None = None

    def initProcessing(self) -> None:  # noqa: N802
        """Add the provider; called alone where there is no window."""
        if self.provider is None:
            self.provider = LayoutplanProvider()
            QgsApplication.processingRegistry().addProvider(self.provider)

    def initGui(self) -> None:  # noqa: N802
        """Add the provider in a window."""
        self.initProcessing()

    def unload(self) -> None:
        """Take the provider away."""
        if self.provider is not None:
            QgsApplication.processingRegistry().removeProvider(self.provider)
            self.provider = None
