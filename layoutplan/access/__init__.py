"""Getting there: where the vehicle stops, and how the crew walks from there to towers and electrodes."""

from typing import TYPE_CHECKING

from layoutplan.first_use import on_first_use

if TYPE_CHECKING:
    from layoutplan.access.approaches import (
        APPROACH_COLUMNS,
        Walkable,
        WalkSection,
        approaches_table,
        share_stops,
    )
    from layoutplan.access.cost import CostWindow, Relief, open_window, pace_s_per_m
    from layoutplan.access.drop_off import DropOff
    from layoutplan.access.figures import CUT_OFF_MIN, NO_WALKS, WalkFigures
    from layoutplan.access.frame import TangentFrame
    from layoutplan.access.ground import ROAD_COLUMNS, WalkingGround, build_ground
    from layoutplan.access.roads import roads_and_gates
    from layoutplan.access.route import Route, to_point, to_tower
    from layoutplan.access.verdicts import NOT_ON_FOOT, OFF_THE_MAP, PERMISSION, REACHABLE, TOWER
    from layoutplan.access.walks import Walks, walk_minutes, walk_on, walk_out
else:
    __getattr__ = on_first_use(__name__)

__all__ = [
    "APPROACH_COLUMNS",
    "CUT_OFF_MIN",
    "NOT_ON_FOOT",
    "NO_WALKS",
    "OFF_THE_MAP",
    "PERMISSION",
    "REACHABLE",
    "ROAD_COLUMNS",
    "TOWER",
    "CostWindow",
    "DropOff",
    "Relief",
    "Route",
    "TangentFrame",
    "WalkFigures",
    "WalkSection",
    "Walkable",
    "WalkingGround",
    "Walks",
    "approaches_table",
    "build_ground",
    "open_window",
    "pace_s_per_m",
    "roads_and_gates",
    "share_stops",
    "to_point",
    "to_tower",
    "walk_minutes",
    "walk_on",
    "walk_out",
]
