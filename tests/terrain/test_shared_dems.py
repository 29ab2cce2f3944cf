"""Real elevation models (SRTM: NASA/USGS, public domain) against GDAL's own terrain program.

Sources: gdaldem as another implementation of Horn 1981, PROJ's factors; the data's own notes.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rasterio
from affine import Affine
from pyproj import Proj, Transformer

from layoutplan.errors import InputError
from layoutplan.line.geodesy import turn_deg
from layoutplan.terrain import OpenedTerrain, elevation_m, fan_lengths, fan_slopes, profiles, slope_aspect

pytestmark = [pytest.mark.shared, pytest.mark.long]

Open = Callable[..., OpenedTerrain]


@pytest.fixture
def gdaldem(tmp_path: Path) -> Callable[[str, Path], np.ndarray]:
    """GDAL's slope (in per cent, which keeps small slopes exact) or aspect of every cell of a raster."""
    program = shutil.which("gdaldem")
    if program is None:
        message = "gdaldem is not on the PATH; Debian has it in the package gdal-bin"
        if os.environ.get("CI"):
            pytest.fail(message)
        pytest.skip(message)

    def run(what: str, path: Path) -> np.ndarray:
        options = ["-p"] if what == "slope" else []
        subprocess.run([program, what, path, tmp_path / f"{what}.tif", *options], check=True, capture_output=True)
        with rasterio.open(tmp_path / f"{what}.tif") as dataset:
            return dataset.read(1, masked=True).filled(np.nan)

    return run


def towers(shared_data: Path, job: str) -> np.ndarray:
    return pd.read_csv(shared_data / job / "towers.csv")[["lon", "lat"]].to_numpy()


def test_slopes_in_a_projection_against_gdaldem(shared_data: Path, opened: Open, gdaldem) -> None:
    """GDAL takes the grid's metres and the grid's north; scale and convergence between are PROJ's factors."""
    path = shared_data / "karlsruhe/karlsruhe_srtm3_utm32.tif"
    slope_pct, aspect_grid = gdaldem("slope", path), gdaldem("aspect", path)
    row, col = (grid.ravel()[::7] for grid in np.mgrid[20:300, 20:190])
    with rasterio.open(path) as dataset:
        x, y = dataset.xy(row, col)
    lon, lat = Transformer.from_crs(25832, 4326, always_xy=True).transform(x, y)
    factors = Proj("EPSG:25832").get_factors(lon, lat)
    slope, aspect = slope_aspect(opened(path, [[8.42, 49.1]], 1e4).dem, np.column_stack((lon, lat)))
    want = slope_pct[row, col] / 100 * factors.meridional_scale
    assert np.array_equal(np.isnan(slope), np.isnan(want))
    known = ~np.isnan(want)
    assert known.sum() > 5000
    assert np.tan(np.radians(slope))[known] == pytest.approx(want[known], abs=2e-6)
    # grid bearing = true bearing - convergence
    off = turn_deg(aspect - aspect_grid[row, col] - factors.meridian_convergence)
    assert np.abs(off[known & (want > 0.01)]).max() < 0.02
    assert np.nanmax(want) > 0.2


@pytest.mark.parametrize("row", [60, 180, 320])
def test_slopes_in_degrees_against_gdaldem(shared_data: Path, opened: Open, gdaldem, tmp_path: Path, row: int) -> None:
    """GDAL knows no cells of degrees, so a strip of the file is given the metres of its middle parallel.

    Its aspect takes every cell for a square (its slope does not); the two parts of it are stretched back.

    Radii of curvature as in W. Torge, Geodesy (from memory): a (1 - e2) / w**3 and a / w, w**2 = 1 - e2 sin2(lat).
    """
    path = shared_data / "andorra/andorra_srtm3.tif"
    with rasterio.open(path) as dataset:
        heights, cell_deg = dataset.read(1), dataset.transform.a
        col = np.arange(5, dataset.width - 5)
        lon, lat = (np.asarray(part) for part in dataset.xy(np.full(len(col), row), col))
    w2 = 1 - 0.0066943799901413165 * np.sin(np.radians(lat[0])) ** 2
    north_m = 6378137.0 * (1 - 0.0066943799901413165) / w2**1.5 * np.radians(cell_deg)
    east_m = 6378137.0 / np.sqrt(w2) * np.cos(np.radians(lat[0])) * np.radians(cell_deg)
    strip = heights[row - 2 : row + 3]
    keys = {"width": strip.shape[1], "height": 5, "count": 1, "dtype": strip.dtype, "nodata": -32768}
    transform = Affine(east_m, 0, 4e5, 0, -north_m, 4.7e6)
    with rasterio.open(tmp_path / "strip.tif", "w", crs="EPSG:32631", transform=transform, **keys) as dataset:
        dataset.write(strip[None])
    slope_pct, aspect_square = (gdaldem(what, tmp_path / "strip.tif")[2, col] for what in ("slope", "aspect"))
    east, north = np.sin(np.radians(aspect_square)) / east_m, np.cos(np.radians(aspect_square)) / north_m
    slope, aspect = slope_aspect(opened(path, [[1.6, 42.55]], 5e4).dem, np.column_stack((lon, lat)))
    assert np.array_equal(np.isnan(slope), np.isnan(slope_pct))
    known = ~np.isnan(slope)
    assert known.sum() > 300
    assert np.tan(np.radians(slope))[known] == pytest.approx(slope_pct[known] / 100, rel=1e-5, abs=1e-6)
    assert np.abs(turn_deg(aspect - np.degrees(np.arctan2(east, north)))[known & (slope_pct > 1)]).max() < 0.001


