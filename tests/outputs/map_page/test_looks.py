"""The page in the sun, under a thumb and on paper."""

from __future__ import annotations

import base64

import numpy as np
import pytest

from layoutplan.job import shipped_classes
from layoutplan.outputs.map_page.styles import PLAN_STYLES, base_styles
from layoutplan.outputs.map_page.sun import sun_styles

from .pages import colours, look_at, on_desk, on_its_side, on_telephone, open_page, press, text

pytestmark = pytest.mark.browser

# colour and background of everything that has words of its own and is on the screen
WORDS = """
  const paper = (element) => {
    for (let e = element; e; e = e.parentElement) {
      const colour = getComputedStyle(e).backgroundColor;
      if (!/^rgba.*, 0\\)$/.test(colour)) return colour;
    }
    return "rgb(255, 255, 255)";
  };
  return [...document.querySelectorAll("#panel *, #bar *, .leaflet-popup-content *")]
    .filter((e) => e.checkVisibility() && !e.disabled)
    .filter((e) => [...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim()))
    .map((e) => [e.textContent.trim().slice(0, 30), getComputedStyle(e).color, paper(e)]);
"""
VIEW = "const { map } = layoutplan.page, { lat, lng } = map.getCenter(); return [lat, lng, map.getZoom()]"


def luminance(colour: str) -> float:
    channels = np.array([float(part) for part in colour[colour.index("(") + 1 : -1].split(",")[:3]]) / 255
    linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str) -> float:
    """Contrast ratio of W3C's WCAG 2.1, "relative luminance" and "contrast ratio" (formulas from memory)."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_contrast_formula() -> None:
    assert contrast("rgb(0, 0, 0)", "rgb(255, 255, 255)") == pytest.approx(21)
    assert contrast("rgb(119, 119, 119)", "rgb(255, 255, 255)") == pytest.approx(4.48, abs=0.01)  # #777 on white


@pytest.mark.first(1)
@pytest.mark.parametrize("screen", [on_desk, on_telephone])
@pytest.mark.parametrize(("sun", "least"), [(False, 4.5), (True, 15.0)])
def test_words_can_be_read(browser, make_plan, tmp_path, screen, sun, least) -> None:
    """WCAG 2.1 asks for 4.5 : 1 (AA) or 7 : 1 (AAA); in the sun twice the latter, which is our own choice."""
    open_page(browser, make_plan(8, hostile=False), tmp_path, screen)
    if sun:
        press(browser, "sun")
    browser.execute_script("document.getElementById('panel').open = true; layoutplan.page.chooser.go(2)")
    browser.execute_script("layoutplan.show(layoutplan.towers[2])")
    words = browser.execute_script(WORDS)
    assert len(words) > 50
    poor = [(word, one, other) for word, one, other in words if contrast(one, other) < least]
    assert poor == []


@pytest.mark.long
def test_sun_paints_stronger_marks_on_white(browser, make_plan, tmp_path) -> None:
    plan = make_plan(8, hostile=False)
    open_page(browser, plan, tmp_path)
    middle = plan.spans.geometry.iloc[3].interpolate(0.4, normalized=True)
    below = [[middle.x, middle.y + 1e-6 * step] for step in range(-60, 61)]
    black = []
    for pressed in ("false", "true", "false"):
        assert browser.find_element("id", "sun").get_attribute("aria-pressed") == pressed
        look_at(browser, middle.x, middle.y, 17)
        black.append(colours(browser, below).count(PLAN_STYLES["span"]["color"]))
        press(browser, "sun")
    assert black[1] > 1.2 * black[0] > 0
    assert black[2] == black[0]
    paper = browser.execute_script("return getComputedStyle(layoutplan.page.map.getContainer()).backgroundColor")
    assert paper == "rgb(255, 255, 255)"


def test_sun_looks_differ_by_more_than_colour() -> None:
    classes = shipped_classes()
    base, sun = base_styles(classes), sun_styles(classes)
    assert set(sun) == {*PLAN_STYLES, *base}
    for name, style in PLAN_STYLES.items():
        assert sun[name]["weight"] > style["weight"]
    lines = {name: {**base[name], **sun[name]} for name in base if not classes[name].look.area}
    for name, look in lines.items():
        parts = [int(look["color"][place : place + 2], 16) for place in (1, 3, 5)]
        assert contrast(f"rgb({', '.join(map(str, parts))})", "rgb(255, 255, 255)") > 4.5, name
    for name in base.keys() - lines.keys():  # what must not be entered keeps its hatch
        assert sun[name].get("hatch") == base[name].get("hatch")


def test_controls_lie_under_the_thumb(browser, make_plan, tmp_path) -> None:
    """44 pixels each way, as WCAG 2.1 asks in 2.5.5 (from memory), in the lower half of a telephone's screen."""
    open_page(browser, make_plan(8, hostile=False), tmp_path, on_telephone)
    press(browser, "next")
    controls = browser.execute_script("""
      const all = document.querySelectorAll("#keys > *, #panel summary, .leaflet-control a, .measure button");
      const seen = [...all].filter((e) => e.checkVisibility());
      return seen.map((e) => [e.id || e.className, e.getBoundingClientRect().toJSON()]);
    """)
    assert len(controls) == 11
    for name, box in controls:
        assert min(box["width"], box["height"]) >= 44, name
        assert box["top"] > 780 * 0.28, name
        assert box["bottom"] <= 780, name
        assert 0 <= box["left"] < box["right"] <= 400, name
    assert browser.execute_script("return document.documentElement.scrollWidth") <= 400


