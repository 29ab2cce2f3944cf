"""Ways on foot in the plan: what they are found on, and their tables."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from layoutplan.access import Relief, Walkable, approaches_table, build_ground, roads_and_gates
from layoutplan.arrays import FloatArray
from layoutplan.inputs import Inputs
from layoutplan.inputs.coverage import complete_within_m
from layoutplan.inputs.gaps import REACH
from layoutplan.job import Job
from layoutplan.layout.schema import TABLES
from layoutplan.line import Towers
from layoutplan.planning.tables import rounded_columns
from layoutplan.terrain import Dem, elevation_m

SWITCHED_OFF = "ways on foot were not looked for (access.find_ways = false); walking does not count in the score"
NO_ROADS = "the map holds no roads: ways on foot could not be looked for; walking does not count in the score"
LOOKED_FOR = (
    "roads without access tags count as open to the crew's vehicle; tracks, drives and gates without them need a "
    "permission (judgement)",
    "beyond gates and private roads, whether the vehicle gets to the drop-off point along the roads is not looked "
    "into: bridges' limits and narrow places are for the crew to know",
    "walking times are Tobler's for an unburdened walker, the mean of there and back; leads and rods take longer",
)


def walkable(
    job: Job, inputs: Inputs, dem: Dem, towers: Towers, covers: NDArray[np.bool_]
) -> tuple[Walkable | None, tuple[str, ...]]:
    """Prepare the ground for walking.

    Parameters
    ----------
    job : Job
    inputs : Inputs
        With all features of the corridor.
    dem : Dem
    towers : Towers
    covers : ndarray of bool, shape (towers,)
        Whether the map covers each tower.

    Returns
    -------
    Walkable or None
        None where ways are not looked for.
    assumptions : tuple of str
    """
    if not job.access.find_ways:
        return None, (SWITCHED_OFF,)
    roads, gates = roads_and_gates(inputs.features)
    if roads.empty:
        return None, (NO_ROADS,)
    ground = build_ground(
        inputs.features,
        roads,
        job.obstacle_classes,
        job.access,
        gates=gates,
        permitted_given=job.gives_permitted_land,
    )
    steps = sorted({job.rules.reach_m, *job.access.windows_m})
    found = inputs.extents, inputs.coverage if REACH in job.coverage.themes else (), job.coverage.radius_m
    complete = complete_within_m(towers.lonlat_deg, covers, steps, *found)
    return Walkable(ground, _relief(dem), complete), LOOKED_FOR


def _relief(dem: Dem) -> Relief:
    if not dem.mosaics:
        return Relief()

    def height(lonlat_deg: FloatArray) -> FloatArray:
        return elevation_m(dem, lonlat_deg)

    return Relief(height)


def ways_table(rows: Sequence[dict[str, Any]]) -> gpd.GeoDataFrame:
    """Table of the ways of all sections, rounded like the other tables."""
    table = approaches_table(rows)
    plain = {name: table[name].to_numpy() for name in TABLES["approaches"].columns}
    shapes = shapely.transform(table.geometry.to_numpy(), lambda lonlat: np.round(lonlat, 9) + 0.0)
    return gpd.GeoDataFrame(rounded_columns(plain, TABLES["approaches"]), geometry=shapes, crs=table.crs)
