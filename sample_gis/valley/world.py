"""The whole valley as tables in one projected system, cut at the edge of the map."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import Transformer
from shapely import Point, Polygon

from . import cover, parcels, power, village, ways
from .shapes import GRID_CRS, Feature, to_grid

# the map ends between towers 101 and 102; like a real extract it keeps power lines whole beyond that
MAP_BOX = (9.8076, 47.2730, 9.8965, 47.3060)
AREA_LAYERS = ("water_areas", "wetlands", "protected_areas", "buildings", "landuse", "substations")
# shown uncut, as they run on beyond the edge of the map
_WHOLE_LAYERS = ("power_lines",)


@dataclass(frozen=True)
class World:
    """The valley in :data:`GRID_CRS`.

    Attributes
    ----------
    features : GeoDataFrame
        ``layer, kind, name, width_m, line_id, geometry``; ``line_id`` is empty except on power lines.
    towers : GeoDataFrame
        ``line_id, tower_id, seq, structure, base_width_m, earth_electrode_m, footing_ohm, soil_ohm_m, geometry``.
    parcels : GeoDataFrame
        ``parcel_no, owner_ref, permission, use, area_m2, geometry``.
    reach : Polygon
        The edge of the map.
    """

    features: gpd.GeoDataFrame
    towers: gpd.GeoDataFrame
    parcels: gpd.GeoDataFrame
    reach: Polygon


def build() -> World:
    """Make the valley; the same tables every time."""
    cut_at = map_reach()
    built, covered, lines = village.features(), cover.features(), power.features()
    areas = [f for f in (*covered, *built, *lines) if f.layer in AREA_LAYERS]
    taken = shapely.union_all([f.geometry for f in areas])
    woods = shapely.union_all([f.geometry for f in covered if f.kind == "wood"])
    register = parcels.parcels(taken, woods)
    everything = [*lines, *ways.features(), *parcels.hedges(taken), *covered, *built]
    sown = [Feature("landuse", "crops", "", 0.0, parcel.geometry) for parcel in register if parcel.use == "crops"]
    return World(_features([*everything, *sown], cut_at), _towers(), _parcels(register, cut_at), cut_at)


def map_reach() -> Polygon:
    """Return the edge of the map: a box in longitude and latitude, so its sides bend a little on the grid."""
    to_map = Transformer.from_crs("EPSG:4326", GRID_CRS, always_xy=True)
    ring = shapely.segmentize(shapely.box(*MAP_BOX), 0.005)
    return shapely.transform(ring, lambda xy: np.round(np.column_stack(to_map.transform(*xy.T)), 2))


def _features(made: list[Feature], cut_at: Polygon) -> gpd.GeoDataFrame:
    table = _table(pd.DataFrame(made, columns=Feature._fields))
    whole = table["layer"].isin(_WHOLE_LAYERS)
    table = pd.concat([table[whole], _cut(table[~whole], cut_at)], ignore_index=True)
    by_name = {name: line_id for line_id, name in power.LINE_NAMES.items()}
    table["line_id"] = table["name"].map(by_name).fillna("")
    return table


def _towers() -> gpd.GeoDataFrame:
    towers = power.towers()
    table = pd.DataFrame(towers, columns=power.Tower._fields)
    table["earth_electrode_m"] = table["earth_electrode_m"].astype(float)
    table["footing_ohm"] = table["tower_id"].map(power.FOOTING_OHM)
    table["soil_ohm_m"] = [power.soil_ohm_m(tower.uv) for tower in towers]
    table.insert(2, "seq", table.groupby("line_id", sort=False).cumcount() + 1)
    return _table(table.drop(columns="uv").assign(geometry=[Point(tower.uv) for tower in towers]))


def _parcels(register: list[parcels.Parcel], cut_at: Polygon) -> gpd.GeoDataFrame:
    table = _cut(_table(pd.DataFrame(register, columns=parcels.Parcel._fields)), cut_at)
    table.insert(4, "area_m2", table.area.round().astype("int64"))
    return table


def _table(rows: pd.DataFrame) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(rows.assign(geometry=_on_grid(rows["geometry"].to_numpy())), crs=GRID_CRS)


def _on_grid(shapes: NDArray[np.object_]) -> NDArray[np.object_]:
    """Move shapes from the valley frame to the grid."""
    return shapely.transform(shapes, to_grid)


def _cut(table: gpd.GeoDataFrame, cut_at: Polygon) -> gpd.GeoDataFrame:
    """Cut a table at the edge of the map; pieces become rows of their own, slivers go."""
    kinds = shapely.get_dimensions(table.geometry.to_numpy())
    table = table.assign(geometry=shapely.intersection(table.geometry.to_numpy(), cut_at), dimension=kinds)
    table = table[~table.geometry.is_empty].explode(ignore_index=True)
    right = shapely.get_dimensions(table.geometry.to_numpy()) == table["dimension"]
    big = np.where(table["dimension"] == 2, table.area > 5, table.length > 1)
    table = table[right & big].drop(columns="dimension").reset_index(drop=True)
    return table.set_geometry(shapely.transform(table.geometry.to_numpy(), lambda xy: np.round(xy, 2)), crs=GRID_CRS)
