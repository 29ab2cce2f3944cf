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

import lxml.html
import numpy as np
import pandas as pd
import pytest

from layoutplan.job.classes import shipped_classes
from layoutplan.layout.model import Plan
from layoutplan.layout.rules import NO_LAYOUT
from layoutplan.layout.set_out import set_out
from layoutplan.outputs.review import write_review
from layoutplan.outputs.review.pieces import number, number_beside, with_unit
from layoutplan.outputs.words import STATUS_MEANING, may_stake
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
    name, colon, of = rule.partition(":")
    return f"keep-out: {shipped_classes()[of].label}" if colon else name.replace("_", " ")


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
    assert {token[-1] for token in tokens} == set("kabu") | set("xnw") | set("yzv")


def test_a_keep_out_without_a_row_is_neither_kept_nor_broken(all_verdicts, tmp_path, read_page) -> None:
    page = read_page(write_review(all_verdicts, tmp_path))
    (row,) = [row for row in page.rows(0, "Rules") if row[0].text == "keep-out: motorway or main road"]
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
        rows = page.rows(keys.index((found.line_id, found.tower_id)), f"Exposures {found.state}")
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
    for row in page.rows(0, "Exposures in service"):
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
        assert [text(cell) for cell in page.rows(row, "What rules out each side")[0]] == [
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
    told = [bool(page.rows(row, "What rules out each side")) for row in range(len(plan.towers))]
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
        "Towers by status", "Towers at a glance", "Cautions", "Assumptions made", "Problems found in the inputs",
        "Agreements", "Towers", "Where limits come from", "Inputs", "Software", "Reviewer",
    ]  # fmt: skip


def test_counts_in_the_summary_of_a_tower_keep_faults_apart_from_rules(all_verdicts, tmp_path, read_page) -> None:
    page = read_page(write_review(all_verdicts, tmp_path))
    for tower, part in zip(all_verdicts.towers.itertuples(), page.towers, strict=True):
        checks = all_verdicts.checks[all_verdicts.checks["tower_id"] == tower.tower_id]["verdict"].value_counts()
        exposures = all_verdicts.exposures[all_verdicts.exposures["tower_id"] == tower.tower_id]
        wanted = {"rules": {sign: checks.get(sign[2:], 0) for sign in ("✗ broken", "? unknown", "▲ to be agreed")}}
        for state in ("in service", "under a fault"):
            ratio = exposures[exposures["state"] == state]["ratio"]
            wanted[state] = {"✗ beyond limit": int((ratio > 1).sum()), "? unknown": int(ratio.isna().sum())}
        told = [text(span) for span in part.xpath("summary/span")[1:]]
        lists = {
            name: ", ".join(f"{sign[0]} {count}{sign[1:]}" for sign, count in counts.items() if count)
            for name, counts in wanted.items()
        }
        assert told == [f"{name}: {words}" for name, words in lists.items() if words]


def test_rules_and_faults_stand_in_tables_of_their_own(all_verdicts, tmp_path, read_page) -> None:
    page = read_page(write_review(all_verdicts, tmp_path))
    ratios = all_verdicts.exposures.groupby("state")["ratio"].max()
    assert (ratios > 1).all()
    of_faults = set(all_verdicts.exposures[all_verdicts.exposures["state"] == "under a fault"]["exposure"])
    rules, faults = (page.rows(0, title) for title in ("Rules", "Exposures under a fault"))
    assert rules
    assert {row[0].text.strip() for row in faults} == of_faults
    assert not of_faults & {row[0].text.strip() for row in (*rules, *page.rows(0, "Exposures in service"))}
    heads = [text(cell) for cell in page.root.xpath("//table[@id='overview']/thead/tr/th")]
    rule, service, fault = (heads.index(name) for name in HEADS)
    counted = dict.fromkeys(("broken", "beyond limit"), 0)
    for row in page.root.xpath("//table[@id='overview']/tbody/tr"):
        cells = [text(cell) for cell in row.xpath("th|td")]
        counted["broken"] += "✗" in cells[rule]
        counted["beyond limit"] += "✗ beyond limit" in cells[fault]
        assert "limit" not in cells[rule]
    broken = all_verdicts.checks[all_verdicts.checks["verdict"] == "broken"]["tower_id"].nunique()
    beyond = all_verdicts.leads[all_verdicts.leads["fault_ratio"] > 1]["tower_id"].nunique()
    assert counted == {"broken": broken, "beyond limit": beyond}
    assert min(counted.values()) > 0
    assert service != fault


HEADS = ("rules", "in service, times its limit", "under a fault, times its limit")


def at_a_glance(page: Any) -> list[dict[str, Any]]:
    """The rows of the table with one row for each tower, by the heads of its columns."""
    (table,) = page.root.xpath("//table[@id='overview']")
    heads = [text(cell) for cell in table.xpath("thead/tr/th")]
    return [
        dict(zip(heads, map(text, row.xpath("th|td")), strict=True))
        | {"n": len(row.xpath(".//a[starts-with(@href, '#a')]"))}
        | {"crossings weigh": float(row.xpath("th|td")[heads.index("lead crosses")].get("data-v", "nan"))}
        for row in table.xpath("tbody/tr")
    ]


