"""From lines as read to the line model: order, chainage, bearings, bisectors, branches, legs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.inputs.model import LineInput
from layoutplan.job import Line
from layoutplan.line.course import OrderedLine, order_line
from layoutplan.line.geodesy import inverse, turn_deg
from layoutplan.line.legs import leg_offsets
from layoutplan.line.model import LineModel, Spans, Towers
from layoutplan.line.structures import UNKNOWN_NODE, structure_numbers

ASSUMED_ELECTRODE_M = 12.0  # largest dimension of a tower's earth electrode where nothing is known (judgement)


def build_lines(sources: Sequence[LineInput]) -> LineModel:
    """Put all lines in order and lay out their towers and spans as flat arrays.

    Parameters
    ----------
    sources : sequence of LineInput
        Lines as they were read.

    Returns
    -------
    LineModel
        Towers and spans of all lines together; a tower that several lines share is there once, with the spans of all.

    Raises
    ------
    LineError
        A line cannot be put in order; see :func:`layoutplan.line.course.order_line`.

    Examples
    --------
    >>> from layoutplan.inputs import read_inputs
    >>> from layoutplan.job import load_job
    >>> lines = build_lines(read_inputs(load_job("sample_gis/job.toml")).lines)
    >>> print(len(lines.towers.tower_id), "towers, the first three at", lines.towers.chainage_m[:3].round(), "m")
    27 towers, the first three at [  0. 365. 655.] m
    """
    courses = [order_line(source) for source in sources]
    towers = [_towers(source, course) for source, course in zip(sources, courses, strict=True)]
    together = _numbered(_concatenate(towers), sources, courses)
    spans = _spans(sources, courses, together)
    beside = {source.line.id for source in sources if not source.line.measured}
    passed = np.isin(together.line_id, sorted(beside))
    together, shared = _join_branches(together, passed)
    keep = np.setdiff1d(np.flatnonzero(~passed), [later for later, _ in shared])
    return LineModel(
        towers=together.rows(keep),
        spans=spans,
        offsets_m=np.concatenate([course.offset_m for course in courses])[keep],
        problems=(*(text for course in courses for text in course.problems), *_shared_texts(together, shared)),
        assumptions=tuple(_assumptions(together.rows(keep))),
    )


def _numbered(towers: Towers, sources: Sequence[LineInput], courses: Sequence[OrderedLine]) -> Towers:
    nodes = [
        np.array(source.osm_node_ids, dtype=np.int64)[course.rows]
        if source.osm_node_ids
        else np.full(len(course.rows), UNKNOWN_NODE)
        for source, course in zip(sources, courses, strict=True)
    ]
    numbers = structure_numbers(towers.line_id, towers.lonlat_deg, np.concatenate(nodes))
    return replace(towers, structure_no=numbers)


def _towers(source: LineInput, course: OrderedLine) -> Towers:
    table, line = source.towers.iloc[course.rows], source.line
    lonlat = np.array([axis[0] for axis in course.axes[1:]])
    back, ahead = _bearings(course.axes)
    terminal = np.isnan(back) | np.isnan(ahead)
    back_line = np.where(np.isnan(back), ahead + 180.0, back)
    ahead_line = np.where(np.isnan(ahead), back + 180.0, ahead)
    turn = np.where(terminal, 0.0, turn_deg(ahead_line - (back_line + 180.0)))
    direction = np.mod(back_line + 180.0 + turn / 2, 360.0)
    structure = np.where(table["structure"].to_numpy(dtype=str) == "", line.structure, table["structure"].to_numpy(str))
    base = _known(table["base_width_m"].to_numpy(dtype=float), line.base_width_m)
    size, assumed = _electrode_size(table["earth_electrode_size_m"].to_numpy(dtype=float), line, base)
    leg, leg_xy = leg_offsets(structure, base, direction, line.leg)
    count = len(table)
    return Towers(
        line_id=np.full(count, line.id),
        tower_id=table["tower_id"].to_numpy(dtype=str),
        structure=structure,
        leg=leg,
        order=np.arange(1, count + 1),
        lonlat_deg=lonlat,
        structure_no=np.arange(count),  # known only when all lines are together
        chainage_m=course.chainage_m,
        adjoining_deg=np.column_stack((back, ahead)),
        adjoining_name=_span_names(table["tower_id"].tolist(), back, ahead),
        line_bearing_deg=direction,
        back_deg=np.mod(back_line, 360.0),
        ahead_deg=np.mod(ahead_line, 360.0),
        deflection_deg=turn,
        half_width_m=np.full(count, line.half_width_m),
        base_width_m=base,
        electrode_size_m=size,
        size_assumed=assumed,
        footing_ohm=table["footing_resistance_ohm"].to_numpy(dtype=float),
        soil_ohm_m=table["soil_resistivity_ohm_m"].to_numpy(dtype=float),
        leg_xy_m=leg_xy,
    )


def _bearings(axes: list[FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Bearings from each tower to the next axis point behind and ahead; NaN where the line ends."""
    towers = np.array([axis[0] for axis in axes[1:]])
    before = np.array([axis[-2] if len(axis) > 1 else [np.nan, np.nan] for axis in axes[:-1]])
    after = np.array([axis[1] if len(axis) > 1 else [np.nan, np.nan] for axis in axes[1:]])
    return tuple(np.where(np.isnan(to[:, 0]), np.nan, inverse(towers, np.nan_to_num(to))[0]) for to in (before, after))  # type: ignore[return-value]


