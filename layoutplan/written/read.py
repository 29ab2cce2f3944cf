"""Reading a written plan back, for explaining and checking it: as data of somebody else, and as one plan."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fnmatch import fnmatch
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyarrow as pa
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError

from layoutplan.errors import InputError, OutputError
from layoutplan.inputs.database import check_database
from layoutplan.inputs.geodetic import require_places
from layoutplan.job import Job
from layoutplan.job.given import with_given
from layoutplan.store import settle
from layoutplan.text import clean
from layoutplan.written.numbered import plan_numbers_in
from layoutplan.written.sound import require_sound

FORMAT_VERSION = 4  # of plan.json and the tables; raised when a reader of the earlier one would go wrong
RECORD_NAME = "plan.json"
TABLES_NAME = "plan.gpkg"
# what a database file counts of its own changes and readers, opened without a change too (SQLite file format, section
# 1.3, from memory): versions for writing and reading, change counter, the counter's and the library's version
_COUNTERS = ((18, 20), (24, 28), (92, 100))
_UNREADABLE = (
    DataSourceError,
    DataLayerError,
    FeatureError,
    pa.ArrowException,
    shapely.errors.GEOSException,
    OSError,
    RuntimeError,
    ValueError,
)
_SHAPE = {"settings": dict, "summary": dict, "obstacle_classes": dict, "software": dict} | dict.fromkeys(
    ("inputs", "files", "cautions", "assumptions", "problems", "given"), list
)
_ENTRIES = {"files": ("file", "sha256"), "inputs": ("file", "sha256", "used_for")}
_MOST_LEVELS = 40  # of a record; settings have some ten
_LONGEST_NAME = 255  # bytes; what most file systems take
_AS_WRITTEN = ("settings", "given", "obstacle_classes", "files")  # their texts are keys, or enter the plan's number
STYLES_TABLE = "layer_styles"  # how desktop programs draw the layers; no table of the plan


@dataclass(frozen=True, slots=True)
class Written:
    """What lies in the folder of a plan.

    Attributes
    ----------
    record : dict or None
        ``plan.json``; None if there is none.
    tables : dict of DataFrame
        As `read_plan_tables` gives them.
    as_written : bool
        Whether the tables are, to the byte, those that the record names; False too if there is no record.
    notes : tuple of str
        What is to be said of files that were changed, or belong to another plan.
    """

    record: dict[str, Any] | None
    tables: dict[str, pd.DataFrame]
    as_written: bool
    notes: tuple[str, ...]


def read_plan(folder: str | Path, record_needed: bool = True) -> Written:
    """Read the plan in a folder, and hold its files against its record: the one way in for every command.

    Parameters
    ----------
    folder : str or Path
    record_needed : bool
        Whether a folder without ``plan.json`` is refused.

    Raises
    ------
    OutputError
        As `read_plan_tables` and `read_plan_record`; or ``plan.gpkg`` and ``plan.json`` are of two plans.
    """
    folder = Path(folder)
    settle(folder)
    refuse_newer(folder)
    if not record_needed and not (folder / RECORD_NAME).exists():
        tables = read_plan_tables(folder)
        return Written(None, tables, False, (f"no {RECORD_NAME} here: whether {TABLES_NAME} was changed is not known",))
    record = read_plan_record(folder)
    _existing(folder / TABLES_NAME, "gpkg")
    others, changed = misfits(folder, record)
    number = clean(record.get("plan_number"))
    if TABLES_NAME in others:
        raise OutputError(
            f"'{folder}': files of two plans lie here: {RECORD_NAME} is of plan {number}, "
            f"{', '.join(f'{name} of plan {other}' for name, other in others.items())}. Do not use them together; plan "
            "again into an empty folder."
        )
    notes = [f"{name} belongs to plan {other}, not to plan {number} of this folder" for name, other in others.items()]
    if changed:
        notes.append(f"changed after the plan was written: {', '.join(changed)}")
    return Written(record, read_plan_tables(folder), TABLES_NAME not in changed, tuple(notes))


def misfits(folder: Path, record: Mapping[str, Any]) -> tuple[dict[str, str], list[str]]:
    """Files of a folder that are not, to the byte, what the record of its plan names.

    Returns
    -------
    dict of str
        Files that carry the number of another plan, and that number; such as the record does not name, too.
    list of str
        Files that were changed otherwise.
    """
    from layoutplan.outputs import FORMATS

    wanted = _sums(record)
    patterns = [pattern for entry in FORMATS.values() for pattern in entry.files]
    others, changed = {}, []
    for path in sorted(folder.iterdir()):
        name = path.name
        ours = name in wanted or (any(fnmatch(name, pattern) for pattern in patterns) and "_earlier" not in path.stem)
        if not ours or name == RECORD_NAME or not path.is_file() or _fingerprint(path) & wanted.get(name, set()):
            continue
        numbers = plan_numbers_in(path) - {record.get("plan_number")}
        if numbers:
            others[name] = ", ".join(sorted(numbers))
        elif name in wanted:
            changed.append(name)
    return others, changed


def _sums(record: Mapping[str, Any]) -> dict[str, set[str]]:
    """SHA-256 of files by name; of the tables also the one that leaves a database's counters out."""
    try:
        sums = {str(entry["file"]): {str(entry["sha256"])} for entry in record["files"]}
    except (KeyError, TypeError):
        sums = {}
    return sums | {TABLES_NAME: sums.get(TABLES_NAME, set()) | {str(record.get("tables_sha256"))}}


