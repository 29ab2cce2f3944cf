"""The base map is what lies around the towers."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import Geod

from layoutplan.outputs.map_page.corridor import near_towers

GEOD = Geod(ellps="WGS84")


def frame(*shapes: shapely.Geometry) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"feature_id": [str(n) for n in range(len(shapes))]}, geometry=list(shapes), crs=4326)


@pytest.mark.parametrize("lat", [0.0, 47.0, -70.0])
@pytest.mark.parametrize("azimuth", [0, 90, 180, 270])
def test_windows_reach_as_far_as_they_say(lat: float, azimuth: float) -> None:
    def post(distance_m: float) -> shapely.Point:
        return shapely.Point(GEOD.fwd(9.0, lat, azimuth, distance_m)[:2])

    found = near_towers(frame(post(195), post(206)), np.array([[9.0, lat]]), 200.0)
    assert found["feature_id"].tolist() == ["0"]


def test_long_features_are_cut_and_inner_ones_are_not() -> None:
    road = shapely.LineString([(8, 47), (10, 47)])
    house = shapely.box(9.0001, 47.0001, 9.0002, 47.0002)
    found = near_towers(frame(road, house), np.array([[9.0, 47.0]]), 300.0)
    assert found.geometry.iloc[0].length < 0.01
    assert found.geometry.iloc[1].equals(house)


def test_between_towers_a_feature_stays_whole() -> None:
    towers = np.array([[9.0, 47.0], [9.004, 47.0]])
    road = shapely.LineString([(8.99, 47.0005), (9.02, 47.0005)])
    (cut,) = near_towers(frame(road), towers, 100.0).geometry
    assert cut.geom_type == "LineString"
    assert cut.bounds[0] < 9.0 < 9.004 < cut.bounds[2]


def test_across_the_antimeridian() -> None:
    towers = np.array([[179.9999, -17.0], [180.0001, -17.0]])
    west = shapely.Point(179.9998, -17.0)
    east = shapely.Point(-179.9998, -17.0)
    found = near_towers(frame(west, east), towers, 200.0)
    assert shapely.get_x(found.geometry.array).tolist() == pytest.approx([179.9998, 180.0002])


def test_nothing_near() -> None:
    assert near_towers(frame(shapely.Point(0, 0)), np.array([[9.0, 47.0]]), 100.0).empty
    assert near_towers(frame(), np.array([[9.0, 47.0]]), 100.0).empty
