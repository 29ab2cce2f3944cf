"""What a lead crosses, read from every file that tells it: where the map is silent no file calls it nothing."""

import dataclasses
import html
import re

import pytest

from layoutplan.layout.rules import ALL_MET, BREAKS, NOT_COVERED
from layoutplan.outputs.columns import on_the_globe
from layoutplan.outputs.gpx import write_gpx
from layoutplan.outputs.map_page.line_popups import lead_popups
from layoutplan.outputs.map_page.popups import electrode_popups
from layoutplan.outputs.review.places import stake_tables

NOT_ALL = "what else it crosses is not all mapped"


@pytest.mark.parametrize(
    ("status", "gaps", "crossings", "told", "never"),
    [
        (BREAKS, "reach:few_features", "", "what it crosses is not mapped", "crosses nothing"),
        (
            BREAKS,
            "buildings:bare_streets",
            "fence or wall at 12.0 m",
            f"fence or wall at 12.0 m; {NOT_ALL}",
            "crosses nothing",
        ),
        (NOT_COVERED, "", "", "crosses nothing on the map", "not mapped"),  # it is the heights that are not known
        (ALL_MET, "", "fence or wall at 12.0 m", "crosses fence or wall at 12.0 m", NOT_ALL),
    ],
)
def test_what_is_not_mapped_under_a_lead(make_plan, tmp_path, status, gaps, crossings, told, never):
    plan = make_plan(1, hostile=False)
    plan = dataclasses.replace(plan, leads=plan.leads.assign(status=status, map_gaps=gaps, crossings=crossings))
    shown = on_the_globe(plan)
    (gpx,) = write_gpx(plan, tmp_path)
    texts = [
        *re.findall(r"Lead of the .*?</desc>", html.unescape(gpx.read_text("utf-8"))),
        *(cell for row in lead_popups(shown).texts for cell in row[:1]),
        *(" ".join(map(str, row)) for row in electrode_popups(shown).texts),
        *stake_tables(shown),
    ]
    assert len(texts) == 7
    for text in texts:
        assert told in html.unescape(text)
        assert never not in html.unescape(text)