def test_a_row_for_each_tower_holds_its_figures(plan, tmp_path, read_page) -> None:
    rows = at_a_glance(read_page(write_review(plan, tmp_path)))
    assert len(rows) == len(plan.towers)
    for row, tower in zip(rows, plan.towers.itertuples(), strict=True):
        assert row["tower"].startswith(clean(tower.tower_id))
        assert row["status"][2:] == tower.status
        leads = plan.leads[plan.leads["tower_id"] == tower.tower_id]
        for head, column in (("lead H / S, m", "lead_length_m"), ("angle H / S, °", "angle_to_line_deg")):
            assert row[head] == (" / ".join(f"{value:.1f}" for value in leads[column]) or "–")
        on_foot = plan.approaches[(plan.approaches["tower_id"] == tower.tower_id) & (plan.approaches["to"] == "tower")]
        (way,) = on_foot.itertuples()
        wanted = way.verdict if math.isnan(way.walk_min) else f"{way.walk_min:.0f} min{way.walk_m:.0f} m"
        assert row["walk"].startswith(wanted)
        assert ("▲" in row["walk"]) == (way.verdict == "needs permission")
        crossed = plan.crossings[(plan.crossings["tower_id"] == tower.tower_id) & (plan.crossings["met_by"] == "lead")]
        if tower.status == NO_LAYOUT:
            assert row["lead crosses"] == row["to the nearest keep-out"] == row["rules"] == "–"
        elif tower.map_gaps:
            assert "unknown" in row["lead crosses"]
            assert "unknown" in row["to the nearest keep-out"]
            assert row["crossings weigh"] > max(one["crossings weigh"] for one in rows if "▲" in one["lead crosses"])
        else:
            assert row["lead crosses"] == (f"▲ {len(crossed)}" if len(crossed) else "nothing")


def test_the_nearest_keep_out_is_the_one_with_the_least_to_spare(plan, tmp_path, read_page) -> None:
    tower = plan.electrodes["tower_id"].iloc[0]
    base = plan.checks[(plan.checks["tower_id"] == tower) & (plan.checks["rule"] == "line clearance")]
    far, near = (
        base[base["role"] == role].assign(rule=rule, measured=measured, limit=limit)
        for role, rule, measured, limit in (
            ("H", "keep_out:fence_wall", 4.0, 1.0),
            ("S", "keep_out:main_road", 12.3, 10.0),
        )
    )
    checks = pd.concat((plan.checks, far, near), ignore_index=True)
    row = at_a_glance(read_page(write_review(dataclasses.replace(plan, checks=checks), tmp_path)))[0]
    label = plan.job.obstacle_classes["main_road"].label
    assert row["to the nearest keep-out"] == f"2.3 mS, {label}: 12.3 of 10 m"


def test_every_tower_has_a_small_map_with_its_stakes(make_plan, tmp_path, read_page) -> None:
    plan = make_plan(14, density=300)
    page = read_page(write_review(plan, tmp_path))
    for tower, part in zip(plan.towers.itertuples(), page.towers, strict=True):
        (picture,) = part.xpath(".//*[local-name()='svg']")
        assert clean(tower.tower_id) in picture.get("aria-label")
        used = [use.get("href") for use in picture.xpath(".//*[local-name()='use']")]
        leads = plan.leads[plan.leads["tower_id"] == tower.tower_id]
        hollow = {row.role: "" if may_stake(row.status) else "n" for row in leads.itertuples()}
        assert used == [*(f"#m{role}{sign}" for role, sign in hollow.items()), "#mT"]
        assert ("white is not clear" in text(picture)) == bool(tower.map_gaps)
        assert bool(picture.xpath(".//*[@class='rc']")) == (tower.status == NO_LAYOUT)
        crossed = plan.crossings[(plan.crossings["tower_id"] == tower.tower_id) & (plan.crossings["at_m"] > 0)]
        assert len(picture.xpath(".//*[@class='mX']")) == len(crossed)
        assert len(lxml.html.tostring(picture)) < 6000
    assert {use.get("href")[1:] for use in page.root.xpath("//*[local-name()='use']")} <= set(page.root.xpath("//@id"))


