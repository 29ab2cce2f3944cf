"""Getting there: where the vehicle stops, and how the crew walks from there to towers and electrodes."""

from layoutplan.access.approaches import APPROACH_COLUMNS, approaches
from layoutplan.access.cost import Relief, Window, open_window, pace_s_per_m
from layoutplan.access.frame import Frame
from layoutplan.access.ground import ROAD_COLUMNS, Ground, build_ground
from layoutplan.access.route import Route, to_point, to_tower
from layoutplan.access.walks import DropOff, Walks, walk_minutes, walk_out

__all__ = [
    "APPROACH_COLUMNS",
    "ROAD_COLUMNS",
    "DropOff",
    "Frame",
    "Ground",
    "Relief",
    "Route",
    "Walks",
    "Window",
    "approaches",
    "build_ground",
    "open_window",
    "pace_s_per_m",
    "to_point",
    "to_tower",
    "walk_minutes",
    "walk_out",
]
