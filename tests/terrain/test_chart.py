"""Where cells lie on the ground, and how they are turned and stretched there.

Sources: PROJ's own factors, Torge (from memory), NASA/USGS (from memory) and OGC GeoTIFF 1.1, named beside the
checks; a plane, derived here: it is the same plane in any system of coordinates.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from affine import Affine
from pyproj import CRS, Proj

from layoutplan.job.terrain import Terrain
from layoutplan.line.geodesy import direct
from layoutplan.terrain import OpenedTerrain, elevation_m, slope_aspect
from layoutplan.terrain.chart import Chart, chart_of, projection
from layoutplan.terrain.frames import Frames
from layoutplan.terrain.raster_file import read_header

EAST_M, NORTH_M = 500_000.0, 5_300_000.0
Write = Callable[..., Path]
Open = Callable[..., OpenedTerrain]


def north_up(cell: float, west: float = EAST_M, north: float = NORTH_M) -> Affine:
    return Affine(cell, 0, west, 0, -cell, north)


def chart(path: Path) -> Chart:
    return chart_of(read_header(path, Terrain())[0])


@pytest.mark.parametrize(
    ("lon", "lat"), [(9.0, 47.0), (11.5, 47.0), (6.5, 60.0), (9.0, -33.0), (11.9, 79.0), (9.0, 0.0)]
)
def test_utm_scale_and_convergence(lon: float, lat: float) -> None:
    """Against PROJ's own factors.

    Convergence is positive where grid north lies clockwise of true north, east of the central meridian in the north:
    there a step to the true north goes to the west of grid north, towards the central meridian.
    """
    crs = CRS.from_epsg(32632 if lat >= 0 else 32732)
    jacobian = projection(crs).xy_per_m(np.array([[lon, lat]]))[0]
    factors = Proj(crs).get_factors(lon, lat)
    turn = np.radians(factors.meridian_convergence)
    want = factors.meridional_scale * np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    assert jacobian == pytest.approx(want, abs=1e-7)


@pytest.mark.parametrize("lat", [-60.0, 0.0, 42.5, 78.0])
def test_degrees_per_metre(lat: float) -> None:
    """Radii of curvature of the ellipsoid: M = a (1 - e2) / (1 - e2 sin2)**1.5, N = a / sqrt(1 - e2 sin2).

    W. Torge, Geodesy, section on the geometry of the rotational ellipsoid (from memory).
    """
    jacobian = projection(CRS.from_epsg(4326)).xy_per_m(np.array([[1.5, lat]]))[0]
    a, e2, sine = 6378137.0, 0.0066943799901413165, np.sin(np.radians(lat))
    north_m = a * (1 - e2) / (1 - e2 * sine**2) ** 1.5
    east_m = a / np.sqrt(1 - e2 * sine**2) * np.cos(np.radians(lat))
    assert np.radians(jacobian) * [[east_m], [north_m]] == pytest.approx(np.eye(2), abs=1e-7)


@pytest.mark.parametrize("lat", [35.0, 47.0, 60.0, 70.0])
@pytest.mark.parametrize("code", [4326, 32632, 3035, 3857, 25831])
@pytest.mark.parametrize(("reach_m", "limit_m"), [(150.0, 0.01), (300.0, 0.03), (1000.0, 0.3)])
def test_flat_frames_are_right_to_centimetres(code: int, lat: float, reach_m: float, limit_m: float) -> None:
    """Points on rays through the frame against their true places.

    In degrees a place is off by ``e n tan(lat) / R`` to the east and ``e**2 tan(lat) / 2 R`` to the north, at most
    ``s**2 tan(lat) / (sqrt(3) R)`` together; the others are about as good.
    """
    start = np.array([[8.0, lat]])
    of = projection(CRS.from_epsg(code))
    bearing = np.arange(0.0, 360.0, 7.5)
    metres = np.linalg.inv(of.xy_per_m(start)[0])
    frame = Chart(of, of.xy(start)[0], np.eye(2))

    class One:
        mosaics = (type("Mosaic", (), {"chart": frame}),)

    row, col = Frames.about(One, start).places(0, slice(0, 1), bearing, np.array([reach_m]))  # type: ignore[arg-type]
    exact = frame.cell_at(direct(np.repeat(start, len(bearing), 0), bearing, np.full(len(bearing), reach_m)))
    off_m = np.hypot(*(metres @ (np.column_stack((col, row)) - exact).T))
    assert off_m.max() < limit_m
    assert off_m.max() < 1e-3 + 1.01 * reach_m**2 * max(np.tan(np.radians(lat)), 1.0) / np.sqrt(3) / 6.36e6


def test_a_torn_system_knows_nothing_there() -> None:
    mercator = projection(CRS.from_epsg(3857)).xy_per_m(np.array([[179.9999, 10.0], [179.0, 10.0]]))
    assert np.isnan(mercator[0, :, 0]).all()
    assert np.isfinite(mercator[1]).all()
    degrees = projection(CRS.from_epsg(4326)).xy_per_m(np.array([[10.0, 89.9999], [179.9999, 10.0]]))
    assert np.isnan(degrees[0]).any()
    assert np.isfinite(degrees[1]).all()


def test_places_without_coordinates_are_unknown(dem_file: Write, opened: Open) -> None:
    at = chart(dem_file(np.zeros((5, 5)))).cell_at(np.array([[np.nan, 47.0], [9.0, np.inf], [9.0, 47.0]]))
    assert np.isnan(at[:2]).all(axis=1).any()
    assert np.isfinite(at[2]).all()


def test_value_at_a_cells_centre_is_the_cells(dem_file: Write, opened: Open, lonlat: Callable[..., np.ndarray]) -> None:
    cells = np.random.default_rng(4).uniform(100, 200, (60, 80)).astype(np.float32)
    row, col = np.array([0, 3, 59, 20]), np.array([0, 7, 79, 40])
    places = lonlat(EAST_M + 10 * (col + 0.5), NORTH_M - 10 * (row + 0.5))
    dem = opened(dem_file(cells), places).dem
    assert elevation_m(dem, places) == pytest.approx(cells[row, col], abs=1e-4)


def test_half_a_cell_outside_the_outermost_centres_is_unknown(
    dem_file: Write, opened: Open, lonlat: Callable[..., np.ndarray]
) -> None:
    places = lonlat(EAST_M + np.array([4.9, 5.0, 795.0, 795.1]), NORTH_M - 300.0)
    assert np.isfinite(elevation_m(opened(dem_file(np.zeros((60, 80))), places).dem, places)).tolist() == [
        False,
        True,
        True,
        False,
    ]


def test_srtm_tile_has_its_posts_on_whole_arc_seconds(tmp_path: Path, opened: Open) -> None:
    """N42E001.hgt: 1201 posts a side from 42 N, 1 E to 43 N, 2 E, the outermost on those very meridians and parallels.

    NASA/USGS, SRTM topography documentation (from memory): names give the south-west post, rows run from the north.
    """
    row, col = np.mgrid[:1201, :1201]
    (tmp_path / "N42E001.hgt").write_bytes((1200 - row + 2 * col).astype(">i2").tobytes())
    places = np.array([[1.0, 42.0], [2.0, 43.0], [1.25, 42.5], [1.0 + 1 / 2400, 42.0 + 1 / 4800]])
    found = opened(tmp_path / "N42E001.hgt", places)
    want = 1200 * (places[:, 1] - 42) + 2400 * (places[:, 0] - 1)
    assert elevation_m(found.dem, places) == pytest.approx(want, abs=1e-3)
    assert not any("unit" in text for text in found.assumptions)


def test_pixel_is_point_shifts_by_half_a_cell(dem_file: Write, opened: Open, lonlat: Callable[..., np.ndarray]) -> None:
    """GTRasterTypeGeoKey (1025) of OGC GeoTIFF 1.1: 1 = the tie point is the corner of the cell, 2 = its centre.

    The key is changed in the bytes of the file, since writing it the usual way moves the tie point along.
    """
    path = dem_file(lambda x, y: 0.5 * (x - EAST_M) - 0.25 * (y - NORTH_M))
    places = lonlat(EAST_M + np.array([300.0, 333.3]), NORTH_M - np.array([200.0, 411.1]))
    area = elevation_m(opened(path, places).dem, places)
    assert area == pytest.approx(0.5 * np.array([300.0, 333.3]) + 0.25 * np.array([200.0, 411.1]), abs=1e-3)
    key, point = struct.pack("<4H", 1025, 0, 1, 1), struct.pack("<4H", 1025, 0, 1, 2)
    content = path.read_bytes()
    assert content.count(key) == 1
    path.write_bytes(content.replace(key, point))
    # the same cells now lie 5 m further west and north
    assert elevation_m(opened(path, places).dem, places) == pytest.approx(area + 0.5 * 5 + 0.25 * 5, abs=1e-3)


@pytest.mark.parametrize("code", [32632, 32631, 3035, 4326, 3857, 2056])
def test_a_plane_is_the_same_plane_in_any_system(dem_file: Write, opened: Open, code: int) -> None:
    """Ground rising 0.2 to the true east and 0.1 to the true north of a place, at and between the cells' centres."""
    start = np.array([[8.0, 47.0]])
    of = projection(CRS.from_epsg(code))
    step = of.xy_per_m(start)[0]
    centre, cell = of.xy(start)[0], np.diag([12.0 * np.linalg.norm(step[0]), -8.0 * np.linalg.norm(step[1])])
    height, width = 61, 61
    transform = Affine(cell[0, 0], 0, centre[0] - 30.3 * cell[0, 0], 0, cell[1, 1], centre[1] - 30.7 * cell[1, 1])
    back = np.linalg.inv(step)

    def plane(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        east, north = np.tensordot(back, np.stack((x - centre[0], y - centre[1])), axes=1)
        return 100 + 0.2 * east + 0.1 * north

    path = dem_file(plane, transform=transform, shape=(height, width), crs=f"EPSG:{code}")
    bearing = np.arange(0.0, 360.0, 9.0)
    distance = np.linspace(0.0, 150.0, len(bearing))
    places = direct(np.repeat(start, len(bearing), 0), bearing, distance)
    found = opened(path, start, 200.0)
    turn = np.radians(bearing)
    want = 100 + distance * (0.2 * np.sin(turn) + 0.1 * np.cos(turn))
    assert elevation_m(found.dem, places) == pytest.approx(want, abs=2e-3)
    slope, aspect = slope_aspect(found.dem, places)
    assert slope == pytest.approx(np.degrees(np.arctan(np.hypot(0.2, 0.1))), abs=2e-3)
    assert aspect == pytest.approx(180 + np.degrees(np.arctan2(0.2, 0.1)), abs=1e-2)  # convergence changes within 150 m


@pytest.mark.parametrize("turn_deg", [0.0, 25.0, 180.0, -77.0])
def test_a_turned_raster(dem_file: Write, opened: Open, lonlat: Callable[..., np.ndarray], turn_deg: float) -> None:
    transform = Affine.translation(EAST_M, NORTH_M) @ Affine.rotation(turn_deg) @ Affine.scale(7.0, -11.0)
    middle = transform @ (40, 30)
    path = dem_file(
        lambda x, y: 500 - 0.3 * (x - middle[0]) + 0.05 * (y - middle[1]), transform=transform, shape=(60, 80)
    )
    places = lonlat(middle[0] + np.array([0.0, 50.0, -30.0]), middle[1] + np.array([0.0, 20.0, -40.0]))
    found = opened(path, places[:1])
    assert elevation_m(found.dem, places) == pytest.approx([500, 486, 507], abs=1e-3)
    slope, aspect = slope_aspect(found.dem, places)
    # beside the central meridian grid north is true north to 0.004 degrees; 1 m on the ground is 0.9996 m in the grid
    assert np.tan(np.radians(slope)) == pytest.approx(0.9996 * np.hypot(0.3, 0.05), abs=1e-5)
    assert aspect == pytest.approx(np.degrees(np.arctan2(0.3, -0.05)), abs=5e-3)
