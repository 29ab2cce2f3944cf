"""Collecting obstacles and evidence while an extract goes by, in batches so that memory stays flat."""

from __future__ import annotations

from typing import Any

import numpy as np
import osmium
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.inputs.corridor import Corridor
from layoutplan.inputs.evidence import is_local, thin
from layoutplan.inputs.geodetic import Geometries
from layoutplan.inputs.osm_areas import AreaRelation, MapRelations, area_from_edges, display_name, inherited
from layoutplan.inputs.osm_tags import Match, TagRules, is_coastline
from layoutplan.inputs.signs import COVER, COVER_M, NONE, Signs, cover_points, sign_of

THING_COLUMNS = (*("kind", "osm_id", "obstacle_class", "name", "width_m", "road_class", "vehicle", "flaw", "geometry"),)
OPEN, UNBUILT, INCOMPLETE = "open", "unbuilt", "incomplete"
_BATCH = 200_000
_FEW = 1_000  # nodes without a place that are looked for again
_AS_IT_IS, _FILLED, _OUTLINE = 0, 1, 2


class Collector:
    """Takes objects one by one, hands out tables.

    Parameters
    ----------
    rules : TagRules
    corridor : Corridor, optional
        Objects elsewhere are dropped batch by batch.
    """

    def __init__(self, rules: TagRules, corridor: Corridor | None) -> None:
        self._rules, self._relations, self._corridor = rules, MapRelations(rules), corridor
        self._wide = None if corridor is None else corridor.widened(COVER_M)
        self._factory = osmium.geom.WKBFactory()
        self._edges: dict[int, bytes] = {}  # only of areas that the library could not build: the others are too many
        self._open: dict[int, tuple[Match, ...]] = {}
        self._built: set[int] = set()
        self._lost: list[str] = []
        self.lacking: list[int] = []  # a node of each way that has nodes without a place, some of them
        self._rows: list[tuple[str, int, str, str, float, str, str, str, int, int]] = []
        self._wkb: list[bytes] = []
        self._shows: list[bool] = []
        self._sign: list[int] = []
        self._signs: list[Signs] = []
        self._coast: list[bytes] = []
        self._tables: list[pd.DataFrame] = []
        self._evidence: list[FloatArray] = [np.empty((0, 2))]
        self._corners: list[FloatArray] = [np.empty((0, 2))]

    def take(self, thing: Any, tags: dict[str, str], *, evidence: bool) -> None:
        """Take a node, a way, or the area of a relation.

        Parameters
        ----------
        thing : osmium.osm.OSMObject
            As the library gives it.
        tags : dict of str to str
            Its tags.
        evidence : bool
            Whether it shows that the map is worked out where it lies.
        """
        if thing.is_node():
            self._add("node", thing.id, thing, tags, evidence)
        elif thing.is_way():
            self._add("way", thing.id, thing, tags, evidence)
        else:
            self._add("relation", thing.orig_id(), thing, tags, evidence)
        if len(self._wkb) >= _BATCH:
            self._flush()

    def take_relation(self, thing: Any, tags: dict[str, str]) -> None:
        """Take a relation as such; all ways come before.

        Parameters
        ----------
        thing : osmium.osm.Relation
            As the library gives it.
        tags : dict of str to str
            Its tags.
        """
        self._relations.take(thing, tags, self._built, self._open)

    def edges(self) -> frozenset[int]:
        """Ids of the ways that are edges of areas which the library could not build.

        Returns
        -------
        frozenset of int
        """
        return frozenset(way for found in self._unbuilt().values() for way in found.ways)

    def take_edge(self, way: Any) -> None:
        """Take one of these edges, which has gone by before.

        Parameters
        ----------
        way : osmium.osm.Way
            With the places of its nodes.
        """
        wkb, _ = self._drawn("way", way)
        if wkb is not None:
            self._edges[way.id] = wkb

    def finish(self) -> tuple[pd.DataFrame, FloatArray, tuple[str, ...]]:
        """Return all that was taken.

        Returns
        -------
        things : DataFrame
            Columns ``THING_COLUMNS``.
        evidence : ndarray, shape (n, 2)
            Places where the map has something. [deg]
        lost : tuple
            What has no place in the extract.
        """
        self._flush()
        self._make_unbuilt()
        empty = pd.DataFrame(columns=list(THING_COLUMNS))
        things = pd.concat(self._tables, ignore_index=True) if self._tables else empty
        is_edge = (things["kind"] == "way") & things["osm_id"].isin(self._relations.open_edges)
        things.loc[is_edge & (things["flaw"] == OPEN), "flaw"] = ""
        return things, thin(np.concatenate(self._evidence)), tuple(self._lost)

    @property
    def bounds(self) -> tuple[float, float, float, float] | None:
        """West, south, east, north of all that was taken, in the corridor or not; None if that is nothing."""
        corners = np.concatenate(self._corners)
        return (*corners.min(axis=0).tolist(), *corners.max(axis=0).tolist()) if len(corners) else None

    @property
    def signs(self) -> Signs:
        """Signs of houses and of land cover, taken so far."""
        found = [Signs(), *self._signs]
        return Signs(
            np.concatenate([one.geometry for one in found]),
            np.concatenate([one.kind for one in found]),
            thin(np.concatenate([one.cover for one in found])),
        )

    @property
    def coastlines(self) -> Geometries:
        """Coastlines in the direction of their ways, in the corridor or not, cut where nodes are missing."""
        return np.asarray(shapely.from_wkb(self._coast), dtype=object)

    def _add(self, kind: str, osm_id: int, thing: Any, tags: dict[str, str], evidence: bool) -> None:
        if kind == "way" and is_coastline(tags):
            self._coast += _runs(thing)
        matches = self._rules.match(tags, is_point=kind == "node")
        if not (matches or (evidence and tags)):
            return
        wkb, flaw = self._drawn(kind, thing)
        if wkb is None:
            self._lost += [f"osm {kind} {osm_id}"] if matches and kind != "relation" else []
            return
        if kind == "relation":
            self._built.add(osm_id)
        for match in matches:
            self._add_row(kind, osm_id, match, tags, flaw, is_closed=kind == "way" and thing.is_closed())
        self._wkb.append(wkb)
        self._shows.append(evidence and bool(tags))
        self._sign.append(sign_of(tags, is_point=kind == "node") if tags else NONE)

    def _add_row(
        self, kind: str, osm_id: int, match: Match, tags: dict[str, str], flaw: str, *, is_closed: bool
    ) -> None:
        form = _form(kind, match, tags.get("area"))
        if form == _FILLED and not is_closed:
            self._open[osm_id] = (*self._open.get(osm_id, ()), match)
            form, flaw = _AS_IT_IS, OPEN  # unless it turns out to be an edge
        row = _row(kind, osm_id, match, display_name(tags), flaw)
        self._rows.append((*row, form, len(self._wkb)))

    def _drawn(self, kind: str, thing: Any) -> tuple[bytes | None, str]:
        """Return the object's geometry, None if it has none, and what is wrong with it."""
        try:
            if kind == "node":
                return bytes.fromhex(self._factory.create_point(thing)), ""
            if kind == "way":
                return bytes.fromhex(self._factory.create_linestring(thing)), ""
            return bytes.fromhex(self._factory.create_multipolygon(thing)), ""
        except (osmium.InvalidLocationError, RuntimeError):  # a node is not in the extract; an area that crosses itself
            if kind == "way" and len(self.lacking) < _FEW:
                self.lacking += [node.ref for node in thing.nodes if not node.location.valid()][:1]
            return (_patched(thing) if kind == "way" else None), INCOMPLETE

    def _flush(self) -> None:
        if not self._wkb:
            return
        geometry = np.asarray(shapely.from_wkb(self._wkb), dtype=object)
        self._corners.append(np.asarray(shapely.total_bounds(geometry)).reshape(2, 2))
        near = self._near(geometry)
        shows = near & np.array(self._shows) & is_local(geometry)
        self._evidence.append(thin(shapely.get_coordinates(geometry[shows])))
        self._signs.append(self._signs_of(geometry, near))
        if self._rows:
            table = pd.DataFrame(self._rows, columns=[*THING_COLUMNS[:-1], "form", "place"])
            table = table[near[table["place"].to_numpy()]]
            table["geometry"] = _formed(geometry[table.pop("place").to_numpy()], table.pop("form").to_numpy())
            self._tables.append(table)
        self._rows, self._wkb, self._shows, self._sign = [], [], [], []

    def _signs_of(self, geometry: Geometries, near: NDArray[np.bool_]) -> Signs:
        sign = np.array(self._sign)
        cover = geometry[sign == COVER]
        if self._corridor is not None and self._wide is not None:
            cover = cover[self._wide.meets(self._corridor.frame.geometries(cover))]
        houses = near & (sign != COVER) & (sign != NONE)
        return Signs(geometry[houses], sign[houses], cover_points(cover))

    def _near(self, geometry: Geometries) -> NDArray[np.bool_]:
        if self._corridor is None:
            return np.ones(len(geometry), dtype=bool)
        return self._corridor.meets(self._corridor.frame.geometries(geometry))

    def _unbuilt(self) -> dict[int, AreaRelation]:
        unbuilt = {osm_id: found for osm_id, found in self._relations.classed.items() if osm_id not in self._built}
        return unbuilt | inherited(self._relations.untagged, self._open)

    def _make_unbuilt(self) -> None:
        """Make the most of areas that the library could not build, so that none is taken for free ground."""
        for osm_id, found in sorted(self._unbuilt().items()):
            edges = [wkb for way in found.ways if (wkb := self._edges.get(way))]
            if not edges:
                self._lost.append(f"osm relation {osm_id}")
                continue
            box = shapely.total_bounds(shapely.from_wkb(edges))
            self._corners.append(np.asarray(box).reshape(2, 2))
            if self._corridor is not None and not self._corridor.meets_box(box.tolist()):
                continue
            parts = area_from_edges(edges, f"osm relation {osm_id}")
            parts = parts[self._near(parts)]
            flaw = UNBUILT if (shapely.get_dimensions(parts) < 2).any() else ""
            for match in found.matches if len(parts) else ():
                row = _row("relation", osm_id, match, found.name, flaw)
                table = pd.DataFrame([row] * len(parts), columns=list(THING_COLUMNS[:-1]))
                self._tables.append(table.assign(geometry=shapely.boundary(parts) if match.is_outline else parts))


