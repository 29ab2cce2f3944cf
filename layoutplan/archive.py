"""ZIP archives that are the same, byte for byte, whenever and wherever the same files are packed."""

from __future__ import annotations

import zipfile
from collections.abc import Mapping
from pathlib import Path

_NO_CLOCK = (1980, 1, 1, 0, 0, 0)  # the earliest time that the format knows
_PLAIN_FILE = 0o644 << 16
_UNIX = 3  # as the system of origin, wherever it was


def write_archive(path: Path, files: Mapping[str, bytes], *, packed: bool = False) -> Path:
    """Write a new archive.

    Parameters
    ----------
    path : Path
        Where the archive goes; an earlier file is replaced.
    files : mapping
        Contents by name, in order.
    packed : bool
        Smaller, but the bytes may differ between versions of the packing library.

    Returns
    -------
    Path
        The same path.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     made = write_archive(Path(folder) / "a.zip", {"name.txt": b"some bytes"})
    ...     print(zipfile.ZipFile(made).namelist(), made.stat().st_size, "bytes")
    ['name.txt'] 124 bytes
    """
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in files.items():
            entry = zipfile.ZipInfo(name, _NO_CLOCK)
            entry.external_attr = _PLAIN_FILE
            entry.create_system = _UNIX
            entry.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
            archive.writestr(entry, content)
    return path
