"""Small invented elevation files, and what is asked of them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import CRS, Transformer

from layoutplan.job.terrain import Terrain
from layoutplan.terrain import OpenedTerrain, open_terrain

UTM = "EPSG:32632"
EAST_M, NORTH_M = 500_000.0, 5_300_000.0  # on the central meridian


def _lonlat(x: Any, y: Any, crs: str = UTM) -> np.ndarray:
    """Longitudes and latitudes of coordinates, shape (n, 2)."""
    x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
    return np.column_stack(Transformer.from_crs(crs, 4326, always_xy=True).transform(x.ravel(), y.ravel()))


def centres(transform: Affine, height: int, width: int) -> tuple[np.ndarray, np.ndarray]:
    """Coordinates of the cells' centres, each of shape (height, width)."""
    row, col = np.mgrid[:height, :width] + 0.5
    a, b, c, d, e, f = tuple(transform)[:6]
    return a * col + b * row + c, d * col + e * row + f


def north_up(cell: float, west: float = EAST_M, north: float = NORTH_M) -> Affine:
    return Affine(cell, 0, west, 0, -cell, north)


@pytest.fixture
def lonlat() -> Callable[..., np.ndarray]:
    return _lonlat


@pytest.fixture
def dem_file(tmp_path: Path) -> Callable[..., Path]:
    """Write heights, an array or a function of x and y, as a raster."""

    def write(
        heights: Any,
        name: str = "dem.tif",
        *,
        transform: Affine | None = None,
        shape: tuple[int, int] = (60, 80),
        crs: Any = UTM,
        then: Callable[[Any], None] | None = None,
        **profile: Any,
    ) -> Path:
        transform = transform or north_up(10.0)
        if callable(heights):
            heights = heights(*centres(transform, *shape))
        heights = np.asarray(heights)
        if heights.dtype == float:
            heights = heights.astype(np.float32)
        bands = heights if heights.ndim == 3 else heights[None]
        keys = {"driver": "GTiff", "count": len(bands), "dtype": bands.dtype, "transform": transform} | profile
        crs = CRS.from_user_input(crs).to_wkt() if crs else None
        with rasterio.open(
            tmp_path / name, "w", height=bands.shape[1], width=bands.shape[2], crs=crs, **keys
        ) as dataset:
            dataset.write(bands)
            if then:
                then(dataset)
        return tmp_path / name

    return write


@pytest.fixture
def opened() -> Callable[..., OpenedTerrain]:
    """Open files for towers."""

    def call(files: Path | list[Path], towers: Any, reach_m: float = 100.0, **keys: Any) -> OpenedTerrain:
        files = [files] if isinstance(files, Path) else files
        return open_terrain(Terrain(files=tuple(files), **keys), np.atleast_2d(towers), reach_m)

    return call
