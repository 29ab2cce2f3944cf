"""What leads cross and stakes stand on, as a written plan holds it, and the words for it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from layoutplan.job.roles import OUTSIDE_WORDS
from layoutplan.layout.rules import BROKEN

if TYPE_CHECKING:
    from layoutplan.job.classes import ObstacleClass

LEAD, STAKE = "lead", "stake"  # by which something is met
FROM_START = "from the start (the tower stands in it)"
OUTSIDE = "outside_permitted"  # in place of a class: land beyond what is permitted


def what(row: Any, classes: Mapping[str, ObstacleClass]) -> str:
    """Words for what a row of the table of crossings is about: what it is, and its name.

    Parameters
    ----------
    row : named tuple
        Of the table of crossings.
    classes : mapping of str to ObstacleClass
        Of the job.

    Returns
    -------
    str
    """
    return described(row.obstacle_class, row.name or "", classes)


def described(obstacle_class: str, name: str, classes: Mapping[str, ObstacleClass] | None = None) -> str:
    """Words for a crossing by its bare values; without the job's classes by those that are shipped.

    Words for people carry no number of the map: the tables hold it, under ``feature_id`` and ``reference``.

    Parameters
    ----------
    obstacle_class : str
        A class that is not known is named by its key.
    name : str
        Empty where there is none.
    classes : mapping of str to ObstacleClass, optional
        Of the job.

    Returns
    -------
    str

    Examples
    --------
    >>> described("river_canal", "Mill Brook")
    "river or canal 'Mill Brook'"
    """
    if obstacle_class == OUTSIDE:
        return OUTSIDE_WORDS
    if classes is None:
        from layoutplan.job.classes import shipped_classes

        classes = shipped_classes()
    row = classes.get(obstacle_class)
    if row is None:  # of another version, or of a job's own
        return f"{obstacle_class.replace('_', ' ')} {name}".rstrip()
    return row.describe(name)


def where(row: Any) -> str:
    """Where on the lead it is met; empty for the ground of a stake.

    Parameters
    ----------
    row : named tuple
        Of the table of crossings; ``at_m`` is the distance from the tower. [m]

    Returns
    -------
    str

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> where(SimpleNamespace(at_m=41.26)), where(SimpleNamespace(at_m=None))
    ('at 41.3 m', '')
    """
    if row.at_m is None or row.at_m != row.at_m:
        return ""
    return f"at {row.at_m:.1f} m" if row.at_m > 0 else FROM_START


def crossing_list(rows: Iterable[Any], classes: Mapping[str, ObstacleClass]) -> str:
    """All of some rows with their places, for people to read.

    Parameters
    ----------
    rows : iterable of named tuple
        Of the table of crossings.
    classes : mapping of str to ObstacleClass
        Of the job.

    Returns
    -------
    str
        Parted by semicolons.
    """
    texts = (("forbidden" if row.verdict == BROKEN else "", what(row, classes), where(row)) for row in rows)
    return "; ".join(" ".join(filter(None, parts)) for parts in texts)
