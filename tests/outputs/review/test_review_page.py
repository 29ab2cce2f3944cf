"""review.html against the tables of the plan, read by lxml."""

from __future__ import annotations

import base64
import copy
import dataclasses
import hashlib
import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from layoutplan.layout.model import Plan
from layoutplan.layout.rules import NO_LAYOUT
from layoutplan.layout.set_out import set_out
from layoutplan.outputs.review import write_review
from layoutplan.outputs.review.pieces import number, number_beside, with_unit
from layoutplan.outputs.words import STATUS_MEANING
from layoutplan.text import clean, page_text

ROLES = {"H": 1, "S": 2}
EXPOSURE_WORDS = ("? unknown", "✓ within", "✗ beyond limit")
SIGNS = {
    "kept": "✓ kept",
    "take care": "! take care",
    "compromise": "◆ compromise",
    "to be agreed": "▲ to be agreed",
    "unknown": "? unknown",
    "broken": "✗ broken",
}


@pytest.fixture
def all_verdicts(plan: Plan) -> Plan:
    """The invented plan with checks of every verdict, keep-outs near one stake only, limits that differ."""
    base = plan.checks
    reel = base[base["rule"] == "line clearance"].assign(
        rule="reel",
        measured=lambda t: 149.0 + np.arange(len(t)) % 3,
        limit=150.0,
        verdict=lambda t: np.where(np.arange(len(t)) % 3 == 2, "broken", "kept"),
        basis="project setting (default 120: common practice, no published source)",
    )
    judged = {"basis": "engineering judgement", "detail": "minor road 'Mill <b>Lane' {{7*7}} at 43.2 m"}
    crossing = reel.assign(
        rule="crossing_agreement", unit="crossings", measured=1.0, limit=0.0, verdict="to be agreed", **judged
    )
    apart = reel[reel["role"] == "H"].assign(rule="keep_out:main_road", measured=7.25, limit=5.0, verdict="kept")
    differs = reel.assign(rule="electrode_distance", limit=lambda t: np.where(t["role"] == "H", 52.3, 47.1))
    return dataclasses.replace(plan, checks=pd.concat((base, reel, crossing, apart, differs), ignore_index=True))


def text(cell: Any) -> str:
    return " ".join(cell.text_content().split())


def shown(words: str) -> float:
    """The number that a cell begins with."""
    found = re.match(r"-?\d+(\.\d+)?", words)
    return float(found[0]) if found else math.nan


def words_of(rule: str) -> str:
    return rule.replace("keep_out:", "keep-out: ").replace("_", " ")


def as_shown(found: float, value: float) -> bool:
    if value != value:
        return found != found
    return abs(found - value) <= (0.5 if abs(value) >= 1000 else 0.00501) and (value == 0) == (found == 0)


def test_every_check_with_value_limit_verdict_and_basis(all_verdicts, tmp_path, read_page) -> None:
    page = read_page(write_review(all_verdicts, tmp_path))
    keys = list(zip(all_verdicts.towers["line_id"], all_verdicts.towers["tower_id"], strict=True))
    seen = 0
    for check in all_verdicts.checks.itertuples():
        rows = page.rows(keys.index((check.line_id, check.tower_id)), "Rules")
        (row,) = [row for row in rows if row[0].text == words_of(check.rule)]
        cell = text(row[ROLES[check.role]])
        assert SIGNS[check.verdict] in cell
        assert sum(sign in cell for sign in SIGNS.values()) == 1
        assert as_shown(shown(cell), check.measured)
        limit = text(row[3])
        own = re.search(rf"{check.role}: (\S+)", limit)
        assert as_shown(shown(own[1] if own else limit), check.limit)
        assert clean(check.detail) in text(row[0]) + cell
        (link,) = row[4].xpath("a")
        assert page.bases[link.get("href").removeprefix("#")] == check.basis
        seen += 1
    assert seen == len(all_verdicts.checks)
    tokens = {token for row in page.root.xpath("//tr/@data-t") for token in row.split(",")}
    assert {token[-1] for token in tokens} == set("kabuxw")


def test_a_keep_out_without_a_row_is_neither_kept_nor_broken(all_verdicts, tmp_path, read_page) -> None:
    page = read_page(write_review(all_verdicts, tmp_path))
    (row,) = [row for row in page.rows(0, "Rules") if row[0].text == "keep-out: main road"]
    assert [text(cell) for cell in row[1:3]] == ["7.25 m ✓ kept", "none mapped within reach"]


def test_a_rule_checked_at_one_stake_only_is_unknown_at_the_other(all_verdicts, tmp_path, read_page) -> None:
    checks = all_verdicts.checks
    fewer = checks[(checks["rule"] != "reel") | (checks["role"] == "S")]
    page = read_page(write_review(dataclasses.replace(all_verdicts, checks=fewer), tmp_path))
    (row,) = [row for row in page.rows(0, "Rules") if row[0].text == "reel"]
    assert text(row[1]) == "? unknown"
    assert "kept" in text(row[2])