def test_the_register_names_towers_compactly_and_leaves_room_to_sign(plan, tmp_path, read_page) -> None:
    """A road, a water, a pipe, a reserve and parcels, each with whom to ask, about what, for which towers."""
    asked = {"minor_road": "the road authority", "stream_ditch": "the water authority", "pipeline": "its operator",
             "protected_area": "the conservation authority"}  # fmt: skip
    classes = plan.job.obstacle_classes
    stakes = plan.electrodes[["line_id", "tower_id", "role", "waypoint"]]
    met = {"met_by": "lead", "feature_id": "f 1", "at_m": 12.5, "verdict": "to be agreed"}
    tables = [stakes.assign(obstacle_class=name, name=f"<i>{name}</i> {{{{7*7}}}}", **met) for name in asked]
    some = dataclasses.replace(plan, crossings=pd.concat(tables, ignore_index=True))
    page = read_page(write_review(some, tmp_path))
    rows = [[text(cell) for cell in row] for row in page.register]
    by_class = {name: [row for row in rows if f"'<i>{name}</i> {{{{7*7}}}}'" in row[2]] for name in asked}
    for name, found in by_class.items():
        ((number, whom, about, towers, state, sign),) = found
        assert number == f"A{1 + [*asked].index(name)}"
        assert whom == classes[name].agreed_by
        assert about.startswith(f"lead crosses: {classes[name].label}")
        assert "at 12.5 m" in about
        assert state == "☐ to be agreed"
        assert sign == ""
        with_stakes = plan.towers["tower_id"].isin(stakes["tower_id"])
        names = [clean(one) for one in plan.towers["tower_id"]]
        hole = int(np.flatnonzero(~with_stakes)[0])  # the tower without layout, within the line
        assert towers == f"{names[0]}–{names[hole - 1]}, {names[hole + 1]}–{names[-1]}"
    parcels = [row for row in rows if row[2].startswith("parcel:")]
    assert len(parcels) == len(plan.permissions)
    assert [row[1] for row in parcels] == plan.permissions["owner_ref"].tolist()
    assert {row[4] for row in parcels} == {"☐ no entry", "☐ permission needed", "✓ granted"}
    assert any(row[2].startswith("way on foot:") for row in rows)
    assert [row[2] for row in rows[: len(asked)]] == [by_class[name][0][2] for name in asked]


def test_a_tower_counts_what_is_not_granted_yet(plan, tmp_path, read_page) -> None:
    page = read_page(write_review(plan, tmp_path))
    glance = at_a_glance(page)
    for row, tower in zip(glance, plan.towers["tower_id"], strict=True):
        crossed = plan.crossings[plan.crossings["tower_id"] == tower]
        ways = plan.approaches[
            (plan.approaches["tower_id"] == tower) & (plan.approaches["verdict"] == "needs permission")
        ]
        land = plan.permissions[(plan.permissions["towers"] == tower) & (plan.permissions["state"] != "granted")]
        count = (len(crossed) > 0) + (len(ways) > 0) + len(land)
        assert row["n"] == count
        assert row["to be agreed"].startswith(str(count))


def test_towers_of_two_lines_with_one_name_are_told_apart(plan, tmp_path, read_page) -> None:
    other = {name: getattr(plan, name).assign(line_id="B") for name in ("towers", "electrodes", "leads", "crossings")}
    both = {name: pd.concat((getattr(plan, name), table), ignore_index=True) for name, table in other.items()}
    page = read_page(write_review(dataclasses.replace(plan, **both), tmp_path))
    (row,) = [row for row in page.register if "minor road" in text(row[2])]
    tower = clean(plan.crossings["tower_id"].iloc[0])
    assert text(row[3]) == f"{tower} ({plan.towers['line_id'].iloc[0]}), {tower} (B)"


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
    parcels = [row for row in page.register if text(row[2]).startswith("parcel:")]
    assert len(parcels) == len(plan.permissions) > 3
    for cells, parcel in zip(parcels, plan.permissions.itertuples(), strict=True):
        assert text(cells[1]) == parcel.owner_ref
        about = f"parcel: {clean(parcel.parcel)}: {parcel.note}stakes {clean(parcel.stakes)}; "
        assert text(cells[2]) == f"{about}lead {number(parcel.lead_m)} m; way on foot 0 m"
        assert text(cells[3]) == clean(parcel.towers)
        assert text(cells[4])[2:] == parcel.state
    none = with_tables(plan, approaches=approaches.iloc[:0], permissions=plan.permissions.iloc[:0])
    raw = write_review(none, tmp_path).read_text("utf-8")
    assert "Approach on foot" not in raw
    assert "parcel:" not in raw
    assert "<table class=register>" in raw
    nobody = with_tables(none, crossings=plan.crossings.iloc[:0])
    raw = write_review(nobody, tmp_path).read_text("utf-8")
    assert "<table class=register>" not in raw
    assert "Nobody has to be asked as far as maps and lists tell" in raw


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


@pytest.mark.long
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
    cell = text(page.rows(0, "Exposures in service")[0][1])
    assert f", {words} of limit " in cell
    assert ("✗ beyond limit" in cell) == (ratio > 1)


def test_how_leads_are_handled(plan, tmp_path, read_page) -> None:
    page = read_page(write_review(plan, tmp_path))
    for part, tower in zip(page.towers, plan.towers["tower_id"], strict=True):
        notes = [words for words in map(text, part.xpath(".//p[@class='q more']")) if words.startswith("Lead")]
        for lead in plan.leads[plan.leads["tower_id"] == tower].itertuples():
            (told,) = [words for words in notes if lead.role in words.split(":")[0]]
            assert clean(lead.handling) in told
            assert clean(lead.handling_fault) in told
