"""Roads and gates out of the map."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from layoutplan.access import roads_and_gates
from layoutplan.inputs.model import FEATURE_COLUMNS

ROAD, FAR = shapely.LineString([(10.0, 48.0), (10.01, 48.0)]), shapely.LineString([(10.0, 48.1), (10.01, 48.1)])


def features(*rows):
    names = ("obstacle_class", "road_class", "vehicle", "geometry")
    table = {name: np.array([row[i] for row in rows], dtype=object) for i, name in enumerate(names)}
    table |= {"feature_id": [f"f {i}" for i in range(len(rows))], "name": "Mill Lane", "width_m": 3.0, "source": "map"}
    return gpd.GeoDataFrame(table, geometry="geometry", crs="EPSG:4326")[list(FEATURE_COLUMNS)]


def test_lines_that_carry_a_road_class():
    table = features(
        ("minor_road", "minor_road", "yes", ROAD),
        ("bridge_overhead", "track_path", "permit", FAR),
        ("minor_road", "minor_road", "yes", ROAD.buffer(0.001)),  # a square is no road to stop beside
        ("tunnel_culvert", "", "", ROAD),
        ("building", "", "", ROAD.buffer(0.001)),
    )
    roads, gates = roads_and_gates(table)
    assert roads["road_class"].tolist() == ["minor_road", "track_path"]
    assert roads["vehicle"].tolist() == ["yes", "permit"]
    assert roads["bridge"].tolist() == [-1, 1]
    assert gates.empty


def test_a_gate_that_may_be_locked_asks_for_a_permission():
    on_road, beside = shapely.Point(10.005, 48.0), shapely.Point(10.005, 48.0005)
    for at, vehicle, wanted in (
        (on_road, "permit", "permit"),
        (on_road, "no", "permit"),
        (on_road, "yes", "yes"),
        (beside, "no", "yes"),
    ):
        table = features(("minor_road", "minor_road", "yes", ROAD), ("gate", "", vehicle, at))
        roads, gates = roads_and_gates(table)
        assert roads["vehicle"].tolist() == [wanted], (at.wkt, vehicle)
        assert gates.geometry.tolist() == [at]


def test_a_gate_drawn_as_a_line_across_the_road_is_a_gate():
    across = shapely.LineString([(10.005, 47.99999), (10.005, 48.00003)])
    table = features(("minor_road", "minor_road", "yes", ROAD), ("gate", "", "permit", across))
    roads, gates = roads_and_gates(table)
    assert roads["vehicle"].tolist() == ["permit"]
    assert shapely.equals_exact(gates.geometry[0], shapely.Point(10.005, 48.00001), 1e-9)


def test_what_is_shut_stays_shut():
    table = features(("track_path", "track_path", "no", ROAD), ("gate", "", "permit", shapely.Point(10.005, 48.0)))
    assert roads_and_gates(table)[0]["vehicle"].tolist() == ["no"]


def test_a_map_without_roads():
    roads, gates = roads_and_gates(features(("building", "", "", ROAD.buffer(0.001))))
    assert roads.empty
    assert gates.empty
