"""The table of approaches."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely

from layoutplan.access import APPROACH_COLUMNS, Relief, TangentFrame, Walkable, approaches_table
from layoutplan.inputs.model import TOWER_FIGURES, LineInput
from layoutplan.job import Line, TowerSource
from layoutplan.line import build_lines

from .scenes import EVERYWHERE, Feature, Road, Scene, line

ROAD = Road(line((120, -900), (120, 900)), name="East Road")
STAKES_M = {"1": [(-90.0, 10.0), (80.0, -5.0)], "2": [(-90.0, 310.0)]}
FENCE = Feature("fence_wall", line((60, -3000), (60, 3000)), 0.3, "fence")


def towers(scene):
    points = gpd.points_from_xy(*scene.frame.to_lonlat([(0, 0), (0, 300)]).T)
    table = {"tower_id": ["1", "2"], "structure": [""] * 2}
    unknown = {name: [np.nan] * 2 for name in (*TOWER_FIGURES, "order")}
    found = gpd.GeoDataFrame(table | unknown, geometry=points, crs="EPSG:4326")
    model = build_lines([LineInput(Line(id="L", towers=TowerSource(path="t.gpkg")), found, (), True, "t.gpkg")])
    return model.towers


def table(scene, complete_m=(5000.0, 5000.0), relief=None, least_m=0.0):
    found = towers(scene)
    section = Walkable(scene.ground(), relief or Relief(), np.array(complete_m)).about(found, np.arange(2), least_m)
    rows = [(number, role, xy) for number, tower in enumerate("12") for role, xy in zip("HS", STAKES_M[tower])]  # noqa: B905
    tower, role, place = zip(*rows, strict=True)
    lonlat = scene.frame.to_lonlat(np.array(place))
    xy = np.array(
        [TangentFrame.at(found.lonlat_deg[i]).to_xy(at[None])[0] for i, at in zip(tower, lonlat, strict=True)]
    )
    return approaches_table(section.ways(np.array(tower), np.array(role), xy))


@pytest.fixture(scope="module")
def valley():
    return table(Scene((FENCE,), (ROAD,), ((60.0, 0.0),)))


def test_a_row_for_each_tower_and_electrode(valley):
    assert tuple(valley.columns) == APPROACH_COLUMNS
    assert valley["to"].tolist() == ["tower", "H", "S", "tower", "H"]
    assert valley["tower_id"].tolist() == ["1", "1", "1", "2", "2"]
    assert (valley["line_id"] == "L").all()
    assert valley.crs == "EPSG:4326"


def test_ways_begin_at_the_drop_off_or_at_the_tower(valley):
    frame = Scene().frame
    starts = np.array([way.coords[0] for way in valley.geometry])
    np.testing.assert_allclose(frame.to_xy(starts), [(120, 0), (0, 0), (0, 0), (120, 4), (0, 300)], atol=4.5)
    np.testing.assert_allclose(starts[[0, 3]], valley.loc[[0, 3], ["drop_off_lon", "drop_off_lat"]])
    ends = frame.to_xy([way.coords[-1] for way in valley.geometry])
    np.testing.assert_allclose(ends, [(0, 0), (-90, 10), (80, -5), (0, 300), (-90, 310)], atol=1e-3)


def test_the_road_is_named_and_unknown_heights_are_said(valley):
    assert (valley["road_name"] == "East Road").all()
    assert (valley["road_class"] == "minor_road").all()
    assert valley["note"].str.contains("heights unknown: level ground assumed").all()
    assert valley["climb_m"].isna().all()
    assert valley.loc[2, "crossings"] == "fence or wall fence"


def test_heights_are_used_where_known():
    scene = Scene(roads=(ROAD,))
    known = table(scene, relief=scene.relief(lambda east, _north: 0.1 * east))
    assert (known["note"] == "").all()
    assert known.loc[2, "climb_m"] == pytest.approx(8, abs=0.5)
    partly = table(scene, relief=scene.relief(lambda east, _north: np.where(east > 200, np.nan, 0.1 * east)))
    assert partly["note"].str.contains("heights partly unknown").all()


def test_nothing_is_said_where_the_map_does_not_cover():
    found = table(Scene(roads=(ROAD,)), complete_m=(1500.0, 0.0))
    assert found["verdict"].tolist() == ["reachable"] * 3 + ["map does not cover"] * 2
    unknown = found.iloc[3:]
    assert unknown[["walk_m", "walk_min", "drop_off_lon"]].isna().all(axis=None)
    assert unknown.geometry.isna().all()
    assert (unknown["road_name"] == "").all()


@pytest.mark.long
def test_no_way_has_no_geometry():
    found = table(Scene((FENCE,), (ROAD,)))
    verdicts = found.groupby("tower_id")["verdict"].agg(list)
    assert verdicts["1"] == ["not reachable on foot", "reachable", "not reachable on foot"]
    assert verdicts["2"] == ["not reachable on foot", "reachable"]
    assert found.loc[0, "note"].startswith("fence or wall fence")
    assert found.loc[[0, 2, 3]].geometry.isna().all()
    assert found.loc[[0, 2, 3], "walk_min"].isna().all()


@pytest.mark.parametrize("at", EVERYWHERE)
def test_the_same_everywhere_on_earth(at, valley):
    found = table(Scene((FENCE,), (ROAD,), ((60.0, 0.0),), at=at))
    assert found["verdict"].tolist() == valley["verdict"].tolist()
    # a whole cell may fall either way by rounding, no more
    np.testing.assert_allclose(found["walk_m"], valley["walk_m"], atol=4.0)
    west, _, east, _ = shapely.bounds(found.geometry.to_numpy()).T
    assert (east - west).max() < 0.1


def test_a_map_without_anything():
    found = table(Scene())
    verdicts = found.groupby("tower_id")["verdict"].agg(list)
    assert verdicts["1"] == ["no road within 1500 m", "reachable", "reachable"]
    assert verdicts["2"] == ["no road within 1500 m", "reachable"]


def test_no_way_is_told_beyond_the_known_map():
    """The road lies 120 m away: a map complete within 100 m cannot tell whether a river lies before it."""
    found = table(Scene(roads=(ROAD,)), complete_m=(100.0, 300.0)).set_index(["tower_id", "to"])
    assert found.loc[("1", "tower"), "verdict"] == "map does not cover"
    assert found.loc[("1", "tower"), "note"].startswith("the map is known to be complete within 100 m only")
    assert np.isnan(found.loc[("1", "tower"), "drop_off_lon"])
    assert found.loc[("1", "S"), "verdict"] == "reachable"  # 80 m away
    assert found.loc[("2", "tower"), "verdict"] == "reachable"


def test_a_road_that_is_missing_may_lie_beyond_the_known_map():
    found = table(Scene(), complete_m=(700.0, 1500.0)).set_index(["tower_id", "to"])
    assert found.loc[("1", "tower"), "verdict"] == "map does not cover"
    assert found.loc[("2", "tower"), "verdict"] == "no road within 1500 m"


def test_the_smallest_surroundings_may_be_asked_for():
    scene = Scene(roads=(ROAD,))
    section = Walkable(scene.ground(), Relief(), np.full(2, 5000.0)).about(towers(scene), np.arange(2), 350.0)
    assert all(walks.window.half_m >= 350.0 for walks in section.walks)
    minutes = section.figures(np.array([0, 0, 1]), np.array([90.0, 0.0, 270.0]), np.array([[60.0], [340.0], [100.0]]))
    straight = np.array([60.0, 340.0, 100.0]) / (0.6 * 5036.7 / 60)  # Tobler 1993: 0.6 x 5.04 km/h off the path
    np.testing.assert_allclose(minutes["walk_min"][:, 0], straight, rtol=0.02)


def test_where_nobody_gets_the_walk_counts_an_hour():
    """A ring of fence about the place: last choice, not forbidden."""
    ring = Feature("fence_wall", shapely.Point(-90, 10).buffer(30).exterior, 0.3, "pen")
    scene = Scene((ring,), (ROAD,))
    section = Walkable(scene.ground(), Relief(), np.full(2, 5000.0)).about(towers(scene), np.arange(1), 200.0)
    bearing, distance = np.degrees(np.arctan2(-90.0, 10.0)) % 360, float(np.hypot(90, 10))
    assert section.figures(np.array([0]), np.array([bearing]), np.array([[distance]]))["walk_min"] == [[60.0]]
    nowhere = Walkable(scene.ground(), Relief(), np.zeros(2)).about(towers(scene), np.arange(1), 200.0)
    assert np.isnan(nowhere.figures(np.array([0]), np.array([0.0]), np.array([[50.0]]))["walk_min"]).all()
