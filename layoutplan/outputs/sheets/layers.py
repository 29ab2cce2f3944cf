"""The map features around a tower, and how they are drawn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.job import ObstacleClass
from layoutplan.job.classes import the
from layoutplan.job.roles import Role
from layoutplan.outputs.columns import as_lists, turned
from layoutplan.outputs.sheets.hatch import hatched
from layoutplan.outputs.sheets.panel import Panel, area_ops, areas_of, line_ops, lines_of
from layoutplan.outputs.sheets.pen import MM, Pen
from layoutplan.outputs.sheets.styles import Looks

_SIMPLER_MM = 0.1


@dataclass(frozen=True)
class Features:
    """Map features as flat arrays.

    Attributes
    ----------
    shapes, kind, label, name : ndarray
        Geometry [deg], obstacle class, what it is in words, its name.
    width_m, keep_out_m : ndarray
    no_stake : ndarray of bool
    classes : mapping of ObstacleClass
        Of the job.
    """

    shapes: NDArray[np.object_]
    kind: NDArray[np.object_]
    label: NDArray[np.object_]
    name: NDArray[np.object_]
    width_m: FloatArray
    keep_out_m: FloatArray
    no_stake: NDArray[np.bool_]
    classes: Mapping[str, ObstacleClass]

    @classmethod
    def of(cls, obstacles: gpd.GeoDataFrame, west_deg: float, classes: Mapping[str, ObstacleClass]) -> Features:
        """Features of a plan with longitudes from ``west_deg`` on.

        Parameters
        ----------
        obstacles : GeoDataFrame
            Of the plan.
        west_deg : float
            Where longitudes begin. [deg]
        classes : mapping of str to ObstacleClass
            Of the job.

        Returns
        -------
        Features
        """
        texts = as_lists(obstacles, ("obstacle_class", "label", "name"))
        kind, label, name = (np.array(column, dtype=object) for column in texts)
        return cls(
            turned(obstacles.geometry.array, west_deg),
            kind,
            label,
            name,
            np.nan_to_num(obstacles["width_m"].to_numpy(dtype=float)),
            np.nan_to_num(obstacles["keep_out_m"].to_numpy(dtype=float)),
            (obstacles["stake"] == "no").to_numpy(dtype=bool),
            classes,
        )

    @cached_property
    def looks(self) -> Looks:
        """How the classes are drawn."""
        return Looks.of(self.classes)

    @cached_property
    def reach_m(self) -> FloatArray:
        """From the mapped shape to the end of its keep-out."""
        return np.asarray(self.width_m / 2 + np.where(self.no_stake, self.keep_out_m, 0.0))

    @cached_property
    def tree(self) -> shapely.STRtree:
        """Index of the shapes."""
        return shapely.STRtree(self.shapes)

    def rows(self, index: NDArray[np.int64], shapes: NDArray[np.object_]) -> Features:
        """Some of the features, with shapes of their own.

        Parameters
        ----------
        index : ndarray of int, shape (n,)
            Those to keep.
        shapes : ndarray of Geometry, shape (n,)
            In their place. [deg]

        Returns
        -------
        Features
        """
        return Features(
            shapes,
            self.kind[index],
            self.label[index],
            self.name[index],
            self.width_m[index],
            self.keep_out_m[index],
            self.no_stake[index],
            self.classes,
        )

    def within(self, panel: Panel) -> Features:
        """Features cut to a map and as far around it as their keep-outs reach.

        Parameters
        ----------
        panel : Panel
            The map.

        Returns
        -------
        Features
        """
        window = panel.window(float(self.reach_m.max(initial=0.0)) + 2.0)
        index = self.tree.query(shapely.box(*window))
        index = index[shapely.intersects(self.shapes[index], shapely.box(*window))]
        index = np.sort(index)
        cut = shapely.clip_by_rect(self.shapes[index], *window)
        cut = shapely.simplify(cut, _SIMPLER_MM / panel.mm_per_m / float(panel.metres.max()))
        kept = ~shapely.is_empty(cut)
        return self.rows(index[kept], cut[kept])


def draw_ground(pen: Pen, panel: Panel, features: Features) -> None:
    """Fill areas, large classes below small ones.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    panel : Panel
        The map.
    features : Features
        What is mapped.
    """
    for kind in _ordered(features, features.looks.areas):
        look = features.looks.area(kind)
        ops = area_ops(areas_of(features.shapes[features.kind == kind]), panel)
        if look.fill:
            pen.path(ops, fill=look.fill)
        if look.hatch == "horizontal":
            hatched(pen, panel.box, ops, 0.0, 2.2, look.line)


def draw_edges(pen: Pen, panel: Panel, features: Features) -> None:
    """Outline areas, and cross-hatch those that nobody may enter.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    panel : Panel
        The map.
    features : Features
        What is mapped.
    """
    for kind in _ordered(features, features.looks.areas):
        look = features.looks.area(kind)
        areas = areas_of(features.shapes[features.kind == kind])
        ops = area_ops(areas, panel)
        if look.over:
            pen.path(ops, fill=look.fill)
        if look.hatch == "cross":
            for angle in (45.0, 135.0):
                hatched(pen, panel.box, ops, angle, 2.4, look.line)
        pen.path(ops, width=look.width, color=look.line, dash=look.dash)


def draw_keep_outs(pen: Pen, panel: Panel, features: Features) -> None:
    """Hatch everything where no stake may stand; power lines get an outline instead, as they fill the map.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    panel : Panel
        The map.
    features : Features
        What is mapped.
    """
    shut = features.no_stake & (features.reach_m > 0)
    shut |= features.no_stake & (shapely.get_dimensions(features.shapes) == 2)
    for power in (False, True):
        rows = shut & ((features.kind == the(Role.LINE)) == power)
        if not rows.any():
            continue
        metric = shapely.transform(features.shapes[rows], panel.metres_of)
        zone = shapely.union_all(shapely.buffer(metric, features.reach_m[rows], quad_segs=4))
        draw_zone(pen, panel, zone, hatch=not power)


def draw_zone(pen: Pen, panel: Panel, zone: shapely.Geometry, *, hatch: bool) -> None:
    """Draw a keep-out given in metres from the tower: hatched, or as a long-dashed outline.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    panel : Panel
        The map.
    zone : Geometry
        From the tower. [m]
    hatch : bool
        Whether it is hatched, or outlined.
    """
    west, south, east, north = panel.corners_m(5.0)
    inside = shapely.simplify(shapely.clip_by_rect(zone, west, south, east, north), _SIMPLER_MM / panel.mm_per_m)
    ops = area_ops(areas_of(np.array([inside], dtype=object)), panel, metric=True)
    if hatch:
        hatched(pen, panel.box, ops, 45.0, 1.5, "#7d7d7d")
        pen.path(ops, width=0.35, color="#7d7d7d")
    else:
        pen.path(ops, width=0.7, color="#4d3f63", dash=(9, 3))


def draw_ways(pen: Pen, panel: Panel, features: Features) -> None:
    """Draw roads, railways, water and the rest that is mapped as lines, as wide as on the ground or wider.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    panel : Panel
        The map.
    features : Features
        What is mapped.
    """
    for kind in _ordered(features, features.looks.lines):
        look = features.looks.line(kind)
        rows = np.flatnonzero(features.kind == kind)
        width_pt = np.maximum(np.round(features.width_m[rows] * panel.mm_per_m * MM, 1), look.width)
        groups = [
            (float(width), line_ops(lines_of(features.shapes[rows[width_pt == width]]), panel))
            for width in np.unique(width_pt)
        ]
        for width, ops in groups:
            pen.path(ops, width=width if look.inside else min(width, 2 * look.width), color=look.line, dash=look.dash)
        if look.inside:
            for width, ops in groups:
                pen.path(ops, width=width - 1.1, color=look.inside, dash=look.inside_dash)


def draw_points(pen: Pen, panel: Panel, features: Features) -> None:
    """Mark what is mapped as a single point.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    panel : Panel
        The map.
    features : Features
        What is mapped.
    """
    parts, row = shapely.get_parts(features.shapes, return_index=True)
    single = shapely.get_type_id(parts) == 0
    places = panel.points_of(shapely.get_coordinates(parts[single])) / MM
    for (x, y), width in zip(places.tolist(), features.width_m[row[single]].tolist(), strict=True):
        pen.circle(x, y, max(0.6, width / 2 * panel.mm_per_m), "#9a938d", 0.5, "#333333")


def _ordered(features: Features, order: Mapping[str, object]) -> list[str]:
    there = set(features.kind.tolist())
    return [kind for kind in order if kind in there] + sorted(there - order.keys())
