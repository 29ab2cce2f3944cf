"""What the map shows of each thing when it is clicked: fixed labels, and a text for each in every row."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any

import pandas as pd

from layoutplan.layout.model import Plan
from layoutplan.layout.reasons import WAY_OUT, ways_out, why_no_layout
from layoutplan.layout.rules import KEPT, NO_LAYOUT, class_labels, exclusion_words, rule_words
from layoutplan.layout.set_out import SET_OUT_COLUMNS, set_out, warning
from layoutplan.layout.silence import gap_text
from layoutplan.outputs.columns import records, turned_lon
from layoutplan.outputs.map_page.electrical_rows import (
    STAKE_COLUMNS,
    TOWER_COLUMNS,
    rods_text,
    tower_labels,
    tower_texts,
)
from layoutplan.outputs.words import ROLE_WORDS, bearing, crossing_words, degrees, figure

Key = tuple[str, ...]
STOP = "!"  # label of what is shown as a banner above all other rows


@dataclass(frozen=True, slots=True)
class Popups:
    """Titles and texts of a layer.

    Attributes
    ----------
    labels, texts : tuple of str, list of tuple of str
        A row of texts for each feature, with a text for each label.
    titles : list of str
        For each feature.
    shared_labels, shared_texts : tuple of str, list of tuple of str
        The same for texts that many features share; the page holds each such row once.
    kinds : list of tuple of str
        For features whose looks and titles go with the shared texts: style, and title of what has no name.
    """

    labels: tuple[str, ...]
    titles: list[str]
    texts: list[tuple[str, ...]]
    shared_labels: tuple[str, ...] = ()
    shared_texts: list[tuple[str, ...]] = field(default_factory=list)
    kinds: list[tuple[str, str]] = field(default_factory=list)


def tower_popups(plan: Plan) -> Popups:
    """Status and reasons first, then where the stakes go.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    Popups
        One for each tower.
    """
    stakes = _joined(
        ((row.line_id, row.tower_id, row.role), _stake_line(row)) for row in records(plan.electrodes, *_STAKE_LINE)
    )
    changes: dict[tuple[str, str], list[Any]] = defaultdict(list)
    for row in records(plan.relaxations, "line_id", "tower_id", "text"):
        changes[row.line_id, row.tower_id].append(row)
    counts = plan.exclusions.merge(plan.towers.loc[plan.towers["status"] == NO_LAYOUT, ["line_id", "tower_id"]])
    shut: dict[tuple[str, str], list[Any]] = defaultdict(list)
    for row in records(counts, "line_id", "tower_id", "side", "rule", "detail", "candidates", "of"):
        shut[row.line_id, row.tower_id].append(row)
    excluded = _joined(
        (key, f"{row.side} side, {exclusion_words(row.rule, row.detail)}: {row.candidates} of {row.of}")
        for key, rows in shut.items()
        for row in rows
    )
    rows = list(_rows(plan.towers, "line_id", "tower_id", "status", "reasons", "map_gaps", "leg", "chainage_m",
                      "line_bearing_deg", "deflection_deg", "lon", "lat", *TOWER_COLUMNS))  # fmt: skip
    return Popups(
        ("Status", capital(WAY_OUT), "Reasons", "H stake", "S stake", "Leads start at",
         "Positions left out", *tower_labels(plan.job.method.bias_target_pct), "Line", "Along the line",
         "Line's bearing", "Deflection", "Position"),
        [f"Tower {row.tower_id}" for row in rows],
        [
            (
                row.status,
                "; or ".join(ways_out(changes[row.line_id, row.tower_id])),
                why_no_layout(shut[row.line_id, row.tower_id], gap_text(row.map_gaps or "", plan.job))
                if row.status == NO_LAYOUT
                else row.reasons,
                stakes.get((row.line_id, row.tower_id, "H"), ""),
                stakes.get((row.line_id, row.tower_id, "S"), ""),
                f"leg {row.leg}" if row.leg else "",
                excluded.get((row.line_id, row.tower_id), ""),
                *tower_texts(row),
                row.line_id,
                figure(row.chainage_m, "m"),
                f"{bearing(row.line_bearing_deg)} true",
                degrees(row.deflection_deg),
                _position(row),
            )
            for row in rows
        ],
    )  # fmt: skip


_STAKE_LINE = ("line_id", "tower_id", "role", "octant", "side", *SET_OUT_COLUMNS)


def _stake_line(row: Any) -> str:
    first = f"{told}. " if (told := warning(row.status)) else ""
    return f"{first}{row.waypoint}, {row.side} side, to the {row.octant}: {set_out(row).line}"


def electrode_popups(plan: Plan) -> Popups:
    """All that is needed to stake, and every check that is not simply kept.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    Popups
        One for each stake.
    """
    labels = class_labels(plan.job.obstacle_classes)
    open_checks = plan.checks[plan.checks["verdict"] != KEPT]
    doubts = _joined(
        (
            (row.line_id, row.tower_id, row.role),
            f"{rule_words(row.rule, labels)}: {row.verdict}{f' ({row.detail})' if row.detail else ''}",
        )
        for row in records(open_checks, "line_id", "tower_id", "role", "rule", "verdict", "detail")
    )
    crossings = {
        (row.line_id, row.tower_id, row.role): crossing_words(row.crossings, row.map_gaps)
        for row in records(plan.leads, "line_id", "tower_id", "role", "crossings", "map_gaps")
    }
    rows = list(_rows(plan.electrodes, "line_id", "tower_id", "role", "reasons", "octant", "side",
                      "angle_to_line_deg", "distance_to_line_m", "lon", "lat", "easting", "northing",
                      "bearing_grid_deg", *SET_OUT_COLUMNS, *STAKE_COLUMNS))  # fmt: skip
    words = [set_out(row) for row in rows]
    return Popups(
        (STOP, "Set out from", "Distance", "Bearing", "Lead to pull", "For checking", "Waypoint", "Where",
         "Lead", "Bring", "Angle to the line", "From the line", "Status", "Reasons", "Checks not plainly kept",
         "Position", "Grid", "Line"),
        [f"{capital(ROLE_WORDS[row.role])}, tower {row.tower_id}" for row in rows],
        [
            (
                warning(row.status),
                wording.start,
                wording.distance,
                wording.bearing,
                wording.lead,
                wording.middle,
                row.waypoint,
                f"{row.side} side, to the {row.octant}",
                crossings.get((row.line_id, row.tower_id, row.role), ""),
                rods_text(row),
                degrees(row.angle_to_line_deg),
                figure(row.distance_to_line_m, "m"),
                row.status,
                row.reasons,
                doubts.get((row.line_id, row.tower_id, row.role), ""),
                _position(row),
                f"E {figure(row.easting, 'm')}, N {figure(row.northing, 'm')} ({plan.grid_crs}); "
                f"{bearing(row.bearing_grid_deg)} grid from the tower middle",
                row.line_id,
            )
            for row, wording in zip(rows, words, strict=True)
        ],
    )  # fmt: skip


def alternative_popups(plan: Plan) -> Popups:
    """Where else a stake could go.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    Popups
        One for each alternative.
    """
    rows = list(_rows(plan.alternatives, "line_id", "tower_id", "side", "rank", "distance_m", "bearing_true_deg",
                      "angle_to_line_deg", "distance_to_line_m", "lead_length_m", "caution_crossings", "score", "lon",
                      "lat"))  # fmt: skip
    return Popups(
        ("Distance", "Bearing", "Lead, with slack", "Angle to the line", "From the line",
         "Crossings needing agreement or care", "Score", "Position", "Line"),
        [f"Alternative {row.rank} on the {row.side}, tower {row.tower_id}" for row in rows],
        [
            (
                f"{figure(row.distance_m, 'm')} from the tower",
                f"{bearing(row.bearing_true_deg)} true",
                figure(row.lead_length_m, "m"),
                degrees(row.angle_to_line_deg),
                figure(row.distance_to_line_m, "m"),
                f"{row.caution_crossings:.0f}",
                figure(row.score, "points"),
                _position(row),
                row.line_id,
            )
            for row in rows
        ],
    )  # fmt: skip


def _rows(frame: pd.DataFrame, *columns: str) -> Iterable[Any]:
    """Rows with longitudes as people write them."""
    return records(frame.assign(lon=turned_lon(frame["lon"])), *columns)


def _position(row: Any) -> str:
    return f"{abs(row.lat):.6f}° {'S' if row.lat < 0 else 'N'}, {abs(row.lon):.6f}° {'W' if row.lon < 0 else 'E'}"


def _joined(pairs: Iterable[tuple[Key, str]], between: str = "; ") -> Mapping[Key, str]:
    """Texts of each key, in their order."""
    ordered = sorted(pairs, key=lambda pair: pair[0])
    return {key: between.join(text for _, text in group) for key, group in groupby(ordered, key=lambda pair: pair[0])}


def capital(text: str) -> str:
    """Text with a capital first letter.

    Parameters
    ----------
    text : str
        Any.

    Returns
    -------
    str

    Examples
    --------
    >>> capital("river or canal")
    'River or canal'
    """
    return text[:1].upper() + text[1:]
