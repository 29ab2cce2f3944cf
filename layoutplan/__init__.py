"""Where auxiliary electrodes for tower-earthing measurements can go: tower by tower, with reasons.

>>> import layoutplan
>>> job = layoutplan.load_job("sample_gis/job.toml")  # doctest: +SKIP
>>> plan = layoutplan.plan(job)  # doctest: +SKIP
>>> layoutplan.write(plan, "out")  # doctest: +SKIP
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from layoutplan.first_use import on_first_use

__version__ = "0.1.0"
__all__ = ["Job", "LayoutPlanError", "Plan", "__version__", "load_job", "plan", "write"]

if TYPE_CHECKING:
    from layoutplan.errors import LayoutPlanError
    from layoutplan.job import Job, load_job
    from layoutplan.layout.model import Plan
    from layoutplan.outputs.write import write_plan as write
    from layoutplan.planning.pipeline import plan
else:
    __getattr__ = on_first_use(__name__)  # the geospatial libraries take a while to load
