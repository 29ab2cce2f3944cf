"""The line model: towers in order, spans, bearings, bisectors, and flat local frames for what is sited."""

from typing import TYPE_CHECKING

from layoutplan.first_use import on_first_use

if TYPE_CHECKING:
    from layoutplan.line.build import build_lines
    from layoutplan.line.model import LineModel, Spans, Towers
else:
    __getattr__ = on_first_use(__name__)

__all__ = ["LineModel", "Spans", "Towers", "build_lines"]
