"""The plug-in as a zip file that QGIS installs."""

from __future__ import annotations

import os
import zipfile
from importlib import resources
from pathlib import Path
from tempfile import TemporaryDirectory

from layoutplan.archive import write_archive
from layoutplan.errors import OutputError

NAME = "layoutplan_gis"
_KINDS = (".py", ".svg", ".txt")


def write_plugin(path: Path) -> Path:
    """Write the zip; the same plug-in gives the same bytes.

    Parameters
    ----------
    path : Path
        Of the new file; an earlier one is replaced when the new one is complete.

    Raises
    ------
    OutputError
        It cannot be written.
    """
    if path.exists() and not _is_plugin(path):
        raise OutputError(f"'{path}' exists and is no plug-in of this program: it was left alone. Choose another name.")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with TemporaryDirectory(dir=path.parent, prefix=".layoutplan-") as folder:
            draft = Path(folder) / path.name
            write_archive(draft, {f"{NAME}/{name}": content for name, content in plugin_files().items()})
            os.replace(draft, path)
    except OSError as err:
        raise OutputError(f"'{path}' cannot be written ({err.strerror}). Choose another place.") from err
    return path


def _is_plugin(path: Path) -> bool:
    try:
        with zipfile.ZipFile(path) as archive:
            return any(name.startswith(f"{NAME}/") for name in archive.namelist())
    except (OSError, zipfile.BadZipFile):
        return False


def plugin_files() -> dict[str, bytes]:
    """Files of the plug-in by name, sorted."""
    folder = resources.files("layoutplan.qgis_plugin") / NAME
    found = {item.name: item.read_bytes() for item in folder.iterdir() if item.name.endswith(_KINDS)}
    return dict(sorted(found.items()))
