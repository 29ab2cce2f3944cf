"""What is said of a way on foot, and of the place it leads to."""

REACHABLE = "reachable"
PERMISSION = "needs permission"
NOT_ON_FOOT = "not reachable on foot"
NOT_COVERED = "map does not cover"
TOWER = "tower"
