"""Reading what a job names: lines and towers, the map around them, and how far it reaches."""

from typing import TYPE_CHECKING

from layoutplan.first_use import on_first_use
from layoutplan.inputs import door as door  # closes the network for this process

if TYPE_CHECKING:
    from layoutplan.inputs.coverage import map_gaps
    from layoutplan.inputs.model import FEATURE_COLUMNS, TOWER_COLUMNS, InputFile, Inputs, LineInput
    from layoutplan.inputs.read import as_read, read_inputs
else:
    __getattr__ = on_first_use(__name__)

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
