"""The siting rules told a second time, by brute force with shapely, to compare the real thing with.

Nothing here comes from the package but the job's numbers. Everything is measured in an azimuthal equidistant projection
about the tower, in which distances and bearings from the tower are those of the geodesic. Each rule gives a *slack*:
how far a position is from breaking it (negative: by how much it does). Where the slack is nearly nothing, rounding may
decide either way; tests leave those positions alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from pyproj import Proj

from .scenes import Scene

UNSURE = 1e-4  # metres or degrees
HANGS = ("power_line", "distribution_line", "low_voltage_line", "traction_line")  # spans of the towers they end at
STUB_M = 1e-3  # the first millimetre of a lead is at the tower


@dataclass
class Body:
    """A feature, or one span of the planned lines, in the tower's projection."""

    shape: Any
    kind: str
    half_m: float
    keep_out_m: float
    stake: str
    crossing: str
    planned: bool = False
    ends: tuple[Any, ...] = ()

    @property
    def is_area(self) -> bool:
        return self.shape.geom_type in ("Polygon", "MultiPolygon")


@dataclass
class Points:
    """Positions about the tower, with their leads."""

    bearing_deg: np.ndarray
    distance_m: np.ndarray

    def __post_init__(self) -> None:
        bearing = np.radians(self.bearing_deg)
        self.xy = self.distance_m[:, None] * np.column_stack((np.sin(bearing), np.cos(bearing)))
        start = STUB_M * np.column_stack((np.sin(bearing), np.cos(bearing)))
        self.stakes = np.asarray(shapely.points(self.xy))
        self.leads = np.asarray(shapely.linestrings(np.stack((start, self.xy), axis=1)))

    def __len__(self) -> int:
        return len(self.distance_m)


