from __future__ import annotations

import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from layoutplan.inputs.corridor import Corridor, LongitudeFrame

from ..effort import examples

GEOD = pyproj.Geod(ellps="WGS84")
MARGIN_M = 1200.0


def corridor(lonlat: list[tuple[float, float]], margin_m: float = MARGIN_M) -> Corridor:
    places = np.array(lonlat, dtype=float)
    frame = LongitudeFrame.around(places)
    return Corridor.around(frame.points(places), margin_m, frame)


@settings(max_examples=examples(200))
@given(st.floats(-180, 180), st.floats(-80, 84), st.floats(0, 360), st.floats(0, MARGIN_M))
def test_nothing_within_the_margin_is_missed(lon: float, lat: float, bearing_deg: float, distance_m: float) -> None:
    found = corridor([(lon, lat), (lon + 0.01, lat)])
    near = np.array([GEOD.fwd(lon, lat, bearing_deg, distance_m)[:2]])
    assert found.meets(np.array([shapely.Point(found.frame.points(near)[0])], dtype=object)).all()


def test_windows_follow_a_slanted_line() -> None:
    steps = np.linspace(0, 1, 200)
    found = corridor(list(zip(8 + 2 * steps, 48 + 2 * steps, strict=True)))
    assert len(found.windows_deg) > 30
    far = np.array([shapely.Point(8.1, 49.9), shapely.Point(9.0, 49.0)], dtype=object)
    assert found.meets(far).tolist() == [False, True]


def test_windows_in_a_projected_system_hold_what_lies_in_them() -> None:
    found = corridor([(9.0, 60.0), (9.3, 60.2)], 5000.0)
    crs = pyproj.CRS(25833)  # the neighbouring zone: windows come out askew
    boxes = found.boxes(crs)
    west, south, east, north = found.windows_deg.T
    for share_x in np.linspace(0, 1, 7):
        for share_y in np.linspace(0, 1, 7):
            lon, lat = west + share_x * (east - west), south + share_y * (north - south)
            x, y = pyproj.Transformer.from_crs(4326, crs, always_xy=True).transform(lon, lat)
            assert ((boxes[:, 0] <= x) & (x <= boxes[:, 2]) & (boxes[:, 1] <= y) & (y <= boxes[:, 3])).all()


def test_longitudes_stay_as_they_are_away_from_the_antimeridian() -> None:
    frame = LongitudeFrame.around(np.array([[8.0, 49.0], [177.9, 49.0]]))
    assert frame.centre_deg is None
    assert frame.points(np.array([[-179.0, 1.0]])).tolist() == [[-179.0, 1.0]]


@pytest.mark.parametrize(
    ("lons", "other", "as_counted"),
    [
        ([179.9, 179.95], -179.99, 180.01),
        ([-179.9, -179.95], 179.99, -180.01),
        ([179.99, -179.99], 179.5, 179.5),
    ],
)
def test_longitudes_run_on_at_the_antimeridian(lons: list[float], other: float, as_counted: float) -> None:
    frame = LongitudeFrame.around(np.array([[lon, -16.5] for lon in lons]))
    counted = frame.points(np.array([[lon, -16.5] for lon in [*lons, other]]))[:, 0]
    assert np.ptp(counted) < 1.0
    assert (counted[-1] - as_counted) % 360 == pytest.approx(0, abs=1e-9)


def test_unshifted_longitudes_keep_every_bit() -> None:
    lon = 179.123456789012345
    assert LongitudeFrame(180.0).points(np.array([[lon, 0.0]]))[0, 0] == lon


def test_line_unbroken_across_the_antimeridian() -> None:
    line = np.array([shapely.LineString([(179.9, 1), (-179.9, 1)])], dtype=object)
    assert shapely.length(LongitudeFrame(180.0).geometries(line))[0] == pytest.approx(0.2)


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:3857", "EPSG:32760", "EPSG:3832"])
def test_boxes_on_both_sides_of_the_antimeridian(crs: str) -> None:
    found = corridor([(179.999, -16.5), (-179.999, -16.5)])
    boxes = found.boxes(pyproj.CRS(crs))
    change = pyproj.Transformer.from_crs(4326, crs, always_xy=True)
    for lon in (179.995, -179.995):
        x, y = change.transform(lon, -16.5)
        assert ((boxes[:, 0] <= x) & (x <= boxes[:, 2]) & (boxes[:, 1] <= y) & (y <= boxes[:, 3])).any()
    if crs == "EPSG:3857":  # and not the whole Earth between them
        x, y = change.transform(0.0, -16.5)
        assert not ((boxes[:, 0] <= x) & (x <= boxes[:, 2])).any()


def test_box_overlap() -> None:
    found = corridor([(8.0, 49.0), (8.01, 49.0)])
    assert found.meets_box((7.0, 48.0, 9.0, 50.0))
    assert not found.meets_box((8.5, 48.0, 9.0, 50.0))
    assert corridor([(179.99, 0.0), (-179.99, 0.0)]).meets_box((-180.0, -1.0, -179.0, 1.0))


def test_what_lies_on_the_far_side_is_not_torn_apart() -> None:
    far = np.array([shapely.LineString([(-0.5, 1), (0.5, 1)]), shapely.box(-30, -10, 40, 10)], dtype=object)
    assert shapely.equals(LongitudeFrame(180.0).geometries(far), far).all()
