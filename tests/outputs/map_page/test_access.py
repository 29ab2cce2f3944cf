"""The pages for everybody: by keyboard alone, enlarged, on its side, in the dark, as axe-core sees them."""

from __future__ import annotations

import os
import shutil
import subprocess
import tarfile
from collections.abc import Iterator
from itertools import product

import numpy as np
import pytest
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from layoutplan.job import shipped_classes
from layoutplan.outputs.columns import on_the_globe
from layoutplan.outputs.map_page import dark
from layoutplan.outputs.map_page.styles import INK, PLAN_STYLES, SIGNS, base_styles
from layoutplan.outputs.map_page.sun import sun_styles
from layoutplan.outputs.review import write_review

from .pages import look_at, on_desk, on_its_side, on_telephone, open_page, press, text, wait
from .test_looks import contrast

browser_test = pytest.mark.browser
FOCUSED = "return document.activeElement.id || document.activeElement.className || document.activeElement.localName"
WORDS = "return document.activeElement.getAttribute('aria-label') || document.activeElement.textContent"
BOX = "return document.activeElement.getBoundingClientRect().toJSON()"
AXE = "const done = arguments[0]; axe.run().then(({ violations }) => done(violations));"
GROUND = {"light": "#fbfaf6", "sun": "#ffffff", "dark": dark.PAPER}  # as in page.css
LEAST = 3.0  # W3C, WCAG 2.1, 1.4.11 non-text contrast (from memory)


@pytest.fixture(autouse=True)
def _forget(request) -> Iterator[None]:
    browser = request.getfixturevalue("browser") if "browser" in request.fixturenames else None
    yield
    if browser:
        browser.execute_script("localStorage.clear()")
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def in_the_dark(browser) -> None:
    dark_scheme = {"name": "prefers-color-scheme", "value": "dark"}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [dark_scheme]})


# ---- axe-core

AXE_CORE = "axe-core@4.14.1"  # a newer one may know more rules: raise it on purpose


