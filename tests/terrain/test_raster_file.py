"""What files say of their heights: no data, scale, unit, place; and what cannot be used.

Sources: derived here, constant heights times the scale and unit that the file was given; refusals: own rules, no
source.
"""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from affine import Affine

from layoutplan.errors import CRSError, InputError
from layoutplan.job.terrain import Terrain
from layoutplan.terrain import OpenedTerrain, elevation_m, slope_aspect

Write = Callable[..., Path]
Open = Callable[..., OpenedTerrain]
MIDDLE = (500_400.0, 5_299_700.0)
LEVEL = np.full((60, 80), 123.0)


@pytest.fixture
def middle(lonlat: Callable[..., np.ndarray]) -> np.ndarray:
    return lonlat(*MIDDLE)


def with_hole(value: float, dtype: str = "float32") -> np.ndarray:
    heights = LEVEL.astype(dtype)
    heights[20:40, 30:50] = value
    return heights


@pytest.mark.parametrize(
    ("hole", "dtype", "profile", "job"),
    [
        (-9999, "float32", {"nodata": -9999}, {}),
        (-32768, "int16", {"nodata": -32768}, {}),
        (0, "uint16", {"nodata": 0}, {}),
        (0, "float32", {}, {"nodata": 0}),
        (0, "float32", {"nodata": -9999}, {"nodata": 0}),
        (-3.4028234663852886e38, "float32", {"nodata": -3.4028234663852886e38}, {}),
        (np.nan, "float32", {}, {}),
        (np.nan, "float64", {"nodata": np.nan}, {}),
        (np.inf, "float32", {}, {}),
        (-9999, "float32", {}, {}),  # not declared, but no ground lies so deep
        (32767, "int16", {}, {}),
    ],
)
def test_no_data(
    dem_file: Write,
    opened: Open,
    lonlat: Callable[..., np.ndarray],
    hole: float,
    dtype: str,
    profile: dict[str, Any],
    job: dict[str, Any],
) -> None:
    path = dem_file(with_hole(hole, dtype), dtype=dtype, **profile)
    places = lonlat(MIDDLE[0] + np.array([0.0, 300.0]), MIDDLE[1])
    found = opened(path, places, **job)
    assert np.isnan(found.tower_height_m[0])
    assert found.tower_height_m[1] == 123
    assert found.problems == ("terrain: no height known at 1 tower of 2; slopes there are unknown",)
    slope, aspect = slope_aspect(found.dem, places)
    assert np.isnan([slope[0], aspect[0], aspect[1]]).all()  # level ground has no aspect
    assert slope[1] == 0


@pytest.mark.parametrize("nodata", [None, 7])
def test_mask_band(dem_file: Write, opened: Open, lonlat: Callable[..., np.ndarray], nodata: float | None) -> None:
    """The mask counts, and so does the declared value, which GDAL forgets beside a mask."""
    heights = LEVEL.copy()
    heights[:, 60:] = 7
    mask = np.full(LEVEL.shape, 255, np.uint8)
    mask[20:40, 30:50] = 0
    path = dem_file(heights, nodata=nodata, then=lambda dataset: dataset.write_mask(mask))
    places = lonlat(MIDDLE[0] + np.array([0.0, -300.0, 300.0]), MIDDLE[1])
    found = elevation_m(opened(path, places).dem, places)
    assert np.isnan(found[0])
    assert found[1] == 123
    assert np.isnan(found[2]) if nodata else found[2] == 7


def test_scale_and_offset(dem_file: Write, opened: Open, middle: np.ndarray) -> None:
    def scaled(dataset: Any) -> None:
        dataset.scales, dataset.offsets = (0.1,), (-100.0,)

    heights = np.full((60, 80), 3456, np.uint16)
    heights[0, 0] = 65535
    found = opened(dem_file(heights, nodata=65535, then=scaled), middle)
    assert found.tower_height_m == pytest.approx([245.6], abs=1e-4)


