"""The pictures of the documentation show what the program makes now. Renew them with: python docs/pictures.py."""

import importlib.util
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
QGIS = os.environ.get("PYQGIS_PYTHON", "/usr/bin/python3")


@pytest.fixture(scope="module")
def pictures():
    spec = importlib.util.spec_from_file_location("pictures", DOCS / "pictures.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules["pictures"] = module
    spec.loader.exec_module(module)
    return module


def absent(what):
    """On a desk a tool may be missing, in CI it must be there."""
    (pytest.fail if os.environ.get("CI") else pytest.skip)(f"{what} is missing")


@pytest.fixture(scope="module")
def fresh(pictures, tmp_path_factory):
    """All pictures that can be made here, made anew."""
    if not (shutil.which("chromium") or shutil.which("chromium-browser")) or not shutil.which("chromedriver"):
        absent("chromium or chromedriver")
    out = tmp_path_factory.mktemp("pictures")
    asked = subprocess.run([QGIS, "-c", "import qgis.core"], capture_output=True, check=False)
    names = [name for name in pictures.NAMES if asked.returncode == 0 or not name.startswith("gis_")]
    pictures.make(names, out)
    return out


def test_every_picture_is_made_by_the_script_and_shown_somewhere(pictures):
    there = {path.name for path in (DOCS / "images").iterdir()}
    assert there == set(pictures.NAMES)
    pages = "".join(path.read_text("utf-8") for path in (*DOCS.glob("*.md"), ROOT / "README.md"))
    assert there == set(re.findall(r"images/([\w.]+)\)", pages))


@pytest.mark.long
@pytest.mark.browser
@pytest.mark.parametrize("name", sorted(path.name for path in (DOCS / "images").iterdir()))
def test_a_picture_is_as_committed(pictures, fresh, name):
    if not (fresh / name).exists():
        absent(f"PyQGIS in {QGIS}")
    apart = pictures.difference(pictures.drawn(DOCS / "images" / name), pictures.drawn(fresh / name))
    assert apart < pictures.STALE, f"docs/images/{name} is stale ({apart:.3f}); run: python docs/pictures.py {name}"


@pytest.mark.long
@pytest.mark.browser
def test_pictures_of_another_plan_are_stale(pictures, fresh, tmp_path):
    """The sample with shorter reels and a wider clearance: other stakes, other statuses."""
    over = tmp_path / "over.toml"
    over.write_text("[rules]\nreel_m = 95\nline_clearance_m = 70\n", "utf-8")
    names = ("map.png", "sheet.png", "review.png")
    pictures.make(names, tmp_path, "--over", str(over))
    apart = [pictures.difference(Image.open(fresh / name), Image.open(tmp_path / name)) for name in names]
    assert min(apart) > 2 * pictures.STALE, apart


def test_what_counts_as_a_difference(pictures):
    rng = np.random.default_rng(5)
    grey = rng.integers(0, 256, (600, 960), dtype=np.uint8)
    picture = Image.fromarray(grey)
    assert pictures.difference(picture, picture) == 0
    assert pictures.difference(picture, picture.resize((960, 601))) == float("inf")
    number, moved = grey.copy(), grey.copy()
    number[60:80, 90:240] = 0  # a line of text, over two tiles
    assert pictures.difference(picture, Image.fromarray(number)) == 0
    moved[:, 200:520] = 255  # what stands on a third of the page
    assert pictures.difference(picture, Image.fromarray(moved)) > pictures.STALE
