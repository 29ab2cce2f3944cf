"""Scenes for the tests: towers and map features at given metres east and north of a place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from pyproj import Geod

from layoutplan.inputs.model import TOWER_FIGURES, LineInput
from layoutplan.job import Job, Line, TowerSource
from layoutplan.line import LineModel, build_lines
from layoutplan.siting import Evaluated, NearPairs, Obstacles, Sited, build_obstacles, evaluate, find_near, site_towers
from layoutplan.siting.rays import Rays, make_rays
from layoutplan.siting.trace import Trace, trace_rays

GEOD = Geod(ellps="WGS84")


@dataclass(frozen=True)
class Feature:
    """A map feature in metres."""

    kind: str
    shape: Any
    width_m: float = 0.0
    name: str = ""


@dataclass(frozen=True)
class Course:
    """A line's towers in metres, and what the job says of the line."""

    towers_m: Any
    settings: dict[str, Any] = field(default_factory=dict)
    columns: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Scene:
    """Lines and features about a place; longitudes are continuous with the place's."""

    courses: tuple[Course, ...]
    features: tuple[Feature, ...] = ()
    lon: float = 10.0
    lat: float = 48.0
    settings: dict[str, Any] = field(default_factory=dict)

    @property
    def job(self) -> Job:
        lines = [
            Line(**{"id": f"line {i}", "towers": TowerSource(path="t.gpkg")} | course.settings)
            for i, course in enumerate(self.courses)
        ]
        return Job(lines=tuple(lines), **self.settings)

    def place(self, xy_m: Any) -> np.ndarray:
        xy = np.atleast_2d(np.asarray(xy_m, dtype=float))
        azimuth, distance = np.degrees(np.arctan2(xy[:, 0], xy[:, 1])), np.hypot(xy[:, 0], xy[:, 1])
        lon, lat, _ = GEOD.fwd(np.full(len(xy), self.lon), np.full(len(xy), self.lat), azimuth, distance)
        return np.column_stack((lon + 360 * np.round((self.lon - lon) / 360), lat))

    def map(self) -> gpd.GeoDataFrame:
        shapes = [shapely.transform(feature.shape, self.place) for feature in self.features]
        table = {
            "feature_id": np.array([f"f {i}" for i in range(len(shapes))], dtype=object),
            "obstacle_class": np.array([feature.kind for feature in self.features], dtype=object),
            "name": np.array([feature.name for feature in self.features], dtype=object),
            "width_m": np.array([feature.width_m for feature in self.features], dtype=float),
            "source": np.array(["scene"] * len(shapes), dtype=object),
        }
        return gpd.GeoDataFrame(table, geometry=shapes, crs="EPSG:4326")

    def lines(self) -> list[LineInput]:
        inputs = []
        for line, course in zip(self.job.lines, self.courses, strict=True):
            count = len(course.towers_m)
            table = {
                "tower_id": [f"{i + 1}" for i in range(count)],
                "structure": [""] * count,
                **{name: np.full(count, np.nan) for name in (*TOWER_FIGURES, "order")},
            }
            points = gpd.points_from_xy(*self.place(course.towers_m).T)
            towers = gpd.GeoDataFrame(table | course.columns, geometry=points, crs="EPSG:4326")
            inputs.append(LineInput(line, towers, (), True, "t.gpkg"))
        return inputs

    def ready(self) -> Ready:
        model, job = build_lines(self.lines()), self.job
        obstacles, _ = build_obstacles(
            self.map(), model.spans, job.obstacle_classes, permitted_given=job.gives_permitted_land
        )
        return Ready(self, job, model, obstacles)

    def but(self, **changes: Any) -> Scene:
        return replace(self, **changes)


@dataclass(frozen=True)
class Ready:
    """A scene after line and obstacles are built."""

    scene: Scene
    job: Job
    model: LineModel
    obstacles: Obstacles

    def site(self) -> Sited:
        return site_towers(self.model.towers, self.obstacles, self.job)

    def evaluate(self, tower: int, bearing_deg: Sequence[float] | np.ndarray, distance_m: Any) -> Evaluated:
        """Hold positions seen from one tower against the rules."""
        bearing = np.atleast_1d(np.asarray(bearing_deg, dtype=float))
        distance = np.broadcast_to(np.asarray(distance_m, dtype=float), bearing.shape)
        towers = self.model.towers.rows(np.array([tower]))
        near = find_near(self.obstacles, towers, float(distance.max(initial=0.0)) + 1 + self.job.score.margin_m)
        rows = np.zeros(len(bearing), dtype=np.int64)
        return evaluate(towers, rows, bearing, distance, near, self.obstacles, self.job)


NORTHWARD = Course([(0, -300), (0, 0), (0, 300)])


def north_line(*features: Feature, **changes: Any) -> Scene:
    """A straight line to the north with towers 300 m apart; tower 1 (counting from 0) stands at the place."""
    return Scene((NORTHWARD,), features, **changes)


def near_and_rays(ready: Ready, bearing_deg: Any, reach_m: float = 150.0, tower: int = 1) -> tuple[NearPairs, Rays]:
    """What lies near one tower, and rays from it at ascending bearings."""
    towers = ready.model.towers.rows(np.array([tower]))
    bearing = np.atleast_1d(np.asarray(bearing_deg, dtype=float))
    rays = make_rays(towers, np.zeros(len(bearing), dtype=np.int64), bearing, ready.job.rules)
    return find_near(ready.obstacles, towers, reach_m + ready.job.score.margin_m), rays


def trace(ready: Ready, bearing_deg: Any, reach_m: float = 150.0, tower: int = 1) -> Trace:
    """What rays from one tower meet."""
    near, rays = near_and_rays(ready, bearing_deg, reach_m, tower)
    return trace_rays(rays, near, ready.obstacles, reach_m=reach_m, margin_m=ready.job.score.margin_m)
