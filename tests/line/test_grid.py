"""Zones, eastings and northings, convergence.

Sources: EPSG guidance note 7-2, the GDA technical manual and NGA's standard for universal grids (all from memory),
PROJ's own factors as another way; zones of six degrees and what is taped on the ground: derived here, from their
definition.
"""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import CRS, Proj

from layoutplan.errors import CRSError
from layoutplan.line.geodesy import direct, inverse
from layoutplan.line.grid import require_projected, utm_zone
from layoutplan.planning.places import grid_position


def dms(degrees: int, minutes: int, seconds: float) -> float:
    return degrees + minutes / 60 + seconds / 3600


def zone(lon: float, lat: float) -> str:
    return utm_zone(np.array([[lon, lat]]))


@pytest.mark.parametrize(
    ("lon", "lat", "code"),
    [
        (10.0, 48.0, 32632),
        (-180.0, 10.0, 32601),
        (179.999, 10.0, 32660),
        (180.0, 10.0, 32601),
        (181.0, 10.0, 32601),
        (-181.0, 10.0, 32660),
        (6.0, 48.0, 32632),
        (5.999, 48.0, 32631),
        (144.4, -37.95, 32755),
        (0.0, 0.0, 32631),
        (0.0, -1e-9, 32731),
        (-70.0, -80.0, 32719),
    ],
)
def test_zones_of_six_degrees(lon: float, lat: float, code: int) -> None:
    assert zone(lon, lat) == f"EPSG:{code}"


@pytest.mark.parametrize(
    ("lon", "lat", "number"),
    [
        (3.0, 60.0, 32),
        (2.999, 60.0, 31),
        (5.0, 55.999, 31),
        (5.0, 56.0, 32),
        (5.0, 63.999, 32),
        (5.0, 64.0, 31),
        (11.999, 60.0, 32),
        (12.0, 60.0, 33),
        (5.0, 71.999, 31),
        (8.999, 72.0, 31),
        (9.0, 78.0, 33),
        (20.999, 78.0, 33),
        (21.0, 78.0, 35),
        (32.999, 78.0, 35),
        (33.0, 78.0, 37),
        (41.999, 84.0, 37),
        (42.0, 78.0, 38),
        (-0.001, 78.0, 30),
    ],
)
def test_wider_zones_of_norway_and_svalbard(lon: float, lat: float, number: int) -> None:
    """Zones 32V and 31X, 33X, 35X, 37X: NGA standard for universal grids (from memory)."""
    assert zone(lon, lat) == f"EPSG:{32600 + number}"


def test_zone_of_the_middle_of_a_line() -> None:
    assert utm_zone(np.array([[11.9, 48.0], [12.3, 48.0]])) == "EPSG:32633"
    assert utm_zone(np.array([[179.9, 5.0], [180.3, 5.0]])) == "EPSG:32601"


@pytest.mark.parametrize("lat", [84.01, -80.01, 90.0])
def test_no_zone_beyond_utm(lat: float) -> None:
    with pytest.raises(CRSError, match=r"beyond UTM.*grid_crs"):
        zone(0.0, lat)


@pytest.mark.parametrize(
    ("crs", "lon", "lat", "easting", "northing"),
    [
        # EPSG guidance note 7-2, worked examples (figures from memory), printed to the centimetre; the transverse
        # Mercator's was reckoned with an older series and is a centimetre off
        pytest.param("EPSG:5041", 44.0, 73.0, 3320416.75, 632668.43, id="polar stereographic A"),
        pytest.param("EPSG:3857", -dms(100, 20, 0), dms(24, 22, 54.433), -11169055.58, 2800000.00, id="3857"),
        pytest.param(
            "+proj=tmerc +lat_0=49 +lon_0=-2 +k=0.9996012717 +x_0=400000 +y_0=-100000 +ellps=airy +nadgrids=@null",
            0.5,
            50.5,
            577274.99,
            69740.50,
            id="transverse Mercator",
        ),
    ],
)
def test_position_of_worked_examples(crs: str, lon: float, lat: float, easting: float, northing: float) -> None:
    east, north, _ = grid_position(np.array([[lon, lat]]), crs)
    assert (east[0], north[0]) == (pytest.approx(easting, abs=0.01), pytest.approx(northing, abs=0.01))


