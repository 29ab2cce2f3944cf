"""The page as an independent reader finds it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import lxml.html
import pytest


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

    @property
    def register(self) -> list[list[Any]]:
        """Cells of each row of the register of agreements."""
        return [row.xpath("th|td") for row in self.root.xpath("//table[@class='register']/tbody/tr")]

    def rows(self, tower: int, title: str) -> list[list[Any]]:
        """Cells of the table of a tower under a heading; none if the heading is not there."""
        tables = self.towers[tower].xpath(f".//h4[normalize-space()='{title}']/following-sibling::*[1]")
        return [row.xpath("th|td") for table in tables for row in table.xpath("tbody/tr")]


@pytest.fixture
def read_page() -> type[ReadPage]:
    return ReadPage
