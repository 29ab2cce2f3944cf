"""Plug-in for QGIS: the planner as Processing algorithms that start the ``layoutplan`` command.

It imports the desktop program's own modules and the standard library, nothing else, and runs on Python 3.9 and newer.
"""

from __future__ import annotations

from typing import Any


def classFactory(iface: Any) -> Any:  # noqa: N802 - the name that the desktop program asks for
    """Plug-in object; ``iface`` is None where there is no window."""
    from .plugin import LayoutplanPlugin

    return LayoutplanPlugin(iface)
