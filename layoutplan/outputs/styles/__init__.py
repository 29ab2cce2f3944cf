"""Looks and plain words inside a GeoPackage, for desktop programs: default styles, titles of columns.

The table of styles is no part of the GeoPackage standard; programs that do not know it see one more table without
geometry. Titles of columns are written as the standard's schema extension has them (OGC 12-128r18, annex F.9; names of
its tables and columns from memory) and in the styles, for programs that read only those.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing
from pathlib import Path

import pandas as pd
from pyogrio.errors import DataSourceError

from layoutplan.layout.schema import TableSchema
from layoutplan.outputs.styles.looks import Style
from layoutplan.outputs.styles.qml import qml_text
from layoutplan.outputs.styles.sld import sld_text
from layoutplan.store.record import STYLES_TABLE

__all__ = ["NO_CLOCK", "add_styles"]

NO_CLOCK = "1970-01-01T00:00:00.000Z"  # stands where GeoPackage wants the time of writing

_TABLES = f"""
CREATE TABLE {STYLES_TABLE} (
    id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    f_table_catalog TEXT(256), f_table_schema TEXT(256), f_table_name TEXT(256), f_geometry_column TEXT(256),
    styleName TEXT(30), styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, description TEXT, owner TEXT(30),
    ui TEXT(30), update_time DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ', 'now')));
CREATE TABLE gpkg_data_columns (
    table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT, mime_type TEXT,
    constraint_name TEXT,
    CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name), CONSTRAINT gdc_tn UNIQUE (table_name, name));
CREATE TABLE gpkg_data_column_constraints (
    constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC, min_is_inclusive BOOLEAN,
    max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
    CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value))
"""
_CONTENTS = (
    "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change) "
    "VALUES (?, 'attributes', ?, '', ?)"
)
_EXTENSION = (
    "INSERT INTO gpkg_extensions (table_name, extension_name, definition, scope) "
    "VALUES (?, 'gpkg_schema', 'http://www.geopackage.org/spec/#extension_schema', 'read-write')"
)
_COLUMN = "INSERT INTO gpkg_data_columns (table_name, column_name, name, title) VALUES (?, ?, ?, ?)"
# catalogue and schema are empty texts: a style with NULL there is passed over without a word
_ROW = (
    f"INSERT INTO {STYLES_TABLE} (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, styleName, "
    "styleQML, styleSLD, useAsDefault, description, owner, update_time) "
    "VALUES ('', '', ?, ?, 'default', ?, ?, 1, '', '', ?)"
)


def add_styles(
    path: Path, tables: Mapping[str, pd.DataFrame], schema: Mapping[str, TableSchema], styles: Mapping[str, Style]
) -> None:
    """Add styles and titles of columns to a GeoPackage.

    Parameters
    ----------
    path : Path
        The file, complete.
    tables : mapping of DataFrame
        What it holds, by layer.
    schema : mapping of Table
        What they are: their titles and kinds of geometry.
    styles : mapping
        By layer; layers without shapes, and those not named, get titles only.

    Raises
    ------
    DataSourceError
        The file cannot be written to.
    """
    titles = {name: _titles(frame, schema[name]) for name, frame in tables.items()}
    try:
        with closing(sqlite3.connect(path)) as base, base:
            for statement in _TABLES.split(";\n"):
                base.execute(statement)
            base.execute(_CONTENTS, (STYLES_TABLE, STYLES_TABLE, NO_CLOCK))
            base.executemany(_EXTENSION, [("gpkg_data_columns",), ("gpkg_data_column_constraints",)])
            rows = [(name, each, title, title) for name, mine in titles.items() for each, title in mine.items()]
            base.executemany(_COLUMN, rows)
            base.executemany(_ROW, _style_rows(titles, schema, styles))
    except sqlite3.Error as err:
        raise DataSourceError(f"{path.name}: {err}") from err


def _titles(frame: pd.DataFrame, table: TableSchema) -> dict[str, str]:
    """Titles of a layer's columns by name; what somebody added is called as it is."""
    names = [str(name) for name in frame if name != "geometry"]
    return {name: table.columns[name].title if name in table.columns else name for name in names}


def _style_rows(
    titles: Mapping[str, Mapping[str, str]], schema: Mapping[str, TableSchema], styles: Mapping[str, Style]
) -> Iterator[tuple[str, ...]]:
    for name, mine in titles.items():
        style = styles.get(name)
        sld = sld_text(name, style) if style else ""
        yield name, "geom" if schema[name].geometry else "", qml_text(style, mine), sld, NO_CLOCK
