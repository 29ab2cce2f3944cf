"""What runs through the valley as a line: water, roads, railway, what lies in the ground, fences and hedges."""

from __future__ import annotations

from shapely import LineString

from .shapes import Feature, Point2, curve, cut_out, ribbon, wander

RIVER = curve([
    (-700, 60), (-150, -110), (213, -195), (501, -215), (800, -212), (890, -240), (950, -262), (1010, -258),
    (1088, -250), (1170, -241), (1250, -218), (1352, -160), (1500, -122), (1651, -145), (1770, -210), (1850, -250),
    (1926, -254), (2000, -256), (2080, -246), (2160, -212), (2255, -182), (2400, -165), (2540, -185), (2680, -238),
    (2790, -281), (2870, -281), (2955, -291), (3060, -335), (3200, -372), (3365, -378), (3600, -350), (3800, -300),
    (4000, -215), (4250, -130), (4500, -80), (4800, -30), (5100, 20), (5400, 30), (5700, -10), (6000, -70),
    (6300, -150), (6700, -190), (7400, -240),
])  # fmt: skip
RAILWAY = curve([
    (-700, 200), (0, 95), (500, 10), (900, -48), (1300, -62), (1500, -64), (1700, -115), (1926, -190), (2150, -168),
    (2400, -105), (2540, -85), (2790, -58), (3050, -12), (3300, 14), (3524, -36), (3750, -96), (4000, -128),
    (4250, -65), (4500, 0), (4800, 60), (5100, 100), (5400, 105), (5700, 70), (6000, 10), (6300, -70), (6700, -110),
    (7400, -160),
])  # fmt: skip
MAIN_ROAD = curve([
    (-700, 350), (0, 260), (500, 170), (900, 112), (1400, 70), (1900, 12), (2300, 32), (2600, 78), (3000, 122),
    (3400, 152), (3650, 142), (3837, 96), (4050, 60), (4300, 92), (4500, 170), (4620, 235), (4720, 292), (4820, 345),
    (4900, 370), (4958, 380), (5040, 388), (5120, 388), (5260, 370), (5500, 310), (5800, 230), (6100, 140), (6500, 30),
    (7400, -70),
])  # fmt: skip
MAIN_ROAD_WIDTH_M, MINOR_WIDTH_M, STREET_WIDTH_M, TRACK_WIDTH_M, PATH_WIDTH_M = 10.0, 6.0, 5.0, 3.0, 1.5
RIVER_WIDTH_M, STREAM_WIDTH_M, DITCH_WIDTH_M, CULVERT_WIDTH_M = 26.0, 2.0, 1.5, 2.0
TUNNEL: tuple[Point2, Point2] = ((4800, 336), (5118, 388))

