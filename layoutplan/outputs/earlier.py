"""Files that this program did not write as they are now: when new ones take their names, they are kept beside them."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from layoutplan.errors import OutputError
from layoutplan.outputs.record import sha256
from layoutplan.store.record import RECORD_NAME, TABLES_NAME, tables_sha256
from layoutplan.store.replace import free_name

LEDGER_NAME = ".layoutplan.written"  # in folders without a record: what was written there
_COPY = re.compile(r"_earlier(_\d+)?$")


def kept_copies(folder: Path, new: Iterable[Path]) -> dict[str, str]:
    """Names of files that somebody else wrote or changed, and under which they are kept if new files take their names.

    What has the same content as the new file need not be kept.

    Parameters
    ----------
    folder : Path
        Where the new files go.
    new : iterable of Path
        New files elsewhere, with the names that they are to have.

    Returns
    -------
    dict of str to str
        Names under which earlier files are kept, by the names that they have.

    Raises
    ------
    OutputError
        If a folder bears the name of a new file.
    """
    known = known_files(folder)
    kept = {}
    for path in new:
        target = folder / path.name
        if target.is_dir() and not target.is_symlink():
            raise OutputError(f"'{target}': is a folder, and a file of this name is to be written. Move it away.")
        if target.is_symlink() or (target.exists() and not _ours(target, known) and not _alike(target, path)):
            kept[path.name] = free_name(target).name
    return kept


def copies_in(folder: Path) -> dict[Path, str]:
    """Copies that lie in a folder, with the names of the files that they are of.

    Parameters
    ----------
    folder : Path
        Of a plan.

    Returns
    -------
    dict of Path to str
    """
    found = (path for path in folder.glob("*_earlier*") if _COPY.search(path.stem))
    return {path: path.with_stem(_COPY.sub("", path.stem)).name for path in found}


def known_files(folder: Path) -> dict[str, Any]:
    """SHA-256 of the files that this program wrote in a folder, by name; of a record of whatever version.

    Parameters
    ----------
    folder : Path
        Of a plan.

    Returns
    -------
    dict of str to str
        Hexadecimal; empty without a record.
    """
    record = _json(folder / RECORD_NAME)
    files = {**_sums(_json(folder / LEDGER_NAME)), **_sums(record)}
    tables = record.get("tables_sha256")
    return files | ({TABLES_NAME: tables} if tables else {})


def write_ledger(folder: Path, new: Sequence[Path], staging: Path) -> Path:
    """Write down what lies in a folder that has no record, new files included, so that a later run knows its own.

    Parameters
    ----------
    folder : Path
        Where the new files go.
    new : sequence of Path
        New files.
    staging : Path
        Where the ledger is made.

    Returns
    -------
    Path
    """
    known = {name: known for name, known in _sums(_json(folder / LEDGER_NAME)).items() if (folder / name).is_file()}
    known |= {path.name: sha256(path) for path in new}
    path = staging / LEDGER_NAME
    rows = [{"file": name, "sha256": known[name]} for name in sorted(known)]
    path.write_text(json.dumps({"files": rows}, indent=1, ensure_ascii=False) + "\n", "utf-8")
    return path


def _json(path: Path) -> dict[str, Any]:
    try:
        found = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}


def _sums(record: dict[str, Any]) -> dict[str, Any]:
    try:
        return {str(entry["file"]): entry["sha256"] for entry in record["files"]}
    except (KeyError, TypeError):
        return {}


def _ours(path: Path, known: dict[str, Any]) -> bool:
    if path.name in (RECORD_NAME, LEDGER_NAME):  # its own sum stands nowhere
        return "files" in _json(path) and isinstance(_json(path)["files"], list)
    wanted = known.get(path.name)
    return wanted is not None and wanted in (
        (tables_sha256(path), sha256(path)) if path.name == TABLES_NAME else (sha256(path),)
    )


def _alike(path: Path, other: Path) -> bool:
    return path.stat().st_size == other.stat().st_size and sha256(path) == sha256(other)
