"""The obstacle classes: shipped table, job overrides laid over it."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Callable, Mapping
from functools import cache
from types import MappingProxyType
from typing import Any

from pydantic import ValidationError

from layoutplan.errors import JobError
from layoutplan.job.class_model import Crossing, ObstacleClass, Standing
from layoutplan.job.roles import CLASS_FILE, OUTSIDE_WORDS, Road, Role, class_file_text

__all__ = [
    "OUTSIDE_WORDS",
    "PERMITTED",
    "ROADS",
    "Crossing",
    "ObstacleClass",
    "Road",
    "Role",
    "Standing",
    "class_table",
    "named",
    "overhead_lines",
    "shipped_classes",
    "the",
    "with_overrides",
]


def class_table(text: str, where: str = CLASS_FILE) -> Mapping[str, ObstacleClass]:
    """Read and check a class file.

    Parameters
    ----------
    text : str
        TOML: a table for each class; its keys stand at the head of the shipped file.
    where : str
        What messages call it.

    Returns
    -------
    mapping of str to ObstacleClass
        In the file's order.

    Raises
    ------
    JobError
        The text is not TOML, a key is unknown or missing, a value out of range, a class is named that is not there,
        a role has no class, or two.

    Examples
    --------
    >>> class_table("[vineyard]", "mine.toml")
    Traceback (most recent call last):
        ...
    layoutplan.errors.JobError: mine.toml: 'vineyard.label' is missing; 'vineyard.basis' is missing. ...
    """
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as err:
        raise JobError(f"{where}: not valid TOML: {err}. Correct that line.") from err
    rows = {name: _row(name, table, where) for name, table in tables.items()}
    _check_names(rows, where)
    return MappingProxyType(rows)


def _row(name: str, table: Any, where: str) -> ObstacleClass:
    if not isinstance(table, dict):
        raise JobError(f"{where}: '{name}' stands outside of any class. Put it below the [class] that it belongs to.")
    flat = {**table, **table.get("relaxing", {}), "name": name}
    flat.pop("relaxing", None)
    try:
        return ObstacleClass.model_validate(flat)
    except ValidationError as err:
        notes = "; ".join(_stated(name, problem) for problem in err.errors(include_url=False)[:4])
        raise JobError(f"{where}: {notes}. The keys are explained at the head of the shipped {CLASS_FILE}.") from err


def _stated(name: str, problem: Any) -> str:
    key = ".".join(str(part) for part in (name, *problem["loc"]))
    told = {"missing": "is missing", "extra_forbidden": "is no key of a class"}.get(problem["type"])
    return f"'{key}' {told}" if told else f"'{key}': {problem['msg'].removeprefix('Value error, ')}"


def _check_names(rows: Mapping[str, ObstacleClass], where: str) -> None:
    for name, row in rows.items():
        tagged = row.tagged
        for other in filter(None, (tagged.on_bridge, tagged.below, tagged.on_roof, tagged.only_with)):
            if other not in rows:
                raise JobError(f"{where}: '{name}.tagged' names '{other}', which is no class. Name one of this file.")
    count = Counter(row.role for row in rows.values())
    for role in Role:
        if count[role] != 1:
            raise JobError(f'{where}: role = "{role}" is on {count[role]} classes. Give it to exactly one of them.')


@cache
def shipped_classes() -> Mapping[str, ObstacleClass]:
    """Return the table as shipped, by class name in the table's order.

    Returns
    -------
    mapping of str to ObstacleClass
        Distances in metres.

    Examples
    --------
    >>> row = shipped_classes()["river_canal"]
    >>> row.stake, row.lead_crossing
    ('no', 'no')
    """
    return class_table(class_file_text())


def named(which: Callable[[ObstacleClass], object]) -> tuple[str, ...]:
    """Return the names of the shipped classes that have a property, in the table's order.

    Parameters
    ----------
    which : callable
        Takes a class, returns whether it has the property.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> named(lambda row: row.growth)
    ('woodland', 'crops')
    """
    return tuple(name for name, row in shipped_classes().items() if which(row))


def the(role: Role) -> str:
    """Return the name of the one class that has a role.

    Parameters
    ----------
    role : Role
        One of the roles that exactly one class has.

    Returns
    -------
    str

    Examples
    --------
    >>> the(Role.LINE)
    'power_line'
    """
    (name,) = named(lambda row: row.role == role)
    return name


@cache
def overhead_lines() -> frozenset[str]:
    """Return the names of the classes that hang from towers or poles.

    Returns
    -------
    frozenset of str

    Examples
    --------
    >>> sorted(overhead_lines())
    ['distribution_line', 'low_voltage_line', 'power_line', 'traction_line']
    """
    return frozenset(named(lambda row: row.overhead_line))


PERMITTED = the(Role.PERMITTED)
ROADS: Mapping[str, Road] = MappingProxyType({name: row.road for name, row in shipped_classes().items() if row.road})
"""Classes that are walked and driven along, with their kind."""


def with_overrides(overrides: Mapping[str, Mapping[str, Any]]) -> Mapping[str, ObstacleClass]:
    """Return the shipped table with the job's ``[classes.<name>]`` keys laid over it.

    Parameters
    ----------
    overrides : mapping
        Class name to the keys it changes; a name that is not in the table is a class of the job's own, and comes after
        those that are (the job model sees to it that it has a label).

    Returns
    -------
    mapping of str to ObstacleClass
        In the table's order.

    Examples
    --------
    10 m from a river instead of the shipped distance; the basis then names the default's:

    >>> row = with_overrides({"river_canal": {"keep_out_m": 10.0}})["river_canal"]
    >>> print(row.keep_out_m, "m;", row.basis.partition(":")[0])
    10.0 m; project setting (default
    """
    table = dict(shipped_classes())
    for name, keys in overrides.items():
        if name not in table:
            table[name] = ObstacleClass(name=name, basis="project setting", **keys)
        elif keys:
            basis = f"project setting (default: {table[name].basis})"
            table[name] = table[name].model_copy(update={**keys, "basis": basis})
    return MappingProxyType(table)