@pytest.mark.parametrize(
    ("lon", "lat", "easting", "northing", "convergence_deg"),
    [
        # GDA technical manual, Flinders Peak and Buninyong in MGA zone 55 (figures from memory); the manual counts
        # convergence with the other sign
        (dms(144, 25, 29.5244), -dms(37, 57, 3.7203), 273741.297, 5796489.777, dms(1, 35, 3.65)),
        (dms(143, 55, 35.3839), -dms(37, 39, 10.1561), 228854.052, 5828259.038, dms(1, 52, 43.22)),
    ],
    ids=["Flinders Peak", "Buninyong"],
)
def test_utm_of_the_gda_manual(lon: float, lat: float, easting: float, northing: float, convergence_deg: float) -> None:
    east, north, convergence = grid_position(np.array([[lon, lat]]), "EPSG:32755")
    assert (east[0], north[0]) == (pytest.approx(easting, abs=1e-3), pytest.approx(northing, abs=1e-3))
    assert convergence[0] == pytest.approx(convergence_deg, abs=0.01 / 3600)


@pytest.mark.parametrize(
    ("crs", "lonlat"),
    [
        ("EPSG:32632", [[6.0, 0.5], [9.0, 48.0], [12.0, 60.0], [11.0, 83.9]]),
        ("EPSG:32755", [[144.4, -37.95], [149.9, -79.0], [147.0, -1e-9]]),
        ("EPSG:32601", [[179.99, 66.0], [180.01, 66.0], [-179.99, -10.0]]),
        ("EPSG:3035", [[-5.0, 40.0], [10.0, 52.0], [30.0, 65.0]]),
        ("EPSG:2193", [[168.0, -46.0], [178.0, -37.0]]),
        ("EPSG:5041", [[44.0, 83.0], [-170.0, 75.0]]),
        ("EPSG:5042", [[44.0, -83.0], [-170.0, -75.0]]),
    ],
)
def test_convergence_against_proj(crs: str, lonlat: list[list[float]]) -> None:
    """Meridian convergence by PROJ's own derivatives; its sign: the angle from true to grid north, clockwise.

    None of the systems has a datum shift to WGS 84 that would turn a bearing.
    """
    points = np.array(lonlat)
    _, _, ours = grid_position(points, crs)
    lon = (points[:, 0] + 180) % 360 - 180
    factors = Proj(CRS(crs)).get_factors(lon, points[:, 1])
    turn = (ours - np.asarray(factors.meridian_convergence) + 180) % 360 - 180
    assert turn == pytest.approx(0.0, abs=1e-4)


def test_grid_bearing_is_what_the_grid_shows() -> None:
    """Bearing of a 200 m geodesic less the convergence is the bearing between its ends in a conformal grid."""
    start = np.array([[11.9, 60.0], [6.1, -40.0], [9.0, 83.0]])
    bearing = np.array([33.0, 200.0, 275.0])
    end = direct(start, bearing, np.full(3, 200.0))
    east, north, convergence = grid_position(start, "EPSG:32632")
    east_2, north_2, _ = grid_position(end, "EPSG:32632")
    grid = np.degrees(np.arctan2(east_2 - east, north_2 - north))
    assert (bearing - convergence - grid + 180) % 360 - 180 == pytest.approx(0.0, abs=0.01)


def test_scale_factor_is_not_taken_for_ground() -> None:
    """200 m on the ground are 199.92 m in the middle of a UTM zone: what is taped is not what the grid says."""
    start = np.array([[9.0, 48.0]])
    end = direct(start, [90.0], [200.0])
    east, north, _ = grid_position(np.vstack((start, end)), "EPSG:32632")
    assert np.hypot(east[1] - east[0], north[1] - north[0]) == pytest.approx(200 * 0.9996, abs=1e-3)
    assert inverse(start, end)[1][0] == pytest.approx(200.0, abs=1e-6)


@pytest.mark.parametrize("name", [None, "EPSG:25832", "EPSG:2193", "EPSG:2277", "+proj=tmerc +lon_0=9 +ellps=bessel"])
def test_systems_with_eastings_and_northings(name):
    require_projected(name)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("EPSG:4326", "no eastings and northings"),
        ("EPSG:4978", "no eastings"),
        ("EPSG:99", "known here"),
        ("", "known"),
    ],
)
def test_what_is_no_grid_is_refused_before_planning(name, words):
    with pytest.raises(CRSError, match=words):
        require_projected(name)
