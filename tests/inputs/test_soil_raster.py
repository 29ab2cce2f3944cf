from __future__ import annotations

import http.server
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from rasterio.enums import ColorInterp
from rasterio.transform import Affine
from rasterio.windows import Window

from layoutplan.errors import CRSError, InputError
from layoutplan.inputs import Inputs, raster, read_inputs
from layoutplan.job import Job

Write = Callable[..., Path]


def north_up(west: float, north: float, width: float, height: float) -> Affine:
    return Affine(width, 0, west, 0, -height, north)


# four cells a tenth of a degree wide, the first column west of 8.1°, the first row north of 48.9°
CELLS = [[100, 200], [300, 400]]
CORNER = north_up(8.0, 49.0, 0.1, 0.1)


@pytest.fixture
def soil_file(tmp_path: Path) -> Write:
    """Write bands (one, or several) as a raster; `tags` are set on the open file."""

    def write(
        cells: Any = CELLS,
        name: str = "soil.tif",
        crs: Any = "EPSG:4326",
        transform: Affine | None = CORNER,
        dtype: str = "float32",
        tags: dict[str, Any] | None = None,
        **keys: Any,
    ) -> Path:
        bands = np.array(cells, dtype=dtype)
        bands = bands.reshape(-1, *bands.shape[-2:])
        size = {"count": len(bands), "height": bands.shape[1], "width": bands.shape[2]}
        path = tmp_path / name
        with rasterio.open(path, "w", dtype=dtype, crs=crs, transform=transform, **size, **keys) as out:
            out.write(bands)
            for key, value in (tags or {}).items():
                setattr(out, key, value)
        return path

    return write


@pytest.fixture
def soil(make_job: Callable[..., Job], towers_csv: Write) -> Callable[..., Inputs]:
    """Read a line of towers at given places, its soil from a raster."""

    def run(path: Path, places: list[tuple[float, float]], given: list[str] | None = None) -> Inputs:
        given = given or [""] * len(places)
        rows = "".join(
            f"{i},{lon:.12g},{lat:.12g},{rho}\n"
            for i, ((lon, lat), rho) in enumerate(zip(places, given, strict=True), 1)
        )
        towers = {"path": towers_csv("tower_id,lon,lat,rho\n" + rows), "soil_resistivity_column": "rho"}
        return read_inputs(make_job(lines=[{"id": "A", "towers": towers}], soil={"raster": path}))

    return run


def values(inputs: Inputs) -> list[float]:
    return inputs.lines[0].towers["soil_resistivity_ohm_m"].tolist()


MIDDLES = [(8.05, 48.95), (8.15, 48.95), (8.05, 48.85), (8.15, 48.85)]


def test_value_of_the_cell_not_between_cells(soil_file: Write, soil: Callable[..., Inputs]) -> None:
    inputs = soil(soil_file(), MIDDLES)
    assert values(inputs) == [100, 200, 300, 400]
    assert inputs.problems == ()
    near_the_cross = [(8.0999, 48.9001), (8.1001, 48.9001), (8.0999, 48.8999), (8.1001, 48.8999)]
    assert values(soil(soil_file(), near_the_cross)) == [100, 200, 300, 400]
    # off the outer edge by rounding only: still the outermost cell
    corners = [(8 - 1e-8, 49 + 1e-8), (8.2 + 1e-8, 49), (8, 48.8), (8.2, 48.8 - 1e-8)]
    assert values(soil(soil_file(), corners)) == [100, 200, 300, 400]


def test_fingerprint_of_the_raster_and_what_belongs_to_it(soil_file: Write, soil: Callable[..., Inputs]) -> None:
    path = soil_file(name="soil.asc", driver="AAIGrid", nodata=-9999)
    files = {file.path.name: file.used_for for file in soil(path, MIDDLES).files}
    assert files.pop("towers.csv") == "towers of line 'A'"
    assert files["soil.asc"] == "soil resistivity"
    assert set(files) >= {"soil.asc", "soil.prj"}


def test_column_of_the_towers_goes_before_the_raster(soil_file: Write, soil: Callable[..., Inputs]) -> None:
    inputs = soil(soil_file(), [*MIDDLES, (9.0, 48.85)], ["", "77", "", "", "55"])
    assert values(inputs) == [100, 77, 300, 400, 55]
    assert inputs.problems == ()


def test_projected_raster(soil_file: Write, soil: Callable[..., Inputs]) -> None:
    # UTM by definition: 500 km east on the central meridian (9° E in zone 32), 0 km north on the equator
    path = soil_file(crs="EPSG:32632", transform=north_up(499_900, 100, 100, 100))
    places = [(8.9995, 0.0005), (9.0005, 0.0005), (8.9995, -0.0005), (9.0005, -0.0005)]
    assert values(soil(path, places)) == [100, 200, 300, 400]
    # a quarter of the Earth away the projection has no answer: outside, like any other place off the raster
    assert values(soil(path, [places[0], (99, 0)])) == pytest.approx([100, np.nan], nan_ok=True)


