"""The map as a walker sees it: features and roads of a whole job, and those about one tower in its own frame."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from shapely import STRtree

from layoutplan.access.lattice import Geometries
from layoutplan.access.sharing import tracks_asked_for
from layoutplan.arrays import BoolArray, FloatArray, IntArray
from layoutplan.job.access import NO_STOPPING, Access
from layoutplan.job.class_model import ObstacleClass
from layoutplan.job.classes import PERMITTED, ROADS, the
from layoutplan.job.roles import Road, Role

ROAD_COLUMNS = ("name", "road_class", "vehicle", "bridge", "width_m", "geometry")
NO_ENTRY, FENCE, BRIDGE = the(Role.SHUT), the(Role.FENCE), the(Role.BRIDGE)
YES, PERMIT, NO = 0, 1, 2
LOCKED = "locked"
_NO_STOP = ("no", "private path", NO_STOPPING)


@dataclass(frozen=True, slots=True)
class WalkingGround:
    """Features and roads of a job with what walking there costs; built once by :func:`build_ground`.

    Attributes
    ----------
    features, roads, gates : ndarray of Geometry
        EPSG:4326.
    is_locked : ndarray of bool, shape (g,)
        Gates that nobody walks through without a permission.
    feature_tree, road_tree, gate_tree : STRtree
    feature_class, label : ndarray of str, shape (n,)
    factor : ndarray, shape (n,)
        Multiple of the time that open ground takes, infinite where blocked.
    ask, listed, fordable : ndarray of bool, shape (n,)
        Whether walking there needs a permission; whether a crossing is worth a word; whether tracks ford it.
    width_m : ndarray, shape (n,)
        Full width of features mapped as lines or points. [m]
    road_class, road_name : ndarray of str, shape (r,)
    is_track : ndarray of bool, shape (r,)
    may_stop : ndarray of int, shape (r,)
        ``YES``, ``PERMIT`` or ``NO`` for the job's vehicle.
    track : ndarray of int, shape (r,)
        Roads that one asks for at once, see :func:`layoutplan.access.sharing.tracks_asked_for`.
    is_open : ndarray of bool, shape (r,)
        Whether one may walk along it, over whatever it crosses.
    is_private : ndarray of bool, shape (r,)
    bridge : ndarray of int, shape (r,)
        The feature that is the bridge; -1 for what leads over the ground.
    road_width_m : ndarray, shape (r,)
    permitted_given : bool
    settings : Access
    """

    features: Geometries
    roads: Geometries
    gates: Geometries
    is_locked: BoolArray
    feature_tree: STRtree
    road_tree: STRtree
    gate_tree: STRtree
    feature_class: NDArray[np.object_]
    label: NDArray[np.object_]
    factor: FloatArray
    ask: BoolArray
    listed: BoolArray
    fordable: BoolArray
    width_m: FloatArray
    road_class: NDArray[np.object_]
    is_track: BoolArray
    road_name: NDArray[np.object_]
    may_stop: IntArray
    track: IntArray
    is_open: BoolArray
    is_private: BoolArray
    bridge: IntArray
    road_width_m: FloatArray
    permitted_given: bool
    settings: Access


def build_ground(
    features: gpd.GeoDataFrame,
    roads: gpd.GeoDataFrame,
    classes: Mapping[str, ObstacleClass],
    settings: Access,
    *,
    gates: gpd.GeoDataFrame | None = None,
    permitted_given: bool = False,
) -> WalkingGround:
    """Prepare the map for walking.

    Parameters
    ----------
    features : GeoDataFrame
        Columns as in :data:`layoutplan.inputs.model.FEATURE_COLUMNS`; single parts, EPSG:4326.
    roads : GeoDataFrame
        Columns ``ROAD_COLUMNS``, EPSG:4326, lines: what leads over the ground or over bridges, no tunnels. ``vehicle``
        is ``"yes"``, ``"permit"`` or ``"no"``, by law and by nature (a footway is ``"no"``, or ``"private path"``
        where walking needs a permission, too; ``"no stopping"`` is driven along only); anything else counts as
        ``"permit"``.
        ``bridge`` is the row of the bridge in ``features``, or -1. Roads count as at least as wide as their class.
        Longitudes run on across the antimeridian as those of the towers do.
    classes : mapping
        Obstacle classes with the job's changes: labels, and the widths of roads.
    settings : Access
        Paces, limits and where a vehicle may stop.
    gates : GeoDataFrame, optional
        Points where fences and walls can be passed, with the column ``vehicle``: ``"locked"`` keeps walkers out, too.
    permitted_given : bool
        Whether the job names permitted land, so that all other ground needs a permission.

    Returns
    -------
    WalkingGround
        Ready for any tower of the job.
    """
    kind = features["obstacle_class"].to_numpy(dtype=object)
    name = features["name"].to_numpy(dtype=object)
    label_of = np.array([classes[one].label for one in kind], dtype=object)
    shapes, road_shapes = features.geometry.to_numpy(), roads.geometry.to_numpy()
    gate_shapes = np.empty(0, dtype=object) if gates is None else gates.geometry.to_numpy()
    factors = settings.factors(classes)
    road_class = roads["road_class"].to_numpy(dtype=object)
    vehicle = roads["vehicle"].to_numpy(dtype=object)
    usual_m = np.array([classes[one].width_m for one in road_class], dtype=float)
    bridge = roads["bridge"].to_numpy(dtype=np.int64)
    may_stop = _may_stop(road_class, vehicle, bridge, settings)
    return WalkingGround(
        features=shapes,
        roads=road_shapes,
        gates=gate_shapes,
        is_locked=np.empty(0, dtype=bool) if gates is None else (gates["vehicle"] == LOCKED).to_numpy(),
        feature_tree=STRtree(shapes),
        road_tree=STRtree(road_shapes),
        gate_tree=STRtree(gate_shapes),
        feature_class=kind,
        label=np.where(name == "", label_of, label_of + " " + name) if len(kind) else label_of,
        factor=np.array([factors[one] for one in kind], dtype=float),
        ask=np.isin(kind, settings.asked(classes)),
        listed=np.array([classes[one].on_foot.noticed for one in kind], dtype=bool),
        fordable=np.array([classes[one].on_foot.fordable for one in kind], dtype=bool),
        width_m=features["width_m"].to_numpy(dtype=float),
        road_class=road_class,
        is_track=np.array([ROADS.get(one) == Road.TRACK for one in road_class], dtype=bool),
        road_name=roads["name"].to_numpy(dtype=object),
        may_stop=may_stop,
        track=tracks_asked_for(road_shapes, roads["name"].to_numpy(dtype=object), may_stop == PERMIT),
        is_open=np.array([np.isfinite(factors[one]) for one in road_class], dtype=bool),
        is_private=~np.isin(vehicle, ["yes", "no", NO_STOPPING]),
        bridge=bridge,
        road_width_m=np.fmax(roads["width_m"].to_numpy(dtype=float), usual_m),
        permitted_given=permitted_given or bool((kind == PERMITTED).any()),
        settings=settings,
    )


def _may_stop(
    road_class: NDArray[np.object_], vehicle: NDArray[np.object_], bridge: IntArray, settings: Access
) -> IntArray:
    """Mark where the vehicle may stop: never on a bridge, nobody steps off it to the ground below, nor on motorways."""
    agreed = np.isin(road_class, settings.stop_by_agreement)
    usable = np.isin(road_class, settings.usable_classes) | agreed
    verdict = np.where((vehicle == "yes") & ~agreed, YES, PERMIT)
    return np.where(usable & ~np.isin(vehicle, _NO_STOP) & (bridge < 0), verdict, NO)
