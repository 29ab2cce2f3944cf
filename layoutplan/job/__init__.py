"""The job: what the user asks for, read and checked before anything else happens."""

from typing import TYPE_CHECKING

from layoutplan.first_use import on_first_use

if TYPE_CHECKING:
    from layoutplan.job.classes import ObstacleClass, shipped_classes
    from layoutplan.job.lines import Line, OsmLine, TowerSource
    from layoutplan.job.load import load_job, load_terrain
    from layoutplan.job.model import Job, Layer
    from layoutplan.job.rules import Rules, Score
else:
    __getattr__ = on_first_use(__name__)

__all__ = [
    "Job",
    "Layer",
    "Line",
    "ObstacleClass",
    "OsmLine",
    "Rules",
    "Score",
    "TowerSource",
    "load_job",
    "load_terrain",
    "shipped_classes",
]
