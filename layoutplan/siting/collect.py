"""Putting the sections together again: one table of everything that was sited."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from typing import Any, TypeVar

import numpy as np

from layoutplan.siting.beside import Beside
from layoutplan.siting.choose import RayBest
from layoutplan.siting.evaluate import Evaluated
from layoutplan.siting.exclusions import Exclusions
from layoutplan.siting.measure import Clearances
from layoutplan.siting.pairs import StakePairs
from layoutplan.siting.rays import Rays
from layoutplan.siting.site import Sited
from layoutplan.siting.trace import Touches

T = TypeVar("T", Rays, Touches, Clearances, Beside, RayBest, StakePairs, Exclusions)


def collect(sections: Sequence[Sited], tower_counts: Sequence[int]) -> Sited:
    """Join sections in their order; tower and position numbers then count all of them.

    Parameters
    ----------
    sections : sequence of Sited
        In the towers' order.
    tower_counts : sequence of int
        Towers of each section.

    Returns
    -------
    Sited
        As if all towers had been sited together.
    """
    towers = np.cumsum([0, *tower_counts[:-1]])
    relaxations = {
        tower + int(first): found
        for section, first in zip(sections, towers, strict=True)
        for tower, found in section.relaxations.items()
    }
    return Sited(
        chosen=join_positions([section.chosen for section in sections], towers),
        role=np.concatenate([section.role for section in sections]),
        same_side=np.concatenate([section.same_side for section in sections]),
        opposite=np.concatenate([section.opposite for section in sections]),
        coupled=np.concatenate([section.coupled for section in sections]),
        alternatives=_join([section.alternatives for section in sections], {"tower": towers}),
        alternatives_axis_m=np.concatenate([section.alternatives_axis_m for section in sections]),
        pairs=_join([section.pairs for section in sections], {"tower": towers}),
        exclusions=_join([section.exclusions for section in sections], {"tower": towers}),
        relaxations=relaxations,
    )


def join_positions(parts: Sequence[Evaluated], towers: Any) -> Evaluated:
    """Join positions of sections whose towers begin at the numbers given.

    Parameters
    ----------
    parts : sequence of Evaluated
        Positions of each section.
    towers : sequence of int
        Number of the first tower of each.

    Returns
    -------
    Evaluated
        In the order of the parts.
    """
    positions = np.cumsum([0, *(len(part) for part in parts[:-1])])

    def column(name: str) -> Any:
        return np.concatenate([getattr(part, name) for part in parts])

    def shifted(name: str) -> Any:
        return np.concatenate([getattr(part, name) + first for part, first in zip(parts, positions, strict=True)])

    return Evaluated(
        rays=_join([part.rays for part in parts], {"tower": towers}),
        distance_m=column("distance_m"),
        touches=_join([part.touches for part in parts], {"ray": positions}),
        held_position=shifted("held_position"),
        held_feature=column("held_feature"),
        close_position=shifted("close_position"),
        close_feature=column("close_feature"),
        span=column("span"),
        clear=_join([part.clear for part in parts], {"position": positions}),
        beside=_join([part.beside for part in parts], {}),
        axis_m=column("axis_m"),
        allowed=column("allowed"),
        terms={name: np.concatenate([part.terms[name] for part in parts]) for name in parts[0].terms},
        score=column("score"),
    )


def _join(parts: list[T], shift: dict[str, Any]) -> T:
    """Concatenate dataclasses of arrays field by field; fields named in ``shift`` go up by the part's first number."""
    columns = {}
    for field in fields(parts[0]):
        values = [getattr(part, field.name) for part in parts]
        if field.name in shift:
            values = [value + first for value, first in zip(values, shift[field.name], strict=True)]
        columns[field.name] = np.concatenate(values)
    return type(parts[0])(**columns)
