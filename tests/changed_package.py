"""A copy of the package that a test may change as DEVELOPERS.md says, and what it then does in a process of its own."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely

ROOT = Path(__file__).parents[1]

# four towers of the sample, on a few of its layers
SMALL_JOB = """\
title = "Small job"
[[lines]]
id = "kress-tee"
voltage_kv = 220
half_width_m = 8.0
load = { current_a = 120, maximum_a = 250 }
fault = { current_ka = 14.0, clearing_time_s = 0.25 }
towers = { path = "valley.gpkg", layer = "towers", where = "line_id = 'kress-tee'", id_column = "tower_id", \
order_column = "seq", soil_resistivity_column = "soil_ohm_m" }
[coverage]
path = "valley.gpkg"
layer = "map_reach"
themes = ["reach", "buildings", "land_cover", "sea"]
[[layers]]
path = "valley.gpkg"
layer = "roads"
class_column = "kind"
name_column = "name"
width_column = "width_m"
class_map = { main_road = "main_road", minor_road = "minor_road", street = "minor_road", track = "track_path", \
path = "track_path" }
[[layers]]
path = "valley.gpkg"
layer = "water_areas"
class_column = "kind"
class_map = { river = "river_canal", lake = "standing_water", pond = "standing_water", oxbow = "standing_water" }
[[layers]]
path = "valley.gpkg"
layer = "buildings"
obstacle_class = "building"
[[land]]
path = "valley.gpkg"
layer = "parcels"
label = "parcels"
parcel_column = "parcel_no"
permission_column = "permission"
"""


class Package:
    """The package under a folder, copied there if it is to be changed."""

    def __init__(self, root: Path) -> None:
        self.root = root

    @classmethod
    def copied(cls, folder: Path) -> "Package":
        """Copy of the package, with the documentation and what makes it."""
        for name in ("layoutplan", "docs"):
            ignored = shutil.ignore_patterns("__pycache__", "images")
            shutil.copytree(ROOT / name, folder / name, ignore=ignored)
        return cls(folder)

    def write(self, name: str, text: str) -> None:
        """Make a new file."""
        assert not (self.root / name).exists()
        (self.root / name).write_text(text, "utf-8")

    def append(self, name: str, text: str) -> None:
        """Add text at the end of a file."""
        path = self.root / name
        path.write_text(path.read_text("utf-8") + text, "utf-8")

    def insert(self, name: str, before: str, text: str) -> None:
        """Put text before the only place where something stands."""
        path = self.root / name
        whole = path.read_text("utf-8")
        assert whole.count(before) == 1, (name, before, whole.count(before))
        path.write_text(whole.replace(before, text + before), "utf-8")

    def python(self, *arguments: str, cwd: Path | None = None) -> str:
        """Run Python on this package; what it wrote. It must end well."""
        done = self._run([sys.executable, *arguments], cwd)
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    def command(self, *arguments: str, code: int | tuple[int, ...] = 0) -> str:
        """Run the command; all that it said."""
        done = self._run([sys.executable, "-m", "layoutplan", *arguments])
        assert done.returncode in (code if isinstance(code, tuple) else (code,)), done.stdout + done.stderr
        assert "Traceback" not in done.stderr
        return done.stdout + done.stderr

    def formats(self) -> dict[str, list[str]]:
        """Names of all formats with their files."""
        code = "print(json.dumps({name: entry.files for name, entry in FORMATS.items()}))"
        said = self.python("-c", f"import json; from layoutplan.outputs import FORMATS; {code}")
        found: dict[str, list[str]] = json.loads(said)
        return found

    def _run(self, command: list[str], cwd: Path | None = None) -> "subprocess.CompletedProcess[str]":
        quiet = {"PYTHONPATH": str(self.root), "PYTHONDONTWRITEBYTECODE": "1"}
        where = cwd or self.root  # the folder that Python looks into first
        return subprocess.run(
            command, cwd=where, env={**os.environ, **quiet}, capture_output=True, text=True, check=False
        )


def small_job(folder: Path, more: str = "") -> Path:
    """Job file of four towers in a folder of its own, with the sample's map beside it."""
    folder.mkdir()
    shutil.copy(ROOT / "sample_gis" / "valley.gpkg", folder)
    (folder / "job.toml").write_text(SMALL_JOB + more, "utf-8")
    return folder / "job.toml"


def ditch_beside_the_line(path: Path) -> None:
    """Features of a class as a layer: a line that every lead to one side crosses, an area, and a point."""
    towers = gpd.read_file(path.parent / "valley.gpkg", layer="towers")
    towers = towers[towers["line_id"] == "kress-tee"].sort_values("seq").geometry
    axis = shapely.LineString(shapely.get_coordinates(towers.to_numpy()))
    both = [axis.offset_curve(side) for side in (12.0, -12.0)]
    there = shapely.Point(towers.iloc[2].x + 60.0, towers.iloc[2].y)
    shapes = [*both, there.buffer(15.0), shapely.Point(there.x, there.y + 40.0)]
    table = gpd.GeoDataFrame({"name": ["North", "South", "Pool", "Spot"]}, geometry=shapes, crs=towers.crs)
    assert isinstance(table, pd.DataFrame)
    table.to_file(path, layer="added", driver="GPKG")
