"""Magnetic declination against the model's published test values and a second implementation.

Sources: NOAA's test values of WMM2025 (below), the package pygeomag as another implementation; rounding and what is
said where the model gives nothing: this package's own rules, no source.
"""

import datetime as dt

import numpy as np
import pytest
from pygeomag import GeoMag, calculate_decimal_year

from layoutplan.line.declination import BLACKOUT, CAUTION, NO_DATE, compass_bearing_deg, magnetic_declination

# WMM2025 test values, NOAA National Centers for Environmental Information: table 6 of the model's technical report and
# the file WMM2025_TEST_VALUES.txt (as quoted in public repositories); printed to 0.01 degrees
PUBLISHED = [
    # year, height km, latitude, longitude, declination
    (2025.0, 0, 80, 0, 1.28),
    (2025.0, 0, 0, 120, -0.16),
    (2025.0, 0, -80, 240, 68.78),
    (2025.0, 100, 80, 0, 0.85),
    (2025.0, 100, 0, 120, -0.15),
    (2025.0, 100, -80, 240, 68.21),
    (2027.5, 0, 80, 0, 2.59),
    (2027.5, 0, 0, 120, -0.24),
    (2027.5, 0, -80, 240, 68.49),
    (2027.5, 100, 80, 0, 2.16),
    (2027.5, 100, 0, 120, -0.23),
    (2027.5, 100, -80, 240, 67.93),
]
DAY = dt.date(2026, 5, 4)


def day_of(year):
    start = dt.date(int(year), 1, 1)
    return start + dt.timedelta(days=round((year - int(year)) * 365))


@pytest.mark.parametrize(("year", "height_km", "lat", "lon", "declination"), PUBLISHED)
def test_published_values(year, height_km, lat, lon, declination):
    found = magnetic_declination([[lon, lat]], day_of(year), height_m=1e3 * height_km)
    # 0.005 is half the last printed digit; half a day more or less than mid-year is worth 0.001 degrees at most
    assert found.deg[0] == pytest.approx(declination, abs=0.0065)


@pytest.mark.parametrize("day", [dt.date(2024, 11, 13), DAY, dt.date(2028, 2, 29), dt.date(2029, 12, 31)])
def test_a_second_implementation_agrees(day):
    rng = np.random.default_rng(3)
    lonlat = np.column_stack((rng.uniform(-180, 180, 200), rng.uniform(-75, 75, 200)))
    found = magnetic_declination(lonlat, day)
    reference = GeoMag()
    year = calculate_decimal_year(dt.datetime(day.year, day.month, day.day))
    for (lon, lat), declination, note in zip(lonlat.tolist(), found.deg, found.notes, strict=True):
        point = reference.calculate(glat=lat, glon=lon, alt=0.0, time=year, allow_date_outside_lifespan=True)
        assert np.isnan(declination) == point.in_blackout_zone
        assert (note == CAUTION) == (point.in_caution_zone and not point.in_blackout_zone)
        if not np.isnan(declination):
            assert declination == pytest.approx(point.d, abs=1e-4)


def test_blackout_zone_gives_none_and_says_so():
    """The north magnetic dip pole lies near 86 N, 140 E in 2025 (from memory)."""
    found = magnetic_declination([[140.0, 86.0], [9.0, 47.0]], DAY)
    assert np.isnan(found.deg[0])
    assert found.notes[0] == BLACKOUT
    assert found.deg[1] == pytest.approx(3.7, abs=0.2)
    assert found.notes[1] == ""


@pytest.mark.parametrize("day", [dt.date(2024, 11, 12), dt.date(2030, 1, 1), dt.date(1990, 1, 1)])
def test_outside_the_models_validity_there_is_none(day):
    found = magnetic_declination([[9.0, 47.0]], day)
    assert np.isnan(found.deg).all()
    assert "2024-11-13 to 2029-12-31" in found.model
    assert str(day) in found.notes[0]


def test_without_a_day_of_work_todays_date_is_not_taken():
    found = magnetic_declination([[9.0, 47.0]], None)
    assert np.isnan(found.deg).all()
    assert found.notes == (NO_DATE,)


def test_longitudes_may_run_on_and_tables_may_be_empty():
    west, east = magnetic_declination([[-179.9, 52.0], [180.1, 52.0]], DAY).deg
    assert west == pytest.approx(east, abs=1e-9)
    assert magnetic_declination(np.empty((0, 2)), DAY).deg.shape == (0,)


def test_the_model_and_the_day_are_named():
    assert magnetic_declination([[9.0, 47.0]], DAY).model == "WMM-2025, valid 2024-11-13 to 2029-12-31, for 2026-05-04"


@pytest.mark.parametrize(
    ("true", "declination", "compass"),
    [(100.0, 3.7, 96.5), (1.0, 3.7, 357.5), (0.1, 0.3, 0.0), (359.9, -0.3, 0.0), (50.0, np.nan, np.nan)],
)
def test_compass_bearings_are_given_to_half_a_degree(true, declination, compass):
    assert compass_bearing_deg(true, declination) == pytest.approx(compass, nan_ok=True)
