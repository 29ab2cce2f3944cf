"""What of the plan's map features is drawn: those near the towers, as far out as a page may hold."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import shapely

from layoutplan.layout.model import Plan
from layoutplan.outputs.columns import turned, west_deg
from layoutplan.outputs.map_page.corridor import SIMPLIFIED_M, edge, near_towers

# drawn beyond the reach of the reel, the first that fits: generous, but a page must open on a telephone
_AROUND_M = (350.0, 150.0, 50.0, 0.0)
_AROUND_LONG_M = (50.0, 0.0)
_SHORT_LINE_TOWERS = 400  # on longer lines the wider windows are not even tried: they take seconds to cut
_MOST_BYTES = 8_000_000  # of the base map; with the plan itself, 10 MB for 300 towers
_BYTES_PER_FEATURE, _BYTES_PER_CORNER = 45, 5.5  # rather more than measured on real and made-up maps


@dataclass(frozen=True)
class BaseMap:
    """Features to draw, and what was done to them.

    Attributes
    ----------
    features : GeoDataFrame
        Rows of the plan's obstacles, cut and simplified; empty if there are none, or too many.
    note : str
        For people, on the page and in the record of the plan.
    edge : Geometry or None
        How far it reaches.
    """

    features: gpd.GeoDataFrame
    note: str
    edge: shapely.Geometry | None = None


def base_map(plan: Plan) -> BaseMap:
    """Cut the plan's map features to the surroundings of the towers, with a note on how.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    BaseMap
        Without features where they are too many for one page; its note states so.
    """
    towers = shapely.get_coordinates(turned(plan.towers.geometry.array, west_deg(plan)))
    for around_m in _AROUND_M if len(towers) <= _SHORT_LINE_TOWERS else _AROUND_LONG_M:
        radius_m = plan.job.rules.reach_m + around_m
        near = near_towers(plan.obstacles, towers, radius_m)
        if size(near) <= _MOST_BYTES:
            note = _note(len(near), len(plan.obstacles), radius_m)
            return BaseMap(near, note, edge(towers, radius_m) if len(near) else None)
    return BaseMap(
        near.iloc[:0],
        f"This map has no base map: {len(near)} map features lie around the towers, too many for one page; plan.gpkg "
        "holds them. An empty map does not mean clear ground.",
    )


def size(features: gpd.GeoDataFrame) -> int:
    """Bytes on the page, estimated.

    Parameters
    ----------
    features : GeoDataFrame
        Of the base map.

    Returns
    -------
    int
    """
    corners = float(shapely.get_num_coordinates(features.geometry.array).sum())
    return round(_BYTES_PER_FEATURE * len(features) + _BYTES_PER_CORNER * corners)


def _note(drawn: int, held: int, radius_m: float) -> str:
    if not drawn:
        return (
            f"This map has no base map: no map features lie within {radius_m:.0f} m of the towers. An empty map does "
            "not mean clear ground."
        )
    return (
        f"The base map is cut to squares reaching {radius_m:.0f} m from each tower ({drawn} of {held} map features), "
        f"and its outlines are simplified by up to {SIMPLIFIED_M:.0f} m. Towers, stakes, leads and line are not "
        "simplified, and all figures come from the full data."
    )
