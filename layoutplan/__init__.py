"""Where auxiliary electrodes for tower-earthing measurements can go: tower by tower, with reasons.

>>> import layoutplan
>>> job = layoutplan.load_job("sample_gis/job.toml")  # doctest: +SKIP
>>> plan = layoutplan.plan(job)  # doctest: +SKIP
>>> plan.write("out")  # doctest: +SKIP
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"
__all__ = ["Job", "LayoutPlanError", "Plan", "__version__", "load_job", "plan"]

if TYPE_CHECKING:
    from layoutplan.errors import LayoutPlanError
    from layoutplan.job import Job, load_job
    from layoutplan.layout.model import Plan
    from layoutplan.planning.pipeline import plan

_HOMES = {
    "Job": "layoutplan.job",
    "LayoutPlanError": "layoutplan.errors",
    "Plan": "layoutplan.layout.model",
    "load_job": "layoutplan.job",
    "plan": "layoutplan.planning.pipeline",
}


def __getattr__(name: str) -> Any:
    """Import the public names when they are first used: the geospatial libraries take a while to load."""
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'layoutplan' has no attribute '{name}'")
