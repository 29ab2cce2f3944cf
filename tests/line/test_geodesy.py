"""Distances, bearings and local frames on the ellipsoid.

Sources: GDA technical manual and the semi-axes of WGS 84 (both from memory), GeographicLib (C. Karney) as another
implementation; angles folded, turned and named: derived here, by hand on the circle.
"""

from __future__ import annotations

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from layoutplan.line.geodesy import direct, fold_deg, inverse, local_axes, octant, to_ecef, turn_deg

LATITUDES = (-80.0, -79.0, -45.0, -33.3, -0.1, 0.0, 1e-3, 30.0, 47.5, 60.0, 72.0, 83.0, 84.0)
LONGITUDES = (-179.9995, -70.0, 0.0, 9.5, 179.9995)


def dms(degrees: float, minutes: float, seconds: float) -> float:
    return np.copysign(abs(degrees) + minutes / 60 + seconds / 3600, degrees)


def test_flinders_peak_to_buninyong() -> None:
    """GDA technical manual, worked example of the inverse problem on GRS 80 (figures from memory).

    The WGS 84 ellipsoid differs by 0.1 mm in its minor axis, far below the millimetre and 0.01" that are printed.
    """
    flinders = [dms(144, 25, 29.52440), dms(-37, 57, 3.72030)]
    buninyong = [dms(143, 55, 35.38390), dms(-37, 39, 10.15610)]
    bearing, distance = inverse([flinders, buninyong], [buninyong, flinders])
    assert distance == pytest.approx([54972.271] * 2, abs=1e-3)
    assert bearing == pytest.approx([dms(306, 52, 5.37), dms(127, 10, 25.07)], abs=0.01 / 3600)
    there = direct([flinders], [dms(306, 52, 5.37)], [54972.271])
    assert there[0] == pytest.approx(buninyong, abs=2e-8)


@pytest.mark.parametrize("lat", LATITUDES)
@pytest.mark.parametrize("lon", LONGITUDES)
def test_direct_and_inverse_against_geographiclib(lon: float, lat: float) -> None:
    """C. Karney, GeographicLib (package geographiclib), another implementation in another language."""
    azimuths, distances = np.array([0.0, 17.3, 90.0, 181.0, 269.9, 359.99]), np.array([200.0, 0.01, 50, 150, 1e3, 58])
    start = np.full((6, 2), [lon, lat])
    ends = direct(start, azimuths, distances)
    for i in range(6):
        mask = Geodesic.STANDARD | Geodesic.LONG_UNROLL
        want = Geodesic.WGS84.Direct(lat, lon, azimuths[i], distances[i], outmask=mask)
        assert ends[i] == pytest.approx([want["lon2"], want["lat2"]], abs=1e-11)
    bearing, distance = inverse(start, ends)
    assert distance == pytest.approx(distances, abs=1e-6)
    assert turn_deg(bearing - azimuths)[distances > 1] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("lat", LATITUDES)
@pytest.mark.parametrize("lon", LONGITUDES)
def test_tangent_frame_keeps_distance_and_bearing(lon: float, lat: float) -> None:
    """Within 0.01 m and 0.01 degrees of the geodesic at 200 m; the frame is in fact a thousand times better."""
    azimuths = np.arange(0.0, 360.0, 15.0)
    ends = np.array([[p["lon2"], p["lat2"]] for a in azimuths for p in [Geodesic.WGS84.Direct(lat, lon, a, 200.0)]])
    east, north = local_axes([[lon, lat]])
    offset = to_ecef(ends) - to_ecef([[lon, lat]])
    x, y = offset @ east[0], offset @ north[0]
    assert np.hypot(x, y) == pytest.approx(200.0, abs=1e-5)
    assert turn_deg(np.degrees(np.arctan2(x, y)) - azimuths) == pytest.approx(0.0, abs=1e-5)


def test_ecef_at_known_places() -> None:
    """Semi-axes of WGS 84 (NGA standard WGS 84, from memory): a = 6378137 m, b = 6356752.3142 m."""
    assert to_ecef([[0, 0], [90, 0], [0, 90], [180, 0]]) == pytest.approx(
        np.array([[6378137.0, 0, 0], [0, 6378137.0, 0], [0, 0, 6356752.3142], [-6378137.0, 0, 0]]), abs=1e-4
    )


def test_local_axes_are_unit_square_and_point_the_right_way() -> None:
    lonlat = np.array([[0.0, 0.0], [123.0, -79.0], [-71.0, 83.0], [190.0, 5.0]])
    east, north = local_axes(lonlat)
    assert np.einsum("ij,ij->i", east, east) == pytest.approx(1.0)
    assert np.einsum("ij,ij->i", north, north) == pytest.approx(1.0)
    assert np.einsum("ij,ij->i", east, north) == pytest.approx(0.0, abs=1e-15)
    assert east[0] == pytest.approx([0, 1, 0])
    assert north[0] == pytest.approx([0, 0, 1])


def test_longitudes_beyond_180_degrees_mean_the_same_places() -> None:
    assert to_ecef([[181.0, 10.0]]) == pytest.approx(to_ecef([[-179.0, 10.0]]), abs=1e-8)
    bearing, distance = inverse([[179.999, 10.0], [180.001, -10.0]], [[180.001, 10.0], [-180.001, -10.0]])
    assert bearing == pytest.approx([90.0, 270.0], abs=1e-3)
    assert distance == pytest.approx(Geodesic.WGS84.Inverse(10, 0, 10, 0.002)["s12"], abs=1e-6)


@pytest.mark.parametrize(
    ("start", "bearing", "expected"), [(179.9999, 90, 180.0), (180.5, 270, 180.5), (-179.9999, 270, -180.0)]
)
def test_direct_keeps_longitudes_continuous(start: float, bearing: float, expected: float) -> None:
    end = direct([[start, 0.0]], [bearing], [100.0])
    assert abs(end[0, 0] - expected) < 0.002
    assert np.sign(end[0, 0] - start) == (1 if bearing == 90 else -1)


def test_coincident_points_are_no_distance_apart() -> None:
    bearing, distance = inverse([[1.0, 2.0]], [[1.0, 2.0]])
    assert distance[0] == 0
    assert 0 <= bearing[0] < 360


def test_empty_tables_stay_empty() -> None:
    empty = np.empty((0, 2))
    assert [len(part) for part in inverse(empty, empty)] == [0, 0]
    assert direct(empty, [], []).shape == (0, 2)
    assert to_ecef(empty).shape == (0, 3)


@pytest.mark.parametrize(
    ("difference", "expected"),
    [(0, 0), (30, 30), (90, 90), (91, 89), (150, 30), (180, 0), (181, 1), (270, 90), (-30, 30), (359, 1), (720, 0)],
)
def test_fold(difference: float, expected: float) -> None:
    assert fold_deg(difference) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("difference", "expected"),
    [(0, 0), (10, 10), (-10, -10), (180, 180), (-180, 180), (181, -179), (350, -10), (370, 10), (-350, 10)],
)
def test_turn(difference: float, expected: float) -> None:
    assert turn_deg(difference) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("bearing", "name"),
    [
        (0, "north"),
        (22.4, "north"),
        (22.5, "north-east"),
        (67.5, "east"),
        (90, "east"),
        (135, "south-east"),
        (180, "south"),
        (225, "south-west"),
        (270, "west"),
        (315, "north-west"),
        (337.4, "north-west"),
        (337.5, "north"),
        (359.99, "north"),
        (360, "north"),
    ],
)
def test_octant(bearing: float, name: str) -> None:
    assert octant([bearing])[0] == name
