"""What leads cross and stakes stand on, as a written plan holds it, and the words for it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from layoutplan.job.roles import OUTSIDE_WORDS
from layoutplan.layout.rules import BROKEN

if TYPE_CHECKING:
    from layoutplan.job.classes import ObstacleClass

LEAD, STAKE = "lead", "stake"  # by which something is met
OUTSIDE = "outside_permitted"  # in place of a class: land beyond what is permitted


def what(row: Any, classes: Mapping[str, ObstacleClass]) -> str:
    """Words for what a row of the table of crossings is about: what it is, its name and its id."""
    return described(row.obstacle_class, row.name or "", row.feature_id or "", classes)


def described(
    obstacle_class: str, name: str, feature_id: str, classes: Mapping[str, ObstacleClass] | None = None
) -> str:
    """The same of bare values; without the job's classes by those that are shipped."""
    if obstacle_class == OUTSIDE:
        return OUTSIDE_WORDS
    if classes is None:
        from layoutplan.job.classes import shipped_classes

        classes = shipped_classes()
    row = classes.get(obstacle_class)
    if row is None:  # of another version, or of a job's own
        return " ".join(filter(None, (obstacle_class.replace("_", " "), name, feature_id and f"({feature_id})")))
    return row.describe(name, feature_id)


def where(row: Any) -> str:
    """Where on the lead it is met; nothing of the ground of a stake."""
    if row.at_m is None or row.at_m != row.at_m:
        return ""
    return f"at {row.at_m:.1f} m" if row.at_m > 0 else "from the start: the tower stands in it"


def crossing_list(rows: Iterable[Any], classes: Mapping[str, ObstacleClass]) -> str:
    """All of some rows with their places, for people to read."""
    texts = (("forbidden" if row.verdict == BROKEN else "", what(row, classes), where(row)) for row in rows)
    return "; ".join(" ".join(filter(None, parts)) for parts in texts)
