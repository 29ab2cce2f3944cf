"""Siting: one evaluation of positions against the rules, and the choice among all candidates."""

from layoutplan.siting.collect import collect
from layoutplan.siting.evaluate import Evaluated, evaluate
from layoutplan.siting.near import NearPairs, find_near, in_sight
from layoutplan.siting.obstacles import Obstacles, build_obstacles
from layoutplan.siting.site import Sited, site_towers

__all__ = [
    "Evaluated",
    "NearPairs",
    "Obstacles",
    "Sited",
    "build_obstacles",
    "collect",
    "evaluate",
    "find_near",
    "in_sight",
    "site_towers",
]