@pytest.mark.long
def test_list_of_layers_fits_a_telephone(browser, make_plan, tmp_path) -> None:
    open_page(browser, make_plan(8, hostile=False), tmp_path, on_telephone)
    press(browser, "next")
    browser.find_element("class name", "leaflet-control-layers-toggle").click()
    rows = browser.execute_script("""
      const rows = document.querySelectorAll(".leaflet-control-layers-overlays label");
      return [...rows].map((row) => row.getBoundingClientRect().toJSON());""")
    assert rows[0]["top"] >= 0
    assert min(row["height"] for row in rows) >= 44
    assert text(browser, "card") == ""
    browser.execute_script("layoutplan.layerControl.collapse()")
    assert text(browser, "card-name") == "Tower 001"


def test_telephone_on_its_side(browser, make_plan, tmp_path) -> None:
    open_page(browser, make_plan(8, hostile=False), tmp_path, on_its_side)
    press(browser, "next")
    box = browser.execute_script("return layoutplan.page.map.getContainer().getBoundingClientRect().toJSON()")
    assert box["width"] > 400
    assert box["height"] == 400
    for element in ("next", "locate", "card-name"):
        place = browser.find_element("id", element).rect
        assert 0 <= place["y"] <= 400 - place["height"]
    assert browser.execute_script("return document.documentElement.scrollWidth") <= 780


def printed(browser) -> bytes:
    result = browser.execute_cdp_cmd("Page.printToPDF", {"paperWidth": 8.27, "paperHeight": 11.69})
    return base64.b64decode(result["data"])


@pytest.mark.long
@pytest.mark.parametrize("screen", [on_desk, on_telephone])
def test_on_paper(browser, make_plan, tmp_path, screen) -> None:
    """The paper as another library reads it (PDFium)."""
    pdfium = pytest.importorskip("pypdfium2")
    plan = make_plan(8, hostile=False)
    open_page(browser, plan, tmp_path, screen)
    press(browser, "next")
    before = browser.execute_script(VIEW)
    with pdfium.PdfDocument(printed(browser)) as document:
        pages = [" ".join(page.get_textpage().get_text_bounded().split()) for page in document]
        first = document[0].render(scale=1).to_numpy()
    assert 2 <= len(pages) <= 4
    words = " ".join(pages)
    assert "Valley line, autumn campaign" in pages[0]
    assert "Tower 001" in pages[0]
    assert "© OpenStreetMap contributors, ODbL" in pages[0]
    for legend in (plan.cautions[0], "Auxiliary current electrode H", "What the statuses mean", "needs agreement"):
        assert legend.lower() in words.lower()
    for control in ("Find tower", "Where am I", "Details", "Untick", "Show all"):
        assert control not in words
    middle = first[90:480, 45:540, :3].reshape(-1, 3)
    assert len(np.unique(middle, axis=0)) > 20, "an empty map frame"
    assert browser.execute_script(VIEW) == pytest.approx(before, abs=5e-6)  # a pixel
    assert browser.execute_script("return document.getElementById('panel').open") == (screen is on_desk)
    assert browser.get_log("browser") == []


@pytest.mark.long
def test_paper_says_that_towers_are_left_out(browser, make_plan, tmp_path) -> None:
    pdfium = pytest.importorskip("pypdfium2")
    open_page(browser, make_plan(8, hostile=False), tmp_path)
    browser.find_element("css selector", "input[data-status='compromise']").click()
    with pdfium.PdfDocument(printed(browser)) as document:
        assert "Only 7 of 8 towers shown" in document[0].get_textpage().get_text_bounded()
    assert text(browser, "filtered-count") == "Only 7 of 8 towers shown"