@pytest.mark.parametrize("verdict", ["Kept", "kept ", "", "fine", None, np.nan])
def test_a_verdict_that_nobody_knows_is_unknown(plan, tmp_path, read_page, verdict) -> None:
    page = read_page(write_review(dataclasses.replace(plan, checks=plan.checks.assign(verdict=verdict)), tmp_path))
    cells = [text(cell) for tower in range(len(page.towers)) for row in page.rows(tower, "Rules") for cell in row[1:3]]
    assert cells
    assert all("? unknown" in cell and "✓" not in cell for cell in cells)


def test_two_rows_of_one_rule_stay_two(plan, tmp_path, read_page) -> None:
    twice = pd.concat((plan.checks, plan.checks.assign(measured=77.0)), ignore_index=True)
    page = read_page(write_review(dataclasses.replace(plan, checks=twice), tmp_path))
    rows = [row for row in page.rows(0, "Rules") if row[0].text == "line clearance"]
    assert len(rows) == 2
    assert text(rows[1][1]).startswith("77 m")


def test_every_exposure(plan, tmp_path, read_page) -> None:
    page = read_page(write_review(plan, tmp_path))
    keys = list(zip(plan.towers["line_id"], plan.towers["tower_id"], strict=True))
    assert plan.exposures["ratio"].isna().any()
    for found in plan.exposures.itertuples():
        rows = page.rows(keys.index((found.line_id, found.tower_id)), "Exposures")
        name = f"{found.exposure} {found.state}"
        (row,) = [row for row in rows if text(row[0]).startswith(name)]
        cell = text(row[ROLES[found.role]])
        word = EXPOSURE_WORDS[0 if found.ratio != found.ratio else 1 + int(found.ratio > 1)]
        assert [sign for sign in EXPOSURE_WORDS if sign in cell] == [word]
        assert cell.startswith("? unknown") if found.value != found.value else as_shown(shown(cell), found.value)
        assert as_shown(shown(text(row[3])), found.limit)
        assert clean(found.assumptions) in text(row[0]) + cell
        (link,) = row[4].xpath("a")
        full = page.bases[link.get("href").removeprefix("#")]
        assert full == f"{found.basis}; edition: {found.edition}"


def test_an_unknown_limit_is_unknown(plan, tmp_path, read_page) -> None:
    blank = plan.exposures.assign(limit=np.nan, ratio=np.nan)
    page = read_page(write_review(dataclasses.replace(plan, exposures=blank), tmp_path))
    for row in page.rows(0, "Exposures"):
        assert text(row[3]) == "unknown"
        assert "? unknown" in text(row[1])
        assert "✓" not in text(row[1])


def test_stakes_crossings_and_alternatives(plan, tmp_path, read_page) -> None:
    page = read_page(write_review(plan, tmp_path))
    title = "Stakes, crossings and what has to be agreed"
    for number_, tower in enumerate(plan.towers.itertuples()):
        leads = plan.leads[plan.leads["tower_id"] == tower.tower_id]
        rows = page.rows(number_, title)
        assert [text(row[0]) for row in rows] == leads["role"].tolist()
        for row, lead in zip(rows, leads.itertuples(), strict=True):
            assert set_out(lead).line in text(row[1])
            assert set_out(lead).middle in text(row[1])
            assert lead.crossings in text(row[2])
            assert text(row[3]) == lead.reasons
        others = plan.alternatives[plan.alternatives["tower_id"] == tower.tower_id]
        found = page.rows(number_, "Alternatives")
        assert [text(row[-1]) for row in found] == [f"{row.lat:.6f}, {row.lon:.6f}" for row in others.itertuples()]


def test_towers_without_layout_say_what_shuts_them(plan, tmp_path, read_page) -> None:
    page = read_page(write_review(plan, tmp_path))
    rows = np.flatnonzero(plan.towers["status"] == NO_LAYOUT)
    assert len(rows)
    for row in rows:
        assert plan.towers["reasons"].iloc[row] in text(page.towers[row])
        assert [text(cell) for cell in page.rows(row, "What shuts each side")[0]] == [
            "right",
            "stake on or near river or canal",
            "882 of 882",
        ]
        assert "a 171 m reel instead of 150 m" in text(page.towers[row])
        assert page.rows(row, "Rules") == []
    none = dataclasses.replace(plan, relaxations=plan.relaxations.iloc[:0])
    page = read_page(write_review(none, tmp_path))
    assert "None was found." in text(page.towers[rows[0]])


