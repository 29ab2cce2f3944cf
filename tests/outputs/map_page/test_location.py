"""Where am I: positions given to the browser by its own emulation, held against geodesics of GeographicLib."""

from __future__ import annotations

import re

import pytest
from geographiclib.geodesic import Geodesic

from .pages import on_desk, on_telephone, open_page, press, strangers, text, wait

pytestmark = pytest.mark.browser
WGS84 = Geodesic.WGS84
SCREENS = pytest.mark.parametrize("screen", [on_desk, on_telephone])
OCTANTS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


@pytest.fixture(autouse=True)
def _forget(browser):
    yield
    browser.execute_cdp_cmd("Emulation.clearGeolocationOverride", {})
    browser.execute_cdp_cmd("Browser.resetPermissions", {})


def allow(browser, setting: str = "granted") -> None:
    browser.execute_cdp_cmd("Browser.setPermission", {"permission": {"name": "geolocation"}, "setting": setting})


def stand(browser, lat: float, lon: float, accuracy: float = 4.0) -> None:
    place = {"latitude": lat, "longitude": (lon + 180) % 360 - 180, "accuracy": accuracy}
    browser.execute_cdp_cmd("Emulation.setGeolocationOverride", place)


def way(browser, element: str) -> tuple[float, float, str]:
    """Metres, bearing and octant as they are shown."""
    number, unit, bearing, octant = re.fullmatch(
        r"From you: ([\d.]+) (k?m) at (\d{3})° true \(([\w-]+)\)", text(browser, element)
    ).groups()
    return float(number) * (1000 if unit == "km" else 1), float(bearing), octant


def assert_way(shown: tuple[float, float, str], here: tuple[float, float], place) -> None:
    line = WGS84.Inverse(*here, place.lat, place.lon)
    metres, bearing, octant = shown
    assert metres == pytest.approx(line["s12"], rel=0.001, abs=0.2)
    assert abs((bearing - line["azi1"] + 180) % 360 - 180) <= 0.51
    assert octant == OCTANTS[round(line["azi1"] % 360 / 45) % 8]


@pytest.mark.first(1)
@SCREENS
def test_distance_and_direction(browser, make_plan, tmp_path, screen) -> None:
    plan = make_plan(8, hostile=False)
    path = open_page(browser, plan, tmp_path, screen)
    allow(browser)
    tower = plan.towers.iloc[2]
    here = (tower.lat + 0.0011, tower.lon - 0.0009)
    stand(browser, *here)
    press(browser, "locate")
    wait(browser, "return document.getElementById('way-tower').textContent !== ''")
    assert text(browser, "card-name") == "Tower 003", "the nearest one"
    assert_way(way(browser, "way-tower"), here, tower)
    for stake in plan.electrodes[plan.electrodes["tower_id"] == "003"].itertuples():
        assert_way(way(browser, f"way-{stake.role}"), here, stake)
    assert "accuracy 4 m, positions may be off by that" in text(browser, "here")
    assert browser.execute_script("return layoutplan.page.map.getBounds().contains(arguments[0])", list(here))
    assert strangers(browser, path) == []
    assert browser.get_log("browser") == []

    here = (tower.lat - 0.004, tower.lon + 0.006)  # walking on, with another tower chosen
    stand(browser, *here)
    press(browser, "next")
    wait(browser, f"return Math.abs(layoutplan.page.locator.here.lat - {here[0]}) < 1e-9")
    assert_way(way(browser, "way-tower"), here, plan.towers.iloc[3])
    press(browser, "locate")
    assert text(browser, "here") == text(browser, "way-tower") == ""
    assert browser.find_element("id", "locate").get_attribute("aria-pressed") == "false"


@pytest.mark.long
@pytest.mark.parametrize("lat", [0.02, 47.12, -69.9])
def test_ground_distance_far_and_near(browser, make_plan, tmp_path, lat) -> None:
    open_page(browser, make_plan(2, lat=lat, hostile=False), tmp_path)
    for azimuth in (3, 48, 91, 170, 233, 300):
        for metres in (0.5, 30, 150, 2_000, 50_000, 200_000):
            end = WGS84.Direct(lat, 9.45, azimuth, metres)
            found = browser.execute_script(
                "return layoutplan.ground(L.latLng(arguments[0], arguments[1]), L.latLng(arguments[2], arguments[3]))",
                lat, 9.45, end["lat2"], end["lon2"],
            )  # fmt: skip
            assert found["metres"] == pytest.approx(metres, rel=0.001, abs=0.2)
            assert abs((found["bearing"] - azimuth + 180) % 360 - 180) < 0.1


@pytest.mark.long
@pytest.mark.parametrize("lat", [0.0, 47.12, -69.9])
def test_circle_is_as_wide_as_the_accuracy(browser, make_plan, tmp_path, lat) -> None:
    open_page(browser, make_plan(4, lat=lat, hostile=False), tmp_path)
    allow(browser)
    stand(browser, lat, 9.45, 80.0)
    press(browser, "locate")
    wait(browser, "return layoutplan.page.map.hasLayer(layoutplan.page.locator.edge)")
    east = browser.execute_script("""
      const { map, locator: { edge } } = layoutplan.page;
      return map.layerPointToLatLng(edge._point.add([edge._radius, 0])).lng""")
    # a pixel is up to 0.6 m here
    assert WGS84.Inverse(lat, 9.45, lat, east)["s12"] == pytest.approx(80.0, rel=0.01, abs=0.7)


