"""What is in the tables that are written, out of ``columns.toml``: order, types, units, meanings of their columns."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Literal

from layoutplan.electrical import LeadLevel
from layoutplan.layout.crossings import LEAD, STAKE
from layoutplan.layout.rules import NOT_CONFIRMED, STATUSES, VERDICTS

Type = Literal["text", "integer", "number", "true or false", "bearing", "longitude", "latitude"]
Empty = Literal["never", "unknown", "not given", "does not apply", "none"]
Section = Literal["plan", "check", "comparison", "list", "profile"]
_STORED: Mapping[str, str] = MappingProxyType({"text": "str", "integer": "int64", "true or false": "bool"})
_KNOWN: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "status": STATUSES,
        "verdict": (*VERDICTS, NOT_CONFIRMED),
        "verdict of a crossing": VERDICTS,
        "met by": (LEAD, STAKE),
        "lead level": tuple(map(str, LeadLevel)),
    }
)


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table.

    Attributes
    ----------
    name : str
    type : str
        See ``columns.toml``; bearings, longitudes and latitudes are numbers.
    title : str
        In plain words, with the unit.
    unit : str
    empty : tuple of str
        What an empty cell means; ``("never",)`` where there is none.
    meaning : str
    decimals, figures, shown : int or None
        To which the tables are rounded, significant ones that are carried, and decimals for people to read.
    values : tuple of str
        Codes that are known; none where any text may stand.
    """

    name: str
    type: Type
    title: str
    unit: str
    empty: tuple[Empty, ...]
    meaning: str
    decimals: int | None
    figures: int | None
    shown: int | None
    values: tuple[str, ...]

    @property
    def dtype(self) -> str:
        """How pandas holds it."""
        return _STORED.get(self.type, "float64")

    @property
    def is_figure(self) -> bool:
        """Whether it holds numbers that may have decimals."""
        return self.dtype == "float64"


@dataclass(frozen=True, slots=True)
class TableSchema:
    """One table.

    Attributes
    ----------
    name, title, meaning : str
    geometry : str or None
        Kind of the layer's shapes, None for a plain table.
    columns : mapping of Column
        By name, in order.
    rests_on : tuple of str
        Columns without which no reader of a written plan can do anything.
    """

    name: str
    title: str
    meaning: str
    geometry: str | None
    columns: Mapping[str, Column]
    rests_on: tuple[str, ...]

    def lacking(self, there: Iterable[object]) -> list[str]:
        """Columns that are not among those that are there.

        Parameters
        ----------
        there : iterable
            Names of columns.

        Returns
        -------
        list of str
            In the table's order.

        Examples
        --------
        >>> exclusions = tables("plan")["exclusions"]
        >>> exclusions.lacking(name for name in exclusions.columns if name != "rule")
        ['rule']
        """
        found = {*there}
        return [name for name in self.columns if name not in found]


@cache
def tables(section: Section) -> Mapping[str, TableSchema]:
    """Tables of ``plan.gpkg``, ``check.gpkg``, of the layers of a comparison, CSV lists, and tables of a profile.

    Parameters
    ----------
    section : str
        ``"plan"``, ``"check"``, ``"comparison"``, ``"list"`` or ``"profile"``.

    Returns
    -------
    mapping of str to Table
        By name, in the order in which they are written.

    Examples
    --------
    >>> column = tables("plan")["electrodes"].columns["lead_length_m"]
    >>> column.title, column.decimals, column.empty
    ('lead to pull, m', 3, ('never',))
    """
    text = _text()
    rows = {name: _rows(text, group) for name, group in text[section].items()}
    return MappingProxyType(
        {
            name: TableSchema(
                name,
                entry["title"],
                entry["meaning"],
                entry.get("geometry"),
                MappingProxyType({column: _column(column, **row) for column, row in rows[name].items()}),
                tuple(entry.get("rests_on", ())),
            )
            for name, entry in text[section].items()
        }
    )


def _text() -> dict[str, Any]:
    return tomllib.loads((files("layoutplan.layout") / "columns.toml").read_text("utf-8"))


def _rows(text: Mapping[str, Any], entry: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """Rows of a table or group by column, those of the group with which it begins first."""
    first = _rows(text, text["group"][entry["begins"]]) if "begins" in entry else {}
    shared = text["shared"]
    own = {name: first.get(name, shared.get(name, {})) | row for name, row in entry.get("columns", {}).items()}
    return first | own


def _column(
    name: str,
    *,
    type: Type,
    title: str,
    empty: Empty | list[Empty],
    meaning: str,
    unit: str = "",
    decimals: int | None = None,
    figures: int | None = None,
    shown: int | None = None,
    values: str | None = None,
) -> Column:
    words = f"{title}, {unit}" if unit else title
    means = (empty,) if isinstance(empty, str) else tuple(empty)
    known = _KNOWN[values] if values else ()
    return Column(name, type, words, unit, means, meaning, decimals, figures, shown, known)


TABLES = tables("plan")
