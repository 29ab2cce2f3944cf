"""Files against towers: out of reach, void, several of them, seams, the antimeridian.

Sources: derived here, planes and constant heights whose value at a place is known; which file counts: own rule, no
source.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from affine import Affine

from layoutplan.errors import InputError
from layoutplan.terrain import (
    Dem,
    OpenedTerrain,
    elevation_m,
    fan_lengths,
    fan_slopes,
    profiles,
    slope_aspect,
)
from layoutplan.terrain import mosaic as mosaic_module
from layoutplan.terrain.mosaic import Mosaic
from layoutplan.terrain.tiles import TileStore

Write = Callable[..., Path]
Open = Callable[..., OpenedTerrain]
LonLat = Callable[..., np.ndarray]
EAST_M, NORTH_M = 500_000.0, 5_300_000.0


def north_up(cell: float, west: float = EAST_M, north: float = NORTH_M) -> Affine:
    return Affine(cell, 0, west, 0, -cell, north)


def plane(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return 400 + 0.3 * (x - EAST_M) + 0.1 * (y - NORTH_M)


def test_a_file_of_another_area(dem_file: Write, opened: Open) -> None:
    path = dem_file(plane)
    text = r"dem\.tif: does not reach any tower\. It covers longitude 9\.000 to 9\.011, latitude 47\.848 to 47\.853; "
    with pytest.raises(InputError, match=text + r"the towers lie at longitude 15\.600 to 15\.700, latitude 48\.400"):
        opened(path, [[15.6, 48.4], [15.7, 48.4]])
    with pytest.raises(InputError, match=r"none of 2 files \(dem\.tif, dem\.tif\) reaches any tower"):
        opened([path, path], [15.6, 48.4])


def test_a_file_that_only_the_reach_of_a_tower_meets(dem_file: Write, opened: Open, lonlat: LonLat) -> None:
    """The tower itself has no height then, which is an error; with another tower inside it is a remark."""
    beside, inside = lonlat(EAST_M - 80, NORTH_M - 300)[0], lonlat(EAST_M + 400, NORTH_M - 300)[0]
    path = dem_file(plane)
    with pytest.raises(InputError, match="does not reach any tower"):
        opened(path, beside, 50.0)
    with pytest.raises(InputError, match="no height at any tower"):
        opened(path, beside, 150.0)
    found = opened(path, [beside, inside], 150.0)
    assert found.problems == ("terrain: no height known at 1 tower of 2; slopes there are unknown",)
    slopes = fan_slopes(found.dem, [beside], [[90.0, 270.0]], [120.0, 140.0])[0]
    assert np.isfinite(slopes[0]).all()
    assert np.isnan(slopes[1]).all()
    assert np.isnan(fan_lengths(found.dem, [beside], [[90.0]], [120.0])).all()  # the way there is not known


def test_all_void(dem_file: Write, opened: Open, lonlat: LonLat) -> None:
    path = dem_file(np.full((60, 80), -9999.0), nodata=-9999)
    with pytest.raises(InputError, match=r"dem\.tif: no height at any tower: .* Check terrain\.files, terrain\.nodata"):
        opened(path, lonlat(EAST_M + 400, NORTH_M - 300))


def test_a_height_of_exactly_nothing_is_said(dem_file: Write, opened: Open, lonlat: LonLat) -> None:
    heights = np.full((60, 80), 120.0)
    heights[:, 40:] = 0.0
    places = [*lonlat(EAST_M + 200, NORTH_M - 300), *lonlat(EAST_M + 700, NORTH_M - 300)]
    (said,) = opened(dem_file(heights), places).problems
    assert said.startswith("terrain: height exactly 0 at 1 tower of 2; if 0 stands for no height in the file")
    assert not any("exactly 0" in text for text in opened(dem_file(heights, nodata=0), places).problems)


def test_without_files_everything_is_unknown(opened: Open) -> None:
    found = opened([], [[9.0, 47.0], [9.1, 47.0]])
    assert np.isnan(found.tower_height_m).all()
    assert found.files == found.problems == found.assumptions == ()
    assert np.isnan(elevation_m(found.dem, [9.0, 47.0])).all()
    assert np.isnan(slope_aspect(found.dem, [9.0, 47.0])).all()
    assert np.isnan(fan_slopes(found.dem, [9.0, 47.0], [[0.0]], [50.0])).all()
    assert np.isnan(fan_lengths(found.dem, [9.0, 47.0], [[0.0]], [50.0])).all()
    assert not profiles(found.dem, [9.0, 47.0], 0.0, 50.0, cliff_slope_deg=60).known.any()


def test_no_places_no_values(dem_file: Write, opened: Open, lonlat: LonLat) -> None:
    dem = opened(dem_file(plane), lonlat(EAST_M + 400, NORTH_M - 300)).dem
    empty = np.empty((0, 2))
    assert elevation_m(dem, empty).shape == (0,)
    assert [part.shape for part in slope_aspect(dem, empty)] == [(0,), (0,)]
    assert fan_slopes(dem, empty, np.empty((0, 4)), [1.0]).shape == (0, 4, 1)
    assert profiles(dem, empty, [], [], cliff_slope_deg=60).length_m.shape == (0,)
    assert opened(dem_file(plane), empty).dem == Dem()


def test_what_the_cells_cannot_show_is_said(dem_file: Write, opened: Open, lonlat: LonLat) -> None:
    place = lonlat(EAST_M + 400, NORTH_M - 300)
    coarse, fine = dem_file(plane), dem_file(plane, "fine.tif", transform=north_up(1.0), shape=(600, 800))
    said = opened(coarse, place).assumptions
    assert any("cells of 10 m; steps in the ground lower than about 17 m" in text for text in said)
    assert any("bare ground" in text for text in said)
    assert not any("cells of" in text for text in opened(fine, place).assumptions)
    assert any("cells of 10 m" in text for text in opened([fine, coarse], place).assumptions)
    assert opened(coarse, place).dem.cell_m == pytest.approx(10 / 0.9996)
    assert opened([coarse, fine], place).dem.step_m == pytest.approx(0.5 / 0.9996)
    assert opened(coarse, place).dem.step_m == 2.0


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_tiles_side_by_side_have_no_seam(dem_file: Write, opened: Open, lonlat: LonLat, order: tuple[int, int]) -> None:
    """Two tiles of one survey, edge to edge: between their outermost centres lies a strip that neither knows alone."""
    west = dem_file(plane, "west.tif", shape=(60, 40))
    east = dem_file(plane, "east.tif", shape=(60, 40), transform=north_up(10.0, EAST_M + 400))
    across = EAST_M + 400 + np.linspace(-30, 30, 25)
    places = lonlat(across, NORTH_M - 300)
    found = opened([(west, east)[i] for i in order], places)
    assert len(found.dem.mosaics) == 1
    assert found.tower_height_m == pytest.approx(400 + 0.3 * (across - EAST_M) - 30, abs=1e-3)
    slope, _ = slope_aspect(found.dem, places)
    assert np.tan(np.radians(slope)) == pytest.approx(0.9996 * np.hypot(0.3, 0.1), abs=1e-5)
    alone = opened(west, places)
    assert np.isnan(alone.tower_height_m[across > EAST_M + 395.1]).all()


def test_where_tiles_overlap_the_first_one_counts(dem_file: Write, opened: Open, lonlat: LonLat) -> None:
    hole = np.full((60, 50), 100.0)
    hole[30:, 45:] = -9999
    first = dem_file(hole, "first.tif", nodata=-9999)
    second = dem_file(np.full((60, 40), 200.0), "second.tif", transform=north_up(10.0, EAST_M + 400))
    places = lonlat(EAST_M + np.array([300.0, 425.0, 475.0, 600.0]), NORTH_M - np.array([100.0, 100, 500, 100]))
    assert opened([first, second], places).tower_height_m == pytest.approx([100, 100, 200, 200])
    assert opened([second, first], places).tower_height_m == pytest.approx([100, 200, 200, 200])
    edge = opened([first, second], lonlat(EAST_M + 500.0, NORTH_M - 100.0)).tower_height_m  # half-way between centres
    assert edge == pytest.approx([150.0])


def test_a_coarser_file_fills_in(dem_file: Write, opened: Open, lonlat: LonLat) -> None:
    """Files of different cells, and of different systems, are asked one after the other."""
    fine = dem_file(np.full((100, 100), 100.0), "fine.tif", transform=north_up(2.0))
    coarse = dem_file(np.full((60, 80), 200.0), "coarse.tif", transform=north_up(10.0, EAST_M - 5, NORTH_M + 5))
    degrees = dem_file(np.full((50, 50), 300.0), "degrees.tif", crs="EPSG:4326", transform=north_up(0.001, 8.99, 47.87))
    places = lonlat(EAST_M + np.array([100.0, 400.0, 1500.0]), NORTH_M - 100)
    found = opened([fine, coarse, degrees], places)
    assert len(found.dem.mosaics) == 3
    assert found.tower_height_m == pytest.approx([100, 200, 300])
    assert opened([degrees, coarse, fine], places).tower_height_m == pytest.approx([300, 300, 300])
    slope, _ = slope_aspect(found.dem, places)
    assert slope == pytest.approx([0, 0, 0])
    # the rays leave the fine file, then the coarse one
    heights = profiles(found.dem, places[:1], 90.0, 900.0, cliff_slope_deg=60)
    assert (heights.lowest_m, heights.highest_m) == (100, 300)
    assert np.isfinite(fan_slopes(found.dem, places, np.tile([90.0, 270.0], (3, 1)), [50.0, 80.0])).all()


def test_a_file_between_keeps_its_rank(dem_file: Write, opened: Open, lonlat: LonLat) -> None:
    """Only files that follow each other are put together: the third must not overtake the second."""
    first = dem_file(np.full((60, 40), 100.0), "first.tif")
    second = dem_file(np.full((61, 81), 200.0), "second.tif", transform=north_up(10.0, EAST_M - 5, NORTH_M + 5))
    third = dem_file(np.full((60, 40), 300.0), "third.tif", transform=north_up(10.0, EAST_M + 400))
    places = lonlat(EAST_M + np.array([200.0, 600.0]), NORTH_M - 300)
    assert opened([first, second, third], places).tower_height_m == pytest.approx([100, 200])
    assert opened([first, third, second], places).tower_height_m == pytest.approx([100, 300])


def test_idle_files_are_told_and_not_listed(dem_file: Write, opened: Open, lonlat: LonLat) -> None:
    near = dem_file(plane, "near.tif")
    far = dem_file(plane, "far.tif", transform=north_up(10.0, EAST_M + 5000))
    found = opened([far, near], lonlat(EAST_M + 400, NORTH_M - 300))
    assert found.files == (near,)
    assert found.problems == ("terrain: 1 file far from all towers: far.tif",)


@pytest.mark.parametrize("lons", [[179.98, 180.02], [-180.02, -179.98], [180.02, 180.03]])
def test_across_the_antimeridian(dem_file: Write, opened: Open, lons: list[float]) -> None:
    """Tiles east and west of it belong together; longitudes may run on beyond 180 degrees."""

    def ground(lon: np.ndarray, lat: np.ndarray) -> np.ndarray:
        return 500 + 2000 * (np.mod(lon, 360) - 180) + 3000 * (lat + 16)

    west = dem_file(ground, "west.tif", crs="EPSG:4326", transform=north_up(0.0005, 179.9, -15.9), shape=(300, 200))
    east = dem_file(ground, "east.tif", crs="EPSG:4326", transform=north_up(0.0005, -180, -15.9), shape=(300, 200))
    places = np.column_stack((np.linspace(*lons, 21), np.full(21, -16.0)))
    found = opened([west, east], places)
    want = 500 + 2000 * (np.mod(places[:, 0], 360) - 180)
    assert found.tower_height_m == pytest.approx(want, abs=2e-3)
    assert len(found.dem.mosaics) == 1
    slope, aspect = slope_aspect(found.dem, places)
    assert np.ptp(slope) < 1e-3
    assert np.ptp(aspect) < 1e-2
    fans = fan_slopes(found.dem, places, np.tile(np.arange(0.0, 360, 45), (21, 1)), [50.0, 150.0])
    assert fans == pytest.approx(slope[0], abs=5e-3)


@pytest.mark.parametrize("west", [-180.0, 0.0])
def test_a_file_around_the_world(dem_file: Write, opened: Open, west: float) -> None:
    transform = north_up(0.5, west, 90.0)
    path = dem_file(
        lambda lon, lat: 100 + 10 * lat + np.mod(lon, 360), transform=transform, shape=(360, 720), crs="EPSG:4326"
    )
    lon = np.array([179.3, 179.9, 180.1, 180.9])
    places = np.column_stack((lon, np.full(4, 10.0)))
    assert opened(path, places).tower_height_m == pytest.approx(200 + lon, abs=1e-3)
    assert opened(path, places - [360, 0]).tower_height_m == pytest.approx(200 + lon, abs=1e-3)


@pytest.mark.long
def test_small_windows_small_stores_and_threads_change_nothing(
    dem_file: Write, opened: Open, lonlat: LonLat, monkeypatch: pytest.MonkeyPatch
) -> None:
    rng = np.random.default_rng(5)
    path = dem_file(rng.normal(300, 5, (600, 1100)), transform=north_up(2.0))
    places = lonlat(EAST_M + rng.uniform(200, 2000, 20), NORTH_M - rng.uniform(200, 1000, 20))
    bearing, distance = np.tile(np.arange(0.0, 360, 15), (20, 1)), np.arange(40.0, 150, 10)

    def asked(dem: Dem) -> list[np.ndarray]:
        leads = profiles(dem, places, bearing[:, 3], 140.0, cliff_slope_deg=40)
        return [
            fan_slopes(dem, places, bearing, distance),
            fan_lengths(dem, places, bearing, distance),
            elevation_m(dem, places),
            leads.length_m,
            leads.cliff_drop_m,
        ]

    dem = opened(path, places, 150.0).dem
    want = asked(dem)
    assert all(np.isfinite(part).all() for part in want)
    with ThreadPoolExecutor(4) as pool:
        assert all(same(want, part) for part in pool.map(asked, [opened(path, places, 150.0).dem] * 8))
    monkeypatch.setattr(TileStore, "__init__", _tiny_store)
    assert same(want, asked(opened(path, places, 150.0).dem))
    monkeypatch.setattr(mosaic_module, "_LARGEST_WINDOW", 100 * 100)
    monkeypatch.setattr(mosaic_module, "_BLOCK", 50)
    monkeypatch.setattr(mosaic_module, "TILE", 64)
    small = opened(path, places, 150.0).dem
    assert same(want, asked(small))


def same(one: list[np.ndarray], other: list[np.ndarray]) -> bool:
    return all(np.allclose(a, b, rtol=0, atol=1e-5) for a, b in zip(one, other, strict=True))


_store = TileStore.__init__


def _tiny_store(self: TileStore) -> None:
    _store(self, most=2)


def test_each_tile_is_read_once_along_the_line(
    dem_file: Write, opened: Open, lonlat: LonLat, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = dem_file(np.zeros((600, 6000)), transform=north_up(2.0))
    read: list[int] = []
    tiles = Mosaic._read
    monkeypatch.setattr(Mosaic, "_read", lambda self, keys: read.extend(map(hash, keys)) or tiles(self, keys))
    places = lonlat(EAST_M + np.arange(300.0, 11800, 250), NORTH_M - 300)
    dem = opened(path, places, 150.0).dem
    for some in np.array_split(places, 4):
        fan_slopes(dem, some, np.tile([0.0, 180.0], (len(some), 1)), [150.0])
    assert len(read) == len(set(read)) == 12
