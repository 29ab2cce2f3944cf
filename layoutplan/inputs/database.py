"""Databases (GeoPackage, SQLite) looked at before GDAL opens them: only tables are read, nothing in them is run."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.parse import quote

from layoutplan.errors import InputError, LayerError
from layoutplan.inputs.words import listed
from layoutplan.text import clean

MAGIC = b"SQLite format 3\0"
# names that readers ask on their own account; a view of that name would be run
_SYSTEM = re.compile(
    r"(gpkg|rtree|idx|sqlite|ogr|qgis)_|(geometry_columns|spatial_ref_sys|layer_styles|metadata)", re.I
)
_MODULE = re.compile(r"\busing\s+[\"'`\[]?(\w+)", re.IGNORECASE)
_INDEX_MODULES = ("rtree", "rtree_i32")
_GENERATED = (2, 3)  # what `PRAGMA table_xinfo` calls columns that are worked out
_STEPS = 10_000_000  # of the database's machine, well over a hundred times what a look at the schema takes
# what a filter may call: it compares what stands in a row, and neither asks other tables nor makes long texts
_FUNCTIONS = re.compile(
    "and|or|not|in|i?like|between|is|glob|cast|lower|upper|length|substr|substring|[lr]?trim|abs|round|coalesce|ifnull|"
    "nullif|date|datetime|strftime|instr|min|max|concat|case|when|then|else|typeof|integer|float|character|varchar|"
    "numeric|st_area|st_length|st_isempty|st_geometrytype",
    re.IGNORECASE,
)
_TEXT = re.compile(r"'(?:[^']|'')*'|\"(?:[^\"]|\"\")*\"")
_CALL = re.compile(r"(\w+)\s*\(")
_WORDS = re.compile(r"\b(select|with|values|attach|pragma|from)\b|;", re.IGNORECASE)


def check_database(path: Path, *, views: bool = True) -> None:
    """Refuse a database if reading it could run what its maker wrote into it.

    That is a view under a name that readers ask on their own account (or any, without ``views``), or a virtual table
    other than a spatial index. Triggers are let pass: they run when somebody writes, and nothing is written.

    Parameters
    ----------
    path : Path
        A SQLite file.
    views : bool
        Whether views under other names are let pass.

    Raises
    ------
    InputError
        If it holds such a view or table, or is no database.
    """
    with _opened(path) as base:
        rows = base.execute("SELECT type, name, sql FROM sqlite_master").fetchall()
    for kind, name, sql in rows:
        if kind == "view" and (not views or _SYSTEM.match(str(name))):
            raise InputError(
                f"{path.name}: '{clean(name)}' is a view, where a table belongs. Save the layers anew from a GIS."
            )
        found = _MODULE.search(str(sql)) if kind == "table" and "virtual" in str(sql).lower()[:40] else None
        if found and found[1].lower() not in _INDEX_MODULES:
            raise InputError(
                f"{path.name}: '{clean(name)}' is a virtual table ({clean(found[1])}), which reads from elsewhere. "
                "Save the layers anew from a GIS."
            )


def require_table(path: Path, layer: str) -> None:
    """Refuse a layer of a database that is no table with stored columns only.

    Parameters
    ----------
    path : Path
        A SQLite file.
    layer : str
        Name of the layer.

    Raises
    ------
    LayerError
        If it is a view, or a column is worked out when read.
    """
    with _opened(path) as base:
        kinds = dict(base.execute("SELECT name, type FROM sqlite_master WHERE type IN ('table', 'view')").fetchall())
        name = next((name for name in kinds if name.lower() == layer.lower()), layer)
        columns = base.execute("SELECT name, hidden FROM pragma_table_xinfo(?)", (name,)).fetchall()
    if kinds.get(name) == "view":
        raise LayerError(
            f"{path.name}, layer '{clean(layer)}': a view; only tables are read. Save it from a GIS as a layer of its "
            "own."
        )
    worked_out = [clean(column) for column, hidden in columns if hidden in _GENERATED]
    if worked_out:
        raise LayerError(
            f"{path.name}, layer '{clean(layer)}': column {listed(worked_out)} is worked out when read; only stored "
            "ones are read. Save it from a GIS as a layer of its own."
        )


def check_filter(where: str | None, name: str) -> None:
    """Refuse a job's filter that does more than compare the columns of a row.

    Parameters
    ----------
    where : str or None
        The filter.
    name : str
        Of the file, for the message.

    Raises
    ------
    InputError
        If it holds other words or calls of functions.

    Examples
    --------
    >>> check_filter("kind = 'tower' AND height > 20", "towers.gpkg")
    >>> check_filter("load_extension('x')", "towers.gpkg")
    Traceback (most recent call last):
        ...
    layoutplan.errors.InputError: towers.gpkg: where = "load_extension('x')": 'load_extension' cannot be used there. ...
    """
    if where is None:
        return
    bare = _TEXT.sub("''", where)
    odd = [found[0] for found in _WORDS.finditer(bare)]
    odd += [found[1] for found in _CALL.finditer(bare) if not _FUNCTIONS.fullmatch(found[1])]
    if odd:
        raise InputError(
            f"{name}: where = \"{clean(where)[:200]}\": '{clean(odd[0])}' cannot be used there. A filter compares "
            "columns with values; filter the file itself for more."
        )


@contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    """Open a database for reading only, without leaving a trace beside it."""
    steps = iter(range(_STEPS // 1000))
    try:
        with closing(sqlite3.connect(f"file:{quote(str(path.absolute()))}?mode=ro&immutable=1", uri=True)) as base:
            base.set_progress_handler(lambda: next(steps, None) is None, 1000)
            base.execute("PRAGMA trusted_schema = OFF")
            yield base
    except (sqlite3.Error, UnicodeError) as err:
        raise InputError(
            f"{path.name}: cannot be read as a vector file: {clean(err)[:150]}. Save the layers anew from a GIS."
        ) from err
