"""Make the pictures of the documentation from the sample: python docs/pictures.py [--out FOLDER] [NAME ...].

Without names all are made, into docs/images. It needs Chromium and chromedriver; those of QGIS need the Python that
QGIS came with (/usr/bin/python3, or PYQGIS_PYTHON). A test makes them anew and holds them against the committed ones.
"""

from __future__ import annotations

import argparse
import csv
import os
import shutil
import stat
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image
from scipy.spatial import cKDTree

DOCS = Path(__file__).parent
ROOT = DOCS.parent
IMAGES = DOCS / "images"
JOB = ROOT / "sample_gis" / "job.toml"
FLAGS = ("--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--force-device-scale-factor=1",
         "--disable-background-networking", "--lang=en")  # fmt: skip
DESK, REVIEW, PHONE = (1280, 744), (1000, 951), (400, 780)
GAP_PX, GAP_GREY = 12, (128, 128, 128)
SHEET_SCALE = 1.18  # of 595 points to 703 pixels
COLOURS, FREQUENT = 256, 96  # a palette keeps files small
# the day in the pictures of the telephone is always the same
DAY = """
  const Real = Date, at = new Real(2026, 4, 4, 10, 30).getTime();
  Date = class extends Real { constructor(...given) { given.length ? super(...given) : super(at); } };
  Date.now = () => at;
  for (const name of ["getCurrentPosition", "watchPosition"]) {
    const real = Geolocation.prototype[name];
    Geolocation.prototype[name] = function (found, ...rest) {
      return real.call(this, ({ coords }) => found({ coords, timestamp: at }), ...rest);
    };
  }
"""
Places = dict[str, tuple[float, float]]  # longitude and latitude of stakes by their waypoints
BESIDE_DEG = 0.00002  # two metres
READY = "return typeof layoutplan !== 'undefined' && !!layoutplan.page"
GO = "const { chooser } = layoutplan.page; chooser.go(chooser.towers.findIndex(({ id }) => id === arguments[0]))"
FOLD_OUT = """
  const of = (id) => [...document.querySelectorAll("details")].find(
    (each) => each.querySelector("summary").textContent.trim().startsWith("Tower " + id));
  of(arguments[1]).open = true;
  of(arguments[0]).scrollIntoView();
  const heads = [...document.querySelectorAll("body *")].filter(
    (each) => ["sticky", "fixed"].includes(getComputedStyle(each).position) && each.getBoundingClientRect().top < 2);
  const below = Math.max(0, ...heads.map((each) => each.getBoundingClientRect().bottom));
  window.scrollBy(0, of(arguments[0]).getBoundingClientRect().top - below - 10);
"""


def command() -> list[str]:
    """How layoutplan is started: as LAYOUTPLAN_CLI says, else by this Python."""
    given = os.environ.get("LAYOUTPLAN_CLI")
    return [given] if given else [sys.executable, "-m", "layoutplan"]


def layoutplan(*arguments: object) -> None:
    """Run a command on the sample; 1 only says that one of its towers has no layout."""
    kept = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, (str(ROOT), os.environ.get("PYTHONPATH"))))}
    done = subprocess.run([*command(), *map(str, arguments)], env=kept, capture_output=True, text=True, check=False)
    if done.returncode not in (0, 1):
        raise SystemExit(f"layoutplan {arguments[0]}: code {done.returncode}\n{done.stderr}")


