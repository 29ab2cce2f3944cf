"""Eastings, northings, units and factors, held against published examples and formulas written down again."""

import dataclasses

import numpy as np
import pyproj
import pytest
from geographiclib.geodesic import Geodesic

from layoutplan.errors import OutputError
from layoutplan.outputs.grid import grid_of
from layoutplan.outputs.grid_factors import elevation_factor, grid_factors

from .projections import AIRY_1830, CLARKE_1866, US_FOOT_M, UTM_32, WGS84, LambertConic, TransverseMercator

TEXAS = LambertConic(CLARKE_1866, 27 + 5 / 6, -99.0, (28 + 23 / 60, 30 + 17 / 60), 2_000_000 * US_FOOT_M, 0.0)
CONIC = LambertConic(WGS84, 38.0, 9.0, (46.0, 48.0), 600_000.0, 200_000.0)
CONIC_TEXT = "+proj=lcc +lat_0=38 +lon_0=9 +lat_1=46 +lat_2=48 +x_0=600000 +y_0=200000 +datum=WGS84"
PLACES = np.array([[9.45, 47.12], [8.3, 46.9], [11.99, 50.0]])


@pytest.fixture
def grid(make_plan):
    def make(crs: str):
        return grid_of(dataclasses.replace(make_plan(2), grid_crs=crs))

    return make


def test_the_formulas_give_the_worked_examples() -> None:
    """EPSG Guidance Note 7-2: British National Grid and NAD27 / Texas South Central, printed to the hundredth.

    The British figures are met to 8 mm only, by these formulas and by PROJ alike.
    """
    british = TransverseMercator(AIRY_1830, 49.0, -2.0, 0.9996012717, 400_000.0, -100_000.0)
    assert british(0.5, 50.5) == pytest.approx((577274.99, 69740.50), abs=0.01)
    in_feet = np.array(TEXAS(-96.0, 28.5)) / US_FOOT_M
    assert in_feet == pytest.approx((2963503.91, 254759.80), abs=0.006)


def test_the_formulas_give_another_author_s_examples() -> None:
    """J. P. Snyder, Map Projections - A Working Manual, USGS PP 1395 (1987), appendix A: printed to 0.1 m and 1e-7."""
    utm = TransverseMercator(CLARKE_1866, 0.0, -75.0, 0.9996, 0.0, 0.0)
    assert utm(-73.5, 40.5) == pytest.approx((127106.5, 4484124.4), abs=0.06)
    conic = LambertConic(CLARKE_1866, 23.0, -96.0, (33.0, 45.0), 0.0, 0.0)
    assert conic(-75.0, 35.0) == pytest.approx((1894410.9, 1564649.5), abs=0.06)
    assert conic.scale(35.0) == pytest.approx(0.9970171, abs=6e-8)


def test_worked_example_in_us_survey_feet(grid) -> None:
    """The same example of the guidance note, asked for by a position in WGS 84 as the plan does."""
    texas = grid("EPSG:32040")
    assert texas.unit.symbol == "us_ft"
    lonlat = pyproj.Transformer.from_crs("EPSG:4267", "EPSG:4326", always_xy=True).transform(-96.0, 28.5)
    place = texas.positions([lonlat])
    assert place[0] == pytest.approx((2963503.91, 254759.80), abs=0.01)


@pytest.mark.parametrize(
    ("crs", "formula", "metres"),
    [
        ("EPSG:32632", UTM_32, 1.0),
        (CONIC_TEXT, CONIC, 1.0),
        (f"{CONIC_TEXT} +units=ft", CONIC, 0.3048),
        (f"{CONIC_TEXT} +units=us-ft", CONIC, US_FOOT_M),
    ],
    ids=["UTM", "conic", "conic, feet", "conic, US survey feet"],
)
def test_positions_to_a_tenth_of_a_millimetre(grid, crs, formula, metres) -> None:
    found = grid(crs).positions(PLACES) * metres
    assert np.abs(found - [formula(*place) for place in PLACES.tolist()]).max() < 1e-4


@pytest.mark.parametrize(
    ("crs", "symbol", "code", "metric", "words"),
    [
        ("EPSG:25832", "m", 6, True, "metre"),
        ("EPSG:2251", "ft", 2, False, "international foot (0.3048 m)"),  # Michigan North
        ("EPSG:2225", "us_ft", 21, False, "US survey foot (1200/3937 m)"),  # California zone 1
        ("EPSG:2314", "units", 0, False, "Clarke's foot (0.3047972654 m)"),  # Trinidad
    ],
)
def test_units(grid, crs, symbol, code, metric, words) -> None:
    unit = grid(crs).unit
    assert (unit.symbol, unit.dxf_code, unit.metric, unit.name) == (symbol, code, metric, words)


def test_the_two_feet_are_not_the_same(grid) -> None:
    """At 600 km, 2 parts in a million are 1.2 m."""
    foot, us_foot = (grid(f"{CONIC_TEXT} +units={unit}").positions(PLACES)[0, 0] for unit in ("ft", "us-ft"))
    assert (foot - us_foot) * 0.3048 == pytest.approx(634_000 * 2e-6, rel=0.02)


@pytest.mark.parametrize(
    ("crs", "message"),
    [
        ("EPSG:4326", "it is not a projected system"),
        ("EPSG:2053", "its axes run south and west"),  # South Africa: would come out mirrored
        ("nonsense", "no coordinate reference system known here"),
    ],
)
def test_systems_without_eastings_and_northings_are_refused(grid, crs, message) -> None:
    with pytest.raises(OutputError, match=message):
        grid(crs)


