"""Files of an earlier plan that somebody changed since: when new ones take their names, they are kept beside them."""

from __future__ import annotations

import json
import re
from fnmatch import fnmatch
from pathlib import Path
from typing import Any

from layoutplan.outputs.record import sha256
from layoutplan.outputs.registry import FORMATS
from layoutplan.planning.read import RECORD_NAME, TABLES_NAME, tables_sha256

_COPY = re.compile(r"_earlier(_\d+)?$")
_OURS = tuple(name for entry in FORMATS.values() for name in entry.files)


def kept_copies(folder: Path) -> dict[Path, Path]:
    """Files in the folder of a plan that are not as the plan's record has them, and where they go if replaced.

    A folder without a record says nothing of its files: none of them.
    """
    record = _record(folder)
    if not record:
        return {}
    return {path: _free(path) for path in sorted(folder.iterdir()) if _is_ours(path) and not _as_written(path, record)}


def copies_in(folder: Path) -> dict[Path, str]:
    """Copies that lie in a folder, with the names of the files that they are of."""
    found = (path for path in folder.glob("*_earlier*") if _COPY.search(path.stem))
    return {path: path.with_stem(_COPY.sub("", path.stem)).name for path in found}


def _record(folder: Path) -> dict[str, Any]:
    """SHA-256 of the files by name, of whatever version the record is."""
    try:
        record = json.loads((folder / RECORD_NAME).read_text("utf-8"))
        files = {str(entry["file"]): entry["sha256"] for entry in record["files"]}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return {}
    tables = record.get("tables_sha256")
    return files | ({TABLES_NAME: tables} if tables else {})


def _is_ours(path: Path) -> bool:
    named = any(fnmatch(path.name, pattern) for pattern in _OURS) and not _COPY.search(path.stem)
    return named and path.name != RECORD_NAME and path.is_file()


def _as_written(path: Path, record: dict[str, Any]) -> bool:
    known = record.get(path.name)
    return known in ((tables_sha256(path), sha256(path)) if path.name == TABLES_NAME else (sha256(path),))


def _free(path: Path) -> Path:
    """Path beside the file that nothing lies at yet."""
    number, free = 1, path.with_stem(f"{path.stem}_earlier")
    while free.exists():
        number += 1
        free = path.with_stem(f"{path.stem}_earlier_{number}")
    return free
