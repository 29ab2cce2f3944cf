"""Scenes for the tests: one tower, features, roads and gates at given metres east and north of it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from layoutplan.access import Relief, TangentFrame, WalkingGround, Walks, build_ground, walk_on, walk_out
from layoutplan.job import shipped_classes
from layoutplan.job.access import Access

EVERYWHERE = [(10.0, 48.0), (179.9999, -44.0), (-179.9995, 66.0), (-70.6, -33.5), (0.0, 0.0), (25.0, -78.0)]


def line(*points: Any) -> shapely.LineString:
    return shapely.LineString(points)


@dataclass(frozen=True)
class Feature:
    """A map feature in metres."""

    kind: str
    shape: Any
    width_m: float = 0.0
    name: str = ""


@dataclass(frozen=True)
class Road:
    """A road in metres."""

    shape: Any
    kind: str = "minor_road"
    vehicle: str = "yes"
    name: str = ""
    bridge: int = -1
    width_m: float = 0.0


@dataclass(frozen=True)
class Scene:
    """A tower at a place and what lies about it."""

    features: tuple[Feature, ...] = ()
    roads: tuple[Road, ...] = ()
    gates_m: tuple[tuple[float, float], ...] = ()
    at: tuple[float, float] = (10.0, 48.0)
    settings: dict[str, Any] = field(default_factory=dict)
    permitted_given: bool = False
    gate_vehicle: str = "permit"

    @property
    def frame(self) -> TangentFrame:
        return TangentFrame.at(self.at)

    def _shapes(self, shapes: list[Any]) -> list[Any]:
        return [shapely.transform(shape, self.frame.to_lonlat) for shape in shapes]

    def map(self) -> gpd.GeoDataFrame:
        table = {
            "feature_id": np.array([f"f {i}" for i in range(len(self.features))], dtype=object),
            "obstacle_class": np.array([feature.kind for feature in self.features], dtype=object),
            "name": np.array([feature.name for feature in self.features], dtype=object),
            "width_m": np.array([feature.width_m for feature in self.features], dtype=float),
            "source": np.array(["scene"] * len(self.features), dtype=object),
        }
        return gpd.GeoDataFrame(table, geometry=self._shapes([f.shape for f in self.features]), crs="EPSG:4326")

    def road_table(self) -> gpd.GeoDataFrame:
        table = {
            "name": np.array([road.name for road in self.roads], dtype=object),
            "road_class": np.array([road.kind for road in self.roads], dtype=object),
            "vehicle": np.array([road.vehicle for road in self.roads], dtype=object),
            "width_m": np.array([road.width_m for road in self.roads], dtype=float),
            "bridge": np.array([road.bridge for road in self.roads], dtype=np.int64),
        }
        return gpd.GeoDataFrame(table, geometry=self._shapes([road.shape for road in self.roads]), crs="EPSG:4326")

    def gate_table(self) -> gpd.GeoDataFrame:
        gates = self._shapes([shapely.Point(xy) for xy in self.gates_m])
        vehicle = np.full(len(gates), self.gate_vehicle, dtype=object)
        return gpd.GeoDataFrame({"vehicle": vehicle}, geometry=gates, crs="EPSG:4326")

    def ground(self) -> WalkingGround:
        return build_ground(
            self.map(),
            self.road_table(),
            shipped_classes(),
            Access(**self.settings),
            gates=self.gate_table(),
            permitted_given=self.permitted_given,
        )

    def walks(self, targets_m: Any = (), relief: Relief | None = None) -> Walks:
        relief, least_m = relief or Relief(), float(np.abs(targets_m).max(initial=0.0)) + 4.0
        return walk_on(walk_out(self.ground(), self.frame, relief, least_m), relief, targets_m)

    def relief(self, height_m: Any) -> Relief:
        """Relief whose heights are a function of east and north."""
        return Relief(lambda lonlat: height_m(*self.frame.to_xy(lonlat).T))

    def but(self, **changes: Any) -> Scene:
        return replace(self, **changes)
