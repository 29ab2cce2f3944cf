"""The obstacles of an OpenStreetMap extract, in the corridor."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import pandas as pd
import shapely

from layoutplan.arrays import FloatArray
from layoutplan.errors import InputError
from layoutplan.inputs.corridor import Corridor
from layoutplan.inputs.features import make_features
from layoutplan.inputs.geodetic import to_lonlat
from layoutplan.inputs.map_layer import MapLayer, check_overlap, cleaned
from layoutplan.inputs.osm_collect import INCOMPLETE, OPEN, UNBUILT
from layoutplan.inputs.osm_file import OsmExtract
from layoutplan.inputs.sea import SEA_CLASS
from layoutplan.inputs.signs import Signs
from layoutplan.inputs.systems import WGS84
from layoutplan.inputs.words import counted, listed
from layoutplan.job import Layer
from layoutplan.job.classes import overhead_lines

_FLAWS = {
    OPEN: ("ways tagged as areas that do not close", "kept as lines, the ground inside is not known"),
    UNBUILT: ("areas that do not close in the extract", "kept as edges where so, the ground inside is not known"),
    INCOMPLETE: ("ways with nodes that are not in the extract", "drawn without them"),
}
_NOT_FOR_EXTRACTS = (
    *("layer", "where", "crs", "name_column", "width_column", "width_m", "vehicle_column", "bridge_road_class"),
)
_LOST = ("objects without any node or edge in the extract", "whether the line lies there is not known")


def osm_layer(layer: Layer, extract: OsmExtract, corridor: Corridor, own_ways: Collection[int]) -> MapLayer:
    """Take the obstacles of an extract.

    Parameters
    ----------
    layer : Layer
        The job's section.
    extract : OsmExtract
        Read with the class rules.
    corridor : Corridor
        Where the towers are.
    own_ways : collection of int
        Ids of ways of the extract that are planned lines, not obstacles.

    Returns
    -------
    MapLayer
        Features, evidence and warnings.

    Raises
    ------
    InputError
        If the job sets keys that mean nothing for an extract.
    """
    where = extract.path.name
    _check_keys(layer, where)
    things = _in_corridor(extract.things, corridor, where)
    is_own = (
        (things["kind"] == "way")
        & things["obstacle_class"].isin(list(overhead_lines()))
        & things["osm_id"].isin(list(own_ways))
    )
    is_skipped = things["obstacle_class"].isin(layer.skip_classes)
    things = things[~(is_own | is_skipped)]
    features, problems = make_features(
        feature_id=("osm " + things["kind"] + " " + things["osm_id"].astype(str)).to_numpy(dtype=object),
        obstacle_class=things["obstacle_class"].to_numpy(dtype=object),
        name=cleaned(things["name"]),
        width_m=things["width_m"].to_numpy(dtype=float),
        road_class=things["road_class"].to_numpy(dtype=object),
        vehicle=things["vehicle"].to_numpy(dtype=object),
        geometry=things["geometry"].to_numpy(dtype=object),
        source=where,
    )
    overlap = check_overlap(where, extract.box.bounds if extract.box else extract.bounds, corridor)
    assumptions = (
        [f"{where}: {counted(int(is_skipped.sum()), 'feature')} left out by skip_classes"] if is_skipped.any() else []
    )
    return MapLayer(
        features,
        _evidence(extract, corridor),
        (*overlap, *problems, *_flaws(things, where), *_lost(extract)),
        tuple(assumptions),
        _signs(extract, corridor),
        np.empty(0, dtype=object) if SEA_CLASS in layer.skip_classes else corridor.frame.geometries(extract.coastlines),
    )


def _check_keys(layer: Layer, where: str) -> None:
    """Refuse keys that would be passed over in silence."""
    given = [key for key in _NOT_FOR_EXTRACTS if getattr(layer, key) is not None]
    if given:
        raise InputError(
            f"{where}: {listed(given)} cannot be used on an OpenStreetMap extract, whose features get their class "
            "from their tags. Take the key out of this [[layers]] entry."
        )


def _in_corridor(things: pd.DataFrame, corridor: Corridor, where: str) -> pd.DataFrame:
    if things.empty:
        return things
    geometry = corridor.frame.geometries(corridor.cut(np.asarray(things["geometry"], dtype=object)))
    near = corridor.meets(geometry)
    return things[near].assign(geometry=to_lonlat(geometry[near], WGS84, where))


def _evidence(extract: OsmExtract, corridor: Corridor) -> FloatArray:
    lonlat = corridor.frame.points(extract.evidence)
    return lonlat[corridor.meets(np.asarray(shapely.points(lonlat)))]


def _signs(extract: OsmExtract, corridor: Corridor) -> Signs:
    geometry = corridor.frame.geometries(extract.signs.geometry)
    near = corridor.meets(geometry)
    return Signs(geometry[near], extract.signs.kind[near], corridor.frame.points(extract.signs.cover))


def _flaws(things: pd.DataFrame, where: str) -> list[str]:
    texts = []
    for flaw, (what, so) in _FLAWS.items():
        flawed = things[things["flaw"] == flaw].drop_duplicates(["kind", "osm_id"])
        names = [f"osm {kind} {osm_id}" for kind, osm_id in zip(flawed["kind"], flawed["osm_id"], strict=True)]
        texts += [f"{where}: {what}: {len(names):,} ({listed(names)}); {so}"] if names else []
    return texts


def _lost(extract: OsmExtract) -> list[str]:
    what, so = _LOST
    names = extract.lost
    return [f"{extract.path.name}: {what}: {len(names):,} ({listed(names)}); {so}"] if names else []