_MINOR_ROADS = {
    "Mill Lane": [(1462, 63), (1478, -20), (1492, -110), (1500, -190), (1502, -290), (1530, -390), (1650, -455),
                  (1926, -478), (2255, -486), (2540, -490), (2790, -502), (2905, -538)],
    "Moss Lane": [(3110, 131), (3128, 60), (3150, -30), (3205, -95), (3238, -158), (3262, -222)],
    "North Road": [(2950, 480), (3060, 590), (3230, 625), (3420, 695), (3600, 685), (3800, 738), (4020, 738),
                   (4250, 800), (4450, 806), (4650, 880), (4860, 886), (5080, 965)],
    "Sand Lane": [(4072, 61), (4080, 130), (4098, 206), (4150, 268), (4203, 304), (4285, 360), (4318, 430),
                  (4322, 500)],
    "Works Road": [(6080, 146), (6180, 170), (6290, 205), (6352, 255)],
    "West Road": [(505, 169), (500, 250), (530, 335)],
    "Sawmill Lane": [(5415, 336), (5390, 275), (5345, 245)],
}  # fmt: skip
STREETS = {
    "Church Lane": [(2690, 91), (2712, 170), (2700, 262), (2742, 352), (2840, 402), (2950, 480)],
    "High Street": [(2850, 107), (2864, 180), (2915, 246), (3010, 282), (3108, 296), (3205, 338), (3272, 412)],
    "Station Road": [(2952, 118), (2958, 60), (2966, 2)],
    "Meadow Way": [(2712, 170), (2785, 196), (2864, 180)],
    "Orchard Row": [(2915, 246), (2905, 330), (2915, 410), (2950, 480)],
    "School Lane": [(3108, 296), (3128, 215), (3112, 131)],
    "Hill Close": [(3205, 338), (3165, 405), (3102, 448)],
}
_TRACKS = (
    [(-700, -300), (-150, -302), (213, -290), (501, -262), (640, -252), (730, -262)],
    [(2405, -490), (2420, -420), (2480, -382), (2600, -388), (2700, -408), (2745, -470)],
    [(1530, -390), (1420, -520), (1250, -560), (1125, -575)],
    [(1125, -575), (1000, -640), (850, -690), (600, -760), (200, -790), (-700, -860)],
    [(850, -690), (868, -800), (884, -950), (858, -1060), (800, -1098)],
    [(2905, -538), (3100, -720), (3500, -860), (4200, -780), (5000, -700), (5900, -760)],
    [(1750, 255), (1700, 420), (1500, 640), (1150, 820), (700, 900), (0, 960)],
    [(4250, 790), (4000, 960), (3500, 1050), (2900, 1000), (2300, 1100)],
    [(4300, 92), (4290, 10), (4270, -68)],
    [(5345, 245), (5360, 180), (5380, 112)],
    [(6560, 16), (6590, 110), (6600, 180)],
    [(1880, 15), (2010, 180), (2110, 400)],
)
_PATHS = (
    [(1478, -88), (1600, -105), (1740, -165), (1850, -218), (1926, -226), (2080, -218), (2255, -152), (2400, -135),
     (2560, -158), (2690, -205), (2860, -244), (2960, -262)],
    [(3262, -222), (3180, -262), (3080, -300)],
    [(2950, 480), (2900, 640), (2780, 820), (2850, 1000)],
    [(5080, 965), (5000, 1120), (4800, 1250)],
)  # fmt: skip
_STREAMS = {
    "Kress Brook": [(560, -1600), (600, -1300), (640, -1100), (655, -950), (645, -780), (665, -560), (655, -420),
                    (650, -345), (652, -212)],
    "Morr Brook": [(1120, 1500), (1160, 1100), (1180, 620), (1200, 300), (1208, 130), (1214, 60), (1222, -40),
                   (1232, -225)],
    "Tsuvel Brook": [(4040, 1500), (3990, 1050), (3985, 700), (3975, 430), (3940, 330), (3900, 225), (3868, 140),
                     (3845, 60), (3838, -60), (3832, -150), (3828, -292)],
    "Lenn Brook": [(2330, -1500), (2380, -1100), (2350, -760), (2380, -560), (2392, -440), (2398, -330), (2408, -166)],
}  # fmt: skip
_CULVERTS = {
    "Morr Brook": [((1206, 105), (1210, 75)), ((1222, -38), (1224, -75))],
    "Tsuvel Brook": [((3975, 400), (3880, 175)), ((3852, 112), (3846, 72)), ((3834, -90), (3832, -140))],
}
_DITCHES = (
    [(1560, -342), (1651, -348), (1740, -352), (1830, -352)],
    [(-80, -250), (60, -262), (150, -268), (170, -195)],
    [(3700, -20), (3790, -40), (3838, -60)],
    [(5640, 330), (5720, 265), (5760, 150), (5770, 62)],
)
_GAS_MAIN = [
    (-700, -600), (200, -570), (560, -482), (820, -450), (960, -492), (1088, -548), (1350, -482), (1500, -415),
    (1651, -398), (1926, -414), (2150, -395), (2330, -345), (2425, -240), (2450, -60), (2440, 300), (2520, 800),
    (2600, 1500), (2680, 2300),
]  # fmt: skip
_CABLES = {
    "Varnau 20 kV cable": [(6345, 290), (6230, 215), (6100, 168), (5800, 256), (5500, 334), (5405, 352), (5375, 275),
                           (5345, 258)],
    "Ilvried 20 kV cable": [(2745, 430), (2738, 360), (2692, 262), (2704, 170), (2684, 88)],
}  # fmt: skip
_FENCES = (
    [(905, -352), (918, -347), (1000, -338), (1088, -328), (1180, -319), (1256, -311)],
    [(1256, -311), (1262, -400), (1266, -468)],
    [(-300, -498), (0, -470), (213, -462), (330, -446)],
    [(4560, 250), (4640, 300), (4690, 330)],
    [(3420, 172), (3520, 190), (3600, 230), (3640, 300)],
)


