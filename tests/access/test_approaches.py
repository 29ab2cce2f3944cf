"""The table of approaches."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely

from layoutplan.access import APPROACH_COLUMNS, approaches
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


def electrodes(scene):
    rows = [("L", tower, role, xy) for tower in STAKES_M for role, xy in zip("HS", STAKES_M[tower], strict=False)]
    points = gpd.points_from_xy(*scene.frame.to_lonlat([row[3] for row in rows]).T)
    columns = dict(zip(("line_id", "tower_id", "role"), list(zip(*rows, strict=True))[:3], strict=True))
    return gpd.GeoDataFrame(columns, geometry=points, crs="EPSG:4326")


def table(scene, covers=(True, True), relief=None):
    return approaches(towers(scene), electrodes(scene), scene.ground(), np.array(covers), relief)


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
    found = table(Scene(roads=(ROAD,)), covers=(True, False))
    assert found["verdict"].tolist() == ["reachable"] * 3 + ["map does not cover"] * 2
    unknown = found.iloc[3:]
    assert unknown[["walk_m", "walk_min", "drop_off_lon"]].isna().all(axis=None)
    assert unknown.geometry.isna().all()
    assert (unknown["road_name"] == "").all()


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
