"""Writing a plan: one small writer for each format, all files together or none."""

from layoutplan.outputs.registry import WRITERS
from layoutplan.outputs.write import write_plan

__all__ = ["WRITERS", "write_plan"]
