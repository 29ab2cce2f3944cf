"""Ground along leads: length, slope, drops.

Sources: derived here: on a plane length is d / cos(slope), over a sphere r asin(d / r), over a step its height; the
sum over short pieces, one after the other, is the same by other means. Geodesics are held in
tests/line/test_geodesy.py.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.line.geodesy import direct, inverse
from layoutplan.terrain import Dem, OpenedTerrain, elevation_m, profile_points, profiles
from layoutplan.terrain.profile import largest_cliff_m

Write = Callable[..., Path]
Open = Callable[..., OpenedTerrain]
LonLat = Callable[..., np.ndarray]
EAST_M, NORTH_M = 500_000.0, 5_300_000.0
MIDDLE_M = (EAST_M + 300.0, NORTH_M - 300.0)
SCALE = 0.9996  # of the grid on its central meridian: metres in the grid per metre on the ground


@pytest.fixture
def ground(dem_file: Write, opened: Open, lonlat: LonLat) -> Callable[..., tuple[Dem, np.ndarray]]:
    """A model of 600 m by 600 m of a function of metres east and north of its middle, and that middle."""

    def make(height: Callable[..., np.ndarray], cell: float = 2.0) -> tuple[Dem, np.ndarray]:
        size = round(600 / cell)
        transform = Affine(cell, 0, EAST_M, 0, -cell, NORTH_M)
        path = dem_file(
            lambda x, y: height(x - MIDDLE_M[0], y - MIDDLE_M[1]) + 0 * x, transform=transform, shape=(size, size)
        )
        middle = lonlat(*MIDDLE_M)
        return opened(path, middle, 200.0).dem, middle

    return make


def test_points_along_leads() -> None:
    start = np.array([[8.0, 47.0], [179.9995, -10.0]])
    lead, along, lonlat = profile_points(start, [30.0, 90.0], [10.0, 141.0], 4.0)
    assert np.bincount(lead).tolist() == [4, 37]
    assert along[:4] == pytest.approx([0, 10 / 3, 20 / 3, 10])
    assert along[-1] == 141
    assert np.diff(along[4:]) == pytest.approx(141 / 36)
    bearing, distance = inverse(start[lead], lonlat)
    assert distance == pytest.approx(along, abs=1e-6)
    assert bearing[along > 0] == pytest.approx(np.array([30.0, 90.0])[lead][along > 0], abs=1e-5)
    assert lonlat[-1, 0] > 180  # longitudes run on


def test_points_of_leads_without_length() -> None:
    lead, along, lonlat = profile_points([[8.0, 47.0]], [0.0], [0.0], 1.0)
    assert (lead.tolist(), along.tolist()) == ([0, 0], [0.0, 0.0])
    assert lonlat == pytest.approx(np.array([[8.0, 47.0]] * 2))


def test_level_ground(ground: Callable[..., tuple[Dem, np.ndarray]]) -> None:
    dem, middle = ground(lambda *_: 100.0)
    found = profiles(dem, middle, 77.0, 150.0, cliff_slope_deg=60)
    assert found.length_m == pytest.approx([150.0])
    assert found.known.all()
    assert [found.steepest_deg, found.height_difference_m, found.cliff_drop_m] == [0, 0, 0]
    assert [found.lowest_m, found.highest_m, found.start_height_m, found.end_height_m] == [100] * 4


def test_plane(ground: Callable[..., tuple[Dem, np.ndarray]]) -> None:
    """Along any bearing the ground rises by the gradient's part in it, and the length is d / cos of that slope."""
    dem, middle = ground(lambda x, y: 500 + 0.5 * x - 0.2 * y)
    bearing = np.arange(0.0, 360.0, 15.0)
    distance = np.linspace(50.0, 200.0, len(bearing))
    found = profiles(dem, np.repeat(middle, len(bearing), 0), bearing, distance, 3.0, cliff_slope_deg=60)
    turn = np.radians(bearing)
    rise = SCALE * (0.5 * np.sin(turn) - 0.2 * np.cos(turn))
    assert found.length_m == pytest.approx(distance * np.hypot(1, rise), abs=2e-3)
    assert found.height_difference_m == pytest.approx(distance * rise, abs=5e-3)
    assert found.steepest_deg == pytest.approx(np.degrees(np.arctan(np.abs(rise))), abs=0.02)
    assert found.highest_m - found.lowest_m == pytest.approx(distance * np.abs(rise), abs=5e-3)
    assert (found.cliff_drop_m == 0).all()