@pytest.mark.parametrize(
    ("band_unit", "crs", "job", "metres"),
    [
        ("", "EPSG:32632", {}, 1.0),
        ("m", "EPSG:32632", {}, 1.0),
        ("metre", "EPSG:32632", {}, 1.0),
        ("ft", "EPSG:32632", {}, 0.3048),
        ("US survey foot", "EPSG:32632", {}, 1200 / 3937),
        ("", "EPSG:32632+5703", {}, 1.0),
        ("", "EPSG:32632+6360", {}, 1200 / 3937),  # NAVD88 height (ftUS)
        ("", "EPSG:32632+8228", {}, 0.3048),  # NAVD88 height (ft)
        ("m", "EPSG:32632", {"vertical_unit": "foot"}, 0.3048),
        ("", "EPSG:32632+6360", {"vertical_unit": "metre"}, 1.0),
        ("", "EPSG:32632", {"vertical_unit": "us_survey_foot"}, 1200 / 3937),
    ],
)
def test_vertical_unit(
    dem_file: Write,
    opened: Open,
    middle: np.ndarray,
    band_unit: str,
    crs: str,
    job: dict[str, str],
    metres: float,
) -> None:
    """Feet: the international one is 0.3048 m, the US survey foot 1200/3937 m, both by definition."""

    def unit(dataset: Any) -> None:
        if band_unit:
            dataset.units = (band_unit,)

    def plane(x: np.ndarray, _: np.ndarray) -> np.ndarray:
        return 3000.0 + 0.5 * (x - MIDDLE[0])

    found = opened(dem_file(plane, crs=crs, then=unit, dtype="float64"), middle, **job)
    assert found.tower_height_m == pytest.approx([3000 * metres], abs=1e-3)
    slope, _ = slope_aspect(found.dem, middle)
    assert np.tan(np.radians(slope)) == pytest.approx(0.5 * metres * 0.9996, abs=1e-5)
    silent = not band_unit and not job and "+" not in crs
    assert any("does not say the unit" in text for text in found.assumptions) == silent


def test_compound_system_in_an_old_geotiff(dem_file: Write, opened: Open, middle: np.ndarray) -> None:
    path = dem_file(LEVEL, crs="EPSG:32632+6360", GEOTIFF_VERSION="1.0")
    assert opened(path, middle).tower_height_m == pytest.approx([123 * 1200 / 3937], abs=1e-4)


def test_coordinates_in_feet_make_metres_doubtful(
    dem_file: Write, opened: Open, lonlat: Callable[..., np.ndarray]
) -> None:
    transform = Affine(10, 0, 6_000_000, 0, -10, 2_000_000)  # California zone 3, US survey feet
    path = dem_file(LEVEL, crs="EPSG:2227", transform=transform)
    found = opened(path, lonlat(6_000_400.0, 1_999_700.0, "EPSG:2227"))
    assert any("coordinates are in feet" in text for text in found.assumptions)


def test_units_that_contradict_each_other_are_refused(dem_file: Write, opened: Open, middle: np.ndarray) -> None:
    def metres(dataset: Any) -> None:
        dataset.units = ("m",)

    path = dem_file(LEVEL, crs="EPSG:32632+6360", then=metres)
    with pytest.raises(InputError, match=r"differ on the unit.*terrain\.vertical_unit"):
        opened(path, middle)


def test_a_unit_that_is_not_known_is_refused(dem_file: Write, opened: Open, middle: np.ndarray) -> None:
    def fathoms(dataset: Any) -> None:
        dataset.units = ("fathom",)

    path = dem_file(LEVEL, then=fathoms)
    with pytest.raises(InputError, match=r"dem\.tif: heights in 'fathom'.*terrain\.vertical_unit"):
        opened(path, middle)
    assert opened(path, middle, vertical_unit="metre").tower_height_m == [123]


ASCII = "ncols 4\nnrows 3\nxllcorner 500000\nyllcorner 5299970\ncellsize 10\nNODATA_value -1\n" + "5 6 7 8\n" * 3


def test_ascii_grid_needs_a_reference_system(tmp_path: Path, opened: Open, lonlat: Callable[..., np.ndarray]) -> None:
    (tmp_path / "hill.asc").write_text(ASCII)
    place = lonlat(500_020.0, 5_299_985.0)
    with pytest.raises(CRSError, match=r"hill\.asc: no coordinate reference system\. Set terrain\.crs"):
        opened(tmp_path / "hill.asc", place)
    assert opened(tmp_path / "hill.asc", place, crs="EPSG:32632").tower_height_m == pytest.approx([6.5], abs=1e-4)
    with pytest.raises(CRSError, match=r"terrain\.crs = 'EPSG:1' is no known"):
        opened(tmp_path / "hill.asc", place, crs="EPSG:1")


def test_reference_system_of_the_job_wins(dem_file: Write, opened: Open, middle: np.ndarray) -> None:
    found = opened(dem_file(LEVEL, crs="EPSG:32633"), middle, crs="EPSG:32632")
    assert found.tower_height_m == [123]
    assert "the file says WGS 84 / UTM zone 33N, but terrain.crs" in found.problems[0]


def test_side_cars_belong_to_the_files(tmp_path: Path, opened: Open, lonlat: Callable[..., np.ndarray]) -> None:
    from pyproj import CRS

    (tmp_path / "hill.asc").write_text(ASCII)
    (tmp_path / "hill.prj").write_text(CRS.from_epsg(32632).to_wkt("WKT1_ESRI"))
    found = opened(tmp_path / "hill.asc", lonlat(500_020.0, 5_299_985.0))
    assert found.files == (tmp_path / "hill.asc", tmp_path / "hill.prj")


