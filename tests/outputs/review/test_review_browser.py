"""review.html in headless Chromium without network: filters, keyboard, telephone, paper."""

from __future__ import annotations

import base64
import dataclasses
import datetime as dt
import json
from contextlib import closing
from typing import Any

import pandas as pd
import pypdfium2
import pytest
from selenium.webdriver.support.ui import WebDriverWait

from layoutplan.layout.model import Plan
from layoutplan.layout.rules import STATUSES
from layoutplan.outputs.columns import on_the_globe
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.review import write_review
from layoutplan.text import clean

pytestmark = pytest.mark.browser

SHOWN = """
  return [...document.querySelectorAll(".tower")].filter((tower) => tower.checkVisibility())
    .map((tower) => tower.querySelector("h3").textContent);
"""
PICK = """
  const field = document.getElementById(arguments[0]);
  field.value = arguments[1];
  field.dispatchEvent(new Event("change"));
"""
HITS = "return [...document.querySelectorAll('tr.hit')].map((row) => row.textContent)"


def open_page(browser: Any, plan: Plan, folder: Any) -> str:
    path = write_review(plan, folder)
    browser.get(path.as_uri())
    return path.as_uri()


def choose(browser: Any, **filters: str) -> None:
    """Set filters by the words that a reader sees."""
    from selenium.webdriver.support.ui import Select

    for name, words in filters.items():
        field = browser.find_element("id", name)
        if field.tag_name == "select":
            Select(field).select_by_visible_text(words)
        else:
            field.clear()
            field.send_keys(words)


def state(browser: Any) -> str:
    return browser.find_element("id", "state").text


def shown(browser: Any) -> list[str]:
    return browser.execute_script(SHOWN)


def names(towers: Any) -> list[str]:
    return [f"Tower {clean(name)}" for name in towers["tower_id"]]


def printed(browser: Any) -> list[str]:
    """Print to PDF: the text of each page, with one blank between words."""
    options = {"preferCSSPageSize": True, "displayHeaderFooter": False}
    pdf = base64.b64decode(browser.execute_cdp_cmd("Page.printToPDF", options)["data"])
    with closing(pypdfium2.PdfDocument(pdf)) as document:
        return [" ".join(page.get_textpage().get_text_range().split()) for page in document]


def towers_on_paper(pages: list[str], towers: list[str]) -> dict[str, str]:
    """What is printed of each tower, from its heading to the line for remarks on it."""
    text = " ".join(pages)
    ends = {name: f"Reviewer's remarks on {name[0].lower()}{name[1:]}:" for name in towers}
    return {name: text[: text.index(end)].rpartition(f"{name} ")[2] for name, end in ends.items() if end in text}


def test_offline_and_quiet(browser, plan, tmp_path) -> None:
    uri = open_page(browser, plan, tmp_path)
    messages = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    sent = [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]
    assert sent == [uri]
    assert [m for m in messages if m["method"] == "Network.loadingFailed"] == []
    assert state(browser) == f"showing {len(plan.towers)} of {len(plan.towers)} towers"
    assert shown(browser) == names(plan.towers)
    assert browser.execute_script("return getComputedStyle(document.querySelector('.first')).borderTopWidth") == "2px"
    assert browser.get_log("browser") == []


def test_hostile_names_do_nothing(browser, make_plan, tmp_path, hostile_texts) -> None:
    open_page(browser, make_plan(14), tmp_path)
    browser.find_element("id", "open").click()
    assert shown(browser)[1 : 1 + len(hostile_texts)] == [f"Tower {clean(text)}" for text in hostile_texts]
    assert browser.title == "Valley line </title>{{7*7}}"
    choose(browser, text="{{cycler")
    assert "“{{cycler”" in state(browser)
    assert len(shown(browser)) == 1
    assert browser.execute_script("return window.alerts") == []
    assert browser.get_log("browser") == []


