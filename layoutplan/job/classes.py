"""The obstacle classes: shipped table, job overrides laid over it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Literal

Standing = Literal["no", "agree", "free"]
Crossing = Literal["no", "agree", "care", "free"]
PERMITTED = "permitted_land"
OUTSIDE_WORDS = "land outside the permitted land"


@dataclass(frozen=True, slots=True)
class ObstacleClass:
    """One kind of obstacle and how far a stake and a lead keep from it.

    ``keep_out_m`` is measured from the feature's edge and counts only where ``stake == "no"``; ``width_m`` is the full
    width of features mapped as lines that carry no width of their own; ``owner_may_agree`` marks land
    on which a stake is possible if the owner agrees; ``overhead_line`` marks what hangs from towers or poles;
    ``osm_width_m`` maps ``key=value`` tags to their
    own width; ``map_themes`` names the themes of the map without which it does not tell of the class.

    What a planner may ask for where a tower would have no layout: ``floor_m`` is the least distance from the edge at
    which a stake is ever proposed then (never nearer than the keep-out if it is not given), ``agreed_by`` says who has
    to agree, ``may_cross`` whether a lead across can be asked for at all, and ``crossing_needs`` what it takes.
    """

    name: str
    label: str
    stake: Standing
    keep_out_m: float
    lead_crossing: Crossing
    width_m: float
    basis: str
    owner_may_agree: bool = False
    overhead_line: bool = False
    osm_width_m: Mapping[str, float] = field(default_factory=dict)
    map_themes: tuple[str, ...] = ()
    floor_m: float | None = None
    agreed_by: str = "its owner"
    may_cross: bool = True
    crossing_needs: str = ""

    def describe(self, name: str, feature_id: str) -> str:
        """Words for a feature of the class: what it is, its name and its id."""
        return self.label + (f" '{name}'" if name else "") + (f" ({feature_id})" if feature_id else "")


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
    text = (files("layoutplan.job") / "obstacle_classes.toml").read_text("utf-8")
    table = {name: ObstacleClass(name=name, **_flat(**row)) for name, row in tomllib.loads(text).items()}
    return MappingProxyType(table)


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
    return frozenset(row.name for row in shipped_classes().values() if row.overhead_line)


def _flat(relaxing: Mapping[str, Any] | None = None, **row: Any) -> dict[str, Any]:
    return row | dict(relaxing or {})


def with_overrides(overrides: Mapping[str, Mapping[str, Any]]) -> Mapping[str, ObstacleClass]:
    """Return the shipped table with the job's ``[classes.<name>]`` keys laid over it.

    Parameters
    ----------
    overrides : mapping
        Class name to the keys it changes; names must exist (the job model checks that).
    """
    table = dict(shipped_classes())
    for name, keys in overrides.items():
        if keys:
            table[name] = replace(table[name], **keys, basis=f"project setting (default: {table[name].basis})")
    return MappingProxyType(table)
