"""What the map shows of leads and spans."""

from __future__ import annotations

from layoutplan.layout.model import Plan
from layoutplan.layout.rules import class_labels
from layoutplan.outputs.columns import records
from layoutplan.outputs.map_page.electrical_rows import LEAD_COLUMNS, LEAD_LABELS, lead_texts
from layoutplan.outputs.map_page.popups import Popups
from layoutplan.outputs.words import bearing, crossing_words, figure


def lead_popups(plan: Plan) -> Popups:
    """How to handle the lead, what it crosses, what it carries.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    Popups
        One for each lead.
    """
    rows = list(records(plan.leads, "line_id", "tower_id", "role", "waypoint", "lead_length_m", "bearing_true_deg",
                        "crossings", "map_gaps", "handling", "handling_fault", *LEAD_COLUMNS))  # fmt: skip
    return Popups(
        ("Lead", *LEAD_LABELS, "Length, with slack", "Bearing", "Waypoint", "Line"),
        [f"Lead to {row.role}, tower {row.tower_id}" for row in rows],
        [
            (
                crossing_words(row.crossings, row.map_gaps),
                *lead_texts(row),
                figure(row.lead_length_m, "m"),
                f"{bearing(row.bearing_true_deg)} true",
                row.waypoint,
                row.line_id,
            )
            for row in rows
        ],
        ("In service", "Under a fault"),
        [(row.handling, row.handling_fault) for row in rows],
    )


def walk_popups(plan: Plan) -> Popups:
    """How far it is to walk, across what, and whom to ask; of ways that have a shape.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    Popups
        One for each way.
    """
    table, labels = plan.walks, class_labels(plan.job.obstacle_classes)
    rows = list(records(table, "line_id", "tower_id", "to", "verdict", "note", "walk_m", "climb_m", "walk_min",
                        "crossings", "road_name", "road_class"))  # fmt: skip
    return Popups(
        ("Way", "Note", "Walk", "Time, mean of there and back", "Climb", "Across", "Begins", "Line"),
        [f"On foot to {'the tower' if row.to == 'tower' else row.to}, tower {row.tower_id}" for row in rows],
        [
            (
                row.verdict,
                row.note or "",
                figure(row.walk_m, "m"),
                f"{row.walk_min:.0f} min",
                figure(row.climb_m, "m"),
                row.crossings or "nothing on the map",
                (row.road_name or labels.get(row.road_class, "road")) if row.to == "tower" else "at the tower",
                row.line_id,
            )
            for row in rows
        ],
    )


def span_popups(plan: Plan) -> Popups:
    """Length and bearing of each span.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    Popups
        One for each span.
    """
    rows = list(records(plan.spans, "line_id", "from_tower", "to_tower", "length_m", "bearing_deg", "half_width_m"))
    return Popups(
        ("Length", "Bearing", "Centre to outermost conductor", "Line"),
        [f"Span {row.from_tower} to {row.to_tower}" for row in rows],
        [
            (figure(row.length_m, "m"), f"{bearing(row.bearing_deg)} true", figure(row.half_width_m, "m"), row.line_id)
            for row in rows
        ],
    )