@pytest.mark.long
def test_filters_alone_together_and_reset(browser, make_plan, tmp_path) -> None:
    plan = make_plan(14, hostile=False)
    towers, total = plan.towers, len(plan.towers)
    open_page(browser, plan, tmp_path)
    for status in STATUSES:
        choose(browser, status=status)
        assert shown(browser) == names(towers[towers["status"] == status])
    choose(browser, status="all")

    checks = plan.checks
    for verdict in ("broken", "to be agreed", "unknown", "kept"):
        choose(browser, verdict=verdict)
        found = set(checks[checks["verdict"] == verdict]["tower_id"])
        assert shown(browser) == names(towers[towers["tower_id"].isin(found)])
    choose(browser, topic="line clearance", verdict="unknown")
    assert shown(browser) == []
    assert state(browser) == f"filtered: verdict unknown; rule line clearance – showing 0 of {total} towers"
    choose(browser, verdict="kept")
    assert shown(browser) == names(towers[towers["tower_id"].isin(checks["tower_id"])])
    assert {row.split()[0] for row in browser.execute_script(HITS)} == {"line"}

    exposures = plan.exposures
    choose(browser, topic="induced by the load, balanced, in service", verdict="unknown in service")
    rows = (exposures["exposure"] == "induced by the load, balanced") & exposures["ratio"].isna()
    assert shown(browser) == names(towers[towers["tower_id"].isin(exposures[rows]["tower_id"])])
    choose(browser, topic="transferred from the tower by a fault, under a fault", verdict="beyond limit under a fault")
    rows = (exposures["exposure"] == "transferred from the tower by a fault") & (exposures["ratio"] > 1)
    beyond = towers["tower_id"].isin(exposures[rows]["tower_id"])
    assert 0 < beyond.sum() < total
    assert shown(browser) == names(towers[beyond])
    choose(browser, status="needs agreement", line="Valley 132")
    both = towers[beyond & (towers["status"] == "needs agreement")]
    assert shown(browser) == names(both)
    choose(browser, text="  mill LANE ")
    assert shown(browser) == names(both)
    choose(browser, text="nowhere")
    assert shown(browser) == []
    browser.find_element("css selector", "button[type=reset]").click()
    WebDriverWait(browser, 120).until(lambda page: state(page) == f"showing {total} of {total} towers")
    assert shown(browser) == names(towers)
    assert browser.execute_script(HITS) == []
    assert browser.get_log("browser") == []


@pytest.mark.long
def test_lines_are_told_apart(browser, make_plan, tmp_path) -> None:
    plan = make_plan(6, hostile=False)
    other = {name: getattr(plan, name).assign(line_id="Kress {{7*7}}") for name in ("towers", "checks", "leads")}
    both = {name: pd.concat((getattr(plan, name), table), ignore_index=True) for name, table in other.items()}
    open_page(browser, dataclasses.replace(plan, **both), tmp_path)
    choose(browser, line="Kress {{7*7}}")
    assert state(browser) == "filtered: line Kress {{7*7}} – showing 6 of 12 towers"
    choose(browser, verdict="beyond limit under a fault")  # the exposures are those of the first line
    assert shown(browser) == []


def press(browser: Any, *keys: str) -> None:
    from selenium.webdriver.common.action_chains import ActionChains

    ActionChains(browser).send_keys(*keys).perform()


def test_by_keyboard_alone(browser, make_plan, tmp_path) -> None:
    from selenium.webdriver.common.keys import Keys

    open_page(browser, make_plan(7, hostile=False), tmp_path)
    reached = []
    for _ in range(120):
        press(browser, Keys.TAB)
        reached.append(browser.execute_script("return document.activeElement.id || document.activeElement.localName"))
        if reached[-1] == "summary":
            break
    heads = browser.execute_script("return document.querySelectorAll('#overview thead th').length")
    assert [name for name in reached if name not in ("a", "button")] == [
        "verdict", "topic", "line", "status", "text", "open", "close", "div", "summary",
    ]  # fmt: skip
    assert reached.count("button") == 1 + heads
    press(browser, Keys.ENTER)
    assert browser.execute_script("return document.querySelector('.tower').open") is True
    assert browser.execute_script("return getComputedStyle(document.activeElement).outlineStyle") == "solid"


COLUMN = """
  const heads = [...document.querySelectorAll("#overview thead th")];
  const column = heads.findIndex((head) => head.textContent.trim() === arguments[0]);
  return [...document.querySelectorAll("#overview tbody tr")].map((row) => row.cells[column].firstChild.textContent);
"""
SORTED = """
  return [...document.querySelectorAll("#overview thead [aria-sort]")].map((head) => [head.textContent, head.ariaSort]);
"""


def test_sorted_by_keyboard_the_unknown_stays_last(browser, make_plan, tmp_path) -> None:
    from selenium.webdriver.common.keys import Keys

    plan = make_plan(14, hostile=False)
    open_page(browser, plan, tmp_path)
    head = "lead H / S, m"
    (button,) = [one for one in browser.find_elements("css selector", "#overview thead button") if one.text == head]
    before = browser.execute_script(COLUMN, head)
    lengths = plan.leads.groupby("tower_id")["lead_length_m"].max()
    assert 0 < before.count("–") < len(before)
    assert before != sorted(before)
    assert browser.execute_script(SORTED) == []
    browser.execute_script("arguments[0].focus()", button)
    for key, direction in ((Keys.ENTER, "ascending"), (Keys.SPACE, "descending"), (Keys.ENTER, "ascending")):
        press(browser, key)
        assert browser.execute_script(SORTED) == [[head, direction]]
        ids = browser.execute_script(COLUMN, "tower")
        known = [lengths[name] for name in ids if name in lengths]
        assert known == sorted(known, reverse=direction == "descending")
        assert all(name not in lengths for name in ids[len(known) :])
        assert sorted(ids) == sorted(plan.towers["tower_id"])
    choose(browser, status="needs agreement")
    rows = browser.find_elements("css selector", "#overview tbody tr")
    seen = {row.find_element("tag name", "a").text for row in rows if row.is_displayed()}
    assert seen == set(plan.towers[plan.towers["status"] == "needs agreement"]["tower_id"])
    assert browser.get_log("browser") == []


