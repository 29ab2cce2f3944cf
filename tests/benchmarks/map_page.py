"""Size of map.html and the time to write and open it: python tests/benchmarks/map_page.py [300 1000]

The corridor is made up; the browser is headless Chromium without network, once as it is and once slowed down four
times, which is nearer to a telephone.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import layoutplan
from layoutplan.outputs.columns import on_the_globe
from layoutplan.outputs.map_page import write_map
from layoutplan.planning.pipeline import plan

sys.path.insert(0, str(Path(__file__).parent))
from corridor import make_corridor

_PAINTED = "const done = arguments[0]; requestAnimationFrame(() => requestAnimationFrame(done));"
_FLAGS = ("--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run", "--proxy-server=http://127.0.0.1:9")


def open_browser() -> Any:
    """Chromium and its driver as they lie on the path."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or shutil.which("chromium-browser") or ""
    for flag in _FLAGS:
        options.add_argument(flag)
    return webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))


def opening_s(browser: Any, path: Path, slower: int) -> float:
    """Seconds from asking for the page to its first picture, the median of three."""
    browser.execute_cdp_cmd("Emulation.setCPUThrottlingRate", {"rate": slower})
    times = []
    for _ in range(3):
        start = time.perf_counter()
        browser.get(path.as_uri())
        browser.execute_async_script(_PAINTED)
        times.append(time.perf_counter() - start)
    return sorted(times)[1]


def main(sizes: list[int]) -> None:
    """Print one line for each size."""
    browser = open_browser()
    for towers in sizes:
        with tempfile.TemporaryDirectory() as folder:
            made = on_the_globe(plan(layoutplan.load_job(make_corridor(Path(folder), towers))))
            start = time.perf_counter()
            path = write_map(made, Path(folder))
            written = time.perf_counter() - start
            sys.stdout.write(
                f"{towers:6d} towers: {path.stat().st_size / 1e6:.2f} MB, written in {written:.2f} s, opened in "
                f"{opening_s(browser, path, 1):.2f} s, four times slower in {opening_s(browser, path, 4):.2f} s\n"
            )
    browser.quit()


if __name__ == "__main__":
    main([int(size) for size in sys.argv[1:]] or [300, 1000])
