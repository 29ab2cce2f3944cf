"""Verdicts on a way on foot, and names for the place that it leads to."""

REACHABLE = "reachable"
PERMISSION = "needs permission"
NOT_ON_FOOT = "not reachable on foot"
OFF_THE_MAP = "map does not cover"
TOWER = "tower"
ASKED_ONCE = "asked once for towers"  # before the towers that one permission to stop serves
