"""map.html in headless Chromium without network."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import Geod

from layoutplan.job import shipped_classes
from layoutplan.layout.levels import LEAD_LEVELS
from layoutplan.layout.rules import MAY_STAKE
from layoutplan.outputs.map_page.styles import PLAN_STYLES, SIGNS
from layoutplan.text import clean

from .pages import (
    colours,
    colours_about,
    counts,
    has_letters,
    look_at,
    on_telephone,
    open_page,
    popup_of,
    requests,
    strangers,
    text,
    wait,
)

pytestmark = pytest.mark.browser


def test_offline_quiet_and_drawn(browser, make_plan, tmp_path) -> None:
    plan = make_plan(12, hostile=False)
    path = open_page(browser, plan, tmp_path)
    sent = requests(browser)
    assert path.as_uri() in sent
    assert [url for url in sent if url != path.as_uri() and not url.startswith("data:")] == []
    assert browser.get_log("browser") == []

    found = counts(browser)
    for status, number in plan.summary["by_status"].items():
        assert found.get(status, 0) == number
    for role in "HS":
        drawn = plan.electrodes[plan.electrodes["role"] == role]
        waits = ~drawn["status"].isin(MAY_STAKE)
        assert (found[role], found[f"{role} not yet"]) == (int((~waits).sum()), int(waits.sum()))
    for level, number in plan.leads["lead_level"].value_counts().items():
        assert found[f"lead {level}"] == number
    assert found["span"] == len(plan.spans)
    credit = browser.find_element("class name", "leaflet-control-attribution").text
    assert credit == "© OpenStreetMap contributors, ODbL"
    assert "alternative" not in found  # off until somebody asks for them
    assert browser.get_log("browser") == []


def test_signs_are_really_painted(browser, make_plan, tmp_path) -> None:
    plan = make_plan(8, hostile=False, density=0)
    open_page(browser, plan, tmp_path)
    seen = set()
    for tower in plan.towers.itertuples():
        if tower.status in seen or tower.status == "map does not cover":  # its letter lies in the middle
            continue
        seen.add(tower.status)
        look_at(browser, tower.lon, tower.lat, 17)
        assert painted_as(browser, tower.lon, tower.lat, SIGNS[tower.status])
    assert len(seen) == 4
    for stake in plan.electrodes.head(2).itertuples():
        look_at(browser, stake.lon, stake.lat, 18)
        sign = SIGNS[stake.role]
        assert painted_as(browser, stake.lon, stake.lat, sign)
        inside = colours_about(browser, stake.lon, stake.lat, reach_px=4)
        assert inside.total() - inside[sign["fill"]] > 10 or not has_letters(browser), "no letter on it"


def painted_as(browser, lon: float, lat: float, sign) -> bool:
    """Much of the sign's fill in the middle, whatever its letter covers in whatever font; around it none of it."""
    inside = colours_about(browser, lon, lat, reach_px=4)
    square = colours_about(browser, lon, lat, reach_px=int(1.5 * sign["radius"]))
    return inside[sign["fill"]] > inside.total() / 4 and square[sign["fill"]] < 0.75 * square.total()


@pytest.mark.first(1)
@pytest.mark.parametrize("level", LEAD_LEVELS)
def test_leads_are_painted_by_their_level(browser, make_plan, tmp_path, level) -> None:
    """Colour along the lead, dashes or none, and the casing on both sides."""
    plan = make_plan(8, hostile=False, density=0)
    open_page(browser, plan, tmp_path)
    look = PLAN_STYLES[f"lead {level}"]
    lead = plan.leads[(plan.leads["lead_level"] == level) & (plan.leads["status"] == "all rules met")]
    line = lead.geometry.iloc[0]
    middle = shapely.line_interpolate_point(line, 0.5, normalized=True)
    look_at(browser, middle.x, middle.y, 18)
    along = shapely.line_interpolate_point(line, np.linspace(0.3, 0.7, 120), normalized=True)
    found = colours(browser, shapely.get_coordinates(along).tolist())
    assert found.count(look["color"]) > 20
    assert (found.count("#111111") > 5) == ("dashArray" in look)
    pixel_deg = 360 / 2**26  # zoom 18, 256 pixels to a tile
    aside = np.array([(look["weight"] + look["casing"]) / 4 * pixel_deg, 0])
    in_the_casing = shapely.transform(line, lambda xy: xy + aside)
    beside = shapely.line_interpolate_point(in_the_casing, np.linspace(0.3, 0.7, 120), normalized=True)
    found = colours(browser, shapely.get_coordinates(beside).tolist())
    dark = [colour for colour in found if all(0x0F <= part < 0x46 for part in bytes.fromhex(colour[1:]))]
    assert dark, f"no casing (#111111; #000000 is bare canvas): {sorted(set(found))}"


