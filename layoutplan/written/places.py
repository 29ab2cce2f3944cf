"""Whether towers, stakes and leads of a written plan lie where their own figures place them."""

from __future__ import annotations

from collections.abc import Iterator

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

_SAME_PLACE_DEG = 2e-7  # a few centimetres at most; coordinate systems turned there and back give millimetres


def misplaced(table: pd.DataFrame, vertex: int) -> Iterator[str]:
    """Names of points, or of lines by their first or last vertex, that are not at the row's ``lon`` and ``lat``.

    Parameters
    ----------
    table : GeoDataFrame
        Towers, electrodes or leads, in degrees.
    vertex : int
        0 for points and first vertices, -1 for last ones.

    Yields
    ------
    str
        Tower, and role where there is one.
    """
    shapes = table.geometry.to_numpy()
    ends = shapes if vertex == 0 else shapely.get_point(shapes, vertex)
    away = np.stack((shapely.get_x(ends) - table["lon"].to_numpy(float), shapely.get_y(ends) - table["lat"]), axis=1)
    away[:, 0] -= 360.0 * np.round(np.nan_to_num(away[:, 0]) / 360.0)
    roles = table["role"] if "role" in table else [""] * len(table)
    for row in np.flatnonzero(~(np.abs(away) < _SAME_PLACE_DEG).all(axis=1)).tolist():
        yield f"{table['tower_id'].iloc[row]} {roles[row]}".strip()


def loose(leads: gpd.GeoDataFrame, electrodes: pd.DataFrame, towers: pd.DataFrame) -> Iterator[str]:
    """Names of leads that do not begin at their tower, or whose end is not their stake's.

    Parameters
    ----------
    leads, electrodes, towers : DataFrame
        Of the plan, in degrees.

    Yields
    ------
    str
        Tower and role.
    """
    keys = ["line_id", "tower_id"]
    for table, vertex, on in ((towers, 0, keys), (electrodes, -1, [*keys, "role"])):
        there = leads[[*keys, "role"]].merge(table[[*on, "lon", "lat"]].drop_duplicates(on), on=on, how="left")
        ends = leads.assign(lon=there["lon"].to_numpy(), lat=there["lat"].to_numpy())
        yield from misplaced(ends.set_geometry(shapely.get_point(ends.geometry.to_numpy(), vertex)), 0)
