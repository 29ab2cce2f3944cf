"""Slopes and lengths of a whole fan against single places and single leads.

Sources: the functions for one place and one lead, held in test_cells.py and test_profile.py; a plane, derived here:
the ground is 1 / cos(slope) times as long as the map.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.line.geodesy import direct
from layoutplan.terrain import OpenedTerrain, fan_lengths, fan_slopes, profiles, slope_aspect
from layoutplan.terrain.fan import points_to_steps

Write = Callable[..., Path]
Open = Callable[..., OpenedTerrain]
LonLat = Callable[..., np.ndarray]
EAST_M, NORTH_M = 500_000.0, 5_300_000.0
BEARINGS, DISTANCES = np.arange(0.0, 360.0, 12.0), np.array([58.0, 59.0, 75.5, 142.0])


@pytest.fixture
def hills(dem_file: Write) -> Path:
    """Hills in cells of 3 m, in degrees, at 60 degrees north."""
    transform = Affine(5.4e-5, 0, 9.0, 0, -2.7e-5, 60.02)
    return dem_file(
        lambda lon, lat: 400 + 60 * np.sin(lon * 1500) * np.cos(lat * 1900) + 5 * np.sin(lon * 9e3 + lat * 1e4),
        transform=transform,
        shape=(700, 700),
        crs="EPSG:4326",
    )


@pytest.fixture
def towers() -> np.ndarray:
    return np.array([[9.006, 60.012], [9.0119, 60.0105], [9.02, 60.009], [9.03, 60.008]])


def test_slopes_are_those_of_single_places(hills: Path, opened: Open, towers: np.ndarray) -> None:
    dem = opened(hills, towers, 150.0).dem
    bearing = BEARINGS + np.arange(4)[:, None]
    found = fan_slopes(dem, towers, bearing, DISTANCES)
    tower, ray, step_no = (grid.ravel() for grid in np.indices(found.shape))
    places = direct(towers[tower], bearing[tower, ray], DISTANCES[step_no])
    assert found.ravel() == pytest.approx(slope_aspect(dem, places)[0], abs=0.02)
    assert found.max() > 30


def test_lengths_are_those_of_single_leads(hills: Path, opened: Open, towers: np.ndarray) -> None:
    dem = opened(hills, towers, 150.0).dem
    bearing = BEARINGS + np.arange(4)[:, None]
    found = fan_lengths(dem, towers, bearing, DISTANCES, 0.2)
    tower, ray, step_no = (grid.ravel() for grid in np.indices(found.shape))
    leads = profiles(dem, towers[tower], bearing[tower, ray], DISTANCES[step_no], 0.2, cliff_slope_deg=60)
    assert found.ravel() == pytest.approx(leads.length_m, abs=0.02)
    assert found[..., 3].max() > 1.1 * 142
    assert (np.diff(found, axis=2) >= np.diff(DISTANCES) - 1e-4).all()


def test_a_fan_by_itself_or_with_others(hills: Path, opened: Open, towers: np.ndarray) -> None:
    dem = opened(hills, towers, 150.0).dem
    bearing = np.tile(BEARINGS, (4, 1))
    for ask in (fan_slopes, fan_lengths):
        together = ask(dem, towers, bearing, DISTANCES)
        assert np.array_equal(ask(dem, towers[2:3], bearing[2:3], DISTANCES), together[2:3])
        assert np.array_equal(ask(dem, towers, bearing, DISTANCES[::-1]), together[:, :, ::-1])


def test_plane(dem_file: Write, opened: Open, lonlat: LonLat) -> None:
    tower = lonlat(EAST_M + 400, NORTH_M - 300)
    dem = opened(dem_file(lambda x, _: 500 + 0.4 * (x - EAST_M)), tower, 150.0).dem
    assert fan_slopes(dem, tower, BEARINGS[None], DISTANCES) == pytest.approx(
        np.degrees(np.arctan(0.4 * 0.9996)), abs=1e-3
    )
    rise = 0.4 * 0.9996 * np.sin(np.radians(BEARINGS))
    want = np.hypot(1, rise)[:, None] * DISTANCES
    assert fan_lengths(dem, tower, BEARINGS[None], DISTANCES)[0] == pytest.approx(want, abs=2e-3)


def test_beyond_a_void_the_length_is_unknown(dem_file: Write, opened: Open, lonlat: LonLat) -> None:
    heights = np.full((60, 80), 9.0)
    heights[:, 47] = np.nan  # 70 to 80 m east of the tower
    tower = lonlat(EAST_M + 400, NORTH_M - 300)
    dem = opened(dem_file(heights), tower, 150.0).dem
    steps = np.array([0.0, 50.0, 75.0, 100.0])
    lengths, slopes = (ask(dem, tower, [[90.0, 270.0]], steps)[0] for ask in (fan_lengths, fan_slopes))
    assert lengths == pytest.approx(np.array([[0, 50, np.nan, np.nan], steps]), nan_ok=True)
    assert np.isnan(slopes).tolist() == [[False, False, True, False], [False] * 4]


@given(
    distance=st.lists(st.floats(0, 300), min_size=1, max_size=20),
    step=st.floats(0.3, 50),
)
def test_points_meet_every_step(distance: list[float], step: float) -> None:
    along, step_no = points_to_steps(np.array(distance), step)
    assert along[step_no] == pytest.approx(np.array(distance), abs=1e-9)
    assert along[0] == 0
    assert along[-1] == max(distance)
    assert (np.diff(along) <= step * (1 + 1e-6)).all()
    assert len(along) <= 1 + len(set(distance)) + max(distance) / step