@pytest.fixture(scope="session")
def axe(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The script of axe-core, fetched for this run; without network it is skipped on a desk, in CI it fails."""
    folder = tmp_path_factory.mktemp("axe")
    found = None
    if npm := shutil.which("npm"):
        found = subprocess.run(
            [npm, "pack", AXE_CORE, "--silent"], cwd=folder, capture_output=True, text=True, timeout=120, check=False
        )
    archives = list(folder.glob("axe-core-*.tgz"))
    if not archives:
        why = f"axe-core could not be fetched: {found.stderr[-300:] if found else 'npm is missing'}"
        (pytest.fail if os.environ.get("CI") else pytest.skip)(why)
    with tarfile.open(archives[0]) as archive:
        script = archive.extractfile("package/axe.min.js")
        assert script is not None
        return script.read().decode("utf-8")


# what is still fading in has other colours than what will be seen
FADED_IN = """
const done = arguments[0], later = new Promise((end) => setTimeout(end, 2000));
requestAnimationFrame(() => requestAnimationFrame(() => Promise.race(
    [later, Promise.allSettled(document.getAnimations().map((one) => one.finished))]).then(() => done())));
"""


def serious(browser, script: str) -> list[str]:
    browser.execute_async_script(FADED_IN)
    browser.execute_script(script)
    found = browser.execute_async_script(AXE)
    return [
        f"{each['impact']} {each['id']}: {node['html'][:120]}"
        for each in found
        if each["impact"] in ("serious", "critical")
        for node in each["nodes"]
    ]


@pytest.mark.first(1)
@browser_test
@pytest.mark.parametrize(
    ("screen", "mode"),
    [
        (on_desk, "light"),
        (on_telephone, "light"),
        (on_telephone, "dark"),
        (on_telephone, "sun"),
        (on_its_side, "light"),
    ],
)
def test_axe_finds_nothing_serious_on_the_map(browser, make_plan, tmp_path, axe, screen, mode) -> None:
    if mode == "dark":
        in_the_dark(browser)
    open_page(browser, make_plan(8, hostile=False), tmp_path, screen)
    if mode == "sun":
        press(browser, "sun")
    assert serious(browser, axe) == []
    browser.execute_script("document.getElementById('panel').open = true; layoutplan.page.chooser.go(4)")
    assert serious(browser, axe) == []
    browser.execute_script("layoutplan.show(layoutplan.towers[2])")
    assert serious(browser, axe) == []
    browser.execute_script("layoutplan.page.map.closePopup(); document.getElementById('panel').open = false")
    browser.execute_script("layoutplan.page.chooser.go(0); document.getElementById('open-list').click()")
    assert serious(browser, axe) == []
    browser.execute_script("document.querySelector('#rows .tick').click()")
    assert text(browser, "tick-done") == "Done"
    assert serious(browser, axe) == []


@pytest.mark.long
@browser_test
@pytest.mark.parametrize("screen", [on_desk, on_telephone])
def test_axe_finds_nothing_serious_on_the_review(browser, make_plan, tmp_path, axe, screen) -> None:
    path = write_review(on_the_globe(make_plan(8, hostile=False)), tmp_path)
    screen(browser)
    browser.get(path.as_uri())
    assert serious(browser, axe) == []
    browser.execute_script("document.querySelectorAll('details').forEach((tower) => { tower.open = true; })")
    assert serious(browser, axe) == []


# ---- keys


def keys(browser, *pressed: str) -> None:
    ActionChains(browser).send_keys(*pressed).perform()


def tab_to(browser, wanted: str, back: bool = False) -> None:
    """Go on by the key until an element has the focus, whatever lies between."""
    for _ in range(80):
        if browser.execute_script(FOCUSED) == wanted:
            return
        keys(browser, *((Keys.SHIFT, Keys.TAB, Keys.SHIFT) if back else (Keys.TAB,)))
    pytest.fail(f"no key leads to {wanted}")


@pytest.mark.first(1)
@browser_test
@pytest.mark.parametrize("screen", [on_desk, on_telephone])
def test_every_stake_and_lead_by_keyboard_alone(browser, make_plan, tmp_path, screen) -> None:
    plan = make_plan(6, hostile=False)
    open_page(browser, plan, tmp_path, screen)
    tab_to(browser, "open-list")
    keys(browser, Keys.ENTER)
    assert browser.execute_script(FOCUSED) == "list-title"
    reached: dict[str, list[str]] = {"place": [], "lead": [], "tick": []}
    for _ in range(4 * len(plan.electrodes) + 10):
        if len(reached["tick"]) == len(plan.electrodes):
            break
        keys(browser, Keys.TAB)
        kind, words = browser.execute_script(FOCUSED), browser.execute_script(WORDS)
        if kind not in reached:
            continue
        reached[kind].append(words)
        box = browser.execute_script(BOX)
        assert min(box["width"], box["height"]) >= 44
        if kind == "tick" or len(reached[kind]) > 2:
            continue
        keys(browser, Keys.ENTER)
        wait(browser, "return !!document.querySelector('.leaflet-popup-content')")
        assert browser.execute_script("return !!document.activeElement.closest('.leaflet-popup')"), "the focus goes in"
        keys(browser, Keys.ESCAPE)
        wait(browser, "return !document.querySelector('.leaflet-popup')")
        assert browser.execute_script(WORDS) == words, "and back to where it came from"
    stakes = list(plan.electrodes.itertuples())
    assert len(reached["place"]) == len(reached["lead"]) == len(reached["tick"]) == len(stakes)
    for stake, words in zip(stakes, reached["place"], strict=True):
        assert words.startswith(f"{stake.tower_id} {stake.role}, {stake.warning}".rstrip(", "))
        assert f"{stake.set_out_ground_m:.1f} m on the ground" in words
        assert f"{stake.set_out_bearing_magnetic_deg:05.1f}° on the compass" in words
    assert all(words.startswith("Lead to ") and ": " in words for words in reached["lead"])
    keys(browser, Keys.ESCAPE)
    assert browser.execute_script(FOCUSED) == "open-list"
    assert text(browser, "list") == ""


@browser_test
def test_ticking_off_by_keyboard_alone(browser, make_plan, tmp_path) -> None:
    open_page(browser, make_plan(6, hostile=False), tmp_path)
    tab_to(browser, "find")
    keys(browser, "001", Keys.ENTER)
    tab_to(browser, "tick-H", back=True)
    keys(browser, Keys.SPACE)
    assert browser.execute_script("return document.getElementById('tick').open")
    keys(browser, Keys.ARROW_DOWN)
    tab_to(browser, "tick-note")
    keys(browser, "by keys")
    keys(browser, Keys.ESCAPE)
    assert browser.execute_script(FOCUSED) == "tick-H"
    assert text(browser, "tick-H").startswith("H: staked ")


@browser_test
def test_layers_by_keyboard_alone(browser, make_plan, tmp_path) -> None:
    open_page(browser, make_plan(4, hostile=False), tmp_path, on_telephone)
    toggle = "return document.activeElement.classList.contains('leaflet-control-layers-toggle')"
    for _ in range(40):
        if browser.execute_script(toggle):
            break
        keys(browser, Keys.TAB)
    keys(browser, Keys.ENTER)
    wait(browser, "return document.body.classList.contains('listing')")
    keys(browser, Keys.TAB, Keys.SPACE)
    assert not browser.execute_script("return document.querySelector('.leaflet-control-layers-selector').checked")
    keys(browser, Keys.ESCAPE)
    assert not browser.execute_script("return document.body.classList.contains('listing')")
    assert browser.execute_script(toggle)


@browser_test
def test_the_map_itself_keeps_the_focus(browser, make_plan, tmp_path) -> None:
    plan = make_plan(4, hostile=False)
    open_page(browser, plan, tmp_path)
    tower = plan.towers.iloc[1]
    look_at(browser, tower.lon, tower.lat, 18)
    ActionChains(browser).move_to_element(browser.find_element(By.CLASS_NAME, "folium-map")).click().perform()
    wait(browser, "return !!document.querySelector('.leaflet-popup-content')")
    keys(browser, Keys.ESCAPE)
    wait(browser, "return !document.querySelector('.leaflet-popup')")
    assert "folium-map" in browser.execute_script("return document.activeElement.className")


# ---- sizes


@browser_test
def test_language_landmark_and_zoom(browser, make_plan, tmp_path) -> None:
    open_page(browser, make_plan(4, hostile=False), tmp_path)
    assert browser.execute_script("return document.documentElement.lang") == "en"
    assert len(browser.find_elements(By.CSS_SELECTOR, "main .folium-map")) == 1
    viewport = browser.find_element(By.CSS_SELECTOR, "meta[name=viewport]").get_attribute("content")
    assert "maximum-scale" not in viewport
    assert "user-scalable" not in viewport


TARGETS = """
  const wanted = "button, a[href], a[role=button], summary, select, textarea, "
    + "input:not([type=radio], [type=checkbox]), label:has(input)";
  return [...document.querySelectorAll(wanted)]
    .filter((e) => e.checkVisibility({ contentVisibilityAuto: true }) && !e.closest(".leaflet-control-attribution"))
    .map((e) => [e.id || e.className || e.textContent.slice(0, 30), e.getBoundingClientRect().toJSON()]);
"""
SIZES = {
    "telephone": (400, 780),
    "small telephone": (340, 640),
    "on its side": (780, 400),
    "a desk at 200 %": (640, 400),
}


@pytest.mark.first(1)
@browser_test
@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
def test_everything_can_be_pressed_at_every_size(browser, make_plan, tmp_path, size) -> None:
    """44 pixels each way, as WCAG 2.1 asks in 2.5.5 (from memory); nothing needs scrolling sideways."""
    open_page(browser, make_plan(8, hostile=False), tmp_path, lambda browser: on_telephone(browser, *size))
    for step in (
        "layoutplan.page.chooser.go(0)",
        "document.getElementById('panel').open = true",
        "document.getElementById('panel').open = false; document.getElementById('open-list').click()",
        "document.querySelector('#rows .tick').click()",
        "document.getElementById('tick').close(); document.getElementById('close-list').click();"
        "layoutplan.show(layoutplan.towers[0])",
    ):
        browser.execute_script(step)
        assert browser.execute_script("return document.documentElement.scrollWidth") <= size[0]
        for name, box in browser.execute_script(TARGETS):
            assert min(box["width"], box["height"]) >= 43.9, (step, name, box)
            assert -0.5 <= box["left"] < box["right"] <= size[0] + 0.5, (step, name, box)
    browser.execute_script("layoutplan.page.map.closePopup()")
    for key in ("previous", "find", "next", "locate", "open-list", "sun"):
        box = browser.find_element("id", key).rect
        assert 0 <= box["y"] <= size[1] - box["height"], key
    assert browser.execute_script("return layoutplan.page.map.getSize().y") > 80


@pytest.mark.first(1)
@browser_test
@pytest.mark.parametrize("aside_px", [11, 18])
def test_a_tap_beside_a_lead(browser, make_plan, tmp_path, aside_px) -> None:
    plan = make_plan(8, hostile=False)
    open_page(browser, plan, tmp_path)
    lead = plan.leads.iloc[0]
    middle = lead.geometry.interpolate(0.6, normalized=True)
    look_at(browser, middle.x, middle.y, 18)
    across = np.radians(lead.bearing_true_deg + 90)
    x, y = (round(float(aside_px * part)) for part in (np.sin(across), -np.cos(across)))
    container = browser.find_element(By.CLASS_NAME, "folium-map")
    ActionChains(browser).move_to_element_with_offset(container, x, y).pause(0.05).click().perform()
    title = browser.execute_script("return document.querySelector('.leaflet-popup-content h3')?.textContent")
    assert (title == "Lead to H, tower 001") == (aside_px <= 12)


# ---- colours, from the tables that the page is painted by


def rgb(color: str) -> str:
    return f"rgb({', '.join(str(int(color[at : at + 2], 16)) for at in (1, 3, 5))})"


def apart(one: str, other: str) -> float:
    return contrast(rgb(one), rgb(other))


def mixed(color: str, share: float, ground: str) -> str:
    parts = ((int(color[at : at + 2], 16), int(ground[at : at + 2], 16)) for at in (1, 3, 5))
    return "#" + "".join(f"{round(share * top + (1 - share) * below):02x}" for top, below in parts)


def grounds(mode: str) -> dict[str, str]:
    """Every colour that a sign may lie on: paper, areas as they come out on it, borders and lines."""
    classes = shipped_classes()
    looks = {"light": {}, "sun": sun_styles(classes), "dark": dark.dark_styles(classes)}[mode]
    found = {"paper": GROUND[mode]}
    for name, style in base_styles(classes).items():
        look = {**style, **looks.get(name, {})}
        found[f"{name}, line"] = look["color"]
        if "fillColor" in look:
            found[f"{name}, area"] = mixed(look["fillColor"], look["fillOpacity"], GROUND[mode])
    return found


def edges(mode: str) -> dict[str, tuple[str, ...]]:
    """What the signs and lines of the plan show to the ground beside them: outline and halo, or line and band."""
    looks = dark.dark_styles(shipped_classes()) if mode == "dark" else {}
    lines = {name: {**style, **looks.get(name, {})} for name, style in PLAN_STYLES.items()}
    found = {
        name: tuple(filter(None, (look.get(part) for part in ("color", "casingColor", "halo"))))
        for name, look in lines.items()
    }
    return found | dict.fromkeys(SIGNS, (INK, "#ffffff"))  # see drawing.js


@pytest.mark.parametrize("mode", ["light", "sun", "dark"])
def test_signs_stand_out_from_every_ground(mode) -> None:
    seen = {
        (sign, ground): max(apart(color, under) for color in colors)
        for (sign, colors), (ground, under) in product(edges(mode).items(), grounds(mode).items())
        # the edge of the base map and the line of the plan lie below its signs; lines of the map cross them
        if not (sign in ("edge", "span") and ground.endswith("line"))
    }
    worst = {sign: min((seen[pair], pair[1]) for pair in seen if pair[0] == sign) for sign, _ in seen}
    print(f"least contrast of each sign to any ground, {mode}:")  # noqa: T201  # the table, with -s
    for sign, (ratio, ground) in sorted(worst.items(), key=lambda item: item[1]):
        print(f"  {ratio:5.1f}  {sign} on {ground}")  # noqa: T201
    assert {pair: ratio for pair, ratio in seen.items() if ratio < LEAST} == {}


def test_letters_stand_out_from_their_signs() -> None:
    poor = {name: apart(sign["ink"], sign["fill"]) for name, sign in SIGNS.items() if sign["letter"]}
    assert min(poor.values()) >= 4.5, poor


@pytest.mark.parametrize("mode", ["light", "sun", "dark"])
def test_a_way_to_ask_for_is_no_pipeline(mode) -> None:
    classes = shipped_classes()
    looks = {"light": {}, "sun": sun_styles(classes), "dark": dark.dark_styles(classes)}[mode]
    way = {**PLAN_STYLES["walk ask"], **looks.get("walk ask", {})}
    for name in ("pipeline", "power_line", "cable"):
        if name not in classes:
            continue
        other = {**base_styles(classes)[name], **looks.get(name, {})}
        assert way["dashArray"] != other.get("dashArray")
        assert apart(way["casingColor"], other["color"]) >= LEAST, "its white band"
        assert "casing" not in other
    assert apart(PLAN_STYLES["walk"]["color"], "#ffffff") >= LEAST
    assert apart(way["color"], way["casingColor"]) >= LEAST


@browser_test
def test_dark_and_sun(browser, make_plan, tmp_path) -> None:
    paper = "return getComputedStyle(layoutplan.page.map.getContainer()).backgroundColor"
    open_page(browser, make_plan(4, hostile=False), tmp_path)
    assert browser.execute_script(paper) == rgb(GROUND["light"])
    in_the_dark(browser)
    wait(browser, "return layoutplan.dark")
    assert browser.execute_script(paper) == rgb(GROUND["dark"])
    press(browser, "sun")
    assert browser.execute_script(paper) == rgb(GROUND["sun"]), "in the sun nothing is dark"
    press(browser, "sun")
    assert browser.execute_script("return layoutplan.dark")


@browser_test
def test_the_ring_leaves_the_number_free(browser, make_plan, tmp_path) -> None:
    open_page(browser, make_plan(4, hostile=False), tmp_path)
    browser.execute_script("layoutplan.page.chooser.go(1)")
    aside, ring = browser.execute_script(
        "const { chooser } = layoutplan.page, { layer } = chooser.towers[1];"
        "return [layer._aside, chooser.ring.options.radius + chooser.ring.options.weight / 2]"
    )
    assert aside > ring
    browser.execute_script("layoutplan.page.chooser.choose(null)")
    assert browser.execute_script("return layoutplan.towers[1]._aside") < ring


# ---- a telephone's card


@browser_test
def test_the_way_out_comes_first_and_whole(browser, make_plan, tmp_path) -> None:
    plan = make_plan(8, hostile=False)
    open_page(browser, plan, tmp_path, on_telephone)
    browser.execute_script("layoutplan.page.chooser.go(4)")
    assert text(browser, "card-out") == "no layout. Would give a layout: a 171 m reel instead of 150 m"
    out, status = (browser.find_element("id", name) for name in ("card-out", "card-status"))
    assert out.location["y"] < status.location["y"]
    assert browser.execute_script("return getComputedStyle(arguments[0]).webkitLineClamp", out) == "none"
    assert browser.execute_script("return arguments[0].scrollHeight <= arguments[0].clientHeight", out)


@browser_test
def test_plan_number_and_date_on_the_card(browser, make_plan, tmp_path) -> None:
    from layoutplan.outputs.plan_number import plan_number

    plan = make_plan(4, hostile=False)
    open_page(browser, plan, tmp_path, on_telephone)
    browser.execute_script("layoutplan.page.chooser.go(0)")
    assert f"Plan {plan_number(plan)}, map data of 2026-03-01" in text(browser, "card")


def test_what_a_crew_reads_is_plain(sample_plan) -> None:
    """No numbers of layers, no codes of classes."""
    from layoutplan.outputs.map_page.line_popups import lead_popups, walk_popups
    from layoutplan.outputs.map_page.popups import electrode_popups, tower_popups

    ids = set(sample_plan.obstacles["feature_id"])
    codes = {name for name in shipped_classes() if "_" in name}
    makers = (tower_popups, electrode_popups, lead_popups, walk_popups)
    texts = [text for make in makers for row in make(sample_plan).texts for text in row]
    assert any("river or canal" in text for text in texts)
    for words in texts:
        assert not {code for code in codes if code in words}
        assert "[" not in words, "a section of the job file"
        assert not {known for known in ids if f"{known})" in words}, words
