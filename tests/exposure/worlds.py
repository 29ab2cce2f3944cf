"""Lines at given metres east and north of a place, from the job to the network of sources."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from pyproj import Geod

from layoutplan.exposure import Network, assess, build_network, measured
from layoutplan.exposure.induced import load_emf
from layoutplan.inputs.model import TOWER_FIGURES, FaultTable, LineInput
from layoutplan.job import Job, Line, TowerSource
from layoutplan.line import LineModel, build_lines

GEOD = Geod(ellps="WGS84")
SPAN_M = 300.0
FLAT = (
    {"phase": "A", "offset_m": -8.0, "attachment_height_m": 20.0, "sag_m": 6.0, "diameter_mm": 28.6},
    {"phase": "B", "offset_m": 0.0, "attachment_height_m": 20.0, "sag_m": 6.0, "diameter_mm": 28.6},
    {"phase": "C", "offset_m": 8.0, "attachment_height_m": 20.0, "sag_m": 6.0, "diameter_mm": 28.6},
)
WIRES = tuple(
    {"phase": "E", "offset_m": x, "attachment_height_m": 27.0, "sag_m": 4.5, "diameter_mm": 15.0,
     "resistance_ohm_per_km": 0.3}
    for x in (-5.5, 5.5)
)  # fmt: skip
BALANCED = {"current_a": 500.0, "negative_sequence_pct": 0.0, "zero_sequence_pct": 0.0}
UNBALANCED = {"current_a": 500.0, "negative_sequence_pct": 3.0, "zero_sequence_pct": 2.0}


def straight(count: int = 41, bearing_deg: float = 0.0, aside_m: float = 0.0, span_m: float = SPAN_M) -> np.ndarray:
    """Towers of a straight line about the place, so far to the right of it."""
    turn = np.radians(bearing_deg)
    way, right = np.array([np.sin(turn), np.cos(turn)]), np.array([np.cos(turn), -np.sin(turn)])
    return span_m * (np.arange(count) - (count - 1) / 2)[:, None] * way + aside_m * right


@dataclass(frozen=True)
class Course:
    """A line: towers in metres, and what the job says of it."""

    towers_m: Any
    settings: dict[str, Any] = field(default_factory=dict)
    columns: dict[str, Any] = field(default_factory=dict)
    centreline_m: Any = None
    table: FaultTable | None = None

    def but(self, **settings: Any) -> Course:
        """The same line with other settings; None takes one away."""
        merged = {key: value for key, value in (self.settings | settings).items() if value is not None}
        return replace(self, settings=merged)


@dataclass(frozen=True)
class World:
    """Lines about a place, and the rest of the job."""

    courses: tuple[Course, ...]
    lon: float = 10.0
    lat: float = 48.0
    settings: dict[str, Any] = field(default_factory=dict)

    @property
    def job(self) -> Job:
        lines = [
            Line(**{"id": f"line {i}", "voltage_kv": 220.0, "towers": TowerSource(path="t.gpkg")} | course.settings)
            for i, course in enumerate(self.courses)
        ]
        return Job(lines=tuple(lines), **self.settings)

    def place(self, xy_m: Any) -> np.ndarray:
        xy = np.atleast_2d(np.asarray(xy_m, dtype=float))
        azimuth, distance = np.degrees(np.arctan2(xy[:, 0], xy[:, 1])), np.hypot(xy[:, 0], xy[:, 1])
        lon, lat, _ = GEOD.fwd(np.full(len(xy), self.lon), np.full(len(xy), self.lat), azimuth, distance)
        return np.column_stack((lon + 360 * np.round((self.lon - lon) / 360), lat))

    def inputs(self) -> list[LineInput]:
        return [self._input(line, course) for line, course in zip(self.job.lines, self.courses, strict=True)]

    def _input(self, line: Line, course: Course) -> LineInput:
        count = len(course.towers_m)
        table = {
            "tower_id": [f"{i + 1}" for i in range(count)],
            "structure": [""] * count,
            **{name: np.full(count, np.nan) for name in (*TOWER_FIGURES, "order")},
        }
        points = gpd.points_from_xy(*self.place(course.towers_m).T)
        towers = gpd.GeoDataFrame(table | course.columns, geometry=points, crs="EPSG:4326")
        axis = () if course.centreline_m is None else (shapely.LineString(self.place(course.centreline_m)),)
        return LineInput(line, towers, axis, True, "t.gpkg", (), course.table)

    def model(self) -> LineModel:
        return build_lines(self.inputs())

    def network(self) -> Network:
        inputs = self.inputs()
        return build_network(self.job, build_lines(inputs), [(source.line, source.faults) for source in inputs])

    def but(self, **changes: Any) -> World:
        return replace(self, **changes)


def flat_line(towers_m: Any = None, *, wires: bool = True, **settings: Any) -> Course:
    """A flat 220 kV line with two earth wires, footings of 10 ohm."""
    towers = straight() if towers_m is None else towers_m
    conductors = [*FLAT, *(WIRES if wires else ())]
    base = {"sections": [{"conductors": conductors}], "load": BALANCED}
    merged = {key: value for key, value in (base | settings).items() if value is not None}
    return Course(towers, merged, {"footing_resistance_ohm": np.full(len(towers), 10.0)})


def world(*courses: Course, **settings: Any) -> World:
    """Soil of 100 ohm metres unless said otherwise."""
    return World(courses, settings={"soil": {"resistivity_ohm_m": 100.0}} | settings)


def lead(bearing_deg: float, length_m: float = 100.0) -> np.ndarray:
    """A straight lead from the tower, (2, 2)."""
    turn = np.radians(bearing_deg)
    return np.array([[0.0, 0.0], [length_m * np.sin(turn), length_m * np.cos(turn)]])


def ends(bearing_deg: Any, length_m: Any = 100.0) -> np.ndarray:
    """Where straight leads from the tower end, (n, 2)."""
    turn, length = np.broadcast_arrays(np.radians(bearing_deg), np.asarray(length_m, dtype=float))
    return np.column_stack((length.ravel() * np.sin(turn.ravel()), length.ravel() * np.cos(turn.ravel())))


def emf(network: Network, tower: int, bearing_deg: float, length_m: float = 100.0) -> np.ndarray:
    """What the greatest load induces in one lead, (lines, 3 sequences). [V]."""
    return load_emf(network, np.array([tower]), lead(bearing_deg, length_m)[None, None])[0, 0]


def assessed(network: Network, tower: Any, h_deg: Any = 90.0, s_deg: Any = 270.0, length_m: float = 100.0) -> Any:
    """Everything for stakes on two bearings from some towers."""
    rows = np.atleast_1d(np.asarray(tower, dtype=np.int64))
    pairs = [ends(np.broadcast_to(bearing, len(rows)), length_m) for bearing in (h_deg, s_deg)]
    return assess(network, measured(network), rows, np.stack(pairs, axis=1))


def exposure(found: Any, name: str) -> Any:
    """The exposure of that name."""
    (item,) = [item for item in found.leads.exposures if item.name == name]
    return item
