"""Looking at map.html in the browser, for the tests beside."""

from __future__ import annotations

import json
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

from layoutplan.outputs.columns import on_the_globe
from layoutplan.outputs.map_page import write_map

# the colours on the canvas at places of the map, each with so many pixels to every side
PIXELS = """
  const reach = arguments[1], size = 2 * reach + 1;
  const map = layoutplan.page.map, canvas = map.getContainer().querySelector("canvas");
  const box = canvas.getBoundingClientRect(), scale = canvas.width / box.width;
  return arguments[0].map(([lon, lat]) => {
    const point = map.latLngToContainerPoint([lat, lon]), frame = map.getContainer().getBoundingClientRect();
    const x = (point.x + frame.x - box.x) * scale, y = (point.y + frame.y - box.y) * scale;
    const corner = [Math.round(x) - reach, Math.round(y) - reach];
    return [...canvas.getContext("2d").getImageData(...corner, size, size).data];
  });
"""


def on_desk(browser) -> None:
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def on_its_side(browser) -> None:
    on_telephone(browser, 780, 400)


def on_telephone(browser, width: int = 400, height: int = 780) -> None:
    size = {"width": width, "height": height, "deviceScaleFactor": 2, "mobile": True}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)


def open_page(browser, plan, folder: Path, screen: Callable[[Any], None] = on_desk) -> Path:
    path = write_map(on_the_globe(plan), folder)
    screen(browser)
    browser.get_log("performance")
    browser.get_log("browser")
    browser.get(path.as_uri())
    wait(browser, "return typeof layoutplan !== 'undefined' && !!layoutplan.page")
    return path


def wait(browser, script: str, *arguments, seconds: float = 120) -> None:
    """Until a condition holds; how long that may take on a busy machine says nothing."""
    end = time.monotonic() + seconds
    while not browser.execute_script(script, *arguments):
        assert time.monotonic() < end, f"not true within {seconds} s: {script}"
        time.sleep(0.05)


def requests(browser) -> list[str]:
    events = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    return [e["params"]["request"]["url"] for e in events if e["method"] == "Network.requestWillBeSent"]


def look_at(browser, lon: float, lat: float, zoom: float) -> None:
    browser.execute_async_script(
        """
      const [lon, lat, zoom, done] = arguments;
      layoutplan.page.map.setView([lat, lon], zoom, { animate: false });
      requestAnimationFrame(() => requestAnimationFrame(() => done())); // the canvas is painted in the next frame""",
        lon, lat, zoom,
    )  # fmt: skip


def colours(browser, points) -> list[str]:
    """The one pixel at each place. At edges and letters it is a blend that differs between machines."""
    return [_hex(pixel) for pixel in browser.execute_script(PIXELS, points, 0)]


def colours_about(browser, lon: float, lat: float, reach_px: int) -> Counter[str]:
    """Pixels by colour in the square about a place."""
    (found,) = browser.execute_script(PIXELS, [[lon, lat]], reach_px)
    return Counter(_hex(found[start : start + 3]) for start in range(0, len(found), 4))


def _hex(pixel) -> str:
    return "#{:02x}{:02x}{:02x}".format(*pixel[:3])


def has_letters(browser) -> bool:
    """Whether this machine has any font to paint a letter with."""
    return browser.execute_script("""
      const ctx = document.createElement("canvas").getContext("2d");
      ctx.font = "40px system-ui, sans-serif";
      ctx.fillText("H", 10, 60);
      return ctx.getImageData(0, 0, 100, 100).data.some((value) => value > 0);""")


def counts(browser) -> dict[str, int]:
    return browser.execute_script("""
      const found = {};
      layoutplan.page.map.eachLayer((layer) => {
        const properties = layer.feature && layer.feature.properties;
        if (!properties) return;
        const kind = properties.sign || properties.style;
        found[kind] = (found[kind] || 0) + 1;
      });
      return found;""")


def popup_of(browser, kind: str, title: str) -> dict[str, str]:
    """Rows of a feature's pop-up by their labels."""
    return browser.execute_script(
        """
      layoutplan.page.map.eachLayer((layer) => {
        const { title, sign, style } = (layer.feature || { properties: {} }).properties;
        if (title === arguments[1] && (sign || style).startsWith(arguments[0]))
          layoutplan.show(layer, layer.getLatLng ? layer.getLatLng() : layer.getBounds().getCenter());
      });
      const latest = [...document.querySelectorAll(".leaflet-popup-content")].at(-1); // an earlier one may still fade
      const rows = latest.querySelectorAll("tr");
      return Object.fromEntries([...rows].map((row) => [row.cells[0].textContent, row.cells[1].textContent]));""",
        kind, title,
    )  # fmt: skip


def text(browser, element: str) -> str:
    """What can be read of an element on the screen; empty if it is hidden."""
    return str(browser.find_element("id", element).text)


def press(browser, element: str) -> None:
    browser.find_element("id", element).click()


def strangers(browser, path: Path) -> list[str]:
    """Requests for anything but the page itself."""
    return [url for url in requests(browser) if url != path.as_uri() and not url.startswith("data:")]
