"""Random scenes for the property tests."""

from __future__ import annotations

import os
from typing import Any

import numpy as np
import shapely
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from shapely.affinity import rotate

from ..effort import examples as few
from .oracle import HANGS
from .scenes import Course, Feature, Scene

TIMES = int(os.environ.get("LAYOUTPLAN_EXAMPLES", "1"))
KINDS = (
    "main_road",
    "minor_road",
    "track_path",
    "railway",
    "river_canal",
    "stream_ditch",
    "standing_water",
    "wetland",
    "building",
    "garden_residential",
    "power_line",
    "distribution_line",
    "underground_cable",
    "pipeline",
    "fence_wall",
    "cliff",
    "protected_area",
    "woodland",
    "crops",
    "no_entry",
    "permitted_land",
    "quarry",
)
ONLY_AREAS = ("standing_water", "protected_area", "woodland", "crops", "no_entry", "permitted_land", "quarry")


def examples(count: int) -> settings:
    """The same examples every time; LAYOUTPLAN_EXAMPLES=20 makes twenty times as many, and new ones each time."""
    return settings(
        max_examples=few(count) if TIMES == 1 else count * TIMES,
        derandomize=TIMES == 1,
        database=None,
        deadline=None,
        print_blob=TIMES > 1,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )


def tenths(least: float, most: float) -> st.SearchStrategy[float]:
    """Numbers with one decimal, and off the grid by an odd amount so that nothing falls on a candidate by design."""
    return st.integers(round(least * 10), round(most * 10)).map(lambda n: n / 10 + 0.0137)


@st.composite
def areas(draw: Any, reach: float = 130.0) -> shapely.Polygon:
    """A polygon about some point, star-shaped, often with a hole."""
    corners = draw(st.integers(3, 7))
    radius = draw(tenths(5, 90))
    share = draw(st.lists(st.integers(4, 10), min_size=corners, max_size=corners))
    angle = 2 * np.pi * np.arange(corners) / corners + draw(tenths(0, 6))
    ring = radius / 10 * np.array(share)[:, None] * np.column_stack((np.cos(angle), np.sin(angle)))
    holes = [ring[::-1] * 0.5] if draw(st.booleans()) else []
    shift = np.array([draw(tenths(-reach, reach)), draw(tenths(-reach, reach))])
    return shapely.Polygon(ring + shift, [hole + shift for hole in holes])


@st.composite
def chains(draw: Any, reach: float = 130.0) -> shapely.LineString:
    """A line of one to four pieces."""
    steps = draw(st.lists(st.tuples(tenths(-80, 80), tenths(-80, 80)), min_size=1, max_size=4))
    start = np.array([draw(tenths(-reach, reach)), draw(tenths(-reach, reach))])
    return shapely.LineString(np.vstack(([0, 0], np.cumsum(steps, axis=0))) + start)


@st.composite
def features(draw: Any, reach: float = 130.0) -> Feature:
    kind = draw(st.sampled_from(KINDS))
    form = "area" if kind in ONLY_AREAS else draw(st.sampled_from(["area", "line", "line", "point"]))
    if form == "area" and kind not in HANGS:
        return Feature(kind, draw(areas(reach)))
    width = draw(st.sampled_from([0.0, 0.0, 1.5, 6.0, 15.0]))
    if form == "point":
        return Feature(kind, shapely.Point(draw(tenths(-reach, reach)), draw(tenths(-reach, reach))), width)
    return Feature(kind, draw(chains(reach)), width)


@st.composite
def at_the_tower(draw: Any) -> Feature:
    """A feature that shares a vertex with the tower, or runs through it: maps often tie land and lines to towers."""
    kind = draw(st.sampled_from([kind for kind in KINDS if kind not in HANGS]))
    turn, wide = draw(tenths(0, 359)), draw(tenths(20, 330))
    far = [_polar(turn + wide * part, draw(tenths(30, 160))) for part in (0, 0.3, 0.6, 1)]
    if kind in ONLY_AREAS or draw(st.booleans()):
        if draw(st.booleans()):
            return Feature(kind, shapely.Polygon([(0, 0), *far]))
        across = [_polar(turn + 180, 47.0), _polar(turn, 63.0), _polar(turn + 70, 90.0)]
        return Feature(kind, shapely.Polygon(across))
    width = draw(st.sampled_from([0.0, 1.5, 6.0]))
    if draw(st.booleans()):
        return Feature(kind, shapely.LineString([(0, 0), *far[:2]]), width)
    return Feature(kind, shapely.LineString([far[0], (0, 0), far[2]]), width)