def _row(kind: str, osm_id: int, match: Match, name: str, flaw: str) -> tuple[str, int, str, str, float, str, str, str]:
    return kind, osm_id, match.obstacle_class, name, match.width_m, match.road_class, match.vehicle, flaw


def _form(kind: str, match: Match, area_tag: str | None) -> int:
    if kind == "relation":
        return _OUTLINE if match.is_outline else _AS_IT_IS
    if kind == "way" and (area_tag == "yes" or (match.is_area and area_tag != "no")):
        return _FILLED
    return _AS_IT_IS


def _formed(geometry: Geometries, form: NDArray[np.int64]) -> Geometries:
    """Fill closed ways that are areas; take the edge of areas that are fences."""
    shapes = geometry.copy()
    edge = form == _OUTLINE
    shapes[edge] = shapely.boundary(geometry[edge])
    corners = shapely.get_num_coordinates(geometry)
    ring = (form == _FILLED) & shapely.is_closed(geometry) & (corners >= 4)
    if ring.any():
        owner = np.repeat(np.arange(int(ring.sum())), corners[ring])
        shapes[ring] = shapely.polygons(shapely.linearrings(shapely.get_coordinates(geometry[ring]), indices=owner))
    return shapes


def _runs(way: Any) -> list[bytes]:
    """Pieces of a way between nodes that are not in the extract, in its direction."""
    places = [(node.lon, node.lat) if node.location.valid() else None for node in way.nodes]
    runs: list[list[tuple[float, float]]] = [[]]
    for place in places:
        if place is None:
            runs.append([])
        elif runs[-1][-1:] != [place]:
            runs[-1].append(place)
    return [bytes(shapely.to_wkb(shapely.linestrings(run))) for run in runs if len(run) > 1]


def _patched(way: Any) -> bytes | None:
    """Draw a way through those of its nodes that are in the extract."""
    there = [(node.lon, node.lat) for node in way.nodes if node.location.valid()]
    if not there:
        return None
    return bytes(shapely.to_wkb(shapely.linestrings(there) if len(set(there)) > 1 else shapely.points(there[0])))