def test_a_row_leads_to_its_tower(browser, make_plan, tmp_path) -> None:
    from selenium.webdriver.common.keys import Keys

    open_page(browser, make_plan(7, hostile=False), tmp_path)
    link = browser.find_elements("css selector", "#overview tbody th a")[3]
    browser.execute_script("arguments[0].focus()", link)
    press(browser, Keys.ENTER)
    opened = "return [...document.querySelectorAll('.tower[open] h3')].map((head) => head.textContent)"
    assert browser.execute_script(opened) == [f"Tower {link.text}"]


@pytest.mark.long
def test_telephone(browser, plan, tmp_path) -> None:
    size = {"width": 400, "height": 800, "deviceScaleFactor": 2, "mobile": True}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    open_page(browser, plan, tmp_path)
    browser.find_element("id", "open").click()
    assert browser.execute_script("return document.documentElement.scrollWidth") <= 400
    wide = (
        "return [...document.querySelectorAll('.tower *')].filter((e) => e.getBoundingClientRect().right > 400).length"
    )
    assert browser.execute_script(wide) == 0


def test_paper_shows_every_tower(browser, make_plan, tmp_path) -> None:
    """Of each: its crossings, what has to be agreed, rules that are not kept with values, why there is no layout."""
    plan = make_plan(14, hostile=False)
    open_page(browser, plan, tmp_path)
    paper = towers_on_paper(printed(browser), names(plan.towers))
    assert set(paper) == set(names(plan.towers))
    for tower in plan.towers.itertuples():
        text = paper[f"Tower {tower.tower_id}"]
        assert tower.status in text
        if tower.status == "no layout":
            assert tower.reasons in text
            continue
        assert text.count("underground cables") == 1  # unknown everywhere
        assert "line clearance" not in text  # kept everywhere
        for lead in plan.leads[plan.leads["tower_id"] == tower.tower_id].itertuples():
            assert (
                f"crosses {lead.crossings}" if lead.crossings else "crosses nothing" if tower.map_covers else ""
            ) in text
        beyond = plan.exposures[(plan.exposures["tower_id"] == tower.tower_id) & (plan.exposures["ratio"] > 1)]
        assert all(name in text for name in beyond["exposure"])
        way = plan.approaches[(plan.approaches["tower_id"] == tower.tower_id) & (plan.approaches["to"] == "tower")]
        asked = (way["verdict"] == "needs permission").any()
        assert asked == ("whoever has a say over it: Mill Lane – way on foot: protected area" in text)
    assert browser.execute_script("return document.querySelectorAll('.tower[open]').length") == 0  # closed again


@pytest.mark.long
def test_paper_without_scripts(browser, make_plan, tmp_path) -> None:
    plan = make_plan(7, hostile=False)
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        open_page(browser, plan, tmp_path)
        pages = printed(browser)
    finally:
        browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    paper = towers_on_paper(pages, names(plan.towers))
    assert set(paper) == set(names(plan.towers))
    assert sum("exposure under a fault" in text for text in paper.values()) == plan.electrodes["tower_id"].nunique()
    number = plan_number(plan)
    assert all(
        f"plan {number}" in page and f"page {place} of {len(pages)}" in page for place, page in enumerate(pages, 1)
    )


@pytest.mark.long
def test_a_page_of_paper_for_three_towers(browser, sample_plan, tmp_path) -> None:
    """With register and exposures, all that stands before and behind them, and a footer on each page."""
    plan = on_the_globe(sample_plan)
    open_page(browser, plan, tmp_path)
    pages = printed(browser)
    assert len(pages) <= len(plan.towers) / 3
    assert set(towers_on_paper(pages, names(plan.towers))) == set(names(plan.towers))
    number, today = plan_number(plan), dt.date.today()
    days = [f"printed {today - dt.timedelta(days=back)}" for back in (0, 1)]  # begun before midnight
    for place, page in enumerate(pages, 1):
        assert f"plan {number}" in page
        assert f"page {place} of {len(pages)}" in page
        assert any(day in page for day in days)
    text = " ".join(pages)
    assert "date, name and signature" in text
    assert all(whom in text for whom in plan.agreements["whom"])


@pytest.mark.long
def test_a_filtered_print_says_so(browser, make_plan, tmp_path) -> None:
    plan = make_plan(14, hostile=False)
    open_page(browser, plan, tmp_path)
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    whole = browser.find_element("tag name", "main").text
    browser.execute_script(PICK, "status", "2")  # nobody can click a form that is not on paper
    try:
        text = browser.find_element("tag name", "main").text
        page = browser.execute_script("return getComputedStyle(document.body).page")
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    some = plan.towers[plan.towers["status"] == STATUSES[2]]
    assert f"filtered: status {STATUSES[2]} – showing {len(some)} of {len(plan.towers)} towers" in text
    assert "filtered" not in whole
    assert page == "filtered"  # the page style that prints it in the margin of every sheet
    assert set(towers_on_paper(printed(browser), names(plan.towers))) == set(names(some))
