"""Where no stake may stand, as it is drawn: hatched, or outlined about power lines."""

from __future__ import annotations

import numpy as np
import shapely

from layoutplan.job.classes import the
from layoutplan.job.roles import Role
from layoutplan.outputs.sheets.hatch import hatched
from layoutplan.outputs.sheets.layers import SIMPLER_MM, Features
from layoutplan.outputs.sheets.panel import Panel, area_ops, areas_of
from layoutplan.outputs.sheets.pen import Pen
from layoutplan.outputs.sheets.styles import (
    CORRIDOR_COLOR,
    CORRIDOR_DASH,
    CORRIDOR_WIDTH,
    KEEP_OUT_COLOR,
    KEEP_OUT_HATCH,
)


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


def kept_out(panel: Panel, features: Features) -> bool:
    """Whether ground is hatched on a map.

    Parameters
    ----------
    panel : Panel
        The map.
    features : Features
        What is mapped.

    Returns
    -------
    bool
        True too where a keep-out ends a little outside.
    """
    near = features.tree.query(shapely.box(*panel.window(float(features.reach_m.max(initial=0.0)))))
    near = near[features.no_stake[near] & (features.kind[near] != the(Role.LINE))]
    near = near[(features.reach_m[near] > 0) | (features.dimension[near] == 2)]
    reach = features.reach_m[near] / float(panel.metres.min())
    return bool(shapely.dwithin(features.shapes[near], shapely.box(*panel.window()), reach).any())


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
    inside = shapely.simplify(shapely.clip_by_rect(zone, west, south, east, north), SIMPLER_MM / panel.mm_per_m)
    ops = area_ops(areas_of(np.array([inside], dtype=object)), panel, metric=True)
    if hatch:
        hatched(pen, panel.box, ops, KEEP_OUT_HATCH, KEEP_OUT_COLOR)
        pen.path(ops, width=0.35, color=KEEP_OUT_COLOR)
    else:
        pen.path(ops, width=CORRIDOR_WIDTH, color=CORRIDOR_COLOR, dash=CORRIDOR_DASH)