def test_exclusions_of_towers_with_layout_stay_out(plan, tmp_path, read_page) -> None:
    every = plan.towers[["line_id", "tower_id"]].assign(side="left", rule="reel", detail="", candidates=5, of=9)
    page = read_page(write_review(dataclasses.replace(plan, exclusions=pd.DataFrame(every)), tmp_path))
    told = [bool(page.rows(row, "What shuts each side")) for row in range(len(plan.towers))]
    assert told == (plan.towers["status"] == NO_LAYOUT).tolist()


def test_the_rest_of_the_page(plan, tmp_path, read_page) -> None:
    path = write_review(plan, tmp_path)
    page = read_page(path)
    statuses = [[text(cell) for cell in row] for row in page.root.xpath("//table[@class='statuses']/tbody/tr")]
    assert [(row[0][2:], int(row[1])) for row in statuses] == list(plan.summary["by_status"].items())
    assert [row[2] for row in statuses] == list(STATUS_MEANING.values())
    assert all(caution in page.section("Cautions") for caution in plan.cautions)
    assert all(assumption in page.section("Assumptions made") for assumption in plan.assumptions)
    assert "valley.osm.pbf: 2 areas could not be built {{7*7}}." in page.section("Problems found in the inputs")
    inputs = page.section("Inputs")
    for words in ("towers.gpkg", "ab" * 32, "cd" * 32, "2026-03-01", "© OpenStreetMap contributors, ODbL", "unknown"):
        assert words in inputs
    assert "shapely" in page.section("Software")
    reviewer = page.section("Reviewer")
    assert all(
        words in reviewer for words in ("Name", "Date", "Remarks", "Signature", "licensed practice take precedence")
    )
    assert [text(tower.xpath("p[@class='lines']")[0]) for tower in page.towers] == [
        f"Reviewer's remarks on tower {clean(name)}:" for name in plan.towers["tower_id"]
    ]
    assert "/home/somebody" not in path.read_text("utf-8")
    assert not re.search(r"\bsafe", text(page.root), re.IGNORECASE)


def test_the_order_of_the_page(plan, tmp_path, read_page) -> None:
    page = read_page(write_review(plan, tmp_path))
    assert [text(heading) for heading in page.root.xpath("//h2")] == [
        "Towers by status", "Cautions", "Assumptions made", "Problems found in the inputs", "Towers",
        "Whom to ask for permission", "Where limits come from", "Inputs", "Software", "Reviewer",
    ]  # fmt: skip


def test_counts_in_the_summary_of_a_tower(all_verdicts, tmp_path, read_page) -> None:
    page = read_page(write_review(all_verdicts, tmp_path))
    for tower, part in zip(all_verdicts.towers.itertuples(), page.towers, strict=True):
        checks = all_verdicts.checks[all_verdicts.checks["tower_id"] == tower.tower_id]["verdict"].value_counts()
        ratio = all_verdicts.exposures[all_verdicts.exposures["tower_id"] == tower.tower_id]["ratio"]
        wanted = {
            "✗ {} broken": checks.get("broken", 0),
            "? {} unknown": checks.get("unknown", 0) + int(ratio.isna().sum()),
            "▲ {} to be agreed": checks.get("to be agreed", 0),
            "✗ {} beyond limit": int((ratio > 1).sum()),
        }
        told = text(part.xpath("summary/span")[1])
        assert told == ", ".join(words.format(count) for words, count in wanted.items() if count)


def test_hostile_text_is_inert(make_plan, tmp_path, hostile_texts, read_page) -> None:
    path = write_review(make_plan(14), tmp_path)
    raw, page = path.read_text("utf-8"), read_page(path)
    for hostile in hostile_texts:
        assert page_text(clean(hostile)) in raw
        if page_text(clean(hostile)) != clean(hostile):
            assert clean(hostile) not in raw
    names = [text(tower.xpath("summary/h3")[0]) for tower in page.towers]
    assert names[1 : 1 + len(hostile_texts)] == [f"Tower {clean(hostile)}" for hostile in hostile_texts]
    assert len(page.root.xpath("//script")) == len(page.root.xpath("//style")) == 1
    assert not page.root.xpath("//img|//iframe|//*[@onerror]|//*[@onmouseover]|//link|//*[@src]")
    assert all(href.startswith("#") for href in page.root.xpath("//@href"))


def test_the_policy_names_the_only_style_and_script(plan, tmp_path, read_page) -> None:
    path = write_review(plan, tmp_path)
    raw = path.read_bytes()
    (policy,) = read_page(path).root.xpath("//meta[@http-equiv='Content-Security-Policy']/@content")
    for tag in (b"style", b"script"):
        (body,) = re.findall(rb"<%b>(.*?)</%b>" % (tag, tag), raw, re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(body).digest()).decode()
        assert f"{tag.decode()}-src 'sha256-{digest}'" in policy
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy


