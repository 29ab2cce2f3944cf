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
from layoutplan.outputs.columns import as_lists, turned
from layoutplan.outputs.sheets.hatch import hatched
from layoutplan.outputs.sheets.marks import single_sign
from layoutplan.outputs.sheets.panel import Panel, area_ops, areas_of, line_ops, lines_of
from layoutplan.outputs.sheets.pen import MM, Pen
from layoutplan.outputs.sheets.styles import (
    FORBIDDING,
    HATCHES,
    Looks,
)

SIMPLER_MM = 0.1  # finer than a pen draws


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
    def dimension(self) -> NDArray[np.int64]:
        """0 for places, 1 for lines, 2 for areas."""
        return np.asarray(np.maximum(shapely.get_dimensions(self.shapes), 0), dtype=np.int64)

    def seen(self, panel: Panel) -> NDArray[np.int64]:
        """Rows of those that reach into a map.

        Parameters
        ----------
        panel : Panel
            The map.

        Returns
        -------
        ndarray of int
            Ascending.
        """
        return np.sort(self.tree.query(shapely.box(*panel.window()), predicate="intersects"))

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
        cut = shapely.simplify(cut, SIMPLER_MM / panel.mm_per_m / float(panel.metres.max()))
        kept = ~shapely.is_empty(cut)
        return self.rows(index[kept], cut[kept])


def draw_ground(pen: Pen, panel: Panel, features: Features) -> None:
    """Fill areas with their tone and pattern, large classes below small ones.

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
        if look.hatch not in FORBIDDING:
            hatched(pen, panel.box, ops, HATCHES[look.hatch], look.line, look.fill)


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
        if look.hatch in FORBIDDING:
            hatched(pen, panel.box, ops, HATCHES[look.hatch], look.line)
        pen.path(ops, width=look.width, color=look.line, dash=look.dash)


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
        single_sign(pen, x, y, max(0.6, width / 2 * panel.mm_per_m))


def _ordered(features: Features, order: Mapping[str, object]) -> list[str]:
    there = set(features.kind.tolist())
    return [kind for kind in order if kind in there] + sorted(there - order.keys())
