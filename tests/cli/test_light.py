"""What a command does not need, it does not load: libraries that take seconds and memory, and stages that plan."""

import json
import subprocess
import sys

import pytest

HEAVY = {"matplotlib", "osmium", "pydantic", "rasterio", "reportlab", "scipy"}
FRAMES = {"geopandas", "numpy", "pandas", "pyarrow", "pyogrio", "pyproj", "shapely"}
PLANNING = {f"layoutplan.{stage}" for stage in ("exposure", "terrain", "siting", "planning", "checking", "profiles")}
RUN = "import json, sys; from layoutplan.cli.main import run; run(sys.argv[1:]); print(json.dumps([*sys.modules]))"


def loaded(*arguments):
    done = subprocess.run([sys.executable, "-c", RUN, *arguments], capture_output=True, text=True, check=True)
    return set(json.loads(done.stdout.splitlines()[-1])), done.stdout


@pytest.mark.parametrize("arguments", [["--help"], ["--version"]])
def test_help_loads_no_library_for_data(arguments):
    modules, said = loaded(*arguments)
    assert "layoutplan" in said
    assert not modules & (HEAVY | FRAMES | PLANNING)


def test_one_tower_is_explained_without_what_plans(sample_run):
    modules, said = loaded("explain", str(sample_run[0]), "107")
    assert "tower 107 of line" in said
    assert {"layoutplan.written.read", "pandas"} <= modules
    assert not modules & (HEAVY | PLANNING)