def test_same_plan_same_bytes(make_plan, tmp_path) -> None:
    first = write_review(make_plan(14), tmp_path).read_bytes()
    assert write_review(make_plan(14), tmp_path).read_bytes() == first


def test_tables_without_rows(empty_plan, tmp_path, read_page) -> None:
    page = read_page(write_review(empty_plan, tmp_path))
    assert len(page.towers) == len(empty_plan.towers)
    assert page.root.xpath("//tr[@data-t]") == []


def with_tables(plan: Plan, **tables: Any) -> Plan:
    """The plan with tables that not every plan has."""
    changed = copy.copy(plan)
    for name, table in tables.items():
        object.__setattr__(changed, name, table)
    return changed


def test_approaches_and_permissions_where_there_are_any(plan, tmp_path, read_page) -> None:
    approaches = plan.approaches
    page = read_page(write_review(plan, tmp_path))
    row = page.rows(0, "Approach on foot")[-1]
    assert [text(cell) for cell in row] == [
        "tower", "Mill {{7*7}}", "minor road", "212.4", "12.5", "4.25", "stream or ditch", "reachable", "",
    ]  # fmt: skip
    assert [text(cell) for cell in page.rows(0, "Approach on foot")[0]][:4] == ["H", "the tower", "", "212.4"]
    assert text(page.rows(3, "Approach on foot")[-1][-2]) == "map does not cover"
    parcels = [row.xpath("td") for row in page.root.xpath("//table[@class='permissions']/tbody/tr")]
    assert len(parcels) == len(plan.permissions) > 3
    for cells, parcel in zip(parcels, plan.permissions.itertuples(), strict=True):
        wanted = (parcel.parcel, parcel.owner_ref, parcel.state, parcel.note, parcel.towers, parcel.stakes)
        assert [text(cell) for cell in cells[:6]] == [clean(value) for value in wanted]
        assert as_shown(shown(text(cells[6])), parcel.lead_m)
    none = with_tables(plan, approaches=approaches.iloc[:0], permissions=plan.permissions.iloc[:0])
    raw = write_review(none, tmp_path).read_text("utf-8")
    assert "Approach on foot" not in raw
    assert "Whom to ask" not in raw


@pytest.mark.parametrize(
    ("value", "words"),
    [(56.0, "56"), (115.512, "115.51"), (0.00422, "0.00422"), (0.0, "0"), (6340.5056, "6341"), (-26.286, "-26.29"),
     (-1e-9, "0"), (4e-7, "0"), (0.9999, "1"), (999.999, "1000"), (None, "–"), (np.nan, "–")],
)  # fmt: skip
def test_numbers(value, words) -> None:
    assert number(value) == words


@pytest.mark.parametrize(
    ("value", "limit", "words"),
    [(49.9999, 50.0, "49.999900"), (50.0, 50.0, "50"), (50.0 + 1e-9, 50.0, "50"), (1.0004, 1.0, "1.000400")],
)
def test_a_number_reads_like_its_limit_only_where_it_is_equal(value, limit, words) -> None:
    assert number_beside(value, limit) == words


def test_units() -> None:
    found = [with_unit(*pair) for pair in (("30", "deg"), ("1", "crossings"), ("2", "areas"), ("–", "m"), ("5", ""))]
    assert found == ["30°", "1 crossing", "2 areas", "–", "5"]


def test_size_of_a_thousand_towers(make_plan, tmp_path) -> None:
    path: Path = write_review(make_plan(1000, hostile=False), tmp_path)
    assert path.stat().st_size < 12_000_000


@pytest.mark.parametrize(
    ("ratio", "words"),
    [(0.0, "0.00"), (0.004, "< 0.01"), (0.126, "0.13"), (1.0, "1.00"), (0.99996, "0.999960"), (1.0004, "1.000400"),
     (9.2, "9.20")],
)  # fmt: skip
def test_shares_of_the_limit(plan, tmp_path, read_page, ratio, words) -> None:
    table = plan.exposures.assign(value=50.0 * ratio, limit=50.0, ratio=ratio, unit="V")
    page = read_page(write_review(dataclasses.replace(plan, exposures=table), tmp_path))
    cell = text(page.rows(0, "Exposures")[0][1])
    assert f", {words} of limit " in cell
    assert ("✗ beyond limit" in cell) == (ratio > 1)


def test_how_leads_are_handled(plan, tmp_path, read_page) -> None:
    page = read_page(write_review(plan, tmp_path))
    for part, tower in zip(page.towers, plan.towers["tower_id"], strict=True):
        notes = [words for words in map(text, part.xpath("p[@class='q']")) if words.startswith("Lead")]
        for lead in plan.leads[plan.leads["tower_id"] == tower].itertuples():
            (told,) = [words for words in notes if lead.role in words.split(":")[0]]
            assert clean(lead.handling) in told
            assert clean(lead.handling_fault) in told
