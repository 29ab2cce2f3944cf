"""Who has to be asked for what about the map and the ways on foot: the facts, and for which stakes each holds."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from layoutplan.access import PERMISSION
from layoutplan.layout.crossings import LEAD, what, where
from layoutplan.layout.rules import AGREE

if TYPE_CHECKING:
    from layoutplan.job.classes import ObstacleClass

CROSSING, GROUND, WAY, PARCEL = "lead crosses", "stake stands on", "way on foot", "parcel"
_OWNER = "its owner"


class Case(NamedTuple):
    """One stake or way that an agreement is about; ``place`` is where on the lead, empty where there is none."""

    line_id: str
    tower_id: str
    to: str
    reference: str
    place: str


class Agreement(NamedTuple):
    """Whom to ask about what, and for which stakes and ways."""

    kind: str
    whom: str
    what: str
    cases: tuple[Case, ...]


def agreements_of(
    crossings: Iterable[Any], ways: Iterable[Any], classes: Mapping[str, ObstacleClass]
) -> list[Agreement]:
    """What has to be agreed beside parcels, in the order of the line; pieces of one name and class are one.

    Parameters
    ----------
    crossings, ways : iterable of named tuple
        Rows of the plan's tables of crossings and of approaches.
    classes : mapping of str to ObstacleClass
        Of the job.

    Returns
    -------
    list of Agreement

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> way = {"line_id": "A", "tower_id": "7", "to": "H", "verdict": "needs permission", "reason": "a gate"}
    >>> way = SimpleNamespace(**way, road_name="", shared_stop=0)
    >>> [(found.what, found.cases[0].to) for found in agreements_of([], [way], {})]
    [('a gate', 'H')]
    """
    groups: dict[tuple[str, ...], tuple[str, str, list[Case]]] = {}
    for key, whom, about, case in (*_met(crossings, classes), *_ways(ways)):
        groups.setdefault(key, (whom, about, []))[2].append(case)
    return [Agreement(key[0], whom, about, tuple(cases)) for key, (whom, about, cases) in groups.items()]


Found = tuple[tuple[str, ...], str, str, Case]


def _met(crossings: Iterable[Any], classes: Mapping[str, ObstacleClass]) -> Iterator[Found]:
    for row in crossings:
        if row.verdict == AGREE:
            kind = CROSSING if row.met_by == LEAD else GROUND
            known = classes.get(row.obstacle_class)  # none of land beyond what is permitted, nor of another version
            whom = known.agreed_by if known else _OWNER
            key = kind, row.obstacle_class, row.name or row.feature_id or ""
            case = Case(row.line_id, row.tower_id, row.role, row.feature_id or "", where(row))
            yield key, whom, what(row, classes), case


def _ways(ways: Iterable[Any]) -> Iterator[Found]:
    for row in ways:
        if row.verdict == PERMISSION:
            whom = f"whoever has a say over it: {row.road_name}" if row.road_name else "whoever has a say over it"
            key = WAY, whom, row.reason, str(row.shared_stop)  # two tracks without a name are two
            yield key, whom, row.reason, Case(row.line_id, row.tower_id, row.to, "", "")
