"""The power lines: the line to be measured, its branch, and the older line beside it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from shapely import LineString

from .shapes import Feature, FloatArray, Point2, box_at

MAIN, BRANCH, OLDER = "ostrel-varnau", "kress-tee", "tolvenz-varnau"
LINE_NAMES = {
    MAIN: "Ostrel - Varnau 220 kV",
    BRANCH: "Kress Tee 220 kV",
    OLDER: "Tolvenz - Varnau 110 kV",
}
VOLTAGE_KV = {MAIN: 220, BRANCH: 220, OLDER: 110}
CONDUCTORS_WIDTH_M = 16.0

# sections between angle towers: direction in the valley frame, spans in metres
_FIRST: Point2 = (-150.0, -430.0)
_SECTIONS = (
    (6.0, (365, 290, 310, 280, 265)),
    (-3.0, (300, 275, 330, 285, 250)),
    (23.0, (350, 275, 345, 335, 250, 230)),
    (8.0, (290, 240, 305, 270)),
    (-14.0, (300, 255, 190)),
)
_FIRST_NUMBER = 101
# tower: (structure, base width, largest dimension of its earth electrode where that is on record)
_USUAL = ("lattice_4", 6.8, None)
_SPECIAL: dict[str, tuple[str, float, float | None]] = {
    "101": ("lattice_4", 7.4, None),
    "104": ("lattice_4", 8.2, None),
    "106": ("lattice_4", 8.6, None),
    "110": ("lattice_4", 6.8, 16.0),  # with a counterpoise
    "111": ("lattice_4", 9.0, None),
    "116": ("frame_2", 5.0, None),
    "117": ("lattice_4", 8.6, None),
    "119": ("lattice_3", 7.2, None),
    "121": ("lattice_4", 9.0, None),
    "122": ("pole", 1.6, 10.0),
    "124": ("lattice_4", 9.4, None),
}
TEE_TOWER = "104"
# resistance of the footing alone where it has been measured before [ohm]
FOOTING_OHM = {
    "102": 6.5, "103": 8.2, "106": 4.8, "109": 11.0, "110": 2.6, "112": 3.4, "113": 3.1, "116": 14.0, "118": 9.5,
    "121": 6.0, "122": 9.5, "124": 4.2,
}  # fmt: skip


def soil_ohm_m(uv: Point2) -> float:
    """Return the resistivity of the soil: loam on the valley floor, gravel and rock up the sides."""
    return float(np.round(60.0 + 0.12 * np.hypot(uv[1] + 200.0, 60.0), -1))


def fault_currents_ka() -> list[tuple[str, float, float]]:
    """Return for each tower of the main line what a fault draws from Ostrel and from Varnau."""
    rows = [tower for tower in towers() if tower.line_id == MAIN]
    share = np.linspace(0.0, 1.0, len(rows))
    start, end = np.round(9.6 - 3.9 * share, 2), np.round(5.2 + 6.1 * share, 2)
    return [(tower.tower_id, float(a), float(b)) for tower, a, b in zip(rows, start, end, strict=True)]


_BRANCH_TOWERS = {
    "T1": (822.0, -570.0, "lattice_4", 6.2),
    "T2": (775.0, -800.0, "frame_2", 4.5),
    "T3": (760.0, -1010.0, "lattice_4", 7.0),
}
# corners of the older line and the number of spans between them
_OLDER_CORNERS = ((4090.0, 1900.0), (4540.0, 495.0), (5534.0, 634.0), (6329.0, 435.0))
_OLDER_SPANS = (6, 4, 3)
_OLDER_END: Point2 = (6372.0, 392.0)


class Tower(NamedTuple):
    """A tower: line, number, position in the valley frame, kind, base width, size of the earth electrode."""

    line_id: str
    tower_id: str
    uv: Point2
    structure: str
    base_width_m: float
    earth_electrode_m: float | None


def towers() -> list[Tower]:
    """Return the towers of all three lines in line order; the tee tower belongs to two of them."""
    main = [Tower(MAIN, number, uv, *_SPECIAL.get(number, _USUAL)) for number, uv in _main_positions()]
    tee = next(tower for tower in main if tower.tower_id == TEE_TOWER)
    branch = [Tower(BRANCH, number, (u, v), kind, base, None) for number, (u, v, kind, base) in _BRANCH_TOWERS.items()]
    older = [Tower(OLDER, str(n), (u, v), "lattice_4", 5.0, None) for n, (u, v) in enumerate(_older_positions(), 31)]
    return [*main, tee._replace(line_id=BRANCH), *branch, *older]


def tower_uv(number: str) -> Point2:
    """Return where a tower of the main line stands."""
    return dict(_main_positions())[number]


def line_courses() -> dict[str, LineString]:
    """Return the course of each line through its towers."""
    courses = {}
    for line_id in LINE_NAMES:
        knots = [tower.uv for tower in towers() if tower.line_id == line_id]
        courses[line_id] = LineString([*knots, _OLDER_END] if line_id == OLDER else knots)
    return courses


def features() -> list[Feature]:
    """Return the lines, the two stations they end in, and the village's overhead feeder."""
    lines = [
        Feature("power_lines", "line", LINE_NAMES[line_id], CONDUCTORS_WIDTH_M, course)
        for line_id, course in line_courses().items()
    ]
    feeder = LineString([(2745, 430), (2480, 445), (2160, 452), (1790, 300), (1300, 372), (900, 365), (515, 352)])
    return [
        *lines,
        Feature("power_lines", "minor_line", "Ilvried feeder", 3.0, feeder),
        Feature("substations", "substation", "Varnau substation", 0.0, box_at((6425, 330), 160, 190, -4)),
        Feature("substations", "plant", "Kress hydro station", 0.0, box_at((762, -1105), 62, 44, 12)),
    ]


def _main_positions() -> list[tuple[str, Point2]]:
    steps = np.array([[s * np.cos(np.radians(a)), s * np.sin(np.radians(a))] for a, spans in _SECTIONS for s in spans])
    places: FloatArray = np.array(_FIRST) + np.vstack([[0.0, 0.0], np.cumsum(steps, axis=0)])
    return [(str(_FIRST_NUMBER + k), (float(u), float(v))) for k, (u, v) in enumerate(places)]


def _older_positions() -> list[Point2]:
    places = [_OLDER_CORNERS[0]]
    for (u0, v0), (u1, v1), spans in zip(_OLDER_CORNERS, _OLDER_CORNERS[1:], _OLDER_SPANS, strict=False):
        places += [(u0 + (u1 - u0) * k / spans, v0 + (v1 - v0) * k / spans) for k in range(1, spans + 1)]
    return places
