"""The valley's own frame, and the few kinds of shape it is drawn with.

Positions are written as (u, v) in metres: u down the valley, v to its left. One turn and one shift put them on the map.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

GRID_CRS = "EPSG:25832"
ORIGIN_E_M, ORIGIN_N_M = 561_000.0, 5_237_000.0
TURN_DEG = 12.0  # from east to the u axis, counter-clockwise

Point2 = tuple[float, float]
FloatArray = NDArray[np.float64]


class Feature(NamedTuple):
    """Something on the map: its table, its kind there, its name, its full width (lines, metres) and its shape."""

    layer: str
    kind: str
    name: str
    width_m: float
    geometry: BaseGeometry


def to_grid(uv: ArrayLike) -> FloatArray:
    """Turn (n, 2) positions in the valley frame into easting and northing, to the centimetre."""
    u, v = np.asarray(uv, dtype=float).T
    cos, sin = np.cos(np.radians(TURN_DEG)), np.sin(np.radians(TURN_DEG))
    return np.round(np.column_stack([ORIGIN_E_M + u * cos - v * sin, ORIGIN_N_M + u * sin + v * cos]), 2)


def from_grid(en: ArrayLike) -> FloatArray:
    """Turn (n, 2) eastings and northings into positions in the valley frame."""
    east, north = np.asarray(en, dtype=float).T
    east, north = east - ORIGIN_E_M, north - ORIGIN_N_M
    cos, sin = np.cos(np.radians(TURN_DEG)), np.sin(np.radians(TURN_DEG))
    return np.column_stack([east * cos + north * sin, north * cos - east * sin])


def dice(*seed: int) -> Callable[[int], FloatArray]:
    """Return a source of uniform numbers in [0, 1) that depends on the seed only."""
    generator = np.random.default_rng(seed)
    return lambda count: generator.random(count)


def waves(at_m: ArrayLike, seed: int, lengths_m: Sequence[float]) -> FloatArray:
    """Smooth noise of about ±1: one sine for each wave length, each with a phase of its own."""
    phases = dice(seed)(len(lengths_m)) * 2 * np.pi
    terms = np.sin(2 * np.pi * np.asarray(at_m, dtype=float)[..., None] / np.array(lengths_m) + phases)
    return terms.sum(axis=-1) / np.sqrt(len(lengths_m))


def curve(points: Sequence[Point2], step_m: float = 15.0) -> LineString:
    """Draw a smooth line through the points (cubic Hermite pieces over the chord length)."""
    knots = np.asarray(points, dtype=float)
    if len(knots) < 3:
        return LineString(knots)
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(knots, axis=0).T))])
    slope = np.gradient(knots, at, axis=0)
    along = np.linspace(0.0, at[-1], max(2, round(at[-1] / step_m)) + 1)
    i = np.clip(np.searchsorted(at, along, side="right") - 1, 0, len(at) - 2)
    length = (at[i + 1] - at[i])[:, None]
    x = (along - at[i])[:, None] / length
    start = (1 + 2 * x) * (1 - x) ** 2 * knots[i] + x * (1 - x) ** 2 * length * slope[i]
    end = x**2 * (3 - 2 * x) * knots[i + 1] + x**2 * (x - 1) * length * slope[i + 1]
    return LineString(start + end)


def wander(line: LineString, by_m: float, seed: int, lengths_m: Sequence[float] = (75.0, 160.0, 310.0)) -> LineString:
    """Let a line swing about its course; its ends stay."""
    knots = np.asarray(line.coords)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(knots, axis=0).T))])
    swing = by_m * np.sqrt(np.sin(np.pi * along / along[-1]).clip(0)) * waves(along, seed, lengths_m)
    return LineString(knots + swing[:, None] * _left(knots))


def closed_curve(points: Sequence[Point2], rounds: int = 4) -> Polygon:
    """Draw a smooth ring inside a polygon by cutting its corners again and again."""
    ring = np.asarray(points, dtype=float)
    for _ in range(rounds):
        after = np.roll(ring, -1, axis=0)
        ring = np.stack([0.75 * ring + 0.25 * after, 0.25 * ring + 0.75 * after], axis=1).reshape(-1, 2)
    return Polygon(ring)


def blob(centre: Point2, radii_m: Point2, seed: int, turn_deg: float = 0.0, corners: int = 40) -> Polygon:
    """Draw a rounded patch with an uneven edge."""
    angle = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    phase = dice(seed)(3) * 2 * np.pi
    radius = 1 + sum(a * np.sin(k * angle + p) for k, a, p in zip((2, 3, 5), (0.12, 0.10, 0.05), phase, strict=True))
    local = np.column_stack([radius * radii_m[0] * np.cos(angle), radius * radii_m[1] * np.sin(angle)])
    return Polygon(_turned(local, turn_deg) + np.array(centre))


def box_at(centre: Point2, length_m: float, depth_m: float, turn_deg: float) -> Polygon:
    """Draw a rectangle about its centre."""
    half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [length_m / 2, depth_m / 2]
    return Polygon(_turned(half, turn_deg) + np.array(centre))


def ribbon(line: LineString, half_width_m: float, seed: int, tapered: bool = False) -> Polygon:
    """Give a line a width that swells and narrows, and runs out at both ends if ``tapered``."""
    knots = np.asarray(line.coords)
    left, along = _left(knots), np.arange(len(knots)) * 15.0
    width = half_width_m * (np.sqrt(np.sin(np.pi * along / along[-1]).clip(0.02)) if tapered else np.ones(len(knots)))
    banks = [(width * (1 + 0.2 * waves(along, seed + k, (90, 210, 340))))[:, None] for k in (0, 1)]
    return Polygon(np.vstack([knots + banks[0] * left, (knots - banks[1] * left)[::-1]]))


def cut_out(line: LineString, places: Sequence[tuple[Point2, Point2]]) -> tuple[list[LineString], list[LineString]]:
    """Split a line into what remains and the pieces between pairs of points, given in the line's direction."""
    cuts = [(line.project(shapely.Point(a)), line.project(shapely.Point(b))) for a, b in places]
    edges = [0.0, *(d for cut in cuts for d in cut), line.length]
    rest = [substring(line, a, b) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return rest, [substring(line, a, b) for a, b in cuts]


def _left(knots: FloatArray) -> FloatArray:
    """Return the unit vectors to the left of a course at its knots."""
    ahead = np.gradient(knots, axis=0)
    return np.column_stack([-ahead[:, 1], ahead[:, 0]]) / np.hypot(*ahead.T)[:, None]


def _turned(xy: FloatArray, turn_deg: float) -> FloatArray:
    cos, sin = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return xy @ np.array([[cos, sin], [-sin, cos]])
