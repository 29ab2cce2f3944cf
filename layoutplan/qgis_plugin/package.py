"""The plug-in as a zip file that QGIS installs."""

from __future__ import annotations

import os
import zipfile
from importlib import resources
from pathlib import Path
from tempfile import TemporaryDirectory

from layoutplan.errors import OutputError

NAME = "layoutplan_gis"
_KINDS = (".py", ".svg", ".txt")
_NO_CLOCK = (1980, 1, 1, 0, 0, 0)  # the earliest time that the format knows
_MODE = 0o644 << 16


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
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with TemporaryDirectory(dir=path.parent, prefix=".layoutplan-") as folder:
            draft = Path(folder) / path.name
            with zipfile.ZipFile(draft, "w") as packed:
                for name, content in plugin_files().items():
                    _add(packed, f"{NAME}/{name}", content)
            os.replace(draft, path)
    except OSError as err:
        raise OutputError(f"'{path}' cannot be written ({err.strerror}). Choose another place.") from err
    return path


def _add(packed: zipfile.ZipFile, name: str, content: bytes) -> None:
    entry = zipfile.ZipInfo(name, _NO_CLOCK)
    entry.external_attr = _MODE
    entry.create_system = 3  # the same on every system
    entry.compress_type = zipfile.ZIP_STORED  # packers differ from version to version
    packed.writestr(entry, content)


def plugin_files() -> dict[str, bytes]:
    """Files of the plug-in by name, sorted."""
    folder = resources.files("layoutplan.qgis_plugin") / NAME
    found = {item.name: item.read_bytes() for item in folder.iterdir() if item.name.endswith(_KINDS)}
    return dict(sorted(found.items()))
