"""A power line straight out of an OpenStreetMap extract: its ways joined, its tower nodes numbered."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.errors import InputError
from layoutplan.inputs.chains import Chain, join_pieces
from layoutplan.inputs.geodetic import to_lonlat
from layoutplan.inputs.model import TOWER_COLUMNS, TOWER_FIGURES, LineInput
from layoutplan.inputs.osm_file import OsmExtract, PowerWay
from layoutplan.inputs.osm_power_tags import tags_over_job
from layoutplan.inputs.osm_select import select_ways
from layoutplan.inputs.systems import WGS84
from layoutplan.inputs.tower_columns import UNKNOWN, no_structure, structures_of
from layoutplan.inputs.towers import check_line
from layoutplan.inputs.words import counted, listed
from layoutplan.job import Line, OsmLine
from layoutplan.text import clean

_BY_POWER = {"pole": "pole", "portal": "frame_2"}
_BY_STRUCTURE = {"tubular": "pole", "solid": "pole"}
_FRAMES = frozenset({"h-frame", "portal", "guyed_h-frame", "guyed_portal", "portal_two-level", "portal_three-level"})


def read_osm_line(
    line: Line, extract: OsmExtract, key: str, taken_ids: Sequence[str]
) -> tuple[list[LineInput], tuple[str, ...]]:
    """Pick a line out of an extract.

    Parameters
    ----------
    line : Line
        With ``osm`` set.
    extract : OsmExtract
        Read with its power lines.
    key : str
        The job's key of the line, for messages: ``lines[0]``.
    taken_ids : sequence of str
        Ids of the job's lines; branches get others.

    Returns
    -------
    lines : list of LineInput
        The longest run under the line's own id; branches and separate runs as ``<id>-2``, ``<id>-3``, …
    problems : tuple of str
        Warnings.

    Raises
    ------
    LineError
        If there is no such way, or no line can be made of the towers on it.
    """
    choice = line.osm
    assert choice is not None, "the caller picks lines that come from an extract"
    where = extract.path.name
    ways = select_ways(extract.power_ways, choice, where, f"{key}.osm")
    places = {
        node: tuple(place) for way in ways for node, place in zip(way.nodes, way.lonlat_deg.tolist(), strict=True)
    }
    chains = join_pieces([way.nodes for way in ways], places)
    problems = _missing_nodes(ways, where)
    lines: list[LineInput] = []
    partly: set[int] = set()  # ways of which a piece is left out stay on the map
    names = _branch_names(line.id, set(taken_ids))
    for number, chain in enumerate(chains):
        at = np.array([places[node] for node in chain.nodes])
        source = f"{where}, osm way {listed((ways[piece].way_id for piece in chain.pieces), 8)}"
        towers, remarks = _towers(chain, at, extract.supports, source, choice)
        if number and len(towers) < 2:
            problems.append(f"{source}: {counted(len(towers), 'tower')}, {chain.length_m:.0f} m of line; left out")
            partly.update(chain.pieces)
            continue
        check_line(towers, source)
        named, taken, notes = tags_over_job(
            line if number == 0 else branch_of(line, next(names)),
            {ways[piece].way_id: ways[piece].tags for piece in chain.pieces},
        )
        lines.append(
            LineInput(
                line=named,
                towers=towers,
                course=_course(at),
                in_order=True,
                source=source,
                osm_way_ids=tuple(ways[piece].way_id for piece in chain.pieces),
                osm_node_ids=tuple(node for node in chain.nodes if node in extract.supports),
                assumptions=tuple(taken),
            )
        )
        apart = [f"{source}: planned as line '{named.id}', apart from '{line.id}'"] if number else []
        problems += [*remarks, *notes, *apart]
    left = {ways[piece].way_id for piece in partly}
    whole = [replace(found, osm_way_ids=tuple(way for way in found.osm_way_ids if way not in left)) for found in lines]
    return whole, tuple(problems)


def branch_of(line: Line, name: str) -> Line:
    """Branch under its own name, with neither the stations nor the towers of its line, nor sides that feed a fault.

    Parameters
    ----------
    line : Line
        That it leaves.
    name : str
        Its id.

    Returns
    -------
    Line
    """
    fault = line.fault if line.fault is not None and line.fault.current_ka is not None else None
    ends = ("start_grid_ohm", "end_grid_ohm", "start_station", "end_station")
    alone = dict.fromkeys(ends) | {"id": name, "sections": (), "fault": fault}
    return line.model_copy(update=alone)


def structure_of(tags: Mapping[str, str]) -> str:
    """Return the structure that a tower's tags name; empty if they name none of those the planner knows.

    Parameters
    ----------
    tags : mapping of str to str
        Of a tower.

    Returns
    -------
    str
        ``"pole"``, ``"frame_2"`` or empty.

    Examples
    --------
    >>> [structure_of({"power": "tower", "design": design}) for design in ("h-frame", "barrel")]
    ['frame_2', '']
    """
    if tags.get("design") in _FRAMES:
        return "frame_2"
    return _BY_POWER.get(tags.get("power", ""), "") or _BY_STRUCTURE.get(tags.get("structure", ""), "")


def _branch_names(line_id: str, taken: set[str]) -> Iterator[str]:
    number = 2
    while True:
        if (name := f"{line_id}-{number}") not in taken:
            yield name
        number += 1


def _missing_nodes(ways: Sequence[PowerWay], where: str) -> list[str]:
    broken = [way for way in ways if way.missing]
    missing = sum(way.missing for way in broken)
    if not broken:
        return []
    return [
        f"{where}, osm way {listed(way.way_id for way in broken)}: {counted(missing, 'node')} not in the extract; "
        "towers there are not known"
    ]


def _course(lonlat_deg: FloatArray) -> tuple[shapely.LineString, ...]:
    line = np.array([shapely.LineString(lonlat_deg)], dtype=object)
    return tuple(to_lonlat(line, WGS84, ""))


def _towers(
    chain: Chain, lonlat_deg: FloatArray, supports: Mapping[int, Mapping[str, str]], source: str, choice: OsmLine
) -> tuple[gpd.GeoDataFrame, list[str]]:
    rows = [i for i, node in enumerate(chain.nodes) if node in supports]
    tags = [supports[chain.nodes[i]] for i in rows]
    ids, numbered = tower_ids([clean(tag.get("ref")) for tag in tags])
    towers = gpd.GeoDataFrame(
        {
            "tower_id": ids,
            "structure": _structures([chain.nodes[i] for i in rows], tags, source, choice),
            **dict.fromkeys(TOWER_FIGURES, np.nan),
            "order": np.arange(1.0, len(rows) + 1.0),
        },
        geometry=shapely.points(lonlat_deg[rows]),
        crs="EPSG:4326",
    )[list(TOWER_COLUMNS)]
    if not numbered:
        return towers, []
    return towers, [
        f"{source}: {numbered} of {counted(len(rows), 'tower')} without a number (ref) of their own: called seq-… "
        "by their place along the line"
    ]


def _structures(
    nodes: Sequence[int], tags: Sequence[Mapping[str, str]], source: str, choice: OsmLine
) -> NDArray[np.object_]:
    """Structures by the job's own map of a tag, else by what the tags tell of themselves."""
    told = np.array([structure_of(tag) for tag in tags], dtype=object)
    if choice.structure_tag is None:
        return told
    values = [tag.get(choice.structure_tag, "") for tag in tags]
    kinds = structures_of(values, choice.structure_map)
    unknown = np.flatnonzero(kinds == UNKNOWN).tolist()
    if unknown:
        raise InputError(
            f"{source}: osm node {listed(nodes[i] for i in unknown)}, tag '{choice.structure_tag}': "
            f"{no_structure([clean(values[i]) for i in unknown], choice.structure_map)}"
        )
    return np.where(kinds == "", told, kinds)


def tower_ids(refs: Sequence[str]) -> tuple[list[str], int]:
    """Return ids along a line: the ref where there is one and it is the only such, else ``seq-`` and the place.

    Parameters
    ----------
    refs : sequence of str
        In line order; empty where there is none.

    Returns
    -------
    ids : list of str
        All different.
    numbered : int
        How many were called by their place.

    Examples
    --------
    >>> tower_ids(["12", "", "14", "14"])
    (['12', 'seq-002', 'seq-003', 'seq-004'], 3)
    """
    count = Counter(refs)
    digits = max(3, len(str(len(refs))))
    own = [bool(ref) and count[ref] == 1 and not ref.startswith("seq-") for ref in refs]
    ids = [
        ref if keeps else f"seq-{place:0{digits}d}" for place, (ref, keeps) in enumerate(zip(refs, own, strict=True), 1)
    ]
    return ids, own.count(False)
