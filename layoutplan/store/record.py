"""The record of a plan in its folder, read back; and what its files are called and known by."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from layoutplan.errors import OutputError
from layoutplan.store.settle import settle
from layoutplan.text import clean

FORMAT_VERSION = 5  # of plan.json and the tables; raised when a reader of the earlier one would go wrong
RECORD_NAME = "plan.json"
TABLES_NAME = "plan.gpkg"
STYLES_TABLE = "layer_styles"  # how desktop programs draw the layers; no table of the plan
# what a database file counts of its own changes and readers, opened without a change too (SQLite file format, section
# 1.3, from memory): versions for writing and reading, change counter, the counter's and the library's version
_COUNTERS = ((18, 20), (24, 28), (92, 100))
_SHAPE = {"settings": dict, "summary": dict, "obstacle_classes": dict, "software": dict} | dict.fromkeys(
    ("inputs", "files", "cautions", "assumptions", "problems", "given"), list
)
_ENTRIES = {"files": ("file", "sha256"), "inputs": ("file", "sha256", "used_for")}
_MOST_LEVELS = 40  # of a record; settings have some ten
_LONGEST_NAME = 255  # bytes; what most file systems take
_AS_WRITTEN = ("settings", "given", "obstacle_classes", "files")  # their texts are keys, or enter the plan's number


def read_plan_record(folder: str | Path) -> dict[str, Any]:
    """Read ``plan.json``: summary, settings, inputs, cautions; its texts are inert, its settings as they were written.

    Parameters
    ----------
    folder : str or Path
        Where ``plan.json`` is.

    Returns
    -------
    dict
        By key of the record.

    Raises
    ------
    OutputError
        If the folder holds no plan, one that cannot be read, or one of another version.
    """
    settle(folder)
    refuse_newer(folder)
    path = existing(Path(folder) / RECORD_NAME, "json")
    try:
        record = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError, RecursionError) as err:
        raise OutputError(f"'{path}': not a readable plan ({clean(err)[:200]}). Plan again into this folder.") from err
    found = record.get("format_version") if isinstance(record, dict) else None
    if found != FORMAT_VERSION:
        raise OutputError(
            f"'{path}': format_version is {repr(found)[:60]}, this program reads {FORMAT_VERSION}. "
            "Plan again into this folder."
        )
    _require_shape(record, path)
    return {key: value if key in _AS_WRITTEN else _inert_texts(value) for key, value in record.items()}


def _inert_texts(node: Any) -> Any:
    if isinstance(node, dict):
        return {clean(key): _inert_texts(value) for key, value in node.items()}
    if isinstance(node, list):
        return [_inert_texts(item) for item in node]
    return clean(node) if isinstance(node, str) else node


def _require_shape(record: Mapping[str, Any], path: Path) -> None:
    """Refuse a record whose parts are not of the kind that every reader takes for granted."""
    if _is_deep(record):
        raise OutputError(f"'{path}': lists nested more than {_MOST_LEVELS} deep. Plan again into this folder.")
    wrong = [name for name, kind in _SHAPE.items() if not isinstance(record.get(name, kind()), kind)]
    for name in ("cautions", "assumptions", "problems", "given"):
        if name not in wrong and not all(isinstance(text, str) for text in record.get(name, ())):
            wrong.append(name)
    for name, keys in _ENTRIES.items():
        if name not in wrong and not all(_is_entry(entry, keys) for entry in record.get(name, ())):
            wrong.append(name)
    if wrong:
        raise OutputError(f"'{path}': {', '.join(wrong)} is not as it was written. Plan again into this folder.")


def _is_deep(record: Mapping[str, Any]) -> bool:
    level: list[Any] = [record]
    for _ in range(_MOST_LEVELS):
        level = [part for node in level for part in (node.values() if isinstance(node, dict) else node)]
        level = [node for node in level if isinstance(node, dict | list)]
    return bool(level)


def _is_entry(entry: Any, keys: Sequence[str]) -> bool:
    """Whether an entry of the record holds the texts it should, its file name one that a file can have."""
    texts = isinstance(entry, dict) and all(isinstance(entry.get(key), str) for key in keys)
    return texts and all(len(part.encode("utf-8", "replace")) <= _LONGEST_NAME for part in Path(entry["file"]).parts)


def refuse_newer(folder: str | Path) -> None:
    """Refuse a folder whose plan a newer program wrote: its columns may mean other things.

    A plan without a readable record is let pass, for those who need its tables only.

    Parameters
    ----------
    folder : str or Path
        Of the plan.

    Raises
    ------
    OutputError
        If it is newer.
    """
    path = Path(folder) / RECORD_NAME
    try:
        record = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError, RecursionError):
        return
    found = record.get("format_version") if isinstance(record, dict) else None
    if isinstance(found, int) and found > FORMAT_VERSION:
        raise OutputError(
            f"'{path}': format_version is {found}, this program reads {FORMAT_VERSION}. Install a newer layoutplan."
        )


def tables_sha256(path: Path) -> str:
    """SHA-256 of a GeoPackage but for the counters in its first bytes, which desktop programs change by opening it.

    Parameters
    ----------
    path : Path
        Of the file.

    Returns
    -------
    str
        Hexadecimal.
    """
    with path.open("rb") as file:
        head = bytearray(file.read(100))
        for start, end in _COUNTERS:
            head[start:end] = bytes(len(head[start:end]))
        digest = hashlib.sha256(head)
        while chunk := file.read(1 << 20):
            digest.update(chunk)
    return digest.hexdigest()


def existing(path: Path, name: str) -> Path:
    """Return the path of a plan's file.

    Parameters
    ----------
    path : Path
        Where it should be.
    name : str
        Of its format, for the message.

    Returns
    -------
    Path
        ``path``.

    Raises
    ------
    OutputError
        If it is not there.
    """
    if not path.is_file():
        raise OutputError(
            f"'{path.parent}': no plan here ({path.name} is missing). Run 'layoutplan plan JOB.toml --out …' first, "
            f'with "{name}" among the job\'s output.formats.'
        )
    return path