def test_raster_that_lies_on_its_side(soil_file: Write, soil: Callable[..., Inputs]) -> None:
    path = soil_file(transform=Affine(0, 0.1, 8, 0.1, 0, 48.8))  # rows run east, columns north
    assert values(soil(path, MIDDLES)) == [200, 400, 100, 300]


def test_scale_offset_and_nodata(soil_file: Write, soil: Callable[..., Inputs]) -> None:
    path = soil_file([[-1, 950], [20, 0]], dtype="int16", nodata=-1, tags={"scales": (0.5,), "offsets": (25.0,)})
    inputs = soil(path, MIDDLES)
    assert values(inputs) == pytest.approx([np.nan, 500, 35, 25], nan_ok=True)
    assert inputs.problems == (
        "soil.tif: 1 of 4 towers of line 'A' on cells without data (1): soil.resistivity_ohm_m = 100 is taken there",
    )


def test_where_the_raster_does_not_reach(soil_file: Write, soil: Callable[..., Inputs]) -> None:
    places = [(7.99, 48.95), (8.05, 48.95), (8.15, 48.95), (8.15, 48.79)]
    inputs = soil(soil_file([[np.nan, 200], [300, 400]]), places)
    assert values(inputs) == pytest.approx([np.nan, np.nan, 200, np.nan], nan_ok=True)
    assert inputs.problems == (
        "soil.tif: 2 of 4 towers of line 'A' outside the raster (1, 4): soil.resistivity_ohm_m = 100 is taken there",
        "soil.tif: 1 of 4 towers of line 'A' on cells without data (2): soil.resistivity_ohm_m = 100 is taken there",
    )


@pytest.mark.parametrize("west", [-180.0, 0.0, 179.0, -181.0], ids=["-180", "0 to 360", "east", "west"])
def test_antimeridian(soil_file: Write, soil: Callable[..., Inputs], west: float) -> None:
    count = 360 if west in (-180.0, 0.0) else 2
    row = 100.0 + np.arange(count)
    expected = {-180.0: [459, 100], 0.0: [279, 280]}.get(west, [100, 101])
    path = soil_file([row], transform=north_up(west, -16, 1, 2))
    for places in ([(179.99, -17), (180.01, -17)], [(179.99, -17), (-179.99, -17)]):
        assert values(soil(path, places)) == expected


def test_antimeridian_in_a_projection(soil_file: Write, soil: Callable[..., Inputs]) -> None:
    # Mercator on the Pacific, EPSG:3832: 150° E in the middle, so that the antimeridian is at a · 30° (the
    # projection's definition; a = 6,378,137 m on WGS 84)
    antimeridian_m = 6_378_137 * np.radians(30)
    path = soil_file([[100, 200]], crs="EPSG:3832", transform=north_up(antimeridian_m - 5000, 5000, 5000, 10_000))
    for places in ([(179.99, 0.01), (180.01, 0.01)], [(-180.01, 0.01), (-179.99, 0.01)]):
        assert values(soil(path, places)) == [100, 200]


def test_lines_are_sampled_each(soil_file: Write, make_job: Callable[..., Job], towers_csv: Write) -> None:
    lines = [
        {"id": name, "towers": {"path": towers_csv(f"tower_id,lon,lat\n1,8.05,{lat}\n2,8.15,{lat}\n", f"{name}.csv")}}
        for name, lat in (("A", 48.95), ("B", 48.85))
    ]
    inputs = read_inputs(make_job(lines=lines, soil={"raster": soil_file()}))
    assert [line.towers["soil_resistivity_ohm_m"].tolist() for line in inputs.lines] == [[100, 200], [300, 400]]


def test_one_line_out_of_range_is_named(soil_file: Write, make_job: Callable[..., Job], towers_csv: Write) -> None:
    lines = [
        {"id": name, "towers": {"path": towers_csv(f"tower_id,lon,lat\n1,8.05,{lat}\n2,8.15,{lat}\n", f"{name}.csv")}}
        for name, lat in (("A", 48.95), ("B", 48.85))
    ]
    job = make_job(lines=lines, soil={"raster": soil_file([[100, 200], [300, -4]])})
    with pytest.raises(
        InputError, match=r"at the towers of line 'B' range from -4 to 300: not ohm metres\? \(tower 2\)"
    ):
        read_inputs(job)