class Oracle:
    """All about one tower of a scene."""

    def __init__(self, scene: Scene, course: int, tower: int) -> None:
        self.scene, self.job = scene, scene.job
        self.course, self.number = scene.courses[course], tower
        self.line = self.job.lines[course]
        lon, lat = scene.place(self.course.towers_m[tower])[0]
        self._project = Proj(proj="aeqd", lon_0=lon, lat_0=lat, ellps="WGS84")
        self.bodies = list(self._bodies())
        self.neighbours = self._neighbours()
        self.back_deg, self.ahead_deg = self._course_bearings()
        permitted = [body.shape for body in self.bodies if body.kind == "permitted_land"]
        self.permitted = shapely.union_all(permitted) if permitted else None

    def local(self, lonlat: np.ndarray) -> np.ndarray:
        return np.column_stack(self._project(lonlat[:, 0], lonlat[:, 1]))

    def _bodies(self) -> Iterator[Body]:
        classes = self.job.obstacle_classes
        spans = list(self._spans())
        yield from spans
        for feature in self.scene.features:
            row = classes[feature.kind]
            shape = shapely.transform(shapely.transform(feature.shape, self.scene.place), self.local)
            ends = (shape.coords[0], shape.coords[-1]) if shape.geom_type == "LineString" else ()
            if feature.kind in HANGS and shape.geom_type == "LineString":
                shape = _without_own(shape, [span.shape for span in spans])
                if shape.is_empty:
                    continue
            rule = row.keep_out_m, row.stake, row.lead_crossing
            yield Body(shape, feature.kind, feature.width_m / 2, *rule, ends=ends)

    def _spans(self) -> Iterator[Body]:
        row = self.job.obstacle_classes["power_line"]
        for course, line in zip(self.scene.courses, self.job.lines, strict=True):
            xy = self.local(self.scene.place(course.towers_m))
            for start, end in pairwise(xy):
                span = shapely.LineString([start, end])
                yield Body(span, "power_line", line.half_width_m, row.keep_out_m, row.stake, row.lead_crossing, True)

    def _neighbours(self) -> list[float]:
        """Bearings of all spans that end at the tower, and of mapped power lines that come within a metre of it."""
        out = []
        for body in self.bodies:
            if body.kind in HANGS and not body.planned and shapely.get_dimensions(body.shape) == 1:
                for segment in _all_segments(body.shape):
                    if _is_span(segment, body):
                        ends = shapely.get_coordinates(segment)
                        out += [_bearing(end) for end in ends if np.hypot(*end) > 10.0]  # shorter ones say nothing
            if body.planned:
                ends = shapely.get_coordinates(body.shape)
                for here, there in (ends, ends[::-1]):
                    if np.hypot(*here) < 1.0:
                        out.append(_bearing(there - here))
        return out

    def _course_bearings(self) -> tuple[float, float]:
        xy = self.local(self.scene.place(self.course.towers_m))
        back = _bearing(xy[self.number - 1]) if self.number > 0 else None
        ahead = _bearing(xy[self.number + 1]) if self.number + 1 < len(xy) else None
        if back is None:
            back = ahead + 180
        return back % 360, (back + 180 if ahead is None else ahead) % 360

    # ------------------------------------------------------------------ rules

    def slack(self, points: Points) -> np.ndarray:
        """Least slack over all hard rules, shape (n,)."""
        parts = [self.angle_deg(points) - self.job.rules.min_angle_deg, points.distance_m - self.least_m]
        parts += [self.job.rules.reel_m - self.lead_m(points)]
        parts += [_stake_slack(body, points) for body in self.bodies if body.stake == "no"]
        parts += [self.lead_slack(body, points) for body in self.bodies if body.crossing == "no"]
        if self.permitted is not None:
            parts.append(-_outside(self.permitted, points))
        return np.min(parts, axis=0)

    @property
    def least_m(self) -> float:
        rules = self.job.rules
        return max(rules.min_distance_m, rules.electrode_size_multiple * self.size_m)

    @property
    def size_m(self) -> float:
        given = self._column("earth_electrode_size_m", self.line.earth_electrode_size_m)
        if given is not None:
            return given
        base = self.base_m
        return 12.0 if base is None else base * 2**0.5

    @property
    def base_m(self) -> float | None:
        return self._column("base_width_m", self.line.base_width_m)

    def _column(self, name: str, default: float | None) -> float | None:
        value = self.course.columns.get(name, [np.nan] * len(self.course.towers_m))[self.number]
        return default if np.isnan(value) else float(value)

    def leg_xy(self) -> np.ndarray:
        """Leg of a four-legged tower: the corner of the base the job names, turned with the line."""
        if self.base_m is None or self.line.structure != "lattice_4":
            return np.zeros(2)
        right = 1 if self.line.leg.startswith("right") else -1
        ahead = 1 if self.line.leg.endswith("ahead") else -1
        turn = np.radians(self.direction_deg)
        along, across = np.array([np.sin(turn), np.cos(turn)]), np.array([np.cos(turn), -np.sin(turn)])
        return self.base_m / 2 * (ahead * along + right * across)

    def lead_m(self, points: Points) -> np.ndarray:
        return np.hypot(*(points.xy - self.leg_xy()).T) * (1 + self.job.rules.slack_pct / 100)

    def angle_deg(self, points: Points) -> np.ndarray:
        turns = np.abs((points.bearing_deg[:, None] - np.array(self.neighbours) + 180) % 360 - 180)
        return np.minimum(turns, 180 - turns).min(axis=1)

    @property
    def direction_deg(self) -> float:
        """Direction of the line: half-way between the way in and the way out."""
        into = np.radians(self.back_deg + 180)
        out = np.radians(self.ahead_deg)
        return float(np.degrees(np.arctan2(np.sin(into) + np.sin(out), np.cos(into) + np.cos(out))) % 360)

    def is_right(self, points: Points) -> np.ndarray:
        return (points.bearing_deg - self.ahead_deg) % 360 < (self.back_deg - self.ahead_deg) % 360

    def lead_slack(self, body: Body, points: Points) -> np.ndarray:
        """How far the leads stay from a body they must not touch; how much of them is on or beyond it."""
        if body.is_area:
            gap = shapely.distance(points.leads, body.shape)
            within = shapely.length(shapely.intersection(points.leads, body.shape))
            return np.where(gap > 0, gap, -within)
        shape = _not_at_tower(body) if body.kind in HANGS else body.shape
        if shape.is_empty:
            return np.full(len(points), np.inf)
        if body.planned or body.half_m == 0 or shapely.distance(body.shape, shapely.Point(0, 0)) <= body.half_m:
            return _axis_slack(shape, points)
        return shapely.distance(points.leads, shape) - body.half_m

    # ------------------------------------------------------------------ score

    def terms(self, points: Points) -> dict[str, tuple[np.ndarray, np.ndarray]]:
        """Least and greatest value of each term that rounding can make of it."""
        square = self.direction_deg + np.where(self.is_right(points), 90, -90)
        off = np.abs((points.bearing_deg - square + 180) % 360 - 180)
        least = max(self.least_m, self.job.rules.line_clearance_m + self.line.half_width_m)
        beyond = np.maximum(points.distance_m - least, 0)
        soft = [body.shape for body in self.bodies if body.kind in ("woodland", "crops")]
        length = shapely.length(shapely.intersection(points.leads, shapely.union_all(soft))) if soft else beyond * 0
        return {
            "off_square_deg": (off, off),
            "beyond_min_m": (beyond, beyond),
            "caution_crossings": self._crossings(points),
            "caution_ground": _yes([inside(b.shape, points) for b in self.bodies if b.stake == "agree" and b.is_area]),
            "near_keep_out": _yes(
                [self.job.score.margin_m - _stake_slack(body, points) for body in self.bodies if body.stake == "no"]
            ),
            "lead_beside_m": self._beside(points),
            "woodland_crops_m": (np.maximum(length - 1e-3, 0), length + 2 * STUB_M),
        }

    def _beside(self, points: Points) -> tuple[np.ndarray, np.ndarray]:
        """By how much leads come nearer than the margin to what they must not cross; less where only their ends do."""
        least, most = np.zeros(len(points)), np.zeros(len(points))
        for body in self.bodies:
            if body.crossing != "no" or body.planned:
                continue
            shape = _not_at_tower(body) if body.kind in HANGS and not body.is_area else body.shape
            edge = shape.boundary if body.is_area else shape
            if edge.is_empty:
                continue
            margin = self.job.score.margin_m
            gap = shapely.distance(points.leads, edge) - (0.0 if body.is_area else body.half_m)
            short = margin - np.maximum(gap, 0.0)
            at_end = shapely.distance(points.stakes, edge) <= shapely.distance(points.leads, edge) + UNSURE
            most = np.maximum(most, short + UNSURE + STUB_M)
            least = np.maximum(least, np.where(at_end, 0.0, short - UNSURE))
        return least, most

    def _crossings(self, points: Points) -> tuple[np.ndarray, np.ndarray]:
        slacks = [self.lead_slack(body, points) for body in self.bodies if body.crossing in ("agree", "care")]
        if self.permitted is not None:
            slacks.append(-shapely.length(shapely.difference(points.leads, self.permitted)))
        if not slacks:
            return np.zeros(len(points)), np.zeros(len(points))
        return np.sum(np.array(slacks) < -UNSURE, axis=0), np.sum(np.array(slacks) <= UNSURE, axis=0)

    def score(self, points: Points) -> tuple[np.ndarray, np.ndarray]:
        weights = self.job.score
        by_term = {
            "off_square_deg": weights.off_perpendicular_per_deg,
            "beyond_min_m": weights.beyond_min_per_m,
            "caution_crossings": weights.caution_crossing,
            "caution_ground": weights.caution_ground,
            "near_keep_out": weights.near_keep_out,
            "lead_beside_m": weights.lead_beside_per_m,
            "woodland_crops_m": weights.woodland_crops_per_m,
        }
        terms = self.terms(points)
        low, high = (sum(by_term[name] * terms[name][end] for name in by_term) for end in (0, 1))
        return low - 1e-4, high + 1e-4


