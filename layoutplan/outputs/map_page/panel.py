"""What stands beside the map: the plan in figures, the legend, the cautions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from importlib.resources import files
from typing import Any

import jinja2
from markupsafe import Markup

from layoutplan.inputs.staked_states import LONGEST_NOTE, STATE_MEANING
from layoutplan.job import ObstacleClass
from layoutplan.layout.levels import LEAD_LEVELS, known_level
from layoutplan.layout.model import Plan
from layoutplan.outputs.map_page.styles import base_styles
from layoutplan.outputs.map_page.surroundings import BaseMap
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.words import STATUS_MEANING
from layoutplan.text import clean, page_text


def panel_html(plan: Plan, base: BaseMap) -> str:
    """Return the panel and the bar; every text from data is inert.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    base : BaseMap
        What is drawn below the plan, for the legend and the note.

    Returns
    -------
    str
        HTML.
    """
    template = (files("layoutplan.outputs.map_page") / "panel.html").read_text("utf-8")
    environment = jinja2.Environment(
        autoescape=True, trim_blocks=True, lstrip_blocks=True, undefined=jinja2.StrictUndefined
    )
    environment.filters["inert"] = lambda text: Markup(page_text(clean(text)))
    counts = plan.summary["by_status"]
    service, fault = (Counter(map(known_level, plan.leads[f"lead_level{end}"])) for end in ("", "_fault"))
    return environment.from_string(template).render(
        title=plan.job.title,
        number=plan_number(plan),
        towers=len(plan.towers),
        lines=list(dict.fromkeys(plan.towers["line_id"])),
        statuses=[(name, counts[name], meaning) for name, meaning in STATUS_MEANING.items()],
        levels=[(name, service[name], fault[name], meaning) for name, meaning in LEAD_LEVELS.items()],
        limits=_limits(plan),
        cautions=plan.cautions,
        base_map=_legend(plan.job.obstacle_classes, set(base.features["obstacle_class"])),
        note=base.note,
        data_dates=data_dates(plan),
        states=STATE_MEANING.items(),
        longest_note=LONGEST_NOTE,
    )


def data_dates(plan: Plan) -> str:
    """How old the data are that the plan was made from, as far as their files say."""
    dates = sorted({clean(file.data_date).partition("T")[0] for file in plan.files if file.data_date})
    if not dates:
        return "date of the map data unknown"
    return "map data of " + " to ".join(dict.fromkeys((dates[0], dates[-1])))


def _limits(plan: Plan) -> list[str]:
    """Limits that the exposures are held against, with their editions."""
    used = plan.exposures[["basis", "edition"]].drop_duplicates()
    return [f"{basis}: {edition}" for basis, edition in zip(used["basis"], used["edition"], strict=True)]


def _legend(classes: Mapping[str, ObstacleClass], drawn: set[str]) -> list[dict[str, Any]]:
    shown = ((name, classes[name]) for name in base_styles(classes) if name in drawn)
    return [{"style": name, "label": row.label, "area": row.look.area} for name, row in shown]
