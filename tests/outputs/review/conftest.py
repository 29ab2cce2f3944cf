"""Chromium without network, and the page as an independent reader finds it."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import lxml.html
import pytest

FLAGS = ("--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run", "--proxy-server=http://127.0.0.1:9",
         "--window-size=1200,900")  # fmt: skip
SPY = "window.alerts = []; window.alert = (text) => window.alerts.push(String(text));"


@pytest.fixture(scope="session")
def review_browser() -> Iterator[Any]:
    program, driver = shutil.which("chromium") or shutil.which("chromium-browser"), shutil.which("chromedriver")
    if not (program and driver):
        (pytest.fail if os.environ.get("CI") else pytest.skip)("chromium and chromedriver are missing")
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = program
    for flag in FLAGS:
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    chrome = webdriver.Chrome(options=options, service=Service(driver))
    chrome.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": SPY})
    yield chrome
    chrome.quit()


def squeezed(node: Any) -> str:
    return " ".join(node.text_content().split())


class ReadPage:
    """The page by lxml, which knows nothing of how it was made."""

    def __init__(self, path: Path) -> None:
        self.root = lxml.html.fromstring(path.read_text("utf-8"))
        self.towers = self.root.xpath("//details")
        self.bases = {row.get("id"): squeezed(row.xpath("td")[0]) for row in self.root.xpath("//tr[@id]")}

    def section(self, heading: str) -> str:
        (section,) = self.root.xpath(f"//section[h2[normalize-space()='{heading}']]")
        return squeezed(section)

    def rows(self, tower: int, title: str) -> list[list[Any]]:
        """Cells of the table of a tower under a heading; none if the heading is not there."""
        tables = self.towers[tower].xpath(f"h4[normalize-space()='{title}']/following-sibling::*[1]")
        return [row.xpath("th|td") for table in tables for row in table.xpath("tbody/tr")]


@pytest.fixture
def read_page() -> type[ReadPage]:
    return ReadPage