@contextmanager
def browser(size: Sequence[int]) -> Iterator[Any]:
    """Chromium without a window, with a screen of that size."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or shutil.which("chromium-browser") or ""
    for flag in FLAGS:
        options.add_argument(flag)
    chrome = webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))
    width, height = size
    screen = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": size == PHONE}
    chrome.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", screen)
    chrome.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": DAY})
    try:
        yield chrome
    finally:
        chrome.quit()


def shot(chrome: Any, path: Path) -> Path:
    """What is on the screen, once what moves has come to rest."""
    time.sleep(1.5)
    chrome.save_screenshot(str(path))
    return path


def wait(chrome: Any, script: str) -> None:
    """Until a condition holds."""
    end = time.monotonic() + 30
    while not chrome.execute_script(script):
        if time.monotonic() > end:
            raise SystemExit(f"not true within half a minute: {script}")
        time.sleep(0.1)


def map_picture(plan: Path, out: Path) -> None:
    """The map at a desk, as it opens."""
    with browser(DESK) as chrome:
        chrome.get((plan / "map.html").as_uri())
        wait(chrome, READY)
        shot(chrome, out / "map.png")


def phone_picture(plan: Path, out: Path) -> None:
    """Five screens of the telephone side by side."""
    with (plan / "stakes.csv").open(encoding="utf-8", newline="") as stream:
        places = {
            row["waypoint"].split("-NO")[0]: (float(row["lon"]), float(row["lat"])) for row in csv.DictReader(stream)
        }
    with browser(PHONE) as chrome:
        permission = {"permission": {"name": "geolocation"}, "setting": "granted"}
        chrome.execute_cdp_cmd("Browser.setPermission", permission)
        chrome.get((plan / "map.html").as_uri())
        wait(chrome, READY)
        screens = [shot(chrome, out / f"screen_{number}.png") for number, _ in enumerate(_screens(chrome, places))]
    width, height = PHONE
    row = Image.new("RGB", (len(screens) * (width + GAP_PX) - GAP_PX, height), GAP_GREY)
    for number, path in enumerate(screens):
        row.paste(Image.open(path).convert("RGB"), (number * (width + GAP_PX), 0))
        path.unlink()
    row.save(out / "map_phone.png")


def _screens(chrome: Any, places: Places) -> Iterator[None]:
    """Finding a tower; where am I; ticking a stake off; the list in the dark; the sun."""
    press = lambda name: chrome.find_element("id", name).click()  # noqa: E731
    chrome.find_element("id", "find").send_keys("11")
    yield
    chrome.find_element("id", "find").clear()
    chrome.find_element("id", "find").send_keys("\ue00c")  # Escape closes what was found
    chrome.execute_script(GO, "112")
    _stand(chrome, places, "112-H", 8.0)
    press("locate")
    wait(chrome, "return document.getElementById('way-tower').textContent !== ''")
    chrome.execute_script(GO, "112")
    yield
    chrome.execute_script(GO, "107")
    press("tick-H")
    chrome.find_element("css selector", "#tick input[value=measured]").click()
    chrome.find_element("id", "tick-note").send_keys("ditch dry, lead laid in it")
    press("tick-take")
    _stand(chrome, places, "107-H", 4.0)  # after it is asked for: a place from before is too old
    wait(chrome, "return !document.getElementById('tick-keep').hidden")
    press("tick-keep")
    yield
    press("tick-done")
    _dark(chrome, "dark")
    press("open-list")
    chrome.execute_script(
        "const at = [...document.querySelectorAll('#rows *')].find((each) => !each.children.length"
        " && each.textContent.startsWith('Tower 107')); if (at) at.scrollIntoView();"
    )
    yield
    press("close-list")
    _dark(chrome, "light")
    _stand(chrome, places, "112-H", 8.0)
    chrome.execute_script(GO, "112")
    press("sun")
    yield


def _stand(chrome: Any, places: Places, waypoint: str, accuracy_m: float) -> None:
    """Some metres beside a stake."""
    lon, lat = places[waypoint]
    where = {"latitude": lat + BESIDE_DEG, "longitude": lon, "accuracy": accuracy_m}
    chrome.execute_cdp_cmd("Emulation.setGeolocationOverride", where)


def _dark(chrome: Any, scheme: str) -> None:
    features = [{"name": "prefers-color-scheme", "value": scheme}]
    chrome.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})


def review_picture(plan: Path, out: Path) -> None:
    """The reviewer's page with one tower folded out."""
    with browser(REVIEW) as chrome:
        chrome.get((plan / "review.html").as_uri())
        chrome.execute_script(FOLD_OUT, "109", "113")
        shot(chrome, out / "review.png")


def sheet_picture(plan: Path, out: Path) -> None:
    """The page of a tower where somebody has to agree first."""
    import pypdfium2

    for page in pypdfium2.PdfDocument(str(plan / "sheets.pdf")):
        if "Tower 112" in page.get_textpage().get_text_range().splitlines()[:5]:
            page.render(scale=SHEET_SCALE).to_pil().save(out / "sheet.png")
            return
    raise SystemExit("sheets.pdf has no page that begins with 'Tower 112'")


def profile_pictures(_plan: Path, out: Path) -> None:
    """Plots of the sample's angle tower and of its line."""
    with tempfile.TemporaryDirectory() as folder:
        layoutplan("profile", JOB, "--tower", "111", "--out", folder, "--format", "svg")
        for pattern, name in (("*_bearing.svg", "profile_bearing.svg"), ("line_*.svg", "profile_line.svg")):
            (found,) = Path(folder).glob(pattern)
            shutil.copyfile(found, out / name)


def network_picture(_plan: Path, out: Path) -> None:
    """The earthing network of the sample."""
    sys.path[:0] = [str(DOCS), str(ROOT)]
    import draw_network
    import matplotlib as mpl

    mpl.rcParams["svg.hashsalt"] = "layoutplan"  # the same names in the file each time
    draw_network.draw(draw_network.sample_network(), out / "earthing_network.svg")


