"""The list an access officer works through: each parcel that stakes, leads or approaches touch."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from layoutplan.layout.schema import TABLES
from layoutplan.line.geodesy import GEOD
from layoutplan.planning.tables import rounded_columns


def permissions_table(
    land: gpd.GeoDataFrame,
    electrodes: gpd.GeoDataFrame,
    leads: gpd.GeoDataFrame,
    approaches: gpd.GeoDataFrame | None = None,
) -> gpd.GeoDataFrame:
    """One row for each parcel that something touches, those that need asking first.

    Parameters
    ----------
    land : GeoDataFrame
        Parcels, columns as in :data:`layoutplan.inputs.land.LAND_COLUMNS`, EPSG:4326.
    electrodes, leads : GeoDataFrame
        Of the plan.
    approaches : GeoDataFrame, optional
        Walking routes with ``line_id``, ``tower_id``.

    Returns
    -------
    GeoDataFrame
        A table of the plan; lengths on the ground. [m]
    """
    on_stakes, stakes = _touched(land, electrodes)
    on_leads, lead_m = _crossed(land, leads)
    on_walks, walk_m = (
        _crossed(land, approaches) if approaches is not None else ([[] for _ in lead_m], np.zeros(len(land)))
    )
    towers = [
        ", ".join(dict.fromkeys([*stake, *lead, *walk]))
        for stake, lead, walk in zip(on_stakes, on_leads, on_walks, strict=True)
    ]
    schema = TABLES["permissions"]
    table = land.assign(
        towers=towers,
        stakes=[", ".join(names) for names in stakes],
        **rounded_columns({"lead_m": lead_m, "approach_m": walk_m}, schema),
    )
    used = table[table["towers"] != ""]
    rank = used["state"].map({"no entry": 0, "permission needed": 1, "granted": 2}).to_numpy()
    order = np.lexsort((used["parcel"].to_numpy(dtype=str), rank))
    return gpd.GeoDataFrame(used.iloc[order].reset_index(drop=True))[[*schema.columns, "geometry"]]


def _touched(land: gpd.GeoDataFrame, electrodes: gpd.GeoDataFrame) -> tuple[list[list[str]], list[list[str]]]:
    """Towers of the stakes in each parcel, and the stakes themselves: tower and role."""
    towers: list[list[str]] = [[] for _ in range(len(land))]
    stakes: list[list[str]] = [[] for _ in range(len(land))]
    shapes = electrodes.geometry.to_numpy()
    stake, parcel = shapely.STRtree(land.geometry.to_numpy()).query(shapes, predicate="intersects")
    ids, roles = electrodes["tower_id"].tolist(), electrodes["role"].tolist()
    for i, j in sorted(zip(stake.tolist(), parcel.tolist(), strict=True)):
        towers[j].append(ids[i])
        stakes[j].append(f"{ids[i]} {roles[i]}")
    return towers, stakes


def _crossed(land: gpd.GeoDataFrame, lines: gpd.GeoDataFrame) -> tuple[list[list[str]], np.ndarray]:
    """Towers whose lines cross each parcel, and the length within it. [m]."""
    towers: list[list[str]] = [[] for _ in range(len(land))]
    length = np.zeros(len(land))
    shapes, parcels = lines.geometry.to_numpy(), land.geometry.to_numpy()
    line, parcel = shapely.STRtree(parcels).query(shapes, predicate="intersects")
    inside = shapely.intersection(shapes[line], parcels[parcel])
    ids = lines["tower_id"].to_numpy()
    for i, j, part in sorted(zip(line.tolist(), parcel.tolist(), inside, strict=True), key=lambda row: row[:2]):
        if part.length > 0:
            length[j] += GEOD.geometry_length(part)
            towers[j].append(str(ids[i]))
    return towers, length
