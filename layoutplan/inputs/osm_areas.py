"""Relations that are areas: which there are, and what can be made of those the library cannot build."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import osmium
import shapely

from layoutplan.inputs.crossings import require_few_crossings
from layoutplan.inputs.geodetic import Geometries
from layoutplan.inputs.osm_tags import Match, TagRules

_AREA_TYPES = frozenset({"multipolygon", "boundary"})


@dataclass(frozen=True, slots=True)
class AreaRelation:
    """A relation that stands for an area.

    Attributes
    ----------
    matches : tuple of Match
        Empty for old data, where the classes are written on the outer ways instead.
    name : str
    ways : tuple of int
        Ids of its edges.
    """

    matches: tuple[Match, ...]
    name: str
    ways: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class MapRelations:
    """The area relations of an extract that can be obstacles.

    Attributes
    ----------
    classed : mapping
        By relation id, with classes of their own.
    untagged : mapping
        By relation id, without.
    """

    classed: Mapping[int, AreaRelation]
    untagged: Mapping[int, AreaRelation]

    @classmethod
    def read(cls, path: Path, rules: TagRules) -> MapRelations:
        """Read only the relations of a file."""
        classed: dict[int, AreaRelation] = {}
        untagged: dict[int, AreaRelation] = {}
        thing: Any
        for thing in osmium.FileProcessor(str(path), osmium.osm.RELATION):
            tags = dict(thing.tags)
            if tags.get("type") not in _AREA_TYPES or thing.deleted or not thing.visible:
                continue
            ways = tuple(member.ref for member in thing.members if member.type == "w")
            found = AreaRelation(rules.match(tags), display_name(tags), ways)
            if found.matches:
                classed[thing.id] = found
            elif tags["type"] == "multipolygon":
                untagged[thing.id] = found
        return cls(classed, untagged)

    def edges(self) -> frozenset[int]:
        """Ids of all ways that are edges of these relations."""
        return frozenset(way for group in (self.classed, self.untagged) for item in group.values() for way in item.ways)


def display_name(tags: Mapping[str, str]) -> str:
    """Return what people call a thing: its name, else its number, else nothing."""
    return tags.get("name") or tags.get("ref") or ""


def inherited(
    untagged: Mapping[int, AreaRelation], open_ways: Mapping[int, tuple[Match, ...]]
) -> dict[int, AreaRelation]:
    """Give relations without classes of their own those of their open edges, as maps were drawn until about 2017.

    Parameters
    ----------
    untagged : mapping
        Relations by id.
    open_ways : mapping
        By way id, the classes of ways that are tagged as areas but do not close.
    """
    found = {}
    for osm_id, relation in untagged.items():
        matches = {match.obstacle_class: match for way in relation.ways for match in open_ways.get(way, ())}
        if matches:
            found[osm_id] = AreaRelation(tuple(matches.values()), relation.name, relation.ways)
    return found


def area_from_edges(edges: Sequence[bytes], where: str) -> Geometries:
    """Make what can be made of an area's edges: polygons where they close, the other edges as lines.

    Parameters
    ----------
    edges : sequence of bytes
        Those edges that the extract holds as well-known binary lines, in any order.
    where : str
        Which area, for messages.

    Returns
    -------
    ndarray of Geometry
        Polygons first; empty if there are no edges.

    Raises
    ------
    InputError
        The edges cross more often than the job allows.
    """
    require_few_crossings(shapely.GeometryCollection(list(shapely.from_wkb(list(edges)))), where)
    lines = shapely.get_parts(shapely.union_all(shapely.from_wkb(list(edges))))  # the union cuts them where they cross
    if len(lines) == 0:
        return np.empty(0, dtype=object)
    area = shapely.build_area(shapely.geometrycollections(lines))
    _, cuts, dangles, _ = shapely.polygonize_full(lines)
    loose = shapely.line_merge(shapely.union_all(np.concatenate((shapely.get_parts(cuts), shapely.get_parts(dangles)))))
    parts = np.concatenate((shapely.get_parts(area), shapely.get_parts(loose)))
    return np.asarray(parts[~shapely.is_empty(parts)], dtype=object)
