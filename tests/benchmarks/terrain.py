"""Time slopes and lengths of whole fans: python tests/benchmarks/terrain.py [cell size in m] [towers]

The ground is made up, in a compressed GeoTIFF. Printed are milliseconds of the processor per tower, 240 bearings by
85 distances each, 32 towers at a time on one thread: everything, then again with the tiles in store so far as they fit.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import rasterio
from affine import Affine
from pyproj import Transformer

from layoutplan.job.terrain import Terrain
from layoutplan.terrain import Dem, elevation_m, fan_lengths, fan_slopes, open_terrain

_WEST_M, _NORTH_M, _CRS, _SPAN_M, _REACH_M, _TOGETHER = 500_000.0, 5_500_000.0, "EPSG:32632", 300.0, 142.9, 32


def make_ground(path: Path, cell_m: float, side_m: float) -> None:
    """Write hills with some roughness on them."""
    size = int(side_m / cell_m)
    rough = np.random.default_rng(1).normal(0.0, 0.1, (512, size)).astype(np.float32)
    profile = {"width": size, "height": size, "count": 1, "dtype": "float32", "crs": _CRS, "tiled": True}
    profile |= {"transform": Affine(cell_m, 0, _WEST_M, 0, -cell_m, _NORTH_M), "compress": "deflate", "predictor": 3}
    east = np.arange(size, dtype=np.float32) * cell_m
    with rasterio.open(path, "w", driver="GTiff", **profile) as ground:
        for row in range(0, size, 512):
            south = np.arange(row, min(row + 512, size), dtype=np.float32)[:, None] * cell_m
            hills = 300.0 + 40.0 * np.sin(east / 400.0) * np.cos(south / 300.0) + rough[: len(south)]
            ground.write(hills[None], window=((row, row + len(south)), (0, size)))


def serpentine(towers: int) -> tuple[np.ndarray, float]:
    """Longitudes and latitudes of towers on a line to and fro in a square, and the square's side."""
    per_row = int(np.ceil(np.sqrt(towers)))
    row, place = np.divmod(np.arange(towers), per_row)
    east = np.where(row % 2, per_row - 1 - place, place) * _SPAN_M + _SPAN_M
    north = _NORTH_M - _SPAN_M - row * _SPAN_M
    back = Transformer.from_crs(_CRS, 4326, always_xy=True)
    return np.column_stack(back.transform(_WEST_M + east, north)), (per_row + 1) * _SPAN_M


def fans(dem: Dem, towers: np.ndarray) -> tuple[float, float]:
    """Seconds for all slopes, and for all lengths."""
    bearing, distance = np.broadcast_to(np.arange(0.0, 360.0, 1.5), (_TOGETHER, 240)), np.arange(58.0, 143.0)
    spent = [0.0, 0.0]
    for first in range(0, len(towers), _TOGETHER):
        some = towers[first : first + _TOGETHER]
        for i, ask in enumerate((fan_slopes, fan_lengths)):
            start = time.process_time()
            ask(dem, some, bearing[: len(some)], distance)
            spent[i] += time.process_time() - start
    return spent[0], spent[1]


def main(cell_m: float = 1.0, count: int = 1000) -> None:
    """Make the ground, print the times."""
    towers, side_m = serpentine(count)
    with tempfile.TemporaryDirectory() as folder:
        make_ground(Path(folder) / "ground.tif", cell_m, side_m)
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        start = time.process_time()
        dem = open_terrain(Terrain(files=(Path(folder) / "ground.tif",)), towers, _REACH_M).dem
        opened = time.process_time() - start
        elevation_m(dem, towers)
        for name in ("first", "again"):
            slopes, lengths = (1e3 * seconds / count for seconds in fans(dem, towers))
            sys.stdout.write(f"{name}: slopes {slopes:.2f} ms, lengths {lengths:.2f} ms a tower\n")
        more_mb = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
        sys.stdout.write(f"opening {1e3 * opened / count:.2f} ms a tower, {more_mb:.0f} MB more than before\n")


if __name__ == "__main__":
    main(*(kind(text) for kind, text in zip((float, int), sys.argv[1:], strict=False)))
