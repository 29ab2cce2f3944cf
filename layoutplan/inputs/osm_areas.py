"""Relations that are areas: which there are, and what can be made of those the library cannot build."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
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


class MapRelations:
    """The area relations of an extract that the library may not have built, taken one by one after all ways.

    Parameters
    ----------
    rules : TagRules

    Attributes
    ----------
    classed : dict
        By relation id, with classes of their own.
    untagged : dict
        By relation id, without, but with edges that have some.
    open_edges : set of int
        Those of the ways tagged as areas that do not close which are edges of relations.
    """

    def __init__(self, rules: TagRules) -> None:
        self._rules = rules
        self.classed: dict[int, AreaRelation] = {}
        self.untagged: dict[int, AreaRelation] = {}
        self.open_edges: set[int] = set()

    def take(self, thing: Any, tags: Mapping[str, str], built: Container[int], open_ways: Container[int]) -> None:
        """Take a relation, unless it is already built.

        Parameters
        ----------
        thing : osmium.osm.Relation
            As the library gives it.
        tags : mapping of str to str
            Its tags.
        built : container of int
            Ids of relations that the library has built.
        open_ways : container of int
            Ids of ways that are tagged as areas but do not close.
        """
        matches = self._rules.match(tags) if tags.get("type") in _AREA_TYPES else ()
        if not matches and tags.get("type") != "multipolygon":
            return
        ways = tuple(member.ref for member in thing.members if member.type == "w")
        open_edges = {way for way in ways if way in open_ways}
        self.open_edges |= open_edges
        found = AreaRelation(matches, display_name(tags), ways)
        if matches and thing.id not in built:
            self.classed[thing.id] = found
        elif not matches and open_edges:
            self.untagged[thing.id] = found


def display_name(tags: Mapping[str, str]) -> str:
    """Return what people call a thing: its name, else its number, else nothing.

    Parameters
    ----------
    tags : mapping of str to str
        Its tags.

    Returns
    -------
    str

    Examples
    --------
    >>> display_name({"highway": "secondary", "ref": "L 129"}), display_name({"natural": "wood"})
    ('L 129', '')
    """
    return tags.get("name") or tags.get("ref") or ""


def inherited(
    untagged: Mapping[int, AreaRelation], open_ways: Mapping[int, tuple[Match, ...]]
) -> dict[int, AreaRelation]:
    """Give relations without classes of their own those of their open edges, as maps were drawn until about 2017.

    Parameters
    ----------
    untagged : mapping of int to AreaRelation
        Relations by id.
    open_ways : mapping of int to tuple of Match
        By way id, the classes of ways that are tagged as areas but do not close.

    Returns
    -------
    dict of int to AreaRelation
        Those of which an edge has a class.

    Examples
    --------
    An old map's pond, whose class stands on its outer way only:

    >>> water = Match("lake_pond", 0.0, True, False, "", "")
    >>> inherited({7: AreaRelation((), "Mill pond", (12,))}, {12: (water,)})[7].matches[0].obstacle_class
    'lake_pond'
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
        If the edges cross more often than the job allows.

    Examples
    --------
    Three edges close to a triangle, a fourth one leads away:

    >>> points = [(0, 0), (4, 0), (0, 3), (0, 0), (-1, -1)]
    >>> edges = [shapely.LineString(pair).wkb for pair in zip(points, points[1:])]
    >>> [part.geom_type for part in area_from_edges(edges, "relation 7")]
    ['Polygon', 'LineString']
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