def test_tile_and_cut_out_are_the_same_ground(shared_data: Path, opened: Open) -> None:
    """The zipped SRTM tile (posts on whole arc seconds) and a GeoTIFF cut from it (cells about them)."""
    places = towers(shared_data, "andorra/job_150kv")
    tile = opened(shared_data / "andorra/N42E001.hgt.zip", places, 150.0)
    cut = opened(shared_data / "andorra/andorra_srtm3.tif", places, 150.0)
    assert tile.tower_height_m == pytest.approx(cut.tower_height_m, abs=1e-3)
    assert tile.files == (shared_data / "andorra/N42E001.hgt.zip",)
    # the data's own notes: tower elevations 1,191 to 2,415 m, from the nearest cell
    assert tile.tower_height_m.min() == pytest.approx(1191, abs=30)
    assert tile.tower_height_m.max() == pytest.approx(2415, abs=30)
    assert not tile.problems
    both = opened([shared_data / "andorra/andorra_srtm3.tif", shared_data / "andorra/N42E001.hgt.zip"], places, 150.0)
    assert len(both.dem.mosaics) == 1


def test_towers_beyond_the_cut_out_are_told(shared_data: Path, opened: Open) -> None:
    """The data's own notes: 45 of the 103 structures lie outside the GeoTIFF, all inside the full tile."""
    places = towers(shared_data, "andorra/job_110kv_border")
    cut = opened(shared_data / "andorra/andorra_srtm3.tif", places, 150.0)
    assert "terrain: no height known at 45 towers of 103; slopes there are unknown" in cut.problems
    tile = opened(shared_data / "andorra/N42E001.hgt.zip", places, 150.0)
    assert np.isfinite(tile.tower_height_m).all()
    seam = elevation_m(
        opened([shared_data / f"andorra/{name}" for name in ("andorra_srtm3.tif", "N42E001.hgt.zip")], places).dem,
        places,
    )
    assert seam == pytest.approx(tile.tower_height_m, abs=1e-3)


def test_another_country_is_out_of_reach(shared_data: Path, opened: Open) -> None:
    with pytest.raises(InputError, match="does not reach any tower"):
        opened(shared_data / "andorra/andorra_srtm3.tif", towers(shared_data, "krems/job_110kv"), 150.0)


def test_leads_on_a_plain_and_in_mountains(shared_data: Path, opened: Open) -> None:
    bearing, distance = np.arange(0.0, 360, 15), np.array([60.0, 100.0, 142.0])
    longest = {}
    for job, file in (
        ("karlsruhe/job_110kv", "karlsruhe/karlsruhe_srtm3_utm32.tif"),
        ("andorra/job_150kv", "andorra/andorra_srtm3.tif"),
    ):
        places = towers(shared_data, job)
        dem = opened(shared_data / file, places, 150.0).dem
        bearings = np.tile(bearing, (len(places), 1))
        lengths, slopes = (ask(dem, places, bearings, distance) for ask in (fan_lengths, fan_slopes))
        assert np.isfinite([lengths.min(), slopes.min()]).all()
        assert (lengths >= distance - 1e-4).all()
        leads = profiles(dem, places, bearings[:, 4], 142.0, cliff_slope_deg=60)
        assert leads.length_m == pytest.approx(lengths[:, 4, 2], abs=0.3)
        assert (leads.cliff_drop_m == 0).all()  # no cliff shows in cells of 75 m
        longest[job] = lengths[..., 2].max() / 142
    assert longest["karlsruhe/job_110kv"] < 1.01
    assert longest["andorra/job_150kv"] > 1.2