def _bearing(xy: np.ndarray) -> float:
    return float(np.degrees(np.arctan2(xy[0], xy[1])) % 360)


def _yes(slacks: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Whether any is positive: surely, and possibly."""
    if not slacks:
        return np.zeros(1), np.zeros(1)
    most = np.max(slacks, axis=0)
    return (most > UNSURE).astype(float), (most >= -UNSURE).astype(float)


def inside(shape: Any, points: Points) -> np.ndarray:
    """Distance from the edge, positive inside."""
    edge = shapely.distance(points.stakes, shape.boundary)
    return np.where(shapely.intersects(shape, points.stakes), edge, -edge)


def _outside(shape: Any, points: Points) -> np.ndarray:
    return -inside(shape, points)


def _stake_slack(body: Body, points: Points) -> np.ndarray:
    if body.is_area:
        return _outside(body.shape, points) - body.keep_out_m
    return shapely.distance(points.stakes, body.shape) - body.half_m - body.keep_out_m


def _axis_slack(shape: Any, points: Points) -> np.ndarray:
    """How far leads stay from an axis; where they cross it, how far the crossing is from the ends of both."""
    gap = shapely.distance(points.leads, shape)
    ends = shapely.MultiPoint(np.vstack([shapely.get_coordinates(part)[[0, -1]] for part in shapely.get_parts(shape)]))
    meeting = shapely.intersection(points.leads, shape)
    beyond = np.minimum(shapely.distance(meeting, points.stakes), shapely.distance(meeting, ends))
    return np.where(gap > 0, gap, -np.nan_to_num(beyond))


def _segments(line: Any) -> list[Any]:
    xy = shapely.get_coordinates(line)
    return [shapely.LineString(xy[i : i + 2]) for i in range(len(xy) - 1)]


def _without_own(line: Any, spans: list[Any]) -> Any:
    """A mapped power line less its segments of which both ends and the middle are within 10 m of planned spans."""
    planned = shapely.MultiLineString(spans)

    def own(segment: Any) -> bool:
        places = [segment.interpolate(part, normalized=True) for part in (0, 0.5, 1)]
        return all(planned.distance(point) <= 10.0 for point in places)

    return shapely.MultiLineString([segment for segment in _segments(line) if not own(segment)])


def _all_segments(shape: Any) -> list[Any]:
    return [segment for part in shapely.get_parts(shape) for segment in _segments(part)]


def _is_span(segment: Any, body: Body) -> bool:
    """Whether an overhead line's segment comes within 1 m of the tower, or the mapped line ends there within 10 m."""
    near = [xy for xy in segment.coords if np.hypot(*xy) <= 10.0 and xy in body.ends]
    return segment.distance(shapely.Point(0, 0)) <= 1.0 or (bool(near) and not body.planned and segment.length > 0)


def _not_at_tower(body: Body) -> Any:
    """Segments that are no span of the tower."""
    if body.shape.geom_type == "Point":
        return body.shape if body.shape.distance(shapely.Point(0, 0)) > 1.0 else shapely.MultiLineString([])
    return shapely.MultiLineString([part for part in _all_segments(body.shape) if not _is_span(part, body)])
