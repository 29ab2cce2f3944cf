"""The nearest road of a tower, from the plan's map."""

from __future__ import annotations

import numpy as np
import shapely

from layoutplan.job.classes import ROADS
from layoutplan.job.roles import Road
from layoutplan.line.geodesy import octant
from layoutplan.outputs.sheets.layers import Features
from layoutplan.outputs.sheets.panel import Panel

_LOOKED_M = 500.0
_KINDS = [[name for name, road in ROADS.items() if (road == Road.TRACK) == track] for track in (False, True)]


def nearest_road(panel: Panel, features: Features) -> str:
    """Describe which road and which track are nearest to the tower, how far and in which direction.

    Parameters
    ----------
    panel : Panel
        The map.
    features : Features
        What is mapped.

    Returns
    -------
    str
        In words.
    """
    reach = _LOOKED_M / panel.metres
    index = features.tree.query(shapely.box(*(panel.origin - reach), *(panel.origin + reach)))
    parts = []
    for kinds in _KINDS:
        rows = np.sort(index[np.isin(features.kind[index], kinds)])
        if len(rows):
            shapes = shapely.transform(features.shapes[rows], panel.metres_of)
            tower = shapely.Point(0, 0)
            away = shapely.distance(shapes, tower) - features.width_m[rows] / 2
            best = int(np.argmin(away))
            if away[best] <= _LOOKED_M:
                x, y = shapely.get_coordinates(shapely.shortest_line(tower, shapes[best]))[-1]
                row = rows[best]
                name = f" '{features.name[row]}'" if features.name[row] else ""
                towards = str(octant(np.array([np.degrees(np.arctan2(x, y))]))[0])
                parts.append(f"{features.label[row]}{name}, {max(away[best], 0):.0f} m {towards} of the tower")
    return "; ".join(parts) or f"none on the map within {_LOOKED_M:.0f} m of the tower"
