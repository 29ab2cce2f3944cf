"""Whether the tables of a written plan are as plans are: they may have been edited, or come from somebody else."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import shapely

from layoutplan.errors import LayoutPlanError, OutputError
from layoutplan.job.roles import shipped_names
from layoutplan.layout.schema import TABLES, Column
from layoutplan.text import clean

_KEY = "line_id tower_id"
_HOLDS = {"text": "texts", "true or false": "yes or no"}
_DRAWN_BY_HAND = ("electrodes", "leads")
_FIX = "Plan again into this folder, or take the plan as it was written."


def require_sound(
    tables: Mapping[str, pd.DataFrame], folder: Path, own_classes: Callable[[], Iterable[str]] = tuple
) -> None:
    """Refuse tables that hold what no plan holds; stakes may be moved, added and deleted.

    Parameters
    ----------
    tables : mapping of DataFrame
        By name; those that are missing are not missed here.
    folder : Path
        For messages.
    own_classes : callable
        Gives the obstacle classes of the plan's job; asked where the table holds one that is not shipped.

    Raises
    ------
    OutputError
        If there is such a thing; the first one is named.
    """
    looks = (_columns, _words, partial(_classes, own_classes), _keys, _ends, _places)  # each rests on those before it
    for found in (found for look in looks for found in look(tables)):
        raise OutputError(f"'{folder}': plan.gpkg was changed: {found}. {_FIX}")


@contextmanager
def taken_apart(folder: str | Path) -> Iterator[None]:
    """Turn what comes of tables or a record from which something was taken away into an OutputError.

    Parameters
    ----------
    folder : str or Path
        Of the plan, for the message.

    Yields
    ------
    None

    Raises
    ------
    OutputError
        If something is missing.
    """
    try:
        yield
    except LayoutPlanError:
        raise
    except (AttributeError, IndexError, KeyError, TypeError, ValueError) as err:  # pydantic's ValidationError too
        raise OutputError(
            f"'{folder}': plan.json or plan.gpkg was taken apart ({type(err).__name__}: {clean(err)[:100]}). "
            "Plan again into this folder."
        ) from err


def _columns(tables: Mapping[str, pd.DataFrame]) -> Iterator[str]:
    for name, schema in TABLES.items():
        if name not in tables:
            continue
        table = pd.DataFrame(tables[name])  # whose columns are had without looking for a geometry in each
        if missing := [column for column in schema.rests_on if column not in table.columns]:
            yield f"layer '{name}' has no column {', '.join(missing)}"
            return
        for column in schema.columns.values():
            if column.name in table.columns and not _is_of_type(table[column.name], column):
                yield f"layer '{name}', column '{column.name}' holds no {_HOLDS.get(column.type, 'numbers')}"


def _is_of_type(cells: pd.Series, column: Column) -> bool:
    """Whether cells are of the type of their column, as far as they are not empty."""
    there = pd.api.types.infer_dtype(cells, skipna=True)
    if cells.isna().all() or (column.type == "text" and there == "string"):
        return True
    flags = column.type == "true or false" and there == "boolean"  # some of them empty perhaps
    return column.type != "text" and (flags or pd.api.types.is_numeric_dtype(cells))


def _words(tables: Mapping[str, pd.DataFrame]) -> Iterator[str]:
    """Statuses, verdicts and levels that this program does not write; a stake drawn by hand may have none."""
    for name, schema in TABLES.items():
        for column in schema.columns.values():
            if not column.values or name not in tables or column.name not in tables[name].columns:
                continue
            cells = tables[name][column.name]
            may_be_empty = name in _DRAWN_BY_HAND or column.empty != ("never",)
            known = cells.isin(column.values) | ((cells.isna() | (cells == "")) & may_be_empty)
            for row in np.flatnonzero(~known.to_numpy())[:1].tolist():
                yield f"layer '{name}', row {row + 1}: {column.name} is {_shown(cells.iloc[row])}, which no plan holds"


def _classes(own_classes: Callable[[], Iterable[str]], tables: Mapping[str, pd.DataFrame]) -> Iterator[str]:
    """Obstacle classes that neither this program nor the plan's job knows."""
    name, column, known = "obstacles", "obstacle_class", shipped_names()
    if name in tables and not tables[name][column].isin(known).all():
        with suppress(OutputError):  # without a record
            known = (*known, *own_classes())
        yield from _strange(name, column, tables[name], known)


