"""The line model: towers in order, spans, bearings, bisectors, and flat local frames for what is sited."""

from layoutplan.line.build import build_lines
from layoutplan.line.model import LineModel, Spans, Towers

__all__ = ["LineModel", "Spans", "Towers", "build_lines"]
