"""The tables of a plan as they are written: their columns, kinds of geometry, and where their longitudes lie."""

from __future__ import annotations

from collections import namedtuple
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from types import MappingProxyType
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import shapely
from numpy.typing import ArrayLike, NDArray

from layoutplan.layout.model import Plan


@dataclass(frozen=True, slots=True)
class Table:
    """Columns of one table; ``geometry`` is the layer's kind of geometry, None for a plain table."""

    geometry: str | None
    columns: tuple[str, ...]


_STAKE = (
    "line_id tower_id role waypoint lon lat easting northing distance_m leg distance_from_leg_m lead_length_m "
    "bearing_true_deg bearing_grid_deg angle_to_line_deg distance_to_line_m side octant elevation_m slope_deg "
    "aspect_deg status reasons map_gaps map_cures score off_square_deg beyond_min_m caution_crossings caution_ground "
    "near_keep_out lead_beside_m woodland_crops_m induced_v bias_pct steep_deg walk_min"
)
_CARRIED = (
    " ground_length_m height_difference_m steepest_deg cliff_drop_m"
    " crossings emf_load_v emf_unbalance_v emf_fault_v capacitive_ma field_kv_m transferred_fault_v "
    "stake_touch_v stake_step_v fault_location "
    "expected_reading_v_low expected_reading_v_high service_ratio fault_ratio exposure_basis handling handling_fault"
)
_TABLES = {
    "towers": (
        "Point",
        "line_id tower_id order chainage_m line_bearing_deg deflection_deg status reasons lon lat elevation_m "
        "structure leg map_covers map_gaps map_cures base_width_m earth_electrode_size_m footing_resistance_ohm "
        "soil_resistivity_ohm_m "
        "fault_from_start_ka fault_from_end_ka earth_potential_rise_kv fault_location tower_share_of_fault_pct "
        "standing_current_a_low standing_current_a_high "
        "expected_resistance_ohm bias_ohm bias_pct bias_frequency_hz distance_for_bias_target_m coupling_ohm "
        "coupling_pct coupling_frequency_hz",
    ),
    "spans": ("LineString", "line_id from_tower to_tower length_m bearing_deg half_width_m"),
    "electrodes": ("Point", _STAKE + " rods rod_resistance_ohm rods_note"),
    "leads": ("LineString", _STAKE + _CARRIED),
    "checks": (None, "line_id tower_id role waypoint rule measured limit unit verdict basis detail"),
    "alternatives": (
        "Point",
        "line_id tower_id side rank lon lat distance_m bearing_true_deg angle_to_line_deg distance_to_line_m "
        "lead_length_m caution_crossings score",
    ),
    "pairs": (
        None,
        "line_id tower_id side h_lon h_lat h_distance_m h_bearing_true_deg s_lon s_lat s_distance_m "
        "s_bearing_true_deg between_deg caution_crossings score chosen_score bias_pct coupling_pct chosen_bias_pct "
        "chosen_coupling_pct",
    ),
    "obstacles": (
        "Unknown",  # points, lines and areas side by side
        "feature_id obstacle_class label name width_m keep_out_m stake lead_crossing road_class vehicle basis source",
    ),
    "crossings": (None, "line_id tower_id role waypoint met_by obstacle_class name feature_id at_m verdict"),
    "exclusions": (None, "line_id tower_id side rule detail candidates of"),
    "relaxations": (None, "line_id tower_id rank rule needed limit unit text"),
    "approaches": (
        "LineString",
        "line_id tower_id to drop_off_lon drop_off_lat road_name road_class walk_m climb_m walk_min crossings verdict "
        "reason note",
    ),
    "permissions": (
        "Unknown",  # a parcel may be in several pieces
        "parcel owner_ref permission state note towers stakes lead_m approach_m source",
    ),
    "agreements": (None, "kind whom what reference towers stakes places state"),
    "exposures": (
        None,
        "line_id tower_id role waypoint exposure state value limit unit ratio basis edition duration_s "
        "fault_location assumptions",
    ),
    "readings": (None, "line_id tower_id frequency_hz expected_resistance_ohm bias_pct coupling_pct"),
}
TABLES: Mapping[str, Table] = MappingProxyType(
    {name: Table(geometry, tuple(columns.split())) for name, (geometry, columns) in _TABLES.items()}
)
_INTEGERS = frozenset({"order", "rank", "candidates", "of", "rods"})
_FIGURES = frozenset({"lon", "lat", "drop_off_lon", "drop_off_lat", "easting", "northing"}) | frozenset(
    {"measured", "limit", "needed", "score", "caution_crossings", "caution_ground", "near_keep_out", "value", "ratio"}
    | {"chosen_score", "h_lon", "h_lat", "s_lon", "s_lat"}
)
_UNITS = ("_m", "_deg", "_v", "_kv", "_ka", "_ma", "_ohm", "_pct", "_hz", "_s", "_min", "_low", "_high", "_ratio")