@pytest.mark.parametrize(
    ("cells", "message"),
    [
        ([[-9999, 200], [0, 400]], r"from -9999 to 400: not ohm metres\? \(tower 1, 3\) Declare the mark of cells"),
        ([[100, 1e7], [300, 400]], r"from 100 to 1e\+07: not ohm metres\? \(tower 2\)"),
        ([[100, np.inf], [300, 400]], r"from 100 to inf: not ohm metres\? \(tower 2\)"),
        ([[2, 2.5], [3, 0]], r"from 0 to 3: not ohm metres\? \(tower 4\) They may be logarithms: convert them"),
        ([[0.01, 0.02], [0.5, 0.004]], r"from 0.004 to 0.5: looks like siemens per metre \(conductivity\). Convert it"),
    ],
)  # fmt: skip
def test_values_that_are_no_ohm_metres(soil_file: Write, soil: Callable[..., Inputs], cells: Any, message: str) -> None:
    with pytest.raises(InputError, match="soil.tif, band 1: values at the towers .*" + message):
        soil(soil_file(cells), MIDDLES)


def test_values_elsewhere_do_not_matter(soil_file: Write, soil: Callable[..., Inputs]) -> None:
    assert values(soil(soil_file([[-9999, 200], [0, 400]]), MIDDLES[1::2])) == [200, 400]


def test_doubtfully_low_values_are_taken_and_said(soil_file: Write, soil: Callable[..., Inputs]) -> None:
    inputs = soil(soil_file([[2, 2.5], [3, 1]]), MIDDLES)
    assert values(inputs) == [2, 2.5, 3, 1]
    (text,) = inputs.problems
    assert text.startswith("soil.tif, band 1: values at the towers range from 1 to 3, very low for ohm metres")
    assert soil(soil_file([[2, 2.5], [3, 12]]), MIDDLES).problems == ()


@pytest.mark.parametrize("unit", ["", "ohm m", "Ohm.m", "Ω·m", "ohm-metres", "OHM*METER"])
def test_units_that_are_ohm_metres(soil_file: Write, soil: Callable[..., Inputs], unit: str) -> None:
    assert values(soil(soil_file(tags={"units": (unit,)}), MIDDLES)) == [100, 200, 300, 400]


@pytest.mark.parametrize("unit", ["S/m", "mS/m", "kΩ·m", "log10(ohm m)", "m", "ohm"])
def test_units_that_are_not(soil_file: Write, soil: Callable[..., Inputs], unit: str) -> None:
    with pytest.raises(InputError, match=r"soil.tif, band 1: its unit is '.*', not ohm metres. Convert it, or clear"):
        soil(soil_file(tags={"units": (unit,)}), MIDDLES)


def test_bands(soil_file: Write, soil: Callable[..., Inputs]) -> None:
    inputs = soil(soil_file([CELLS, [[1, 2], [3, 4]]]), MIDDLES)
    assert values(inputs) == [100, 200, 300, 400]
    assert inputs.problems == ("soil.tif, band 1: taken as the soil resistivity; the file has 2 bands",)
    picture = soil_file([[[100, 200], [30, 40]]] * 3, dtype="uint8", photometric="RGB")
    with pytest.raises(InputError, match="band 1: the red of a picture, not a resistivity"):
        soil(picture, MIDDLES)
    classes = soil_file([[100, 200], [30, 40]], dtype="uint8", tags={"colorinterp": [ColorInterp.palette]})
    with rasterio.open(classes, "r+") as out:
        out.write_colormap(1, {30: (255, 0, 0, 255)})
    (text,) = soil(classes, MIDDLES).problems
    assert "has a colour table; its values are taken as ohm metres, not as numbers of classes" in text


def test_files_that_are_no_use(soil_file: Write, soil: Callable[..., Inputs], tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.tif: no such file. Paths in a job file are taken from"):
        soil(tmp_path / "none.tif", MIDDLES)
    (tmp_path / "text.tif").write_text("no raster")
    with pytest.raises(InputError, match=r"^text\.tif: cannot be read as a raster: ."):
        soil(tmp_path / "text.tif", MIDDLES)
    with pytest.raises(InputError, match="cannot be read as a raster"):
        soil(tmp_path, MIDDLES)
    with pytest.raises(CRSError, match=r"soil\.tif: no coordinate reference system. Write it into the file"):
        soil(soil_file(crs=None), MIDDLES)
    with pytest.warns(rasterio.errors.NotGeoreferencedWarning):
        lost = soil_file(transform=None)
    with pytest.raises(CRSError, match=r"soil\.tif: does not say where on the ground its cells lie. Georeference it"):
        soil(lost, MIDDLES)
    with pytest.raises(InputError, match=r"band 1: complex64 where plain numbers were expected"):
        soil(soil_file(dtype="complex64"), MIDDLES)
    local = 'LOCAL_CS["site grid",UNIT["metre",1]]'
    with pytest.raises(CRSError, match=r"soil\.tif: longitude and latitude cannot be turned into its"):
        soil(soil_file(crs=rasterio.crs.CRS.from_wkt(local)), MIDDLES)


def test_file_that_breaks_off(soil_file: Write, soil: Callable[..., Inputs]) -> None:
    path = soil_file(np.full((500, 500), 100.0), transform=north_up(8.0, 49.0, 0.001, 0.001))
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 4])
    with pytest.raises(InputError, match=r"^soil\.tif: cannot be read as a raster: ."):
        soil(path, [(8.05, 48.95), (8.45, 48.55)])


