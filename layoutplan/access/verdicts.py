"""What is said of a way on foot, and of the place it leads to."""

REACHABLE = "reachable"
PERMISSION = "needs permission"
NOT_ON_FOOT = "not reachable on foot"
OFF_THE_MAP = "map does not cover"
TOWER = "tower"