def features() -> list[Feature]:
    """Return everything on this page as map features."""
    rail = Feature("railways", "rail", "Ilvra line", 4.0, RAILWAY)
    return [*_water(), *_roads(), rail, *_underground(), *_barriers()]


def road_lines() -> list[LineString]:
    """Return the courses of all roads, lanes and streets (for what is built along them)."""
    return [MAIN_ROAD, *(curve(points) for points in (*_MINOR_ROADS.values(), *STREETS.values()))]


def _water() -> list[Feature]:
    made = [
        Feature("waterways", "river", "Ilvra", RIVER_WIDTH_M, RIVER),
        Feature("water_areas", "river", "Ilvra", 0.0, ribbon(RIVER, RIVER_WIDTH_M / 2, seed=11)),
    ]
    for name, points in _STREAMS.items():
        open_air, culverts = cut_out(wander(curve(points), 6.0, seed=len(points)), _CULVERTS.get(name, ()))
        made += [Feature("waterways", "stream", name, STREAM_WIDTH_M, part) for part in open_air]
        made += [Feature("waterways", "culvert", name, CULVERT_WIDTH_M, part) for part in culverts]
    return [*made, *(Feature("waterways", "ditch", "", DITCH_WIDTH_M, curve(points)) for points in _DITCHES)]


def _roads() -> list[Feature]:
    open_road, tunnel = cut_out(MAIN_ROAD, [TUNNEL])
    made = [Feature("roads", "main_road", "Ilvra Road", MAIN_ROAD_WIDTH_M, part) for part in open_road]
    made += [Feature("roads", "road_tunnel", "Spur Tunnel", MAIN_ROAD_WIDTH_M, part) for part in tunnel]
    for name, points in _MINOR_ROADS.items():
        over_river = [((1489, -88), (1498, -155))] if name == "Mill Lane" else []
        road, bridges = cut_out(curve(points), over_river)
        made += [Feature("roads", "minor_road", name, MINOR_WIDTH_M, part) for part in road]
        made += [Feature("roads", "road_bridge", "Mill Bridge", MINOR_WIDTH_M, part) for part in bridges]
    made += [Feature("roads", "street", name, STREET_WIDTH_M, curve(points)) for name, points in STREETS.items()]
    tracks = [wander(curve(points), 5.0, seed=100 + k) for k, points in enumerate(_TRACKS)]
    paths = [wander(curve(points), 3.0, seed=130 + k) for k, points in enumerate(_PATHS)]
    made += [Feature("roads", "track", "", TRACK_WIDTH_M, line) for line in tracks]
    return [*made, *(Feature("roads", "path", "", PATH_WIDTH_M, line) for line in paths)]


def _underground() -> list[Feature]:
    cables = [Feature("cables", "cable", name, 1.0, curve(points)) for name, points in _CABLES.items()]
    return [Feature("pipelines", "gas", "Ilvra gas main", 1.0, curve(_GAS_MAIN)), *cables]


def _barriers() -> list[Feature]:
    spur_edge = [(4772, 296), (4800, 318), (4838, 328)]
    quarry_edge = [(5120, 1085), (5180, 1130), (5260, 1148), (5330, 1120)]
    gorge_edge = [(1500, -930), (1600, -905), (1750, -915)]
    cliffs = [Feature("cliffs", "cliff", "", 2.0, curve(points)) for points in (spur_edge, quarry_edge, gorge_edge)]
    return [*cliffs, *(Feature("fences", "fence", "", 0.3, curve(points)) for points in _FENCES)]
