"""The village of Ilvried, the farms, and what people have built elsewhere."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.ops import substring

from . import ways
from .shapes import Feature, Point2, blob, box_at, closed_curve, curve, dice

CHURCH: Point2 = (2838, 268)
SCHOOL: Point2 = (3040, 196)
_CEMETERY = closed_curve([(2772, 286), (2862, 284), (2876, 330), (2866, 374), (2800, 352), (2766, 330)], rounds=2)
# farms: (middle of the yard, direction, radii of the yard)
_FARMS: tuple[tuple[Point2, float], ...] = (
    ((1140, -592), 8), ((2925, -552), -30), ((512, 352), 15), ((1752, 275), 40), ((4330, 524), 25), ((2128, 420), -12),
    ((6612, 196), 5), ((4735, 900), 30),
)  # fmt: skip
_SAWMILL: Point2 = (5325, 240)


def features() -> list[Feature]:
    """Return buildings and the land around them."""
    houses = _houses()
    built_up = shapely.union_all(shapely.buffer(houses, 24)).buffer(-9).simplify(2)
    places = [Feature("landuse", "residential", "Ilvried", 0.0, part) for part in shapely.get_parts(built_up)]
    places += [
        Feature("landuse", "cemetery", "Ilvried cemetery", 0.0, _CEMETERY),
        Feature("landuse", "school", "Ilvried school", 0.0, box_at(SCHOOL, 78, 62, 10)),
        Feature("landuse", "sports", "", 0.0, box_at((3245, 235), 94, 60, 14)),
        Feature("landuse", "industrial", "Ilvra sawmill", 0.0, blob(_SAWMILL, (62, 34), seed=40, turn_deg=-12)),
        *(Feature("landuse", "farmyard", "", 0.0, blob(at, (34, 26), 50 + k)) for k, (at, _) in enumerate(_FARMS)),
        *(Feature("landuse", "garden", "", 0.0, garden) for garden in _gardens(houses)),
    ]
    return [*places, *_named_buildings(), *(Feature("buildings", "house", "", 0.0, house) for house in houses)]


def _named_buildings() -> list[Feature]:
    made = [
        Feature("buildings", "church", "Ilvried church", 0.0, box_at(CHURCH, 27, 12, 14)),
        Feature("buildings", "school", "Ilvried school", 0.0, box_at((3040, 210), 46, 15, 10)),
        Feature("buildings", "station", "Ilvried station", 0.0, box_at((2968, -8), 26, 10, 12)),
        Feature("buildings", "industrial", "Ilvra sawmill", 0.0, box_at((5312, 244), 58, 22, -12)),
        Feature("buildings", "industrial", "", 0.0, box_at((5358, 231), 22, 18, -12)),
        Feature("buildings", "service", "", 0.0, box_at((6400, 305), 24, 11, -4)),
        Feature("buildings", "service", "Kress hydro station", 0.0, box_at((760, -1106), 28, 15, 12)),
    ]
    for (u, v), turn in _FARMS:
        made.append(Feature("buildings", "farm", "", 0.0, box_at((u - 13, v + 6), 17, 12, turn)))
        made.append(Feature("buildings", "barn", "", 0.0, box_at((u + 13, v - 5), 26, 14, turn + 90)))
    return made


def _houses() -> list[Polygon]:
    """Set houses along the streets wherever the last ones leave room."""
    through_road = substring(ways.MAIN_ROAD, *(ways.MAIN_ROAD.project(Point(u, 100)) for u in (2600, 3420)))
    streets = [through_road, *map(curve, ways.STREETS.values())]
    roads, taken = shapely.MultiLineString(ways.road_lines()), [_CEMETERY, box_at(SCHOOL, 90, 74, 10)]
    houses: list[Polygon] = []
    for k, street in enumerate(streets):
        for house in _along(street, seed=70 + k):
            clear = house.distance(roads) > 5.5 and house.distance(ways.RAILWAY) > 26
            if clear and min(house.distance(other) for other in (*taken, *houses, Point(CHURCH).buffer(20))) > 5:
                houses.append(house)
    return houses


def _along(street: LineString, seed: int) -> list[Polygon]:
    """Return house plans on both sides of a street, turned to it, unevenly spaced."""
    at = np.arange(16.0, street.length - 10, 27.0)
    chance = dice(seed)(10 * len(at)).reshape(-1, 10)
    made = []
    for d, c in zip(at, chance, strict=True):
        for side, (shift, back, long, deep, turn) in ((1, c[:5]), (-1, c[5:])):
            if (long + deep) % 0.1 < 0.02:  # every fifth lot stays empty
                continue
            here, ahead = (np.array(street.interpolate(d + 8 * shift + x).coords[0]) for x in (0.0, 1.0))
            way = ahead - here
            middle = here + side * (13 + 11 * back) * np.array([-way[1], way[0]])
            angle = float(np.degrees(np.arctan2(way[1], way[0])) + 16 * turn - 8)
            made.append(box_at((float(middle[0]), float(middle[1])), 9 + 8 * float(long), 8 + 4 * float(deep), angle))
    return made


def _gardens(houses: list[Polygon]) -> list[Polygon]:
    """Return a garden about every fourth house."""
    picked = [house for house, chance in zip(houses, dice(90)(len(houses)), strict=True) if chance < 0.25]
    return [house.buffer(7, join_style="mitre") for house in picked]
