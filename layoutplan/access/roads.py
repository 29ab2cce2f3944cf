"""Roads and gates picked out of the map's features."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from layoutplan.access.enclosed import enclosed
from layoutplan.access.ground import BRIDGE
from layoutplan.job.classes import the
from layoutplan.job.roles import Role

GATE = the(Role.GATE)
_ON_THE_ROAD_DEG = 1e-5  # about a metre: gates of other sources than the roads need not lie on their corners


def roads_and_gates(features: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Pick roads and gates out of the map.

    Parameters
    ----------
    features : GeoDataFrame
        Columns as in :data:`layoutplan.inputs.model.FEATURE_COLUMNS`, EPSG:4326.

    Returns
    -------
    roads : GeoDataFrame
        Columns :data:`layoutplan.access.ground.ROAD_COLUMNS`: lines. One with a gate on it that may be locked needs a
        permission, on both sides of the gate: the map does not show from where the vehicle comes; and so do small nets
        of open roads behind it, see :func:`layoutplan.access.enclosed.enclosed`. ``bridge`` is the row of the bridge in
        ``features``, -1 for what leads over the ground.
    gates : GeoDataFrame
        Points where fences and walls can be passed.
    """
    shape = features.geometry.to_numpy()
    is_gate = (features["obstacle_class"] == GATE).to_numpy()
    gates = features.loc[is_gate & (shapely.get_dimensions(shape) < 2), ["vehicle", "geometry"]]
    is_road = (features["road_class"] != "").to_numpy() & (shapely.get_dimensions(shape) == 1)
    roads = features.loc[is_road, ["name", "road_class", "vehicle", "width_m", "geometry"]].reset_index(drop=True)
    shut = gates.geometry.to_numpy()[(gates["vehicle"] != "yes").to_numpy()]
    gated = _with_gates(roads.geometry.to_numpy(), shut) & (roads["vehicle"] == "yes").to_numpy()
    vehicle = np.where(gated, "permit", roads["vehicle"]).astype(object)
    behind = enclosed(roads.geometry.to_numpy(), vehicle, roads["road_class"].to_numpy(dtype=object))
    vehicle[behind] = "permit"
    row = np.flatnonzero(is_road)
    bridge = np.where((features["obstacle_class"] == BRIDGE).to_numpy()[row], row, -1)
    passed = shapely.centroid(gates.geometry.to_numpy())  # of a gate drawn as a line, its middle
    gates = gates.set_geometry(passed, crs="EPSG:4326").reset_index(drop=True)
    return roads.assign(vehicle=vehicle, bridge=bridge), gates


def _with_gates(roads: NDArray[np.object_], gates: NDArray[np.object_]) -> NDArray[np.bool_]:
    gated = np.zeros(len(roads), dtype=bool)
    if len(roads) and len(gates):
        gated[STRtree(roads).query(gates, predicate="dwithin", distance=_ON_THE_ROAD_DEG)[1]] = True
    return gated
