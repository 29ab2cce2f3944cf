"""Windows about places hold whatever is nearer than asked, by another library's distances on the ellipsoid."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from layoutplan.windows import margins_deg


@pytest.mark.parametrize("lat_deg", [-80.0, -33.0, 0.0, 0.001, 47.0, 71.0, 89.0])
@pytest.mark.parametrize("reach_m", [10.0, 1_000.0, 10_000.0])
def test_nothing_nearer_is_missed(lat_deg, reach_m):
    east, north = margins_deg(lat_deg, reach_m)
    for bearing in range(0, 360, 5):
        there = Geodesic.WGS84.Direct(lat_deg, 10.0, bearing, reach_m)
        assert abs(there["lon2"] - 10.0) <= east
        assert abs(there["lat2"] - lat_deg) <= north


def test_windows_are_little_wider_than_asked():
    east, north = margins_deg(np.array([0.0, 60.0]), 1_000.0)
    metres = [Geodesic.WGS84.Inverse(lat, 0.0, lat, wide)["s12"] for lat, wide in zip((0.0, 60.0), east, strict=True)]
    assert metres == pytest.approx([1_000.0, 1_000.0], rel=0.02)
    assert Geodesic.WGS84.Inverse(0.0, 0.0, north, 0.0)["s12"] == pytest.approx(1_000.0, rel=0.02)


def test_no_window_reaches_round_a_pole():
    assert np.isfinite(margins_deg([90.0, -89.99], 5_000.0)[0]).all()