@pytest.mark.parametrize("cell_m", [1.0, 2.0, 5.0])
def test_length_over_a_spherical_cap(ground: Callable[..., tuple[Dem, np.ndarray]], cell_m: float) -> None:
    """From the top of a sphere of radius 250 m the ground is an arc of the length 250 asin(d / 250): 160.88 m to 150 m.

    Flat pieces in cells of c metres differ from it in slope by up to c / 2 r to either side, so in length by about the
    square of that.
    """
    dem, middle = ground(lambda x, y: np.sqrt(np.maximum(250**2 - (x**2 + y**2) / SCALE**2, 0)), cell_m)
    bearing = np.arange(0.0, 360.0, 10.0)
    found = profiles(dem, np.repeat(middle, 36, 0), bearing, 150.0, cliff_slope_deg=60)
    arc_m = 250 * np.arcsin(150 / 250)
    assert arc_m == pytest.approx(160.88, abs=0.01)
    assert found.length_m == pytest.approx(arc_m, abs=arc_m * (cell_m / 2 / 250) ** 2 + 1e-3)
    assert found.height_difference_m == pytest.approx(200.0 - 250.0, abs=0.02 * cell_m**2 + 1e-3)
    assert found.steepest_deg == pytest.approx(np.degrees(np.arcsin(150 / 250)), abs=cell_m)


def test_unknown_ground_on_the_way_makes_the_lead_unknown(ground: Callable[..., tuple[Dem, np.ndarray]]) -> None:
    dem, middle = ground(lambda x, y: np.where((x > 50) & (x < 60) & (np.abs(y) < 20), np.nan, 7.0))
    found = profiles(dem, np.repeat(middle, 3, 0), [90.0, 90.0, 0.0], [40.0, 100.0, 100.0], cliff_slope_deg=60)
    assert found.known.tolist() == [True, False, True]
    for name in ("length_m", "steepest_deg", "lowest_m", "highest_m", "cliff_drop_m"):
        assert np.isnan(getattr(found, name)).tolist() == [False, True, False], name
    assert found.height_difference_m.tolist() == [0, 0, 0]  # both ends are known


def test_leads_that_are_not_there_are_unknown(ground: Callable[..., tuple[Dem, np.ndarray]]) -> None:
    dem, middle = ground(lambda *_: 7.0)
    start = np.repeat(middle, 4, 0)
    start[3] = np.nan
    found = profiles(dem, start, [0.0, np.nan, 0.0, 0.0], [50.0, 50.0, np.nan, 50.0], cliff_slope_deg=60)
    assert found.known.tolist() == [True, False, False, False]
    assert np.isnan(found.length_m).tolist() == [False, True, True, True]


def test_a_lead_without_length(ground: Callable[..., tuple[Dem, np.ndarray]]) -> None:
    dem, middle = ground(lambda x, _: 100 + 0.1 * x)
    found = profiles(dem, middle, 10.0, 0.0, cliff_slope_deg=60)
    assert [found.length_m, found.steepest_deg, found.height_difference_m, found.cliff_drop_m] == [0] * 4
    assert found.known.all()


