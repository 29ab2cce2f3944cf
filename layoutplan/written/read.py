"""Reading a written plan back, for explaining and checking it: as data of somebody else, and as one plan."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
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
from layoutplan.inputs.systems import require_places
from layoutplan.outputs.registry import FORMATS
from layoutplan.store import settle
from layoutplan.store.record import (
    RECORD_NAME,
    STYLES_TABLE,
    TABLES_NAME,
    existing,
    read_plan_record,
    refuse_newer,
    tables_sha256,
)
from layoutplan.text import clean
from layoutplan.written.numbered import plan_numbers_in
from layoutplan.written.sound import require_sound

_BATCH = 2048  # rows read at a time; room is taken for so many of each column, however few there are
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
        Notes on files that were changed, or belong to another plan.
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
        Of the plan.
    record_needed : bool
        Whether a folder without ``plan.json`` is refused.

    Returns
    -------
    Written
        Record, tables and notes.

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
    existing(folder / TABLES_NAME, "gpkg")
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

    Parameters
    ----------
    folder : Path
        Of the plan.
    record : mapping
        Its record.

    Returns
    -------
    dict of str
        Files that carry the number of another plan, and that number; such as the record does not name, too.
    list of str
        Files that were changed otherwise.
    """
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
        If the folder holds no plan, or one that cannot be read.
    """
    settle(folder)
    path = existing(Path(folder) / TABLES_NAME, "gpkg")
    try:
        check_database(path, views=False)
        names = [name for name in pyogrio.list_layers(path)[:, 0] if name != STYLES_TABLE]
        tables = {str(name): _inert(_read(path, name)) for name in names}
        for crs in {table.crs for table in tables.values() if isinstance(table, gpd.GeoDataFrame) and table.crs}:
            require_places(crs, TABLES_NAME, "Plan again")
    except (*_UNREADABLE, InputError) as err:
        raise OutputError(f"'{path}': not a readable plan ({clean(err)[:200]}). Plan again into this folder.") from err
    require_sound(tables, Path(folder), lambda: read_plan_record(folder)["obstacle_classes"])
    return tables


def _read(path: Path, layer: str) -> pd.DataFrame:
    return pyogrio.read_dataframe(path, layer=layer, use_arrow=True, batch_size=_BATCH)


def _inert(table: pd.DataFrame) -> pd.DataFrame:
    """Texts of a table made inert, each distinct one once."""
    for column, dtype in table.dtypes.items():
        if dtype == "object" or pd.api.types.is_string_dtype(dtype):
            texts = table[column]
            distinct = [text for text in texts.unique() if isinstance(text, str)]
            changed = {text: inert for text in distinct if (inert := clean(text)) != text}
            if changed:
                table[column] = texts.map(lambda text, changed=changed: changed.get(text, text), na_action="ignore")
    return table
