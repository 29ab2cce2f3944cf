"""Paths before anything opens them: only files and folders on this machine are let through."""

from __future__ import annotations

import re
import stat
from pathlib import Path

# "/vsi…" is how GDAL spells archives and servers, "word:/" (joined paths lose a slash) a server or a service
_NOT_LOCAL = re.compile(r"^[/\\]vsi|(^|[/\\])[A-Za-z][A-Za-z0-9+.-]+:([A-Za-z]+:)?[/\\]", re.ASCII)
_KINDS = ((stat.S_ISFIFO, "a named pipe"), (stat.S_ISSOCK, "a socket"), (stat.S_ISCHR, "a device"))


def why_not_read(path: Path) -> str:
    """State why a path is not read: it names no place on this machine, or something other than a file or folder.

    Parameters
    ----------
    path : Path
        As the job or the command line names it.

    Returns
    -------
    str
        What it is and how to fix it; empty for files and folders, and for what is not there.

    Notes
    -----
    Nothing is opened: to open a pipe is to wait for whoever fills it.

    Examples
    --------
    >>> why_not_read(Path("sample_gis/job.toml"))
    ''
    >>> why_not_read(Path("https:/example.org/valley.gpkg")).partition(".")[0]
    'names a server or a place within an archive'
    """
    if _NOT_LOCAL.search(str(path)):
        return "names a server or a place within an archive. Only files on this machine are read: fetch or unpack it."
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError):  # not there, or no name that the file system takes: told by who opens it
        return ""
    if stat.S_ISREG(mode) or stat.S_ISDIR(mode):
        return ""
    kind = next((name for is_kind, name in _KINDS if is_kind(mode)), "a device")
    return f"{kind}, where a file was expected. Save what it holds to a file and name that."