def test_archive_with_one_raster(dem_file: Write, opened: Open, tmp_path: Path, middle: np.ndarray) -> None:
    path = dem_file(LEVEL, "inside.tif")
    with zipfile.ZipFile(tmp_path / "dem.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.write(path, "folder/inside.tif")
        archive.writestr("readme.txt", "heights")
    found = opened(tmp_path / "dem.zip", middle)
    assert found.tower_height_m == [123]
    assert found.files == (tmp_path / "dem.zip",)
    with zipfile.ZipFile(tmp_path / "dem.zip", "a") as archive:
        archive.write(path, "other.tif")
    with pytest.raises(InputError, match=r"dem\.zip: must hold one elevation raster, found: folder/inside\.tif, other"):
        opened(tmp_path / "dem.zip", middle)
    (tmp_path / "broken.zip").write_bytes(b"PK nothing")
    with pytest.raises(InputError, match=r"broken\.zip: cannot be read as an archive"):
        opened(tmp_path / "broken.zip", middle)


VRT = """<VRTDataset rasterXSize="80" rasterYSize="60"><SRS>EPSG:32632</SRS>
<GeoTransform>500000, 10, 0, 5300000, 0, -10</GeoTransform><VRTRasterBand dataType="Float32" band="1"><SimpleSource>
<SourceFilename relativeToVRT="{relative}">{name}</SourceFilename><SourceBand>1</SourceBand>
<SourceProperties RasterXSize="80" RasterYSize="60" DataType="Float32" BlockXSize="80" BlockYSize="25"/>
<SrcRect xOff="0" yOff="0" xSize="80" ySize="60"/><DstRect xOff="0" yOff="0" xSize="80" ySize="60"/>
</SimpleSource></VRTRasterBand></VRTDataset>"""


def test_virtual_raster(dem_file: Write, opened: Open, tmp_path: Path, middle: np.ndarray) -> None:
    path = dem_file(LEVEL, "part.tif")
    (tmp_path / "all.vrt").write_text(VRT.format(relative=1, name="part.tif"))
    found = opened(tmp_path / "all.vrt", middle)
    assert found.tower_height_m == [123]
    assert [file.name for file in found.files] == ["all.vrt", "part.tif"]
    path.unlink()
    with pytest.raises(InputError, match=r"all\.vrt: takes data from 'part\.tif', which is no such file"):
        opened(tmp_path / "all.vrt", middle)


def test_nothing_is_fetched_from_the_network(opened: Open, tmp_path: Path, middle: np.ndarray) -> None:
    (tmp_path / "far.vrt").write_text(VRT.format(relative=0, name="/vsicurl/http://127.0.0.1:9/part.tif"))
    with pytest.raises(
        InputError, match=r"far\.vrt: takes data from '/vsicurl/http.*', which names no file on this machine"
    ):
        opened(tmp_path / "far.vrt", middle)


def test_several_bands_are_told(dem_file: Write, opened: Open, middle: np.ndarray) -> None:
    found = opened(dem_file(np.stack((LEVEL, LEVEL * 2))), middle)
    assert found.tower_height_m == [123]
    assert found.problems == ("dem.tif: 2 bands; the first is taken for the height",)


def test_what_is_no_elevation_raster(dem_file: Write, opened: Open, tmp_path: Path, middle: np.ndarray) -> None:
    with pytest.raises(InputError, match="no such file"):
        opened(tmp_path / "absent.tif", middle)
    (tmp_path / "text.tif").write_text("not a raster")
    with pytest.raises(InputError, match=r"text\.tif: cannot be read as an elevation raster"):
        opened(tmp_path / "text.tif", middle)
    with pytest.raises(InputError, match=r"dem\.tif: complex numbers"):
        opened(dem_file(LEVEL.astype("complex64")), middle)
    local = 'LOCAL_CS["site grid",UNIT["metre",1]]'
    with pytest.raises(CRSError, match="site grid"):
        opened(dem_file(LEVEL, crs=local), middle)


def test_a_damaged_file(dem_file: Write, opened: Open, tmp_path: Path, middle: np.ndarray) -> None:
    rng = np.random.default_rng(6)
    path = dem_file(rng.normal(300, 9, (60, 80)), compress="deflate")
    content = bytearray(path.read_bytes())
    content[len(content) // 3 :] = b"0" * (len(content) - len(content) // 3)
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"dem\.tif: cannot be read as an elevation raster"):
        opened(path, middle)


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_a_raster_without_a_place(dem_file: Write, opened: Open, middle: np.ndarray) -> None:
    path = dem_file(LEVEL, transform=Affine.identity())
    with pytest.raises(InputError, match=r"dem\.tif: does not say where on earth it lies"):
        opened(path, middle)


def test_settings_are_checked() -> None:
    assert Terrain().files == ()
    with pytest.raises(ValueError, match="cliff_slope_deg"):
        Terrain(cliff_slope_deg=90)
    with pytest.raises(ValueError, match="vertical_unit"):
        Terrain(vertical_unit="cubit")  # type: ignore[arg-type]
    assert all(field.description for field in Terrain.model_fields.values())