@pytest.mark.long
def test_rough_direction_from_a_rough_position(browser, make_plan, tmp_path) -> None:
    """At 500 m, a position that may be off by 100 m leaves the bearing open by 11 degrees each way."""
    plan = make_plan(1, hostile=False)
    open_page(browser, plan, tmp_path)
    allow(browser)
    tower = plan.towers.iloc[0]
    away = WGS84.Direct(tower.lat, tower.lon, 225, 500)
    stand(browser, away["lat2"], away["lon2"], 100.0)
    press(browser, "locate")
    wait(browser, "return document.getElementById('way-tower').textContent !== ''")
    assert text(browser, "way-tower") == "From you: 500 m, roughly to the north-east"
    stand(browser, away["lat2"], away["lon2"], 80.0)
    wait(
        browser,
        "return document.getElementById('way-tower').textContent === 'From you: 500 m at 045° true (north-east)'",
    )


@pytest.mark.long
def test_no_direction_within_the_accuracy(browser, make_plan, tmp_path) -> None:
    plan = make_plan(4, hostile=False)
    open_page(browser, plan, tmp_path)
    allow(browser)
    tower = plan.towers.iloc[0]
    stand(browser, tower.lat + 0.0001, tower.lon, 150.2)
    press(browser, "locate")
    wait(browser, "return document.getElementById('way-tower').textContent !== ''")
    assert text(browser, "way-tower") == "From you: 11 m, within the accuracy of the position: no direction"
    assert "accuracy 151 m" in text(browser, "here")


@pytest.mark.first(1)
@SCREENS
def test_refusal_is_said(browser, make_plan, tmp_path, screen) -> None:
    open_page(browser, make_plan(4, hostile=False), tmp_path, screen)
    allow(browser, "denied")
    stand(browser, 47.12, 9.45)
    press(browser, "locate")
    wait(browser, "return document.getElementById('here').textContent.includes('refuses')")
    words = text(browser, "here")
    assert "Allow location for this page" in words
    assert "opened from a file" in words
    assert "waypoints.gpx" in words
    assert browser.find_element("id", "locate").get_attribute("aria-pressed") == "false"
    assert not browser.execute_script("const { map, locator } = layoutplan.page; return map.hasLayer(locator.dot)")
    allow(browser)
    press(browser, "locate")
    wait(browser, "return document.getElementById('here').textContent.includes('accuracy')")


@pytest.mark.long
def test_no_position_to_be_had(browser, make_plan, tmp_path) -> None:
    open_page(browser, make_plan(4, hostile=False), tmp_path)
    allow(browser)
    browser.execute_cdp_cmd("Emulation.setGeolocationOverride", {})  # the protocol's word for: unavailable
    press(browser, "locate")
    wait(browser, "return document.getElementById('here').textContent.includes('cannot be found')")
    browser.execute_script("layoutplan.page.locator.failed({ code: 3 })")
    assert text(browser, "here").startswith("No position yet.")


@pytest.mark.long
def test_browser_that_never_answers_or_cannot(browser, make_plan, tmp_path) -> None:
    open_page(browser, make_plan(4, hostile=False), tmp_path)
    browser.execute_script("""
      navigator.geolocation.watchPosition = () => 7;
      document.getElementById("locate").click();
      const real = Date.now;
      Date.now = () => real() + 16000;""")
    assert text(browser, "here").startswith("Asking the browser")
    wait(browser, "return document.getElementById('here').textContent.startsWith('No answer from the browser yet.')")
    browser.execute_script("""
      layoutplan.page.locator.stop("");
      Object.defineProperty(navigator, "geolocation", { value: undefined });
      document.getElementById("locate").click();""")
    assert text(browser, "here").startswith("This browser gives no position to this page.")


@pytest.mark.long
def test_an_old_position_does_not_pass_for_a_new_one(browser, make_plan, tmp_path) -> None:
    open_page(browser, make_plan(4, hostile=False), tmp_path)
    allow(browser)
    stand(browser, 47.12, 9.45)
    press(browser, "locate")
    wait(browser, "return layoutplan.page.locator.here !== null")
    assert "old" not in text(browser, "here")
    browser.execute_script("const real = Date.now; Date.now = () => real() + 45000;")
    wait(browser, "return /This position is 4\\d s old/.test(document.getElementById('here').textContent)")
    assert browser.execute_script("return layoutplan.page.locator.dot.options.fillOpacity") < 0.5


@pytest.mark.long
def test_accuracy_that_is_not_told(browser, make_plan, tmp_path) -> None:
    open_page(browser, make_plan(4, hostile=False), tmp_path)
    browser.execute_script(
        "layoutplan.page.locator.found({ coords: { latitude: 47.12, longitude: 9.45, accuracy: NaN } })"
    )
    assert "accuracy unknown, positions may be off by any amount" in text(browser, "here")
    assert text(browser, "way-tower").endswith("no direction")


@pytest.mark.long
def test_across_the_antimeridian(browser, make_plan, tmp_path) -> None:
    plan = make_plan(6, lon=180.0, lat=-17.0, hostile=False)
    open_page(browser, plan, tmp_path)
    allow(browser)
    tower = plan.towers.iloc[-1]
    here = (tower.lat + 0.002, tower.lon - 0.001)
    stand(browser, *here)
    press(browser, "locate")
    wait(browser, "return document.getElementById('way-tower').textContent !== ''")
    assert_way(way(browser, "way-tower"), here, tower)
    drawn = browser.execute_script("return layoutplan.page.locator.dot.getLatLng().lng")
    assert drawn == pytest.approx(here[1], abs=1e-6) or drawn == pytest.approx(here[1] - 360, abs=1e-6)
    assert browser.execute_script("return layoutplan.page.map.getZoom()") > 14