class Watched:
    """A raster that notes what is read of it."""

    def __init__(self, inner: Any) -> None:
        self._inner = inner
        self.windows: list[Window] = []

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)

    def read(self, *args: Any, window: Window, **keys: Any) -> Any:
        self.windows.append(window)
        return self._inner.read(*args, window=window, **keys)


@pytest.fixture(params=[{"tiled": True, "blockxsize": 256, "blockysize": 256}, {"blockysize": 1}, {"blockysize": 5000}])
def large(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Any]:
    """25 million cells of which only a diagonal is written: a raster of a continent for a line across it."""
    path = tmp_path / "large.tif"
    size = {"width": 5000, "height": 5000, "count": 1, "dtype": "uint16", "nodata": 0}
    place = {"crs": "EPSG:4326", "transform": north_up(0, 50, 0.01, 0.01)}
    with rasterio.open(
        path, "w", driver="GTiff", sparse_ok=True, compress="deflate", **size, **place, **request.param
    ) as out:
        for at in range(0, 5000, 500):
            out.write(np.array([[1000 + at]], dtype="uint16"), 1, window=Window(at, at, 1, 1))
    with raster.open_raster(path) as opened:
        yield Watched(opened)


def test_never_the_whole_file(large: Any) -> None:
    at = np.arange(0, 5000, 500)
    lonlat = np.column_stack(((at + 0.5) * 0.01, 50 - (at + 0.5) * 0.01))
    found, inside = raster.values_at(large, lonlat)
    assert found.tolist() == (1000.0 + at).tolist()
    assert inside.all()
    cells = [window.width * window.height for window in large.windows]
    assert max(cells) <= raster.MOST_CELLS
    assert sum(cells) < 0.5 * large.width * large.height


def test_near_towers_take_one_reading(large: Any) -> None:
    at = np.arange(0, 1500, 500)
    lonlat = np.column_stack(((at + 0.5) * 0.01, 50 - (at + 0.5) * 0.01))
    assert raster.values_at(large, lonlat)[0].tolist() == (1000.0 + at).tolist()
    assert len(large.windows) == 1


def test_a_file_cannot_reach_out_to_a_server(tmp_path: Path, soil: Callable[..., Inputs]) -> None:
    asked = []

    class Server(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

        do_HEAD = do_GET  # noqa: N815

        def log_message(self, *args: Any) -> None:
            pass

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Server) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        place = f"http://127.0.0.1:{server.server_port}"
        (tmp_path / "far.vrt").write_text(
            '<VRTDataset rasterXSize="2" rasterYSize="2"><SRS>EPSG:4326</SRS>'
            "<GeoTransform>8,0.1,0,49,0,-0.1</GeoTransform><VRTRasterBand dataType='Float32' band='1'><SimpleSource>"
            f"<SourceFilename>/vsicurl/{place}/soil.tif</SourceFilename><SourceBand>1</SourceBand></SimpleSource>"
            "</VRTRasterBand></VRTDataset>"
        )
        (tmp_path / "tiles.xml").write_text(
            f'<GDAL_WMS><Service name="TMS"><ServerUrl>{place}/${{z}}/${{x}}/${{y}}.png</ServerUrl></Service>'
            "<DataWindow><UpperLeftX>-180</UpperLeftX><UpperLeftY>90</UpperLeftY><LowerRightX>180</LowerRightX>"
            "<LowerRightY>-90</LowerRightY><TileLevel>1</TileLevel><TileCountX>2</TileCountX>"
            "<TileCountY>1</TileCountY></DataWindow><Projection>EPSG:4326</Projection><BandsCount>1</BandsCount>"
            "</GDAL_WMS>"
        )
        for name in ("far.vrt: takes data from", "tiles.xml: cannot be read as a raster"):
            with pytest.raises(InputError, match=name):
                soil(tmp_path / name.partition(":")[0], MIDDLES)
        server.shutdown()
    assert asked == []