def test_popup_of_a_lead(browser, make_plan, tmp_path) -> None:
    plan = make_plan(8, hostile=False)
    open_page(browser, plan, tmp_path)
    near = popup_of(browser, "lead", "Lead to S, tower 001")
    assert near["In service"].startswith("near a limit: ")
    assert near["Under a fault"].startswith("above a limit: ")
    figures = {
        "On arrival, tower to stake": "11.8 to 44.1 V",
        "Worst in service": "0.942 times a limit",
        "Induced by the load": "9.40 V",
        "Induced by unbalance": "3.10 V",
        "Capacitive current": "0.071 mA",
        "Electric field": "1.24 kV/m",
        "Worst under a fault": "11.9 times a limit",
        "Induced by a fault": "18.2 V",
        "Transferred by a fault": "5120 V, by a fault at Northern station",
        "Under a fault beside the stake": "4270 V to the ground 1 m away, 1340 V between the feet of a step: "
        "stand clear of stake and lead",
    }
    assert {label: near[label] for label in figures} == figures
    unknown = popup_of(browser, "lead", "Lead to H, tower 002")
    assert unknown["In service"].startswith("unknown: treat the lead as live")
    known = {label for label in figures if not unknown[label].startswith("unknown")}
    assert known == {"Capacitive current", "Electric field"}


def test_popup_of_a_tower(browser, make_plan, tmp_path) -> None:
    open_page(browser, make_plan(8, hostile=False), tmp_path)
    rows = popup_of(browser, "all rules met", "Tower 001")
    figures = {
        "Rise under a fault": "2.54 kV, by a fault at line 'Valley 132', tower 9",
        "Share of the fault": "2.63 % in its footing",
        "Standing current": "0.399 to 1.43 A",
        "Reading expected": "6.50 ohm",
        "Bias of the reading": "-1.01 ohm, -15.6 %",
        "Bias within 10\N{NO-BREAK SPACE}%": "with H at 103 m or farther",
        "Coupling of leads": "0.439 ohm, 6.76 %",
    }
    assert {label: rows[label] for label in figures} == figures
    without = popup_of(browser, "no layout", "Tower 005")
    assert "Bias of the reading" not in without
    assert without["Rise under a fault"] == "5.12 kV, by a fault at Northern station"


@pytest.mark.long
def test_hostile_names_are_shown_letter_for_letter(browser, make_plan, tmp_path, hostile_texts) -> None:
    from selenium.webdriver.common.action_chains import ActionChains

    plan = make_plan(14)
    open_page(browser, plan, tmp_path)
    container = browser.find_element("class name", "folium-map")
    width, height = container.size["width"], container.size["height"]
    for tower in plan.towers.iloc[1 : 1 + len(hostile_texts)].itertuples():
        look_at(browser, tower.lon, tower.lat, 18)
        pointer = ActionChains(browser).move_to_element_with_offset(container, 0, 0)
        assert width > 100
        assert height > 100
        pointer.pause(0.05).click().perform()
        wait(browser, "return !!document.querySelector('.leaflet-popup-content h3')")
        title = browser.execute_script("return document.querySelector('.leaflet-popup-content h3').textContent")
        assert title == f"Tower {clean(tower.tower_id)}"
        browser.execute_script("layoutplan.page.map.closePopup()")
        wait(browser, "return !document.querySelector('.leaflet-popup')")  # it fades, and would be taken for the next
    names = set(
        browser.execute_script(
            "return [...layoutplan.page.map.getContainer().querySelectorAll('*')].map((e) => e.localName)"
        )
    )
    assert not names & {"img", "b", "iframe"}
    browser.execute_script("""
    layoutplan.page.map.setZoom(14, { animate: false }); // the base map is drawn where one looks
    layoutplan.page.map.eachLayer((layer) => {
      if (!layer.words) return;
      const latlng = layer.getLatLng ? layer.getLatLng() : layer.getBounds().getCenter();
      layoutplan.show(layer, latlng);
      layer.fire("mouseover", { latlng });
    });""")
    assert browser.title == "Valley line </title>{{7*7}}"
    assert browser.execute_script("return window.alerts") == []
    assert browser.get_log("browser") == []


