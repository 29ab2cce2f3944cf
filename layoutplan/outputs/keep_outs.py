"""The ground on which no stake may stand, as areas by obstacle class."""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutplan.job.classes import the
from layoutplan.job.roles import Role
from layoutplan.layout.model import Plan
from layoutplan.outputs.grid import Grid
from layoutplan.outputs.grid_factors import grid_factors

_QUARTER = 16  # sides of a quarter circle
_ROUND_UP = 1 / math.cos(
    math.pi / (4 * _QUARTER)
)  # the corners lie on the circle: so its sides lie outside the true one
_SIMPLER_M = 0.05  # outlines leave out corners within this, having been drawn that much farther out
_AROUND_M = 50.0  # beyond the reach of the reel and of a keep-out


def near_the_line(plan: Plan, grid: Grid) -> NDArray[np.object_]:
    """Map features in the grid, cut to what could matter for a lead and some more.

    Parameters
    ----------
    plan : Plan
        With obstacles and spans.
    grid : Grid
        Of the plan.

    Returns
    -------
    ndarray of Geometry, shape (obstacles,)
        None where nothing is left.
    """
    shapes = shapely.make_valid(grid.shapes(plan.obstacles.geometry.array))
    spans = shapely.union_all(grid.shapes(plan.spans.geometry.array))
    if spans.is_empty:
        return np.asarray(shapes, dtype=object)
    widest_m = max(_distances_m(plan, shapely.get_dimensions(shapes)), default=0.0)
    corridor = spans.buffer((plan.job.rules.reach_m + widest_m + _AROUND_M) * 1.01 / grid.unit.metres)
    shapely.prepare(corridor)
    near, inside = shapely.intersects(corridor, shapes), shapely.contains_properly(corridor, shapes)
    cut = np.where(inside, shapes, np.array(None, dtype=object))
    edge = near & ~inside
    cut[edge] = shapely.intersection(shapes[edge], corridor)
    return cut


def keep_outs(plan: Plan, grid: Grid, obstacles: NDArray[np.object_]) -> dict[str, shapely.Geometry]:
    """Areas by obstacle class, in the grid; never smaller than the rule asks for, up to 0.1 m and 0.12 % larger.

    Parameters
    ----------
    plan : Plan
        With obstacles and spans.
    grid : Grid
        Of the plan.
    obstacles : ndarray of Geometry, shape (obstacles,)
        The plan's map features in the grid, as `near_the_line` gives them.

    Returns
    -------
    dict of str to Geometry
        In the grid's unit.
    """
    table = plan.obstacles
    distance_m = _distances_m(plan, shapely.get_dimensions(obstacles))
    kept = (table["stake"].to_numpy() == "no") & ~shapely.is_missing(obstacles)
    spans = grid.shapes(plan.spans.geometry.array)
    span_m = plan.spans["half_width_m"].to_numpy(dtype=float) + plan.job.rules.line_clearance_m
    shapes = np.concatenate((obstacles[kept], spans))
    distance_m = np.concatenate((distance_m[kept], span_m))
    names = np.concatenate((table["obstacle_class"].to_numpy(dtype=object)[kept], np.full(len(spans), the(Role.LINE))))
    units = _units_per_metre(grid, shapes)
    grown = shapely.buffer(shapes, (distance_m * _ROUND_UP + _SIMPLER_M) * units, quad_segs=_QUARTER)
    areas = {name: shapely.union_all(grown[names == name]) for name in sorted(set(names.tolist()))}
    return {name: shapely.simplify(area, _SIMPLER_M * units.min()) for name, area in areas.items()}


def _distances_m(plan: Plan, dimensions: NDArray[np.signedinteger]) -> NDArray[np.float64]:
    """From the mapped line or edge to where a stake may stand. [m]."""
    width, keep_out = (np.nan_to_num(plan.obstacles[name].to_numpy(dtype=float)) for name in ("width_m", "keep_out_m"))
    return np.asarray(np.where(dimensions < 2, width / 2, 0.0) + keep_out)


def _units_per_metre(grid: Grid, shapes: NDArray[np.object_]) -> NDArray[np.float64]:
    """Length on the grid of a metre on the ellipsoid at each shape; the larger scale where it depends on direction."""
    bounds = shapely.bounds(shapes)
    scale = grid_factors(grid, (bounds[:, :2] + bounds[:, 2:]) / 2, np.zeros(len(bounds))).largest
    return np.asarray(scale / grid.unit.metres)
