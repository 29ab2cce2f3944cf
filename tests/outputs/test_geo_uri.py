"""geo: links against RFC 5870."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.errors import InputRangeError
from layoutplan.outputs.geo_uri import geo_uri

# RFC 5870, section 3.3, as far as two coordinates and uncertainty go:
#   num = [ "-" ] pnum      pnum = 1*DIGIT [ "." 1*DIGIT ]      uncp = ";u=" pnum
PNUM = r"[0-9]+(?:\.[0-9]+)?"
GRAMMAR = re.compile(rf"geo:(-?{PNUM}),(-?{PNUM})(?:;u=({PNUM}))?")


@pytest.mark.parametrize(
    ("lat", "lon", "uncertainty_m", "published"),
    [
        (13.4125, 103.8667, None, "geo:13.4125,103.8667"),  # section 1
        (48.198634, 16.371648, 40, "geo:48.198634,16.371648;u=40"),  # section 6.2, without its crs=wgs84, the default
        (22.3, -118.44, None, "geo:22.3,-118.44"),  # section 6.4: the same as geo:22.300,-118.44 and geo:22.3,-118.4400
        (66, 30, 6.5, "geo:66,30;u=6.5"),  # section 6.4, without the parameters of others
        (90, -22.43, None, "geo:90,0"),  # section 6.4: geo:90,-22.43 and geo:90,46 are one place; 3.4.2: write it as 0
        (90, 46, None, "geo:90,0"),
    ],
)  # section numbers from memory, except 6.4
def test_examples_of_the_standard(lat, lon, uncertainty_m, published) -> None:
    assert geo_uri(lat, lon, uncertainty_m=uncertainty_m) == published


@pytest.mark.parametrize(
    ("lat", "lon", "expected"),
    [
        (-0.0, -0.0, "geo:0,0"),
        (1e-9, -1e-9, "geo:0,0"),
        (0.00001, -0.00005, "geo:0.00001,-0.00005"),
        (47.0, 180.0, "geo:47,-180"),  # 180 and -180 are one meridian
        (47.0, 179.99999999, "geo:47,-180"),
        (47.0, 180.25, "geo:47,-179.75"),
        (47.0, -190.5, "geo:47,169.5"),
        (-89.99999999, 12.0, "geo:-90,0"),
        (47.123456789, 9.987654321, "geo:47.1234568,9.9876543"),
    ],
)
def test_numbers(lat, lon, expected) -> None:
    assert geo_uri(lat, lon) == expected


@given(
    st.floats(-90, 90),
    st.floats(-1000, 1000),
    st.none() | st.floats(0, 1e6),
    st.integers(0, 9),
)
def test_the_grammar_and_the_place(lat, lon, uncertainty_m, decimals) -> None:
    match = GRAMMAR.fullmatch(geo_uri(lat, lon, uncertainty_m=uncertainty_m, decimals=decimals))
    assert match
    step = 10.0**-decimals
    assert float(match[1]) == pytest.approx(lat, abs=0.51 * step + 1e-12)
    assert -180 <= float(match[2]) < 180
    if abs(float(match[1])) < 90:
        turn = (float(match[2]) - lon) / 360
        assert abs(turn - round(turn)) * 360 <= 0.51 * step + 1e-9
    assert (match[3] is None) == (uncertainty_m is None)
    assert uncertainty_m is None or math.isclose(float(match[3]), uncertainty_m, abs_tol=0.00051, rel_tol=1e-12)


@pytest.mark.parametrize(
    ("lat", "lon", "more"),
    [
        (90.1, 0, {}),
        (math.nan, 0, {}),
        (0, math.nan, {}),
        (0, math.inf, {}),
        (0, 0, {"uncertainty_m": -1}),
        (0, 0, {"uncertainty_m": math.nan}),
        (0, 0, {"uncertainty_m": math.inf}),
        (0, 0, {"decimals": 10}),
    ],
)
def test_what_is_no_position(lat, lon, more) -> None:
    with pytest.raises(InputRangeError, match="geo: link"):
        geo_uri(lat, lon, **more)
