"""Default styles inside a GeoPackage: desktop programs that know the table ``layer_styles`` show its layers dressed.

The table is no part of the GeoPackage standard; programs that do not know it see one more table without geometry.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from contextlib import closing
from pathlib import Path

from pyogrio.errors import DataSourceError

from layoutplan.job.classes import ObstacleClass
from layoutplan.outputs.styles.layers import layer_styles
from layoutplan.outputs.styles.qml import qml_text
from layoutplan.outputs.styles.sld import sld_text
from layoutplan.planning.read import STYLES_TABLE

__all__ = ["add_styles"]

_TABLE = f"""
CREATE TABLE {STYLES_TABLE} (
    id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    f_table_catalog TEXT(256), f_table_schema TEXT(256), f_table_name TEXT(256), f_geometry_column TEXT(256),
    styleName TEXT(30), styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, description TEXT, owner TEXT(30),
    ui TEXT(30), update_time DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ', 'now')))
"""
_CONTENTS = (
    "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change) "
    "VALUES (?, 'attributes', ?, '', ?)"
)
# catalogue and schema are empty texts: a style with NULL there is passed over without a word
_ROW = (
    f"INSERT INTO {STYLES_TABLE} (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, styleName, "
    "styleQML, styleSLD, useAsDefault, description, owner, update_time) "
    "VALUES ('', '', ?, 'geom', 'default', ?, ?, 1, '', '', ?)"
)


def add_styles(path: Path, classes: Iterable[ObstacleClass], time: str) -> None:
    """Add the styles to a plan's GeoPackage.

    Parameters
    ----------
    path : Path
        The file, complete.
    classes : iterable of ObstacleClass
        As the job has them.
    time : str
        Stands as the time of change, so that the same plan gives the same bytes.

    Raises
    ------
    DataSourceError
        The file cannot be written to.
    """
    styles = layer_styles(classes)
    rows = [(name, qml_text(style), sld_text(name, style), time) for name, style in styles.items()]
    try:
        with closing(sqlite3.connect(path)) as base, base:
            base.execute(_TABLE)
            base.execute(_CONTENTS, (STYLES_TABLE, STYLES_TABLE, time))
            base.executemany(_ROW, rows)
    except sqlite3.Error as err:
        raise DataSourceError(f"{path.name}: {err}") from err