def test_leads_together_or_one_by_one(
    ground: Callable[..., tuple[Dem, np.ndarray]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Leads of unlike length share arrays; that must not show."""
    dem, middle = ground(lambda x, y: 300 + 8 * np.sin(x / 9) * np.cos(y / 7))
    bearing, distance = np.arange(0.0, 360, 23), np.linspace(1.0, 180.0, 16)
    start = np.repeat(middle, 16, 0)
    together = profiles(dem, start, bearing, distance, cliff_slope_deg=30)
    alone = [
        profiles(dem, start[i : i + 1], bearing[i], distance[i], cliff_slope_deg=30).length_m[0] for i in range(16)
    ]
    assert together.length_m == pytest.approx(alone, abs=1e-4)
    monkeypatch.setattr("layoutplan.terrain.profile._POINTS_TOGETHER", 300)
    parts = profiles(dem, start, bearing, distance, cliff_slope_deg=30)
    assert parts.length_m == pytest.approx(together.length_m, abs=1e-4)
    assert parts.cliff_drop_m == pytest.approx(together.cliff_drop_m, abs=1e-3)


def test_measured_as_if_point_by_point(ground: Callable[..., tuple[Dem, np.ndarray]]) -> None:
    dem, middle = ground(lambda x, y: 300 + 8 * np.sin(x / 9) * np.cos(y / 7))
    found = profiles(dem, middle, 33.0, 120.0, 1.5, cliff_slope_deg=60)
    _, along, places = profile_points(middle, [33.0], [120.0], 1.5)
    height = elevation_m(dem, places)
    piece = np.diff(along)
    assert found.length_m == pytest.approx(np.sum(np.hypot(piece, np.diff(height))), abs=1e-3)
    assert found.steepest_deg == pytest.approx(np.degrees(np.max(np.arctan(np.abs(np.diff(height)) / piece))), abs=0.05)
    assert found.end_height_m == pytest.approx(elevation_m(dem, direct(middle, [33.0], [120.0])), abs=2e-3)


@pytest.mark.parametrize("sense", [1, -1])
@pytest.mark.parametrize("edge_m", [50.0, 50.4, 51.0, 51.7])
def test_a_cliff(ground: Callable[..., tuple[Dem, np.ndarray]], sense: int, edge_m: float) -> None:
    """A step of 8 m across one cell of 1 m shows in full, wherever the points of the profile fall on it."""
    dem, middle = ground(lambda x, _: 200 + sense * 8.0 * (x > edge_m), 1.0)
    found = profiles(dem, np.repeat(middle, 2, 0), [90.0, 270.0], 100.0, cliff_slope_deg=60)
    assert found.cliff_drop_m == pytest.approx([8.0, 0.0], abs=0.01)
    assert found.steepest_deg[0] == pytest.approx(np.degrees(np.arctan(8)), abs=0.1)


@given(
    rise=st.lists(st.lists(st.sampled_from([-4.0, -2.0, -0.5, 0.0, 0.5, 2.0, 4.0]), min_size=7, max_size=7), min_size=1)
)
def test_largest_cliff_against_a_plain_walk(rise: list[list[float]]) -> None:
    """The same rule, one piece after the other."""
    want = []
    for row in rise:
        best, i = 0.0, 0
        while i < len(row):
            j = i
            while j < len(row) and abs(row[j]) > 1 and row[j] * row[i] > 0:
                j += 1
            if j == i:
                i += 1
                continue
            up = np.sign(row[i])
            beside = [row[k] for k in (i - 1, j) if 0 <= k < len(row)]
            best = max(best, abs(sum(row[i:j])) + sum(max(up * value, 0.0) for value in beside))
            i = j
        want.append(best)
    pieces = np.array(rise)
    assert largest_cliff_m(pieces, np.abs(pieces) > 1) == pytest.approx(want)


def test_an_unknown_piece_makes_the_cliff_unknown() -> None:
    rise = np.array([[5.0, np.nan, 0.0], [5.0, 5.0, 0.0]])
    assert largest_cliff_m(rise, np.abs(rise) > 1) == pytest.approx([np.nan, 10.0], nan_ok=True)