def with_columns(frame: pd.DataFrame, name: str) -> pd.DataFrame:
    """Return the table with its columns in the agreed order, further ones behind; an empty one gets them typed.

    Parameters
    ----------
    frame : DataFrame or GeoDataFrame
    name : str
        Key of ``TABLES``.
    """
    columns = [column for column in frame.columns if column != "geometry"]
    agreed = TABLES[name].columns
    order = [*agreed, *(column for column in columns if column not in agreed)]
    tail = ["geometry"] if TABLES[name].geometry else []
    if len(frame):
        return frame[order + tail]
    empty = pd.DataFrame({column: pd.Series(dtype=_kind(column)) for column in order})
    return gpd.GeoDataFrame(empty, geometry=[], crs=4326) if tail else empty


def _kind(column: str) -> str:
    if column in _INTEGERS:
        return "int64"
    if column == "map_covers":
        return "bool"
    return "float64" if column in _FIGURES or column.endswith(_UNITS) else "str"


def as_lists(frame: pd.DataFrame, columns: Iterable[str]) -> list[list[Any]]:
    """Return columns as plain Python values, None where a value is missing; much faster than iterating over pandas."""
    return [pa.array(frame[column], from_pandas=True).to_pylist() for column in columns]


def records(frame: pd.DataFrame, *columns: str) -> Iterator[Any]:
    """Return the rows of some columns as named tuples."""
    row = namedtuple("row", columns)  # type: ignore[misc]  # the names are known where the rows are used
    return map(row._make, zip(*as_lists(frame, columns), strict=True))


def on_the_globe(plan: Plan) -> Plan:
    """Bring the longitudes of all tables back to [-180, 180); inside, they run on across the antimeridian.

    A shape that crosses the antimeridian stays in one piece: its western end lies within the range, and its longitudes
    run on eastwards beyond 180.
    """
    return replace(
        plan, **{name: _frame_on_the_globe(getattr(plan, name)) for name, table in TABLES.items() if table.geometry}
    )


def _frame_on_the_globe(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    changes: dict[str, object] = {}
    for column in ("lon", "drop_off_lon"):
        if column in frame and np.any(_turns(frame[column], -180.0)):
            changes[column] = turned_lon(frame[column])
    if len(frame) and np.any(_turns(_west(frame.geometry.array), -180.0)):
        changes["geometry"] = gpd.GeoSeries(turned(frame.geometry.array), index=frame.index, crs=frame.crs)
    return frame.assign(**changes) if changes else frame


def turned_lon(lon_deg: ArrayLike, west_deg: float = -180.0) -> NDArray[np.float64]:
    """Longitudes within [west, west + 360). [deg]."""
    lon = np.asarray(lon_deg, dtype=float)
    return lon + 360.0 * _turns(lon, west_deg)


def west_deg(plan: Plan) -> float:
    """Where the longitudes of a drawing begin, so that a line across the antimeridian is in one piece. [deg]."""
    return float(plan.towers["lon"].iloc[0]) - 180.0 if len(plan.towers) else -180.0


def turned(geometries: ArrayLike, west_deg: float = -180.0) -> NDArray[np.object_]:
    """Move geometries by whole turns so that the western edge of each lies within [west, west + 360)."""
    shapes = np.asarray(geometries, dtype=object)
    turns = _turns(_west(shapes), west_deg)
    moved = shapes.copy()
    for turn in np.unique(turns[turns != 0]):
        rows = turns == turn
        moved[rows] = shapely.transform(shapes[rows], partial(np.add, [360.0 * turn, 0.0]))
    return moved


def _west(geometries: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(shapely.bounds(np.asarray(geometries, dtype=object)))[..., 0]


def _turns(lon_deg: ArrayLike, west_deg: float) -> NDArray[np.float64]:
    lon = np.asarray(lon_deg, dtype=float)
    return -np.nan_to_num(np.floor((lon - west_deg) / 360.0))
