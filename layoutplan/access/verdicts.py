"""Verdicts on a way on foot, and names for the place that it leads to."""

REACHABLE = "reachable"
PERMISSION = "needs permission"
NOT_ON_FOOT = "not reachable on foot"
OFF_THE_MAP = "map does not cover"
TOWER = "tower"
