"""A small map of each tower: line, leads, stakes, crossings, and what is near that keeps stakes away."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.layout.crossings import LEAD
from layoutplan.layout.model import Plan
from layoutplan.outputs.columns import records, turned, turned_lon, west_deg
from layoutplan.outputs.review.map_frame import Frame, frame_of
from layoutplan.outputs.review.pieces import inert, tower_rows
from layoutplan.outputs.review.svg_path import SIDE, path_text
from layoutplan.outputs.words import may_stake

_LARGEST = 2600  # characters of ground in one map; with leads and signs it stays below 3 kB
_TOLERANCES = (1.0, 2.0, 4.0, 8.0)  # what corners may be left out by, in units of the map
_NOT_CLEAR = f"<text class=mU x={SIDE // 2} y=14>not all mapped: white is not clear</text>"
_AT_ONCE = 64  # towers whose surroundings are held in memory together
_BARS_M = (200, 100, 50, 20, 10)
_LONGEST_BAR = 70.0


def small_maps(plan: Plan, classes: Sequence[str]) -> list[str]:
    """Return a map for each tower, north up; signs and styles stand once on the page.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    classes : sequence of str
        Obstacle classes by their number in the style.

    Returns
    -------
    list of str
        SVG.
    """
    frame = frame_of(plan)
    grounds, lines, leads = _grounds(plan, frame, classes), _spans(plan, frame), _leads(plan, frame)
    every = np.arange(len(frame.origin))
    places = frame.units_of_m(np.zeros((len(every), 2)), every).round().astype(int).tolist()
    towers = records(plan.towers, "tower_id", "line_bearing_deg", "map_covers", "map_gaps")
    rows = zip(towers, frame.per_m.tolist(), places, grounds, lines, leads, strict=True)
    return [
        f'<svg class=map viewBox="0 0 {SIDE} {SIDE}" role=img aria-label="Small map of tower {inert(tower.tower_id)}">'
        f"{ground}{line}{lead or _reach(place, plan.job.rules.reach_m * per_m)}"
        f"{'' if tower.map_covers and not tower.map_gaps else _NOT_CLEAR}"
        f"{_tower(place, tower.line_bearing_deg)}{_bar(per_m)}</svg>\n"
        for tower, per_m, place, ground, line, lead in rows
    ]


def _reach(place: Sequence[int], radius: float) -> str:
    return f"<circle class=rc cx={place[0]} cy={place[1]} r={radius:.0f} />"


def _tower(place: Sequence[int], bearing_deg: float | None) -> str:
    turn = "" if bearing_deg is None else f" rotate({bearing_deg:.0f})"
    return f'<use href=#mT transform="translate({place[0]} {place[1]}){turn}" />'


def _bar(per_m: float) -> str:
    length_m = next((length for length in _BARS_M if length * per_m <= _LONGEST_BAR), _BARS_M[-1])
    line = f'<path class=mB d="M6 {SIDE - 7}h{length_m * per_m:.0f}" />'
    return f"{line}<text class=mL x=6 y={SIDE - 11}>{length_m} m</text>"


def _spans(plan: Plan, frame: Frame) -> list[str]:
    """The planned lines on each map."""
    shapes = turned(plan.spans.geometry.array, west_deg(plan))
    texts = [""] * len(frame.origin)
    windows = frame.windows(2.0)
    found = defaultdict(list)
    for window, span in zip(*shapely.STRtree(shapes).query(windows, predicate="intersects").tolist(), strict=True):
        found[window].append(span)
    for window, spans in found.items():
        on_map = _on_map(shapes[spans], np.full(len(spans), window), frame)
        texts[window] = _path("ml", shapely.clip_by_rect(on_map, -2, -2, SIDE + 2, SIDE + 2))
    return texts


def _leads(plan: Plan, frame: Frame) -> list[str]:
    """Leads, their stakes – hollow where they must not be staked yet – and rings where they cross something."""
    west, tower = west_deg(plan), tower_rows(plan, plan.leads)
    ends = np.column_stack((turned_lon(plan.leads["lon"], west), plan.leads["lat"].to_numpy(dtype=float)))
    stakes = frame.units(ends, tower).round().astype(int).tolist()
    starts = frame.units_of_m(np.zeros((len(tower), 2)), tower).round().astype(int).tolist()
    texts: list[list[str]] = [[] for _ in frame.origin]
    table = records(plan.leads, "role", "status")
    for row, (x1, y1), (x2, y2), lead in zip(tower.tolist(), starts, stakes, table, strict=True):
        sign = lead.role if may_stake(lead.status) else f"{lead.role}n"
        texts[row].append(f'<path class=l{lead.role} d="M{x1} {y1}L{x2} {y2}" />')
        texts[row].append(f"<use href=#m{sign} x={x2} y={y2} />")
    for row, (x, y) in _crossings(plan, frame):
        texts[row].insert(2, f"<circle class=mX cx={x} cy={y} r=4 />")
    return ["".join(parts) for parts in texts]


def _crossings(plan: Plan, frame: Frame) -> Iterable[tuple[int, tuple[int, int]]]:
    """Where leads cross something, on the map; not what the tower itself stands in."""
    met = plan.crossings[(plan.crossings["met_by"] == LEAD) & (plan.crossings["at_m"] > 0)]
    keys = ["line_id", "tower_id", "role"]
    met = met[[*keys, "at_m"]].merge(plan.leads[[*keys, "bearing_true_deg"]], on=keys, how="inner")
    tower, bearing = tower_rows(plan, met), np.radians(met["bearing_true_deg"].to_numpy(dtype=float))
    along = met["at_m"].to_numpy(dtype=float)[:, None] * np.column_stack((np.sin(bearing), np.cos(bearing)))
    places = frame.units_of_m(along, tower).round().astype(int).tolist()
    return ((row, (x, y)) for row, (x, y) in zip(tower.tolist(), places, strict=True))


def _on_map(shapes: NDArray[np.object_], tower: NDArray[np.int64], frame: Frame) -> NDArray[np.object_]:
    """Shapes moved to the maps of their towers."""
    coords, row = shapely.get_coordinates(shapes, return_index=True)
    places = frame.units(coords, tower[row]).round(2)  # what tables in metres lose must not turn a corner of the map
    return np.asarray(shapely.set_coordinates(shapes.copy(), places), dtype=object)


def _path(kind: str, shapes: NDArray[np.object_]) -> str:
    text = path_text(shapes)
    return f'<path class={kind} d="{text}" />' if text else ""


def _grounds(plan: Plan, frame: Frame, classes: Sequence[str]) -> list[str]:
    """What is mapped on each map, and the ground on which no stake may stand."""
    table = plan.obstacles
    shapes = turned(table.geometry.array, west_deg(plan))
    number = {name: place for place, name in enumerate(classes)}
    kind = np.array([number[name] for name in table["obstacle_class"]], dtype=np.int64)
    no_stake = (table["stake"] == "no").to_numpy(dtype=bool)
    width, keep_out = (np.nan_to_num(table[name].to_numpy(dtype=float)) for name in ("width_m", "keep_out_m"))
    flat = shapely.get_dimensions(shapes) < 2
    reach_m = np.where(no_stake, np.where(flat, width / 2, 0.0) + keep_out, 0.0)
    tree = shapely.STRtree(shapes)
    texts: list[str] = []
    for first in range(0, len(frame.origin), _AT_ONCE):
        texts += _some(frame, range(first, min(first + _AT_ONCE, len(frame.origin))), tree, kind, no_stake, reach_m)
    return texts


def _some(
    frame: Frame,
    towers: range,
    tree: Any,
    kind: NDArray[np.int64],
    no_stake: NDArray[np.bool_],
    reach_m: FloatArray,
) -> list[str]:
    """The ground of some towers' maps: all of them moved to one square, and cut and thinned together."""
    margin = float((reach_m.max(initial=0.0) * frame.per_m[towers.start : towers.stop]).max(initial=0.0)) + 2.0
    window, row = tree.query(frame.windows(margin)[towers.start : towers.stop], predicate="intersects")
    tower = window + towers.start
    on_map = shapely.clip_by_rect(
        _on_map(tree.geometries[row], tower, frame), -margin, -margin, SIDE + margin, SIDE + margin
    )
    shut = no_stake[row]
    grown = on_map.copy()
    grown[shut] = shapely.buffer(on_map[shut], reach_m[row[shut]] * frame.per_m[tower[shut]], quad_segs=3)
    edges = np.searchsorted(window, np.arange(len(towers) + 1))
    return [
        _ground(on_map[start:end], kind[row[start:end]], grown[start:end][shut[start:end]])
        for start, end in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)
    ]


def _ground(shapes: NDArray[np.object_], kind: NDArray[np.int64], shut: NDArray[np.object_]) -> str:
    """The ground of one map, thinned until it is small enough."""
    zone = np.array([shapely.union_all(shut)], dtype=object)
    shapes = shapely.clip_by_rect(shapes, -2, -2, SIDE + 2, SIDE + 2)
    area = shapely.get_dimensions(shapes) == 2
    text = ""
    for tolerance in _TOLERANCES:
        thin = shapely.simplify(shapes, tolerance)
        big = (shapely.bounds(thin)[:, 2:] - shapely.bounds(thin)[:, :2]).max(axis=1, initial=0.0) > 2 * tolerance - 1
        parts = [
            _path(f"{'a' if of_area else 'k'}{number}", thin[(kind == number) & (area == of_area) & big])
            for of_area in (True, False)
            for number in np.unique(kind).tolist()
        ]
        held = shapely.clip_by_rect(shapely.simplify(zone, tolerance), -2, -2, SIDE + 2, SIDE + 2)
        text = "".join((*parts, _path("mK", held)))
        if len(text) <= _LARGEST:
            return text
    return text if len(text) <= 2 * _LARGEST else _path("mK", held)
