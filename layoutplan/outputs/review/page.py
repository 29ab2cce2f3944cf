"""``review.html``: one file, no network, made to be read on a screen and on paper."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup

from layoutplan.layout.model import Plan
from layoutplan.layout.rules import STATUSES, class_labels, rule_words
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.record import paths_in, short_names, software_versions, without_folders
from layoutplan.outputs.review.bases import Bases
from layoutplan.outputs.review.checks import rules_of
from layoutplan.outputs.review.exposures import exposures_of, states_of
from layoutplan.outputs.review.map_signs import classes_of, map_legend, map_signs, map_style
from layoutplan.outputs.review.overview import overview_table
from layoutplan.outputs.review.pieces import inert
from layoutplan.outputs.review.register import agreement_texts, open_numbers, register_of, register_table
from layoutplan.outputs.review.small_maps import small_maps
from layoutplan.outputs.review.towers import tower_parts
from layoutplan.outputs.review.verdicts import CHECKS, exposed
from layoutplan.outputs.words import STATUS_MEANING, STATUS_SIGNS

PRECEDENCE = (
    "Local codes, the asset owner's rules and licensed practice take precedence over everything on this page. It was "
    "made from maps and figures given; what is unknown has to be established on site."
)


def write_review(plan: Plan, folder: Path) -> Path:
    """Write the reviewer's page; the same plan gives the same bytes.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    folder : Path
        Where the file is made.

    Returns
    -------
    Path
        ``review.html``.
    """
    number, bases, classes = plan_number(plan), Bases(), classes_of(plan)
    css = _own("page.css").replace("PLAN-NUMBER", number) + map_style(plan, classes)
    js = _own("page.js")
    lines = list(dict.fromkeys(plan.towers["line_id"]))
    register = register_of(plan)
    waiting = open_numbers(register, len(plan.towers))
    towers = tower_parts(plan, lines, bases, small_maps(plan, classes), agreement_texts(register, waiting))
    text = _template().render(
        title=plan.job.title,
        number=number,
        precedence=PRECEDENCE,
        policy=_policy(css, js),
        css=Markup(css),
        js=Markup(js),
        count=len(plan.towers),
        lines=lines,
        overview=Markup(overview_table(plan, lines, waiting)),
        register=Markup(register_table(plan, register)),
        signs=Markup(map_signs(plan, classes)),
        legend=Markup(map_legend(plan, classes)),
        towers=Markup("".join(towers)),
        bases=[Markup(basis) for basis in bases.texts],
        software=software_versions(),
        **_statuses(plan),
        **_topics(plan),
        **_notes(plan),
    )
    path = folder / "review.html"
    path.write_text(text, encoding="utf-8", newline="\n")
    return path


def _template() -> jinja2.Template:
    environment = jinja2.Environment(
        autoescape=True, trim_blocks=True, lstrip_blocks=True, undefined=jinja2.StrictUndefined
    )
    environment.filters["inert"] = lambda text: Markup(inert(text))
    return environment.from_string(_own("page.html"))


def _own(name: str) -> str:
    return (files("layoutplan.outputs.review") / name).read_text("utf-8")


def _policy(css: str, js: str) -> str:
    """Nothing may be fetched or sent; only this style and this script may run."""
    style, script = (
        f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'" for text in (css, js)
    )
    return f"default-src 'none'; style-src {style}; script-src {script}; base-uri 'none'; form-action 'none'"


def _statuses(plan: Plan) -> dict[str, Any]:
    counts = plan.summary["by_status"]
    return {"statuses": [(STATUS_SIGNS[name], name, counts[name], STATUS_MEANING[name]) for name in STATUSES]}


def _topics(plan: Plan) -> dict[str, Any]:
    """Return what the filters offer: rules and exposures by number, verdicts by letter."""
    rules, exposures = rules_of(plan), exposures_of(plan)
    labels = class_labels(plan.job.obstacle_classes)
    return {
        "rules": [(number, Markup(inert(rule_words(rule, labels)))) for number, rule in enumerate(rules)],
        "exposures": [(number, Markup(f"{inert(name)}, {inert(state)}"))
                      for number, (name, state) in enumerate(exposures, len(rules))],
        "check_verdicts": list(CHECKS.values()),
        "exposure_verdicts": [(state, exposed(number)) for number, state in enumerate(states_of(plan))],
    }  # fmt: skip


def _notes(plan: Plan) -> Mapping[str, Any]:
    """Cautions, assumptions, problems and inputs, with files by their names and not by their places."""
    names = short_names({*(file.path for file in plan.files), *paths_in(plan.job.model_dump())})
    texts = {kind: without_folders(getattr(plan, kind), names) for kind in ("cautions", "assumptions", "problems")}
    return texts | {"inputs": [(names[file.path], file) for file in plan.files]}
