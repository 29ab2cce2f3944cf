"""Frames against geodesics of another library."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from layoutplan.access import TangentFrame

from .scenes import EVERYWHERE


@pytest.mark.parametrize("at", EVERYWHERE)
def test_points_lie_where_geodesics_lead(at):
    # an independent library: C. F. F. Karney, "Algorithms for geodesics," J. Geod., vol. 87, pp. 43-55, 2013.
    # In a tangent frame a point at distance s lies s³ / 6 R² too near: 0.14 mm at 1500 m.
    for azimuth in range(0, 360, 45):
        there = Geodesic.WGS84.Direct(at[1], at[0], azimuth, 1500.0)
        xy = 1500.0 * np.array([[np.sin(np.radians(azimuth)), np.cos(np.radians(azimuth))]])
        lon, lat = TangentFrame.at(at).to_lonlat(xy)[0]
        back = Geodesic.WGS84.Inverse(there["lat2"], there["lon2"], lat, lon)["s12"]
        assert back < 2e-4


@pytest.mark.parametrize("at", EVERYWHERE)
def test_there_and_back(at):
    xy = np.random.default_rng(1).uniform(-2000, 2000, (200, 2))
    frame = TangentFrame.at(at)
    lonlat = frame.to_lonlat(xy)
    assert np.abs(lonlat[:, 0] - at[0]).max() < 1.0  # continuous across the antimeridian
    np.testing.assert_allclose(frame.to_xy(lonlat), xy, atol=1e-7)
    turned = np.column_stack((np.mod(lonlat[:, 0], 360.0), lonlat[:, 1]))
    np.testing.assert_allclose(frame.to_xy(turned), xy, atol=1e-7)


@pytest.mark.parametrize("at", EVERYWHERE)
@pytest.mark.parametrize("far_m", [300.0, 1500.0])
def test_a_lattice_lies_where_its_places_lie(at, far_m):
    frame, axis = TangentFrame.at(at), np.linspace(-far_m, far_m, 41)
    xy = np.column_stack((np.tile(axis, 41), np.repeat(axis, 41)))
    lonlat = frame.lattice_to_lonlat(axis)
    assert np.abs(lonlat[:, 0] - at[0]).max() < 1.0  # continuous across the antimeridian
    np.testing.assert_allclose(frame.to_xy(lonlat), frame.to_xy(frame.to_lonlat(xy)), atol=5e-4)
