"""Longitudes on the globe, columns in order."""

import geopandas as gpd
import numpy as np
import pytest
import shapely

from layoutplan.outputs.columns import TABLES, as_lists, on_the_globe, records, turned, turned_lon, with_columns


@pytest.mark.parametrize(
    ("lon", "home"),
    [(9.0, 9.0), (180.0, -180.0), (-180.0, -180.0), (180.25, -179.75), (-180.25, 179.75), (539.0, 179.0)],
)
def test_longitudes_come_home(lon: float, home: float) -> None:
    assert turned_lon([lon])[0] == pytest.approx(home, abs=1e-12)


def test_longitudes_from_another_west() -> None:
    assert turned_lon([-179.9, 179.9], 0.0) == pytest.approx([180.1, 179.9])


def test_shapes_move_whole() -> None:
    beyond = shapely.LineString([(180.2, 0), (180.3, 1)])
    across = shapely.LineString([(179.9, 0), (180.1, 1)])
    west = shapely.LineString([(-180.1, 0), (-179.9, 1)])
    moved = turned([beyond, across, west])
    assert shapely.get_coordinates(moved).tolist() == pytest.approx(
        np.array([(-179.8, 0), (-179.7, 1), (179.9, 0), (180.1, 1), (179.9, 0), (180.1, 1)])
    )


def test_unknown_longitudes_stay_unknown() -> None:
    assert np.isnan(turned_lon([np.nan])[0])


def test_plan_across_the_antimeridian(make_plan) -> None:
    plan = make_plan(8, lon=180.0001, lat=-17.0)
    assert plan.towers["lon"].max() > 180
    home = on_the_globe(plan)
    for name in ("towers", "electrodes", "leads", "alternatives"):
        assert getattr(home, name)["lon"].between(-180, 180, inclusive="left").all()
    points = shapely.get_coordinates(home.electrodes.geometry.array)
    assert np.allclose(points, home.electrodes[["lon", "lat"]].to_numpy())
    lengths = shapely.length(home.leads.geometry.array)
    assert np.allclose(lengths, shapely.length(plan.leads.geometry.array))  # no lead round the Earth
    assert on_the_globe(make_plan()).towers is not None


def test_plan_elsewhere_is_left_alone(plan) -> None:
    assert on_the_globe(plan).leads is plan.leads


def test_columns_in_order_extra_ones_behind(plan) -> None:
    mixed = plan.towers[plan.towers.columns[::-1]].assign(soil="clay")
    found = with_columns(mixed, "towers")
    assert tuple(found.columns) == (*TABLES["towers"].columns, "soil", "geometry")


@pytest.mark.parametrize("name", list(TABLES))
def test_empty_tables_are_typed(name: str) -> None:
    found = with_columns(gpd.GeoDataFrame({"line_id": []}), name)
    assert set(TABLES[name].columns) <= set(found.columns)
    assert len(found) == 0
    assert ("geometry" in found) == bool(TABLES[name].geometry)
    kinds = {column: found[column].dtype.kind for column in found.columns if column != "geometry"}
    assert all(kinds[column] == "f" for column in kinds if column.endswith(("_m", "_deg")))


def test_rows_as_plain_values(plan) -> None:
    checks = plan.checks
    (first, *_) = records(checks, "tower_id", "measured")
    assert first.tower_id == "001"
    assert type(first.measured) is float
    assert None in as_lists(checks, ["measured"])[0]
