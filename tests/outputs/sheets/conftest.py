"""The sheets as an independent reader finds them: PDFium for text and pictures."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import pytest
from pypdfium2 import raw

from layoutplan.layout.model import Plan
from layoutplan.outputs.columns import on_the_globe
from layoutplan.outputs.sheets import write_sheets

MM_PER_INCH = 25.4


class Document:
    """A PDF by PDFium, which knows nothing of how it was made."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.pages = list(pypdfium2.PdfDocument(path))

    def text(self, page: int) -> str:
        """Text of a page (1, 2, …), spaces and line ends made one."""
        return " ".join(self.pages[page - 1].get_textpage().get_text_bounded().split())

    def letters(self, page: int) -> list[tuple[str, float]]:
        """Each letter of a page with its size in points."""
        found = self.pages[page - 1].get_textpage()
        every = range(found.count_chars())
        letters = [(chr(raw.FPDFText_GetUnicode(found, n)), raw.FPDFText_GetFontSize(found, n)) for n in every]
        return [(letter, size) for letter, size in letters if letter.isprintable() and not letter.isspace()]

    def size_mm(self, page: int) -> tuple[float, float]:
        width, height = self.pages[page - 1].get_size()
        return width / 72 * MM_PER_INCH, height / 72 * MM_PER_INCH

    def picture(self, page: int, dpi: int = 200) -> np.ndarray:
        """Rendered page, shape (rows, columns, 3)."""
        return np.asarray(self.pages[page - 1].render(scale=dpi / 72).to_pil().convert("RGB"))


@pytest.fixture
def written(tmp_path) -> Callable[[Plan], Document]:
    def write(plan: Plan) -> Document:
        return Document(write_sheets(on_the_globe(plan), tmp_path))

    return write


@pytest.fixture
def calm_plan(make_plan) -> Plan:
    """Towers of every status, without hostile names, with a day of work."""
    return with_day(make_plan(8, hostile=False))


def with_day(plan: Plan, day: dt.date = dt.date(2026, 5, 4), **output: Any) -> Plan:
    import dataclasses

    work = plan.job.work.model_copy(update={"first_day": day})
    job = plan.job.model_copy(update={"work": work, "output": plan.job.output.model_copy(update=output)})
    return dataclasses.replace(plan, job=job)


@pytest.fixture
def on_day() -> Callable[..., Plan]:
    return with_day
