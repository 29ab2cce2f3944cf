"""The tables that open when something is tapped, as inert HTML."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache

import pandas as pd

from layoutplan.layout.model import Plan
from layoutplan.outputs.columns import records
from layoutplan.outputs.geo_uri import geo_uri
from layoutplan.outputs.map_page.line_popups import lead_popups, span_popups, walk_popups
from layoutplan.outputs.map_page.popups import Popups, electrode_popups, tower_popups
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.words import credit_lines
from layoutplan.text import page_text, xml_text

Rows = Iterable[tuple[str, str]]


@lru_cache(4096)  # labels and reasons come again and again
def inert_balloon(value: str) -> str:
    """Foreign text as HTML that shows letter for letter; viewers fill in ``$[…]`` of their own, so that goes too.

    Parameters
    ----------
    value : str
        Foreign text.

    Returns
    -------
    str

    Examples
    --------
    >>> inert_balloon("<b>$[name]</b>")
    '&lt;b&gt;&#36;[name]&lt;/b&gt;'
    """
    return page_text(xml_text(value)).replace("$", "&#36;")


def tower_balloons(plan: Plan) -> list[str]:
    """Return a table for each tower.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    list of str
        HTML, one for each tower.
    """
    return _balloons(tower_popups(plan), _links(plan.towers))


def stake_balloons(plan: Plan) -> list[str]:
    """Return a table for each stake, with how to handle its lead before everything else.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    list of str
        HTML, one for each stake.
    """
    keys = ("line_id", "tower_id", "role")
    handling = {row[:3]: row[3:] for row in records(plan.leads, *keys, "handling", "handling_fault")}
    rows = [handling.get(tuple(row), ("unknown", "unknown")) for row in records(plan.electrodes, *keys)]
    first = [(("Lead in service", calm), ("Lead under a fault", fault)) for calm, fault in rows]
    return _balloons(electrode_popups(plan), _links(plan.electrodes), first)


def lead_balloons(plan: Plan) -> list[str]:
    """Return a table for each lead.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    list of str
        HTML, one for each lead.
    """
    popups = lead_popups(plan)
    first = [list(zip(popups.shared_labels, texts, strict=True)) for texts in popups.shared_texts]
    return _balloons(popups, None, first)


def walk_balloons(plan: Plan) -> list[str]:
    """Return a table for each way on foot that has a shape; those to towers link to the drop-off.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    list of str
        HTML, one for each way.
    """
    table = plan.walks
    links = [
        geo_uri(row.drop_off_lat, row.drop_off_lon) if row.to == "tower" else ""
        for row in records(table, "to", "drop_off_lat", "drop_off_lon")
    ]
    return _balloons(walk_popups(plan), links)


def span_balloons(plan: Plan) -> list[str]:
    """Return a table for each span.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    list of str
        HTML, one for each span.
    """
    return _balloons(span_popups(plan), None)


def cautions_html(plan: Plan) -> str:
    """Return what the crew is warned of, and whom the map's data is credited to.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    str
        HTML.
    """
    credit = map(xml_text, credit_lines(plan))
    items = "".join(f"<li>{inert_balloon(text)}</li>" for text in plan.cautions)
    return f"<p>Plan number {plan_number(plan)}</p><ul>{items}</ul>" + "".join(
        f"<p>{inert_balloon(text)}</p>" for text in credit
    )


def _links(table: pd.DataFrame) -> list[str]:
    return [geo_uri(row.lat, row.lon) for row in records(table, "lat", "lon")]


def _balloons(popups: Popups, links: list[str] | None, first: Sequence[Rows] | None = None) -> list[str]:
    made = []
    for number, texts in enumerate(popups.texts):
        rows = [*(first[number] if first else ()), *zip(popups.labels, texts, strict=True)]
        made.append(_table(popups.titles[number], rows, links[number] if links else ""))
    return made


def _table(title: str, rows: Rows, link: str) -> str:
    lines = "".join(_lines(rows))
    way = f'<tr><td>Find the way</td><td><a href="{link}">{link}</a></td></tr>' if link else ""
    return f'<b>{inert_balloon(title)}</b><table border="1" cellpadding="3">{lines}{way}</table>'


def _lines(rows: Rows) -> Iterator[str]:
    for label, text in rows:
        if text:
            yield f"<tr><td>{inert_balloon(label)}</td><td>{inert_balloon(text)}</td></tr>"
