"""Writing a plan: one small writer for each format, all files together or none."""

from layoutplan.outputs.earlier import kept_copies
from layoutplan.outputs.installed import require_formats
from layoutplan.outputs.registry import FORMATS
from layoutplan.outputs.write import write_plan

__all__ = ["FORMATS", "kept_copies", "require_formats", "write_plan"]
