from __future__ import annotations

import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.errors import CRSError
from layoutplan.inputs.geodetic import datum_note, geocentric, is_usable, metres_per_degree, to_lonlat
from layoutplan.inputs.systems import parse_crs, settle_crs


def one(geometry: shapely.Geometry, crs: str) -> shapely.Geometry:
    return to_lonlat(np.array([geometry], dtype=object), pyproj.CRS(crs), "x")[0]


def test_swapped_axis_codes_come_out_as_longitude_and_latitude() -> None:
    # EPSG:2193 and EPSG:31467 give north before east; their files hold easting, northing all the same
    assert shapely.get_coordinates(one(shapely.Point(1_570_000, 5_180_000), "EPSG:2193")).tolist()[0] == pytest.approx(
        [172.628719, -43.532340], abs=1e-5
    )
    lon, lat = shapely.get_coordinates(one(shapely.Point(3_500_000, 5_400_000), "EPSG:31467"))[0]
    assert 8.9 < lon < 9.1
    assert 48.6 < lat < 48.8


def test_us_survey_feet_are_not_metres() -> None:
    # EPSG:2229 counts in US survey feet: its false origin (6,561,666.667 ft, 1,640,416.667 ft) is 118° W, 33.5° N
    point = shapely.get_coordinates(one(shapely.Point(6_561_666.667, 1_640_416.667), "EPSG:2229"))[0]
    assert point == pytest.approx([-118.0, 33.5], abs=1e-4)


@pytest.mark.parametrize(
    ("crs", "place", "off"),
    [
        ("EPSG:31467", (3_500_000, 5_400_000), "by some 3 m"),  # without the grid BeTA2007, as its publisher says
        ("EPSG:27700", (400_000, 300_000), "by some 2 m"),
        ("+proj=utm +zone=32 +ellps=bessel +type=crs", (500_000, 5_400_000), "unknown amount"),  # no datum named
    ],
)
def test_how_far_an_old_datum_may_be_off_is_told(crs: str, place: tuple[float, float], off: str) -> None:
    (said,) = datum_note(np.array([None, shapely.Point(place)], dtype=object), pyproj.CRS(crs), "towers.gpkg")
    assert said.startswith("towers.gpkg: ")
    assert off in said


@pytest.mark.parametrize("crs", ["EPSG:25832", "EPSG:4258", "EPSG:4326", "OGC:CRS84", "EPSG:3857", "EPSG:32632"])
def test_systems_of_today_need_no_word(crs: str) -> None:
    place = (9.0, 48.0) if pyproj.CRS(crs).is_geographic else (500_000.0, 5_400_000.0)
    assert datum_note(np.array([shapely.Point(place)], dtype=object), pyproj.CRS(crs), "x") == []
    assert datum_note(np.array([None], dtype=object), pyproj.CRS("EPSG:31467"), "x") == []


@pytest.mark.parametrize("crs", ["EPSG:25832", "EPSG:2229", "EPSG:4326", "EPSG:4258"])
def test_long_segments_are_cut_in_their_own_system(crs: str) -> None:
    area = pyproj.CRS(crs).area_of_use
    assert area is not None
    lon, lat = (9.0, 49.0) if crs != "EPSG:2229" else (-118.0, 34.0)
    there = pyproj.Transformer.from_crs(4326, crs, always_xy=True)
    back = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
    start, end = np.array(there.transform(lon, lat)), np.array(there.transform(lon + 0.1, lat + 0.05))
    line = one(shapely.LineString([start, end]), crs)
    coords = shapely.get_coordinates(line)
    lengths = pyproj.Geod(ellps="WGS84").inv(*coords[:-1].T, *coords[1:].T)[2]
    assert np.max(lengths) <= 1_005.0
    # its middle is the middle of the straight line in its own system
    middle = np.array(back.transform(*((start + end) / 2)))
    gap = pyproj.Geod(ellps="WGS84")
    nearest = shapely.get_coordinates(
        shapely.line_interpolate_point(line, shapely.line_locate_point(line, shapely.Point(middle)))
    )[0]
    assert gap.inv(*middle, *nearest)[2] < 0.05


