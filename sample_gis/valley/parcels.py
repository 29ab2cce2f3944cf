"""The land register: a mosaic of parcels between river, railway and roads, and what their owners answered."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from . import ways
from .shapes import Feature, FloatArray, Point2, curve, dice

_OWNERS = 64
_ANSWERS = (("granted", 0.66), ("asked", 0.18), ("unknown", 0.16))
# owners who said no, each with a point in every parcel of theirs
_REFUSED: dict[str, tuple[Point2, ...]] = {
    "P-0031": ((1088, -400), (1300, -700), (700, 210)),
    "P-0044": ((2250, 120), (2300, 260)),
    "P-0052": ((3960, 470), (5650, 420)),
}
# long boundaries from the south upwards: field edges, then river, railway, road, then field edges again
_SOUTH: tuple[list[Point2], ...] = (
    [(-700, -1080), (1200, -990), (3000, -1010), (5000, -780), (7500, -860)],
    [(-700, -830), (918, -760), (1700, -740), (3000, -800), (5000, -560), (7500, -700)],
    [(-700, -660), (200, -625), (918, -500), (1258, -465), (1700, -520), (2300, -500), (3000, -610), (3600, -560),
     (4300, -380), (5000, -230), (5700, -360), (7500, -430)],
    [(-700, -525), (200, -455), (560, -392), (918, -342), (1090, -324), (1258, -306), (1700, -318), (2300, -345),
     (2900, -400), (3200, -452), (3600, -440), (4000, -305), (4300, -205), (5000, -85), (5700, -105), (7500, -330)],
)  # fmt: skip
_NORTH: tuple[list[Point2], ...] = (
    [(-700, 460), (500, 285), (1500, 190), (2300, 150), (3000, 225), (3650, 250), (4300, 215), (4800, 450), (5300, 480),
     (5800, 345), (6300, 215), (7500, 60)],
    [(-700, 600), (500, 420), (1500, 330), (2300, 300), (3000, 355), (3650, 385), (4300, 370), (4800, 560), (5300, 610),
     (5800, 500), (6300, 420), (7500, 210)],
    [(-700, 760), (500, 620), (1800, 500), (2500, 520), (3200, 540), (3800, 560), (4400, 570), (4800, 720), (5500, 740),
     (6300, 590), (7500, 400)],
)  # fmt: skip
# mean width of the parcels in each strip between two long boundaries
_WIDTHS_M = (330, 240, 120, 75, 95, 85, 70, 85, 120)
_WHOLE = (918.0, 1258.0)  # no cut between these in the strip that the tower with no layout looks on to
_VILLAGE = (2640.0, 3400.0)


class Parcel(NamedTuple):
    """A parcel: number, owner's reference, answer, what grows there, shape."""

    parcel_no: str
    owner_ref: str
    permission: str
    use: str
    geometry: Polygon


def parcels(taken: BaseGeometry, woods: BaseGeometry) -> list[Parcel]:
    """Return the land register; nothing is sown where ``taken`` is, nor in the woods."""
    shapes = _mosaic()
    chance = dice(61)(3 * len(shapes)).reshape(-1, 3)
    answers = _answers()
    made = []
    for number, (shape, (who, what, part)) in enumerate(zip(shapes, chance, strict=True), 101):
        owner = _owner(shape, who)
        use = "wood" if woods.contains(shape.representative_point()) else _use(shape.intersects(taken), what)
        made.append(Parcel(f"{number}" + ("/2" if part < 0.2 else ""), owner, answers[owner], use, shape))
    return made


def hedges(taken: BaseGeometry) -> list[Feature]:
    """Return hedges along some of the boundaries on the valley floor, none through what is ``taken``."""
    cuts = [cut for k in (3, 6, 7) for cut in _cuts(k)]
    picked = [cut for cut, chance in zip(cuts, dice(62)(len(cuts)), strict=True) if chance < 0.14]
    rows = [substring(cut, 0.12, 0.8, normalized=True) for cut in picked]
    return [Feature("fences", "hedge", "", 1.0, row) for row in rows if not row.intersects(taken)]


def _answers() -> dict[str, str]:
    names, shares = zip(*_ANSWERS, strict=True)
    limits = np.cumsum(shares)
    drawn = np.searchsorted(limits, dice(63)(_OWNERS) * limits[-1], side="right")
    free = {f"P-{k:04d}": names[a] for k, a in enumerate(drawn, 1)}
    return free | dict.fromkeys(_REFUSED, "refused")


def _owner(shape: Polygon, chance: float) -> str:
    for owner, points in _REFUSED.items():
        if any(shape.contains(Point(point)) for point in points):
            return owner
    others = [name for name in (f"P-{k:04d}" for k in range(1, _OWNERS + 1)) if name not in _REFUSED]
    return others[int(chance * len(others))]


def _use(taken: bool, chance: float) -> str:
    if taken:
        return "other"
    return "crops" if chance < 0.4 else "pasture" if chance < 0.6 else "meadow"


def _mosaic() -> list[Polygon]:
    """Return the parcels, from the valley's upper end down, each cut back to the roadside or the bank."""
    lines = [*_long_lines(), *ways.road_lines(), *(cut for k in range(len(_WIDTHS_M)) for cut in _cuts(k))]
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(shapely.union_all(lines))))
    gaps = [ways.RIVER.buffer(18), ways.RAILWAY.buffer(9), ways.MAIN_ROAD.buffer(8)]
    gaps += [line.buffer(4.5) for line in ways.road_lines()[1:]]
    cut_back = shapely.difference(faces, shapely.union_all(gaps))
    shapes = [max(shapely.get_parts(shape), key=lambda part: part.area, default=Polygon()) for shape in cut_back]
    kept = [shape.simplify(0.1) for shape in shapes if shape.area > 350]
    return sorted(kept, key=lambda shape: (round(shape.centroid.x), round(shape.centroid.y)))


def _long_lines() -> list[LineString]:
    floor = [ways.RIVER, ways.RAILWAY, ways.MAIN_ROAD]
    return [*(curve(points, 25.0) for points in _SOUTH), *floor, *(curve(points, 25.0) for points in _NORTH)]


def _cuts(strip: int) -> list[LineString]:
    """Return the short boundaries across a strip, a little slanted, unevenly spaced."""
    low, high = (np.asarray(line.coords) for line in _long_lines()[strip : strip + 2])
    at = np.array(list(_places(strip)))
    slant = 26 * (dice(64, strip)(len(at)) - 0.5) + 8
    return [
        LineString([(u, _height(low, u) - 1), (w, _height(high, w) + 1)]) for u, w in zip(at, at + slant, strict=True)
    ]


def _places(strip: int) -> Iterable[float]:
    """Yield where a strip is cut: closer together in the village, not at all in the stretch to be left whole."""
    u, whole = -640.0, strip == 2
    for chance in dice(65, strip)(400):
        if whole and _WHOLE[0] - 40 < u < _WHOLE[1]:
            yield from (_WHOLE[0] - 8, _WHOLE[1] - 8)
            u = _WHOLE[1] + 50
        if u > 7300:
            return
        yield u
        narrow = 0.55 if strip in (6, 7) and _VILLAGE[0] < u < _VILLAGE[1] else 1.0
        u += _WIDTHS_M[strip] * narrow * (0.55 + 0.9 * chance)


def _height(line: FloatArray, u: float) -> float:
    return float(np.interp(u, line[:, 0], line[:, 1]))