def _span_names(tower_ids: list[str], back: FloatArray, ahead: FloatArray) -> NDArray[np.str_]:
    """Name the spans behind and ahead of each tower by where they lead."""
    beyond = "the line's way beyond its towers"
    named = [f"span to {tower}" for tower in tower_ids]
    names = np.array([[beyond, *named[:-1]], [*named[1:], beyond]]).T
    return np.where(np.isnan(np.column_stack((back, ahead))), "", names)


def _known(column: FloatArray, default: float | None) -> FloatArray:
    return np.where(np.isnan(column), np.nan if default is None else default, column)


def _electrode_size(column: FloatArray, line: Line, base_m: FloatArray) -> tuple[FloatArray, np.ndarray]:
    given = _known(column, line.earth_electrode_size_m)
    guess = np.where(np.isnan(base_m), ASSUMED_ELECTRODE_M, base_m * np.sqrt(2.0))
    return np.where(np.isnan(given), guess, given), np.isnan(given)


def _spans(sources: Sequence[LineInput], courses: Sequence[OrderedLine], towers: Towers) -> Spans:
    rows: list[tuple[str, str, str, float, int, int]] = []
    pieces = []
    numbers = iter(np.split(towers.structure_no, np.cumsum([len(course.rows) for course in courses])[:-1]))
    for source, course in zip(sources, courses, strict=True):
        names = ["", *source.towers["tower_id"].to_numpy()[course.rows], ""]
        carried = [-1, *next(numbers).tolist(), -1]
        for axis, start, end, first, last in zip(
            course.axes, names[:-1], names[1:], carried[:-1], carried[1:], strict=True
        ):
            pieces.append(np.stack((axis[:-1], axis[1:]), axis=1))
            count = len(axis) - 1
            rows += [
                (
                    *(source.line.id, start, end, source.line.half_width_m),
                    *(first if piece == 0 else -1, last if piece == count - 1 else -1),
                )
                for piece in range(count)
            ]
    ends = np.concatenate(pieces)
    line_id, start, end, half, first, last = zip(*rows, strict=True)
    return Spans(
        line_id=np.array(line_id),
        from_tower=np.array(start),
        to_tower=np.array(end),
        start_deg=ends[:, 0],
        end_deg=ends[:, 1],
        half_width_m=np.array(half, dtype=float),
        from_structure=np.array(first, dtype=np.int64),
        to_structure=np.array(last, dtype=np.int64),
    )


def _concatenate(parts: Sequence[Towers]) -> Towers:
    return Towers(*(np.concatenate([getattr(part, name) for part in parts]) for name in Towers.__slots__))


def _join_branches(towers: Towers, passed: np.ndarray) -> tuple[Towers, list[tuple[int, int]]]:
    """Give towers that stand in two lines the spans of both; return (later, first) pairs of rows.

    A line that is measured comes before those that only run beside, wherever the job lists it.
    """
    order = np.lexsort((np.arange(len(towers)), passed, towers.structure_no))
    number = towers.structure_no[order]
    begins = np.append(True, number[1:] != number[:-1])
    head = order[np.maximum.accumulate(np.where(begins, np.arange(len(order)), 0))]
    shared = sorted(zip(order[~begins].tolist(), head[~begins].tolist(), strict=True))  # all under the first
    if not shared:
        return towers, []
    first = np.array([target for _, target in shared])
    extra = np.full((len(towers), 2 * int(np.bincount(first).max())), np.nan)
    names = np.full(extra.shape, "", dtype=object)
    taken = np.zeros(len(towers), dtype=int)
    for source, target in shared:
        extra[target, taken[target] : taken[target] + 2] = towers.adjoining_deg[source, :2]
        names[target, taken[target] : taken[target] + 2] = [
            f"{name} of line '{towers.line_id[source]}'" if name else "" for name in towers.adjoining_name[source, :2]
        ]
        taken[target] += 2
    fields = {name: getattr(towers, name) for name in Towers.__slots__}
    fields["adjoining_deg"] = np.hstack((towers.adjoining_deg, extra))
    fields["adjoining_name"] = np.hstack((towers.adjoining_name, names.astype(str)))
    return Towers(**fields), shared


def _shared_texts(towers: Towers, shared: list[tuple[int, int]]) -> list[str]:
    return [
        f"tower {towers.tower_id[later]} of line '{towers.line_id[later]}' is tower {towers.tower_id[first]} of line "
        f"'{towers.line_id[first]}': planned once, under '{towers.line_id[first]}', with the spans of both"
        for later, first in shared
    ]


def _assumptions(towers: Towers) -> list[str]:
    texts = []
    if towers.size_assumed.any():
        texts.append(
            f"largest dimension of the earth electrode not known for {int(towers.size_assumed.sum())} tower(s): the "
            f"diagonal of the base is taken, or {ASSUMED_ELECTRODE_M:g} m where no base width is known; a counterpoise "
            "would make it larger"
        )
    if (unknown := int((towers.leg == "").sum())) > 0:
        texts.append(f"no leg is named for {unknown} tower(s): base width not known, or a single pole")
    return texts
