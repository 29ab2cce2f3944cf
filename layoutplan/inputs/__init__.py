"""Reading what a job names: lines and towers, the map around them, and how far it reaches."""

from layoutplan.inputs.coverage import map_gaps
from layoutplan.inputs.model import FEATURE_COLUMNS, TOWER_COLUMNS, InputFile, Inputs, LineInput
from layoutplan.inputs.read import as_read, read_inputs

__all__ = [
    "FEATURE_COLUMNS",
    "TOWER_COLUMNS",
    "InputFile",
    "Inputs",
    "LineInput",
    "as_read",
    "map_gaps",
    "read_inputs",
]
