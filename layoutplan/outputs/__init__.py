"""Writing a plan: one small writer for each format, all files together or none."""

from typing import TYPE_CHECKING

from layoutplan.first_use import on_first_use

if TYPE_CHECKING:
    from layoutplan.outputs.earlier import copies_in
    from layoutplan.outputs.gpkg import named_crs
    from layoutplan.outputs.installed import require_formats
    from layoutplan.outputs.registry import FORMATS
    from layoutplan.outputs.targets import refuse_inputs, refuse_job_inputs
    from layoutplan.outputs.write import write_plan
else:
    __getattr__ = on_first_use(__name__)

__all__ = ["FORMATS", "copies_in", "named_crs", "refuse_inputs", "refuse_job_inputs", "require_formats", "write_plan"]
