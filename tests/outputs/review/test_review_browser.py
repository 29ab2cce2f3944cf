"""review.html in headless Chromium without network: filters, keyboard, telephone, paper."""

from __future__ import annotations

import base64
import dataclasses
import json
import re
from typing import Any

import pandas as pd
import pytest
from selenium.webdriver.support.ui import WebDriverWait

from layoutplan.layout.model import Plan
from layoutplan.layout.rules import STATUSES
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


def printed(browser: Any) -> tuple[list[str], int]:
    """Print to PDF: the headings of its outline, which Chromium makes of what is on paper, and the number of pages."""
    options = {"preferCSSPageSize": True, "generateTaggedPDF": True, "generateDocumentOutline": True}
    pdf = base64.b64decode(browser.execute_cdp_cmd("Page.printToPDF", options)["data"])
    titles = [title.decode("latin-1") for title in re.findall(rb"/Title \((.*?)\)\r?\n", pdf)]
    return titles, len(re.findall(rb"/Type /Page\b", pdf))


def towers_on_paper(titles: list[str]) -> dict[str, list[str]]:
    """Headings below each tower; Chromium lists the outline backwards, each entry after those below it."""
    found: dict[str, list[str]] = {}
    below: list[str] = []
    for title in titles:
        if title.startswith("Tower "):
            found[title] = below
        below = [] if title.startswith("Tower ") else [*below, title]
    return found


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
        if verdict == "unknown":
            found |= set(plan.exposures[plan.exposures["ratio"].isna()]["tower_id"])
        assert shown(browser) == names(towers[towers["tower_id"].isin(found)])
    choose(browser, topic="line clearance", verdict="unknown")
    assert shown(browser) == []
    assert state(browser) == f"filtered: verdict unknown; rule line clearance – showing 0 of {total} towers"
    choose(browser, verdict="kept")
    assert shown(browser) == names(towers[towers["tower_id"].isin(checks["tower_id"])])
    assert {row.split()[0] for row in browser.execute_script(HITS)} == {"line"}

    exposures = plan.exposures
    choose(browser, topic="induced by the load, balanced, in service", verdict="unknown")
    rows = (exposures["exposure"] == "induced by the load, balanced") & exposures["ratio"].isna()
    assert shown(browser) == names(towers[towers["tower_id"].isin(exposures[rows]["tower_id"])])
    choose(browser, topic="transferred from the tower by a fault, under a fault", verdict="beyond limit")
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


def test_lines_are_told_apart(browser, make_plan, tmp_path) -> None:
    plan = make_plan(6, hostile=False)
    other = {name: getattr(plan, name).assign(line_id="Kress {{7*7}}") for name in ("towers", "checks", "leads")}
    both = {name: pd.concat((getattr(plan, name), table), ignore_index=True) for name, table in other.items()}
    open_page(browser, dataclasses.replace(plan, **both), tmp_path)
    choose(browser, line="Kress {{7*7}}")
    assert state(browser) == "filtered: line Kress {{7*7}} – showing 6 of 12 towers"
    choose(browser, verdict="beyond limit")  # the exposures are those of the first line
    assert shown(browser) == []


def test_by_keyboard_alone(browser, make_plan, tmp_path) -> None:
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.keys import Keys

    open_page(browser, make_plan(7, hostile=False), tmp_path)
    reached = []
    for _ in range(20):
        ActionChains(browser).send_keys(Keys.TAB).perform()
        reached.append(browser.execute_script("return document.activeElement.id || document.activeElement.localName"))
        if reached[-1] == "summary":
            break
    assert [name for name in reached if name not in ("a", "button")] == [
        "verdict", "topic", "line", "status", "text", "open", "close", "summary",
    ]  # fmt: skip
    ActionChains(browser).send_keys(Keys.ENTER).perform()
    assert browser.execute_script("return document.querySelector('.tower').open") is True
    assert browser.execute_script("return getComputedStyle(document.activeElement).outlineStyle") == "solid"


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


def test_paper_shows_every_tower_open(browser, make_plan, tmp_path) -> None:
    plan = make_plan(14, hostile=False)
    open_page(browser, plan, tmp_path)
    titles, pages = printed(browser)
    paper = towers_on_paper(titles)
    assert set(paper) == set(names(plan.towers))
    for tower in plan.towers.itertuples():
        wanted = {"What shuts each side"} if tower.status == "no layout" else {"Rules", "Exposures", "Alternatives"}
        assert wanted <= set(paper[f"Tower {tower.tower_id}"])
    assert pages > len(plan.towers) / 2
    assert browser.execute_script("return document.querySelectorAll('.tower[open]').length") == 0  # closed again


def test_paper_without_scripts(browser, make_plan, tmp_path) -> None:
    plan = make_plan(7, hostile=False)
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        open_page(browser, plan, tmp_path)
        titles, _ = printed(browser)
    finally:
        browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    assert set(towers_on_paper(titles)) == set(names(plan.towers))
    assert titles.count("Exposures") == plan.electrodes["tower_id"].nunique()


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
    titles, _ = printed(browser)
    assert set(towers_on_paper(titles)) == set(names(some))