def test_north_first_systems_are_told_by_their_axes(grid) -> None:
    """New Zealand's grid names northing first; so do many others."""
    east, north = grid("EPSG:2193").positions([[173.0, -41.0]])[0]
    assert east == pytest.approx(1_600_000, abs=2)
    assert 5_400_000 < north < 5_500_000


def test_a_grid_that_does_not_reach(grid) -> None:
    far = grid("+proj=gnom +lat_0=-47 +lon_0=-170 +datum=WGS84")
    with pytest.raises(OutputError, match="does not reach the whole plan"):
        far.positions(PLACES)


def test_compound_systems_give_their_grid(grid) -> None:
    assert grid("EPSG:32632+5703").code == "EPSG:32632"


def test_across_the_antimeridian(grid) -> None:
    east = grid("EPSG:32660").positions([[179.9, 10.0], [180.1, 10.0], [-179.9, 10.0]])[:, 0]
    assert east[1] == east[2]
    assert east[1] - east[0] == pytest.approx(21_900, rel=0.01)


def test_datum_change_is_told(grid) -> None:
    assert grid("EPSG:32632").operations(PLACES) == ["UTM zone 32N; no change of datum"]
    (told,) = grid("EPSG:31467").operations(PLACES[:1])
    assert "DHDN to WGS 84" in told
    assert told.endswith("stated accuracy 3 m")
    (unknown,) = grid("+proj=utm +zone=32 +ellps=bessel +type=crs").operations(PLACES[:1])
    assert unknown.endswith("accuracy unknown, metres may be lost")  # no datum is named
    assert "axis order" not in told + unknown


def test_scale_factor_of_published_examples(grid) -> None:
    """Snyder as above: k = 0.9997989 (transverse Mercator), 0.9970171 (Lambert); the system in feet has the same."""
    for units in ("m", "us-ft"):
        tm = grid(f"+proj=tmerc +lon_0=-75 +k=0.9996 +ellps=clrk66 +units={units}")
        conic = grid(f"+proj=lcc +lat_1=33 +lat_2=45 +lat_0=23 +lon_0=-96 +ellps=clrk66 +units={units}")
        for system, lonlat, scale in ((tm, (-73.5, 40.5), 0.9997989), (conic, (-75.0, 35.0), 0.9970171)):
            place = pyproj.Proj(system.crs)(*lonlat)  # on the system's own ellipsoid, as the examples
            assert grid_factors(system, [place], [0.0]).scale[0] == pytest.approx(scale, abs=6e-8)


def test_scale_and_convergence_from_geodesics(grid) -> None:
    """A short geodesic (GeographicLib) against the formulas' plane: its length gives the scale, its turn the rest."""
    utm = grid("EPSG:32632")
    factors = grid_factors(utm, utm.positions(PLACES), np.zeros(3))
    for row, (lon, lat) in enumerate(PLACES.tolist()):
        end = Geodesic.WGS84.Direct(lat, lon, 30.0, 20.0)
        step = np.subtract(UTM_32(end["lon2"], end["lat2"]), UTM_32(lon, lat))
        assert factors.scale[row] == pytest.approx(np.hypot(*step) / 20.0, abs=1e-7)
        turn = 30.0 - np.degrees(np.arctan2(*step))
        assert factors.convergence_deg[row] == pytest.approx(turn, abs=2e-4)


def test_combined_factor_of_the_manual_s_example() -> None:
    """NOAA Manual NOS NGS 5 (Stem), section 4.4 as quoted in public sources.

    Grid scale 1.0000450, H 865 ft, N -100 ft: elevation factor 0.9999634, combined 1.0000084, printed to 1e-7.
    """
    factor = elevation_factor((865 - 100) * US_FOOT_M)
    assert float(factor) == pytest.approx(0.9999634, abs=5e-8)
    assert float(1.0000450 * factor) == pytest.approx(1.0000084, abs=5e-8)


def test_unknown_stays_unknown(grid) -> None:
    utm = grid("EPSG:32632")
    factors = grid_factors(utm, utm.positions(PLACES), [np.nan, 400.0, -20.0])
    assert np.isnan(factors.combined).tolist() == [True, False, False]
    assert factors.elevation[2] > 1 > factors.elevation[1]


@pytest.mark.parametrize("crs", ["EPSG:3035", "EPSG:3857"])
def test_systems_that_are_not_conformal_have_no_scale_factor(grid, crs) -> None:
    """Equal area; and web Mercator, which is conformal on a sphere only. The largest scale is that of geodesics."""
    system = grid(crs)
    lon, lat = 20.0, 60.0
    there = grid_factors(system, system.positions([[lon, lat]]), [0.0])
    assert np.isnan(there.scale).all()
    ends = [Geodesic.WGS84.Direct(lat, lon, bearing, 10.0) for bearing in range(0, 360, 2)]
    ways = system.positions([[end["lon2"], end["lat2"]] for end in ends]) - system.positions([[lon, lat]])
    assert there.largest[0] == pytest.approx(np.hypot(*ways.T).max() / 10.0, rel=1e-5)


def test_grads_and_feet_change_no_factor(grid) -> None:
    """NTF (Paris) counts longitudes in grads from Paris."""
    paris = grid("EPSG:27572")
    factors = grid_factors(paris, paris.positions([[2.6, 46.8]]), [0.0])
    assert factors.scale[0] == pytest.approx(0.99987742, abs=1e-7)  # on the parallel of 52 grads: the zone's own factor
    assert abs(factors.convergence_deg[0]) == pytest.approx((2.6 - 2.33723) * np.sin(np.radians(46.8)), abs=1e-3)
