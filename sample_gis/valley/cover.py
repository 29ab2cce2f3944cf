"""What covers the ground: woods, wet ground, lakes, the reserve, the quarry."""

from __future__ import annotations

import shapely
from shapely import Polygon

from . import power, ways
from .shapes import Feature, Point2, blob, box_at, closed_curve, curve, ribbon, wander

_SOUTH_EDGE: list[Point2] = [
    (-700, -660), (300, -640), (700, -590), (900, -640), (1150, -660), (1600, -600), (2300, -580), (3000, -690),
    (3700, -620), (4500, -420), (5200, -400), (5800, -480), (6500, -480), (7500, -560),
]  # fmt: skip
_NORTH_EDGE: list[Point2] = [
    (-700, 720), (800, 620), (1800, 580), (2600, 740), (3300, 760), (3900, 640), (4300, 690), (4700, 760), (5300, 800),
    (6000, 700), (6600, 560), (7500, 470),
]  # fmt: skip
_TREE_LINES: tuple[list[Point2], list[Point2]] = (
    [(-700, -1390), (1500, -1280), (3500, -1400), (5500, -1290), (7500, -1380)],
    [(-700, 1480), (1500, 1400), (3200, 1560), (5200, 1420), (7500, 1500)],
)
_CLEARINGS = (
    blob((1900, 930), (170, 90), 21, 10), blob((3300, 1010), (230, 80), 22, -5), blob((5600, 1080), (190, 100), 23, 20),
    blob((400, 1130), (240, 110), 24), blob((2600, -1020), (220, 90), 25, 8), blob((4700, -820), (180, 80), 26, -10),
    blob((1150, -860), (120, 60), 27, 15), blob((6500, 980), (200, 90), 28), blob((5900, -900), (210, 80), 29),
    blob((1460, 690), (180, 75), 121, 12), blob((2450, 800), (130, 60), 122, -20), blob((3660, 810), (120, 66), 123),
    blob((6050, 800), (170, 75), 124, -8), blob((1900, -690), (150, 55), 125, 10), blob((3350, -790), (190, 60), 126),
    blob((5350, -520), (160, 62), 127, -4), blob((120, -790), (150, 60), 128), blob((700, 1310), (260, 90), 129, 4),
    blob((4450, 1270), (280, 80), 130, -6), blob((2900, -1300), (300, 90), 131, 5),
)  # fmt: skip
_GROVES = (
    blob((4925, 462), (92, 52), 31, 8), blob((2620, -420), (62, 24), 32, -4), blob((230, -318), (52, 17), 33, 5),
    blob((3585, 92), (58, 26), 34, 30), blob((5935, 330), (66, 30), 35, -20), blob((1010, -205), (95, 15), 36, 3),
    blob((1960, -212), (120, 12), 37, -4), blob((4550, -120), (150, 17), 38, 7), blob((6120, -125), (120, 18), 39, -12),
)  # fmt: skip
RESERVE = closed_curve([
    (2960, -268), (2985, -150), (3070, -40), (3240, -4), (3420, -14), (3560, -62), (3680, -108), (3760, -210),
    (3700, -312), (3460, -354), (3280, -352), (3090, -330),
])  # fmt: skip
_OXBOW = curve([(3205, -318), (3255, -282), (3340, -268), (3430, -282), (3485, -322)])
_LAKE = blob((5680, -235), (215, 88), 41, 4)
_QUARRY = blob((5225, 1050), (128, 78), 42, 12)


def features() -> list[Feature]:
    """Return woods, water areas, wet ground, the reserve and the quarry."""
    island = blob((5760, -222), (24, 15), 43)
    return [
        *(Feature("landuse", "wood", "", 0.0, wood) for wood in (*_slopes(), *_GROVES)),
        Feature("water_areas", "lake", "Varn Mere", 0.0, _LAKE.difference(island)),
        Feature("water_areas", "pond", "", 0.0, blob((560, -95), (38, 21), 44, 20)),
        Feature("water_areas", "pond", "", 0.0, blob((4590, 700), (26, 17), 45)),
        Feature("water_areas", "oxbow", "Old Ilvra", 0.0, ribbon(_OXBOW, 10.0, seed=46, tapered=True)),
        Feature("wetlands", "marsh", "Ilvried Moss", 0.0, blob((3390, -292), (165, 52), 47, -3)),
        Feature("wetlands", "marsh", "", 0.0, blob((5390, -190), (75, 40), 48, 25)),
        Feature("protected_areas", "nature_reserve", "Ilvried Moss", 0.0, RESERVE),
        Feature("landuse", "quarry", "Hallgrat quarry", 0.0, _QUARRY),
    ]


def _slopes() -> list[Polygon]:
    """Return the woods of both valley sides, with clearings, cut open under the power lines and along the brooks."""
    lines = power.line_courses()
    aisles = [lines[line_id].buffer(24, cap_style="flat") for line_id in (power.BRANCH, power.OLDER)]
    opened = shapely.union_all([*aisles, *_CLEARINGS, box_at((762, -1105), 92, 74, 12), _QUARRY.buffer(22)])
    woods = []
    for k, (lower, upper) in enumerate(zip((_SOUTH_EDGE, _NORTH_EDGE), _TREE_LINES, strict=True)):
        rim = wander(curve(lower, 18.0), 28.0, 51 + k, (170, 330, 700))
        top = wander(curve(upper, 25.0), 80.0, 53 + k, (390, 700, 1500))
        ring = Polygon([*rim.coords, *reversed(top.coords)])
        woods += list(shapely.get_parts(ring.buffer(0).difference(opened)))
    lanes = shapely.union_all([line.buffer(9) for line in ways.road_lines()])
    return [wood for wood in (part.difference(lanes) for part in woods) if wood.area > 500]
