"""What a map may be silent about: causes with their theme and their cures, as codes; words are made elsewhere."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from types import MappingProxyType
from typing import NamedTuple

from layoutplan.job.classes import shipped_classes

REACH, BUILDINGS, LAND_COVER, SEA = "reach", "buildings", "land_cover", "sea"
NO_MAP, OUTSIDE_POLYGON, OUTSIDE_BOX, FEW_FEATURES = "no_map", "outside_polygon", "outside_box", "few_features"
NO_LAND_COVER, BARE_STREETS, UNCLEAR_SHORE = "no_land_cover", "bare_streets", "unclear_shore"
ADD_MAP, WIDER_POLYGON, NEIGHBOUR, POLYGON = "add_map", "wider_polygon", "neighbour_extract", "coverage_polygon"
BUILDINGS_LAYER, LAND_COVER_LAYER, WHOLE_COAST = "buildings_layer", "land_cover_layer", "whole_coast"


class Gap(NamedTuple):
    """A cause for which the map does not show what is there."""

    theme: str
    cures: tuple[str, ...]


# in the order in which they are told
GAPS = MappingProxyType(
    {
        NO_MAP: Gap(REACH, (ADD_MAP,)),
        OUTSIDE_POLYGON: Gap(REACH, (WIDER_POLYGON,)),
        OUTSIDE_BOX: Gap(REACH, (NEIGHBOUR, POLYGON)),
        FEW_FEATURES: Gap(REACH, (NEIGHBOUR, POLYGON)),
        NO_LAND_COVER: Gap(LAND_COVER, (LAND_COVER_LAYER, POLYGON)),
        BARE_STREETS: Gap(BUILDINGS, (BUILDINGS_LAYER, POLYGON)),
        UNCLEAR_SHORE: Gap(SEA, (WHOLE_COAST, POLYGON)),
    }
)
# classes of the areas that the plan draws where the map is silent, and why it is
SILENT_CLASSES = MappingProxyType(
    {name: row.tells.silence for name, row in shipped_classes().items() if row.tells.silence}
)
AREA_THEMES = frozenset(GAPS[cause].theme for cause in SILENT_CLASSES.values())


def joined(causes: Iterable[str]) -> str:
    """Causes as they are stored: ``theme:cause``, each once, in the table's order, with a space between them.

    Parameters
    ----------
    causes : iterable of str
        Keys of ``GAPS``.

    Returns
    -------
    str

    Examples
    --------
    >>> joined([FEW_FEATURES, OUTSIDE_BOX, FEW_FEATURES])
    'reach:outside_box reach:few_features'
    """
    found = set(causes)
    return " ".join(f"{gap.theme}:{cause}" for cause, gap in GAPS.items() if cause in found)


def causes_of(stored: str) -> list[str]:
    """Causes out of what :func:`joined` made.

    Parameters
    ----------
    stored : str
        Cell of a table.

    Returns
    -------
    list of str

    Examples
    --------
    >>> causes_of("reach:outside_box reach:few_features"), causes_of("")
    (['outside_box', 'few_features'], [])
    """
    return [part.rpartition(":")[2] for part in stored.split()]


def cures_of(causes: Sequence[str]) -> str:
    """Codes of the cures of some causes, each once, with a space between them.

    Parameters
    ----------
    causes : sequence of str
        Keys of ``GAPS``.

    Returns
    -------
    str

    Examples
    --------
    >>> cures_of([OUTSIDE_BOX, BARE_STREETS])
    'neighbour_extract coverage_polygon buildings_layer'
    """
    return " ".join(dict.fromkeys(cure for cause in causes for cure in GAPS[cause].cures))