def gis_pictures(plan: Path, out: Path) -> None:
    """Plan, check, print and dialog in QGIS, from copies: it writes into what it opens."""
    python = os.environ.get("PYQGIS_PYTHON", "/usr/bin/python3")
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(plan, Path(folder) / "valley")
        shutil.copytree(JOB.parent, Path(folder) / "sample")
        (Path(folder) / "run").mkdir(mode=0o700)
        starter = Path(folder) / "layoutplan"
        started = " ".join(f"'{part}'" for part in command())
        starter.write_text(f'#!/bin/sh\nPYTHONPATH="{ROOT}" exec {started} "$@"\n', "utf-8")
        starter.chmod(starter.stat().st_mode | stat.S_IXUSR)
        kept = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
        kept |= {"LAYOUTPLAN_CLI": str(starter), "XDG_RUNTIME_DIR": f"{folder}/run"}
        places = [f"{folder}/valley", f"{folder}/sample", str(out)]
        done = subprocess.run(
            [python, str(DOCS / "pictures_gis.py"), *places], env=kept, capture_output=True, text=True, check=False
        )
    if done.returncode or any(not (out / f"{name}.png").exists() for name in GIS):
        raise SystemExit(f"pictures of QGIS with {python}: code {done.returncode}\n{done.stdout}\n{done.stderr}")
    for leftover in out.glob("*.png.aux.xml"):
        leftover.unlink()


GIS = ("gis_check", "gis_dialog", "gis_overview", "gis_result")
MAKERS: dict[Callable[[Path, Path], None], tuple[str, ...]] = {
    map_picture: ("map.png",),
    phone_picture: ("map_phone.png",),
    review_picture: ("review.png",),
    sheet_picture: ("sheet.png",),
    profile_pictures: ("profile_bearing.svg", "profile_line.svg"),
    network_picture: ("earthing_network.svg",),
    gis_pictures: tuple(f"{name}.png" for name in GIS),
}
NAMES = tuple(name for names in MAKERS.values() for name in names)


def make(names: Iterable[str], out: Path, *over: str) -> None:
    """Make pictures of the sample into a folder, or of the sample with a file laid over its job (``--over``, FILE)."""
    wanted = set(names)
    with tempfile.TemporaryDirectory() as folder:
        plan, made = Path(folder) / "valley", Path(folder) / "made"
        made.mkdir()
        layoutplan("plan", JOB, "--out", plan, "--quiet", *over)
        for maker, own in MAKERS.items():
            if wanted & set(own):
                maker(plan, made)
        for path in sorted(made.iterdir()):
            if path.name in wanted:
                shutil.copyfile(_small(path), out / path.name)


def _small(path: Path) -> Path:
    """A picture of pixels with a palette: frequent colours as they are, and rare ones enough that no sign changes."""
    if path.suffix == ".png":
        pixels = np.asarray(Image.open(path).convert("RGB"))
        colours, place, count = np.unique(pixels.reshape(-1, 3), axis=0, return_inverse=True, return_counts=True)
        kept = colours[np.argsort(-count, kind="stable")[:FREQUENT]].astype(float)
        away = cKDTree(kept).query(colours)[0]
        while len(kept) < COLOURS and away.any():
            kept = np.vstack((kept, colours[away.argmax()]))
            away = np.minimum(away, np.linalg.norm(colours - kept[-1], axis=1))
        nearest = cKDTree(kept).query(colours)[1].astype(np.uint8)
        few = Image.fromarray(nearest[place.reshape(pixels.shape[:2])]).convert("P")
        few.putpalette(kept.astype(np.uint8).tobytes())
        few.save(path, optimize=True)
    return path


TILES, COARSE_PX, MAY_DIFFER = 12, 4, 4
STALE = 0.01  # judgement: two runs on one machine were 0.000 apart, plans by other rules 0.05 to 0.16


def difference(committed: Image.Image, fresh: Image.Image) -> float:
    """How far two pictures are from each other: 0 the same, 1 black against white, infinite for other sizes.

    Both are made grey and coarse (4 pixels to one), so that the edges of letters, which differ between machines,
    matter little. The mean difference is taken in each of 12 by 12 tiles. Four tiles may differ as they like: there the
    plan's number stands, which changes with every key of the job. The worst of the others counts.
    """
    if committed.size != fresh.size:
        return float("inf")
    grey = [
        np.asarray(image.convert("RGB").convert("L").reduce(COARSE_PX), dtype=float) / 255.0
        for image in (committed, fresh)
    ]
    apart = np.abs(grey[0] - grey[1])
    tiles = [tile for rows in np.array_split(apart, TILES) for tile in np.array_split(rows, TILES, axis=1)]
    return float(np.sort([tile.mean() for tile in tiles])[-1 - MAY_DIFFER])


def drawn(path: Path, size: Sequence[int] = (1000, 1400)) -> Image.Image:
    """A picture of pixels as it is; a drawing as Chromium shows it."""
    if path.suffix == ".png":
        return Image.open(path).convert("RGB")
    with browser(size) as chrome, tempfile.TemporaryDirectory() as folder:
        chrome.get(path.resolve().as_uri())
        return Image.open(shot(chrome, Path(folder) / "drawn.png")).convert("RGB")


def main() -> None:
    """Make what was named."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", choices=[*NAMES, []], help=f"of {', '.join(NAMES)}")
    parser.add_argument("--out", type=Path, default=IMAGES, help="folder for the pictures; docs/images if left out")
    given = parser.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    make(given.names or NAMES, given.out)


if __name__ == "__main__":
    main()