def test_popup_of_a_stake(browser, make_plan, tmp_path) -> None:
    from selenium.webdriver.common.action_chains import ActionChains

    plan = make_plan(8, hostile=False)
    open_page(browser, plan, tmp_path)
    stake = plan.electrodes.iloc[0]
    look_at(browser, stake.lon, stake.lat, 18)
    ActionChains(browser).move_to_element(browser.find_element("class name", "folium-map")).click().perform()
    wait(browser, "return !!document.querySelector('.leaflet-popup-content')")
    text = browser.execute_script("return document.querySelector('.leaflet-popup-content').innerText")
    bring = "1 rod, about 84.3 ohm (at most 1000 ohm)"
    for words in (
        "001-H",
        "88.5 m on the ground",
        "171.0° true",
        "right side, to the south",
        "92.7 m",
        "unknown",
        bring,
    ):
        assert words in text


@pytest.mark.long
def test_telephone(browser, make_plan, tmp_path) -> None:
    plan = make_plan(8, hostile=False)
    open_page(browser, plan, tmp_path, on_telephone)
    assert browser.execute_script("return document.documentElement.scrollWidth") <= 400
    assert browser.execute_script("return document.getElementById('panel').open") is False
    assert f"{len(plan.cautions)} cautions" in browser.find_element("id", "panel").text
    assert browser.execute_script("return document.querySelector('.folium-map').clientHeight") > 560
    browser.find_element("css selector", "#panel summary").click()
    wait(browser, "return document.getElementById('panel').open")
    assert plan.cautions[0] in browser.find_element("id", "cautions").text
    assert browser.execute_script("return document.querySelector('.folium-map').clientHeight") > 200
    assert browser.execute_script("return document.documentElement.scrollWidth") <= 400
    browser.find_element("css selector", "#panel summary").click()
    browser.execute_script("layoutplan.show([...layoutplan.towers.values()][3])")
    wait(
        browser,
        "const box = document.querySelector('.leaflet-popup')?.getBoundingClientRect();"
        "return !!box && box.left >= 0 && box.right <= 400",
    )  # the map moves to show all of it
    box = browser.execute_script("return document.querySelector('.leaflet-popup').getBoundingClientRect().toJSON()")
    assert box["left"] >= 0
    assert box["right"] <= 400
    assert browser.get_log("browser") == []


@pytest.mark.long
@pytest.mark.parametrize("lat", [0.0, 47.12, -70.0])
def test_measured_distances_and_bearings(browser, make_plan, tmp_path, lat) -> None:
    """Against geodesics of PROJ on WGS 84."""
    open_page(browser, make_plan(2, lat=lat, hostile=False), tmp_path)
    geod = Geod(ellps="WGS84")
    for azimuth, distance in ((0, 100), (37, 143.2), (90, 60), (135, 1000), (200, 5000), (289, 12.5)):
        lon2, lat2, _ = geod.fwd(9.45, lat, azimuth, distance)
        found = browser.execute_script(
            "return layoutplan.ground(L.latLng(arguments[1], arguments[0]), L.latLng(arguments[3], arguments[2]))",
            9.45, lat, lon2, lat2,
        )  # fmt: skip
        assert found["metres"] == pytest.approx(distance, abs=0.002)
        assert found["bearing"] == pytest.approx(azimuth, abs=0.002)
    scale = browser.execute_script("return layoutplan.page.map.distance([arguments[0], 9], [arguments[0], 9.001])", lat)
    assert scale == pytest.approx(geod.inv(9, lat, 9.001, lat)[2], abs=0.001)


