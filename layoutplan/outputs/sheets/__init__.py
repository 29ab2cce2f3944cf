"""``sheets.pdf``: what a crew prints, a cover and a page for each tower."""

from __future__ import annotations

from layoutplan.outputs.sheets.document import write_sheets

__all__ = ["write_sheets"]