def test_short_segments_stay_as_they_are_and_heights_go() -> None:
    line = shapely.LineString([(9.0, 49.0, 300.0), (9.001, 49.0, 310.0)])
    assert one(line, "EPSG:4326").equals_exact(shapely.LineString([(9.0, 49.0), (9.001, 49.0)]), 0.0)


def test_missing_empty_and_infinite_stay_and_are_told() -> None:
    found = to_lonlat(
        np.array([None, shapely.Point(), shapely.Point(np.inf, 1), shapely.Point(1, 2)], dtype=object),
        pyproj.CRS(4326),
        "x",
    )
    assert is_usable(found).tolist() == [False, False, False, True]
    far = to_lonlat(np.array([shapely.Point(1e12, 1e12)], dtype=object), pyproj.CRS(25832), "x")
    assert not is_usable(far).any()


def test_site_grid_is_refused() -> None:
    local = pyproj.CRS('LOCAL_CS["site grid",UNIT["metre",1]]')
    with pytest.raises(CRSError, match=r"plan.gpkg: site grid cannot be turned into longitude and latitude"):
        to_lonlat(np.array([shapely.Point(1, 2)], dtype=object), local, "plan.gpkg")


@pytest.mark.long
def test_settling_a_system() -> None:
    assert settle_crs("EPSG:25832", None, "f", "k")[1] == ""
    assert settle_crs("EPSG:25832", "EPSG:25832", "f", "k")[1] == ""
    assert settle_crs("EPSG:4326", "OGC:CRS84", "f", "k")[1] == ""
    chosen, remark = settle_crs("EPSG:4326", "EPSG:25832", "f.geojson", "layers[0].crs")
    assert chosen.to_epsg() == 25832
    assert remark == "f.geojson: the file says WGS 84, but layers[0].crs = 'EPSG:25832' in the job file was used"
    assert settle_crs("not a system", "EPSG:25832", "f", "k")[1] == ""
    with pytest.raises(CRSError, match=r"no coordinate reference system. Set k"):
        settle_crs("not a system", None, "f", "k")
    with pytest.raises(CRSError, match=r"no coordinate reference system. Set layers\[0\].crs"):
        settle_crs(None, None, "f", "layers[0].crs")
    with pytest.raises(CRSError, match="k = 'EPSG:1' is no known coordinate reference system"):
        parse_crs("EPSG:1", "f", "k")


@given(st.floats(-180, 180), st.floats(-89, 89), st.floats(0, 360))
def test_local_measures_agree_with_the_geodesic(lon: float, lat: float, bearing_deg: float) -> None:
    end_lon, end_lat, _ = pyproj.Geod(ellps="WGS84").fwd(lon, lat, bearing_deg, 10.0)
    both = np.array([[lon, lat], [end_lon, end_lat]])
    assert np.linalg.norm(np.diff(geocentric(both), axis=0)) == pytest.approx(10.0, abs=1e-5)
    lon_m, lat_m = metres_per_degree(np.array([lat]))
    turn = (end_lon - lon + 180) % 360 - 180
    assert np.hypot(turn * lon_m[0], (end_lat - lat) * lat_m[0]) == pytest.approx(10.0, rel=1e-3)


def test_cutting_keeps_both_lobes_of_a_bow_tie() -> None:
    bow_tie = shapely.Polygon([(7, 48), (9, 50), (9, 48), (7, 50)])
    holed = shapely.MultiPolygon(
        [shapely.Polygon([(0, 0), (4, 4), (4, 0), (0, 4)], [[(0.5, 1), (0.6, 1), (0.5, 1.1)]])]
    )
    whole, parts = (one(shape, "EPSG:4326") for shape in (bow_tie, holed))
    assert shapely.get_num_coordinates(whole) > 400
    assert shapely.make_valid(whole).area == pytest.approx(2.0)
    assert shapely.make_valid(parts).area == pytest.approx(8.0 - 0.005)
