"""The ground on which no stake may stand, as areas by obstacle class."""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutplan.outputs.grid import Grid
from layoutplan.outputs.grid_factors import grid_factors
from layoutplan.planning.model import Plan

POWER_LINE = "power_line"
_QUARTER = 16  # sides of a quarter circle
_ROUND_UP = 1 / math.cos(
    math.pi / (4 * _QUARTER)
)  # the corners lie on the circle: so its sides lie outside the true one
_AROUND_M = 300.0  # beyond the reach of the reel


def near_the_line(plan: Plan, grid: Grid) -> NDArray[np.object_]:
    """Map features in the grid, cut to a box some hundred metres larger than the plan; None for those outside."""
    shapes = grid.shapes(plan.obstacles.geometry.array)
    west, south, east, north = shapely.total_bounds(grid.shapes(plan.spans.geometry.array))
    margin = (plan.job.rules.reach_m + _AROUND_M) / grid.unit.metres
    if not np.isfinite(west):
        return shapes
    box = shapely.box(west - margin, south - margin, east + margin, north + margin)
    shapes = shapely.make_valid(shapes)
    cut = np.asarray(shapely.intersection(shapes, box), dtype=object)
    cut[shapely.is_empty(cut)] = None
    return cut


def keep_outs(plan: Plan, grid: Grid, obstacles: NDArray[np.object_]) -> dict[str, shapely.Geometry]:
    """Areas by obstacle class, in the grid; never smaller than the rule asks for, up to 0.12 % of the distance larger.

    Parameters
    ----------
    plan : Plan
    grid : Grid
    obstacles : ndarray
        The plan's map features in the grid, as `near_the_line` gives them.
    """
    table = plan.obstacles
    is_line = shapely.get_dimensions(obstacles) < 2
    half_width = np.where(is_line, np.nan_to_num(table["width_m"].to_numpy(dtype=float)) / 2, 0.0)
    distance_m = half_width + np.nan_to_num(table["keep_out_m"].to_numpy(dtype=float))
    kept = (table["stake"].to_numpy() == "no") & ~shapely.is_missing(obstacles)
    spans = grid.shapes(plan.spans.geometry.array)
    span_m = plan.spans["half_width_m"].to_numpy(dtype=float) + plan.job.rules.line_clearance_m
    shapes = np.concatenate((obstacles[kept], spans))
    distance_m = np.concatenate((distance_m[kept], span_m))
    names = np.concatenate((table["obstacle_class"].to_numpy(dtype=object)[kept], np.full(len(spans), POWER_LINE)))
    grown = shapely.buffer(shapes, distance_m * _units_per_metre(grid, shapes) * _ROUND_UP, quad_segs=_QUARTER)
    return {name: shapely.union_all(grown[names == name]) for name in sorted(set(names.tolist()))}


def _units_per_metre(grid: Grid, shapes: NDArray[np.object_]) -> NDArray[np.float64]:
    """Length on the grid of a metre on the ellipsoid at each shape; the larger scale where it depends on direction."""
    bounds = shapely.bounds(shapes)
    scale = grid_factors(grid, (bounds[:, :2] + bounds[:, 2:]) / 2, np.zeros(len(bounds))).largest
    return np.asarray(scale / grid.unit.metres)