def _fingerprint(path: Path) -> set[str]:
    with path.open("rb") as file:
        whole = hashlib.file_digest(file, "sha256").hexdigest()
    return {whole, tables_sha256(path)} if path.name == TABLES_NAME else {whole}


def read_plan_tables(folder: str | Path) -> dict[str, pd.DataFrame]:
    """Read all tables of the plan in a folder.

    Parameters
    ----------
    folder : str or Path
        Where ``plan.gpkg`` is.

    Returns
    -------
    dict of DataFrame
        By name (``towers``, ``electrodes``, ``checks`` …); GeoDataFrames where there is geometry, in the coordinate
        reference system of the file. Texts are inert: they may come from anybody.

    Raises
    ------
    OutputError
        The folder holds no plan, or one that cannot be read.
    """
    settle(folder)
    path = _existing(Path(folder) / TABLES_NAME, "gpkg")
    try:
        check_database(path, views=False)
        names = [name for name in pyogrio.list_layers(path)[:, 0] if name != STYLES_TABLE]
        tables = {str(name): _inert(pyogrio.read_dataframe(path, layer=name, use_arrow=True)) for name in names}
        for crs in {table.crs for table in tables.values() if isinstance(table, gpd.GeoDataFrame) and table.crs}:
            require_places(crs, TABLES_NAME, "Plan again")
    except (*_UNREADABLE, InputError) as err:
        raise OutputError(f"'{path}': not a readable plan ({clean(err)[:200]}). Plan again into this folder.") from err
    require_sound(tables, Path(folder))
    return tables


def read_plan_record(folder: str | Path) -> dict[str, Any]:
    """Read ``plan.json``: summary, settings, inputs, cautions; its texts are inert, its settings as they were written.

    Parameters
    ----------
    folder : str or Path
        Where ``plan.json`` is.

    Raises
    ------
    OutputError
        The folder holds no plan, one that cannot be read, or one of another version.
    """
    settle(folder)
    refuse_newer(folder)
    path = _existing(Path(folder) / RECORD_NAME, "json")
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


def _inert(table: pd.DataFrame) -> pd.DataFrame:
    """Texts of a table made inert, each distinct one once."""
    for column in table.columns:
        if table[column].dtype == object or pd.api.types.is_string_dtype(table[column].dtype):
            texts = table[column]
            distinct = [text for text in texts.unique() if isinstance(text, str)]
            changed = {text: inert for text in distinct if (inert := clean(text)) != text}
            if changed:
                table[column] = texts.map(lambda text, changed=changed: changed.get(text, text), na_action="ignore")
    return table


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


def recorded_job(record: Mapping[str, Any], **changed: Any) -> Job:
    """Return the job of a plan out of its record, with some sections changed; what had no say in it has none again.

    Raises
    ------
    KeyError, ValidationError
        The record was taken apart.
    """
    job = Job.model_validate(dict(record["settings"]) | changed)
    return with_given(job, record.get("given", ()))  # without it nothing counts as given: rather assumed than known


def refuse_newer(folder: str | Path) -> None:
    """OutputError if a newer program wrote the plan in a folder: its columns may mean other things.

    A plan without a readable record is let pass, for those who need its tables only.
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
    """SHA-256 of a GeoPackage but for the counters in its first bytes, which desktop programs change by opening it."""
    with path.open("rb") as file:
        head = bytearray(file.read(100))
        for start, end in _COUNTERS:
            head[start:end] = bytes(len(head[start:end]))
        digest = hashlib.sha256(head)
        while chunk := file.read(1 << 20):
            digest.update(chunk)
    return digest.hexdigest()


def _existing(path: Path, name: str) -> Path:
    if not path.is_file():
        raise OutputError(
            f"'{path.parent}': no plan here ({path.name} is missing). Run 'layoutplan plan JOB.toml --out …' first, "
            f'with "{name}" among the job\'s output.formats.'
        )
    return path