def _strange(name: str, column: str, table: pd.DataFrame, known: Iterable[str]) -> Iterator[str]:
    cells = table[column]
    for row in np.flatnonzero(~cells.isin(list(known)).to_numpy())[:1].tolist():
        yield f"layer '{name}', row {row + 1}: {column} is {_shown(cells.iloc[row])}, which no plan holds"


def _keys(tables: Mapping[str, pd.DataFrame]) -> Iterator[str]:
    """Towers without an id, or several with one."""
    if "towers" not in tables:
        return
    towers = tables["towers"]
    if len(towers) == 0:
        yield "layer 'towers' holds no tower"
    for column in _KEY.split():
        for row in np.flatnonzero(towers[column].isna().to_numpy())[:1].tolist():
            yield f"layer 'towers', row {row + 1}: no {column}"
    for layer in ("electrodes", "leads"):
        stakes = tables.get(layer)
        if stakes is None or not {*_KEY.split(), "role"} <= {*stakes.columns}:
            continue
        twice = stakes[stakes.duplicated([*_KEY.split(), "role"])]
        for tower_id, role in twice[["tower_id", "role"]].head(1).itertuples(index=False):
            yield f"layer '{layer}': stake {_shown(role)} of tower {_shown(tower_id)} is there more than once"
    twice = towers[towers.duplicated(_KEY.split())]
    for line_id, tower_id in twice[_KEY.split()].head(1).itertuples(index=False):
        yield f"layer 'towers': tower {_shown(tower_id)} of line {_shown(line_id)} is there more than once"


def _ends(tables: Mapping[str, pd.DataFrame]) -> Iterator[str]:
    """Spans of measured lines whose towers were deleted."""
    if not {"towers", "spans"} <= set(tables):
        return
    towers, spans = tables["towers"], tables["spans"]
    if len(spans) == 0:
        yield "layer 'spans' holds no span"
    there = set(towers["tower_id"])  # of whatever line: where one branches off, a tower is in the spans of two
    lines = set(towers["line_id"])
    if lost := lines - set(spans["line_id"]):
        yield f"layer 'spans' holds none of line {_shown(sorted(lost, key=str)[0])}"
    for line_id, start, end in spans[["line_id", "from_tower", "to_tower"]].itertuples(index=False):
        for tower in (start, end):
            if line_id in lines and isinstance(tower, str) and tower and tower not in there:
                yield f"tower {_shown(tower)} of line {_shown(line_id)} is in layer 'spans' but not in layer 'towers'"
                return


def _places(tables: Mapping[str, pd.DataFrame]) -> Iterator[str]:
    """Towers and spans without a place."""
    for name, kind in (("towers", shapely.GeometryType.POINT), ("spans", shapely.GeometryType.LINESTRING)):
        if name not in tables:
            continue
        if "geometry" not in tables[name]:
            yield f"layer '{name}' has no geometry"
            return
        shapes = tables[name]["geometry"].to_numpy()
        vertices = shapely.get_num_coordinates(shapes) == (1 if name == "towers" else 2)
        finite = np.isfinite(shapely.bounds(shapes)).all(axis=1)
        for row in np.flatnonzero(~((shapely.get_type_id(shapes) == kind) & vertices & finite))[:1].tolist():
            yield f"layer '{name}', row {row + 1}: no {'point' if name == 'towers' else 'line between two places'}"
    if "towers" in tables:
        figures = tables["towers"][["lon", "lat"]].to_numpy(dtype=float)
        for row in np.flatnonzero(~(np.isfinite(figures) & (np.abs(figures) <= 540.0)).all(axis=1))[:1].tolist():
            yield f"layer 'towers', row {row + 1}: no longitude and latitude"


def _shown(value: object) -> str:
    return f"'{clean(value)[:40]}'" if isinstance(value, str) else "empty"