@pytest.mark.long
def test_measuring_tool(browser, make_plan, tmp_path) -> None:
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.keys import Keys

    plan = make_plan(4, hostile=False)
    open_page(browser, plan, tmp_path)
    tower = plan.towers.iloc[1]
    look_at(browser, tower.lon, tower.lat, 18)
    button = browser.find_element("css selector", ".measure button")
    button.click()
    container = browser.find_element("class name", "folium-map")
    actions = ActionChains(browser)
    actions.move_to_element(container).click().pause(0.3)  # on the tower: no pop-up may swallow the click
    actions.move_to_element_with_offset(container, 200, 0).click().perform()
    wait(browser, "return document.querySelector('.measure output').textContent.includes(' m at ')")
    text = browser.find_element("css selector", ".measure output").text
    metres, bearing = float(text.split(" m at ")[0]), float(text.split(" m at ")[1].split("°")[0])
    assert bearing == pytest.approx(90, abs=0.2)
    assert metres == pytest.approx(200 * 0.40, rel=0.03)  # 0.597 m a pixel at zoom 18 on the equator, times cos 47.1°
    assert browser.find_elements("class name", "leaflet-popup") == []
    ActionChains(browser).send_keys(Keys.ESCAPE).perform()
    assert button.get_attribute("aria-pressed") == "false"


@pytest.mark.long
def test_layers_and_order(browser, make_plan, tmp_path) -> None:
    plan = make_plan(8, hostile=False)
    open_page(browser, plan, tmp_path)
    names = browser.execute_script(
        "const labels = document.querySelectorAll('.leaflet-control-layers-overlays span span');"
        "return [...labels].map((label) => label.textContent.trim())"
    )
    assert names[:5] == ["Towers", "Stakes H and S", "Leads", "Ways on foot", "Alternative positions"]
    toggle = "document.querySelectorAll('.leaflet-control-layers-selector')[arguments[0]].click()"
    browser.execute_script(toggle, 4)
    assert counts(browser)["alternative"] == len(plan.alternatives)
    tower = plan.towers.iloc[0]
    for layer in (0, 0, 5, 5):  # off and on again; the line comes back below the towers
        browser.execute_script(toggle, layer)
    look_at(browser, tower.lon, tower.lat, 17)
    assert painted_as(browser, tower.lon, tower.lat, SIGNS[tower.status])


@pytest.mark.long
def test_across_the_antimeridian(browser, make_plan, tmp_path) -> None:
    plan = make_plan(6, lon=180.0, lat=-17.0, hostile=False)
    open_page(browser, plan, tmp_path)
    spread = browser.execute_script(
        "const x = [...layoutplan.towers.values()].map((t) => t.getLatLng().lng);return Math.max(...x) - Math.min(...x)"
    )
    assert spread == pytest.approx(plan.towers["lon"].max() - plan.towers["lon"].min(), abs=1e-5)
    assert browser.execute_script("return layoutplan.page.map.getZoom()") > 13
    browser.execute_script("layoutplan.show([...layoutplan.towers.values()].at(-1))")
    text = browser.execute_script("return document.querySelector('.leaflet-popup-content').innerText")
    assert "° W" in text or "° E" in text
    assert "180.0" not in text.split("Position")[1].split("°")[1] or "-" not in text.split("Position")[1]


def drawn(browser) -> set[str]:
    """Classes of the base map that are drawn."""
    return set(counts(browser)) & set(shipped_classes())


@pytest.mark.long
def test_the_base_map_is_drawn_where_somebody_looks(browser, make_plan, tmp_path) -> None:
    plan = make_plan(30, hostile=False, density=6000)
    path = open_page(browser, plan, tmp_path)
    assert drawn(browser) == set()
    assert text(browser, "too-much").startswith("Too much of the base map for this view")
    assert "does not mean clear ground" in text(browser, "too-much")
    river = plan.obstacles[plan.obstacles["obstacle_class"] == "standing_water"].iloc[3]
    place = river.geometry.representative_point()
    look_at(browser, place.x, place.y, 17)
    assert text(browser, "too-much") == ""
    assert "standing_water" in drawn(browser)
    there = sum(number for kind, number in counts(browser).items() if kind in shipped_classes())
    west, south, east, north = browser.execute_script(
        "const b = layoutplan.page.map.getBounds().pad(0.3);"
        "return [b.getWest(), b.getSouth(), b.getEast(), b.getNorth()]"
    )
    boxes = shapely.bounds(plan.obstacles.geometry.array)
    near = (boxes[:, 0] < east) & (boxes[:, 2] > west) & (boxes[:, 1] < north) & (boxes[:, 3] > south)
    assert there == near.sum()
    assert popup_of(browser, "standing_water", river["name"])["Known to the planner as"] == river["feature_id"]
    look_at(browser, 10.5, 47.12, 17)
    assert drawn(browser) == set()
    assert strangers(browser, path) == []
    assert browser.get_log("browser") == []
