"""Holds the tables of plans of one job, made on several machines or with several versions, against each other.

    python tests/same_tables.py OUT OTHER [OTHER ...]

Where ``plan.json`` names the same software but for Python itself, ``plan.gpkg`` must be the same byte for byte. Else
texts, counts and keys must be the same, figures and positions to within one step of the rounding of their column, and
figures within texts to one step of their last digit. Nothing is imported from ``layoutplan``.
"""

from __future__ import annotations

import json
import re
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import shapely

STEP_DEG, STEP_M, STEP = 1e-7, 0.01, 1e-6  # of longitudes and latitudes; of lengths and bearings; of a figure's size
ENVELOPE_BYTES = (0, 32, 48, 48, 64)  # GeoPackage 1.3 (OGC 12-128r18), 2.1.3: by bits 1 to 3 of the flags
NUMBER = re.compile(r"-?\d[\d,]*(?:\.\d+)?")
SLACK = 1.01  # binary fractions
Table = tuple[list[str], list[tuple[Any, ...]]]


def tables(folder: Path) -> dict[str, Table]:
    """Columns and rows of each table of ``plan.gpkg`` that its contents list, in the order of the file."""
    with closing(sqlite3.connect(f"{(folder / 'plan.gpkg').resolve().as_uri()}?mode=ro", uri=True)) as base:
        names = [name for (name,) in base.execute("SELECT table_name FROM gpkg_contents ORDER BY table_name")]
        found = {}
        for name in names:
            rows = base.execute(f'SELECT * FROM "{name}"')
            found[name] = ([column[0] for column in rows.description], rows.fetchall())
        return found


def software(folder: Path) -> dict[str, str]:
    """Versions of what made the plan, but for Python itself."""
    named = json.loads((folder / "plan.json").read_text("utf-8"))["software"]
    return {name: version for name, version in named.items() if name != "python"}


def differences(one: Path, other: Path) -> Iterator[str]:
    """Yield where the tables of two plans differ by more than they may."""
    if software(one) == software(other) and (one / "plan.gpkg").read_bytes() != (other / "plan.gpkg").read_bytes():
        yield f"{other}: plan.gpkg is not the same bytes, though the same software made it"
    mine, theirs = tables(one), tables(other)
    if mine.keys() != theirs.keys():
        yield f"{other}: other tables: {', '.join(sorted(mine.keys() ^ theirs.keys()))}"
    for name in sorted(mine.keys() & theirs.keys()):
        (columns, rows), (other_columns, other_rows) = mine[name], theirs[name]
        if columns != other_columns or len(rows) != len(other_rows):
            yield f"{other}, {name}: {len(other_rows)} rows of {other_columns}, not {len(rows)} of {columns}"
            continue
        for number, (row, other_row) in enumerate(zip(rows, other_rows, strict=True), 1):
            for column, value, found in zip(columns, row, other_row, strict=True):
                if value != found and not same(column, value, found):
                    yield f"{other}, {name}, row {number}, {column}: {shown(found)}, not {shown(value)}"


def same(column: str, value: Any, found: Any) -> bool:
    """Whether two cells of a column are the same to its rounding."""
    if type(value) is not type(found):
        return False
    if isinstance(value, float):
        return abs(value - found) <= SLACK * step_of(column, value)
    if isinstance(value, bytes):
        return same_shape(value, found)
    return isinstance(value, str) and same_text(value, found)


def step_of(column: str, value: float) -> float:
    """One step of the rounding of a column; figures that are written unrounded have one by their size."""
    if column in ("lon", "lat") or column.endswith(("_lon", "_lat")):
        return STEP_DEG
    return STEP_M if column.endswith(("_m", "_deg")) or column in ("easting", "northing") else STEP * abs(value)


def same_shape(value: bytes, found: bytes) -> bool:
    """Whether two geometries have the same vertices to a centimetre."""
    one, other = (shapely.from_wkb(blob[8 + ENVELOPE_BYTES[blob[3] >> 1 & 7] :]) for blob in (value, found))
    at, there = shapely.get_coordinates(one), shapely.get_coordinates(other)
    kinds = one.geom_type == other.geom_type and at.shape == there.shape
    return kinds and bool(np.abs(at - there).max(initial=0.0) <= SLACK * STEP_DEG)


def same_text(value: str, found: str) -> bool:
    """Whether two texts are the same but for one step in the last digit of figures with a decimal point."""
    if NUMBER.sub("#", value) != NUMBER.sub("#", found):
        return False
    return all(
        one == other or (len(one) == len(other) and "." in one and _near(one, other))
        for one, other in zip(NUMBER.findall(value), NUMBER.findall(found), strict=True)
    )


def _near(one: str, other: str) -> bool:
    step = 10.0 ** -len(one.partition(".")[2])
    return abs(float(one.replace(",", "")) - float(other.replace(",", ""))) <= SLACK * step


def shown(value: Any) -> str:
    """A cell for a message."""
    return f"geometry of {len(value)} bytes" if isinstance(value, bytes) else repr(value)[:120]


def main(arguments: list[str]) -> int:
    """Say what differs; the number of plans that do is 0 if all is well."""
    first, *others = map(Path, arguments)
    wrong = 0
    for other in others:
        found = list(differences(first, other))
        wrong += bool(found)
        print(*found[:20], f"{other}: {len(found)} differences to {first}", sep="\n")  # noqa: T201
    return wrong


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