@st.composite
def places(draw: Any) -> tuple[float, float]:
    lat = draw(st.one_of(st.integers(-79, 83).map(float), tenths(-79, 82.9)))
    lon = draw(st.one_of(st.sampled_from([10.0, 179.999, -179.9995, 11.9995]), tenths(-179, 179)))
    return lon, lat


@st.composite
def courses(draw: Any) -> tuple[Course, ...]:
    """A line through the origin, at its second tower; straight, at an angle, ending there, or with a branch."""
    heading = draw(tenths(0, 359))
    turn = draw(st.one_of(st.just(0.0), tenths(-90, 90)))
    kind = draw(st.sampled_from(["middle", "middle", "terminal", "tee"]))
    line = [_polar(heading + 180, 290.0), (0.0, 0.0)]
    if kind != "terminal":
        line.append(_polar(heading + turn, 310.0))
    count = len(line)
    size = draw(st.sampled_from([np.nan, 8.0, 14.3]))
    base = draw(st.sampled_from([np.nan, 6.4]))
    columns = {"earth_electrode_size_m": np.full(count, size), "base_width_m": np.full(count, base)}
    leg = draw(st.sampled_from(["right ahead", "right back", "left back", "left ahead"]))
    main = Course(line, {"half_width_m": draw(st.sampled_from([0.0, 4.5, 8.0])), "leg": leg}, columns)
    if kind != "tee":
        return (main,)
    branch = heading + draw(st.sampled_from([-1, 1])) * draw(tenths(40, 120))
    return (main, Course([(0.0, 0.0), _polar(branch, 280.0)], {"half_width_m": 6.0}))


def _polar(bearing_deg: float, distance_m: float) -> tuple[float, float]:
    turn = np.radians(bearing_deg)
    return float(distance_m * np.sin(turn)), float(distance_m * np.cos(turn))


def crowd(seed: int, most: int) -> tuple[Feature, ...]:
    """Features of all sizes, evenly spread; hypothesis by itself likes small ones and few."""
    rng = np.random.default_rng(seed)
    out = []
    for kind in rng.choice(KINDS, rng.integers(most // 2, most + 1)):
        middle, angle = rng.uniform(-130, 130, 2), np.sort(rng.uniform(0, 2 * np.pi, 8))
        radius = rng.choice([6.0, 20.0, 70.0]) * rng.uniform(0.5, 1.5, 8)
        ring = middle + radius[:, None] * np.column_stack((np.cos(angle), np.sin(angle)))
        area = shapely.Polygon(ring, [middle + (ring - middle)[::-1] * 0.4] if rng.random() < 0.3 else None)
        if kind not in HANGS and (kind in ONLY_AREAS or rng.random() < 0.4) and area.is_valid:
            out.append(Feature(kind, area))
        elif kind not in ONLY_AREAS:
            steps = rng.normal(0, 40, (rng.integers(2, 6), 2))
            out.append(
                Feature(kind, shapely.LineString(middle + np.cumsum(steps, axis=0)), rng.choice([0.0, 3.0, 12.0]))
            )
    return tuple(out)


@st.composite
def scenes(draw: Any, most: int = 8, reach: float = 130.0, **rules: Any) -> Scene:
    lon, lat = draw(places())
    if most and draw(st.booleans()):
        found = crowd(draw(st.integers(0, 2**32)), 2 * most)
        return Scene(draw(courses()), found, lon, lat, {"rules": rules} if rules else {})
    count = draw(st.integers(0, most))
    found = tuple(draw(st.lists(features(reach), min_size=count, max_size=count)))
    if draw(st.integers(0, 3)) == 0:
        found += (draw(at_the_tower()),)
    return Scene(draw(courses()), found, lon, lat, {"rules": rules} if rules else {})


def turned(scene: Scene, degrees: float) -> Scene:
    """The whole scene turned clockwise about its place."""

    def turn(shape: Any) -> Any:
        return rotate(shape, -degrees, origin=(0, 0))

    courses_ = tuple(
        Course([turn(shapely.Point(xy)).coords[0] for xy in course.towers_m], course.settings, course.columns)
        for course in scene.courses
    )
    return scene.but(
        courses=courses_,
        features=tuple(Feature(f.kind, turn(f.shape), f.width_m, f.name) for f in scene.features),
    )
