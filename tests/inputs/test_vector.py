from __future__ import annotations

import warnings
from collections.abc import Callable
from pathlib import Path
from zipfile import ZipFile

import geopandas as gpd
import numpy as np
import pytest
import shapely

from layoutplan.errors import CRSError, InputError, LayerError
from layoutplan.inputs import parquet, vector_table
from layoutplan.inputs.vector import open_vector
from layoutplan.inputs.vector_table import VectorTable, read_vector
from layoutplan.job.model import FileSource

Write = Callable[..., Path]
POINTS = [shapely.Point(8 + i / 10, 49) for i in range(10)]


def read(path: Path, boxes: list[list[float]] | None = None, columns: tuple[str, ...] = (), **keys: str) -> VectorTable:
    layer = open_vector(FileSource(path=path, **keys), "layers[0]")
    return read_vector(layer, columns, None if boxes is None else np.array(boxes))


def test_layer_must_be_named_where_there_are_several(layer_file: Write) -> None:
    layer_file(POINTS, layer="roads")
    path = layer_file(POINTS[:2], layer="rivers")
    with pytest.raises(LayerError, match=r"map.gpkg: several layers: .*r.*, r.*\. Say which with layers\[0\].layer"):
        read(path)
    assert len(read(path, layer="rivers").rows) == 2
    with pytest.raises(LayerError, match=r"map.gpkg: no layer 'road'; there are: (roads, rivers|rivers, roads)"):
        read(path, layer="road")


def test_files_of_another_kind(tmp_path: Path, towers_csv: Write) -> None:
    with pytest.raises(InputError, match="no such file"):
        read(tmp_path / "none.gpkg")
    path = tmp_path / "notes.gpkg"
    path.write_text("Dear all, the map is on its way.")
    with pytest.raises(InputError, match=r"notes.gpkg: cannot be read as a vector file"):
        read(path)
    with pytest.raises(LayerError, match="no layer with geometry"):
        read(towers_csv())
    path = tmp_path / "x.parquet"
    path.write_bytes(b"PAR1 and no more")
    with pytest.raises(InputError, match=r"x.parquet: not a Parquet file"):
        read(path)


def test_damaged_geopackage(layer_file: Write) -> None:
    path = layer_file([point.buffer(1) for point in POINTS * 50])
    path.write_bytes(path.read_bytes()[:150_000])
    with pytest.raises(InputError, match=r"map.gpkg.*: cannot be read as a vector file"):
        read(path)


def test_parquet_without_geometry_and_without_system(tmp_path: Path) -> None:
    import pandas as pd

    path = tmp_path / "x.parquet"
    pd.DataFrame({"a": [1]}).to_parquet(path)
    with pytest.raises(LayerError, match="a Parquet file without geometry"):
        read(path)
    gpd.GeoDataFrame(geometry=POINTS, crs=None).to_parquet(path)
    with pytest.raises(CRSError, match=r"no coordinate reference system. Set layers\[0\].crs"):
        read(path)


@pytest.mark.parametrize("covering", [True, False])
@pytest.mark.parametrize("whole", [0, 100])
def test_parquet_by_boxes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, covering: bool, whole: int) -> None:
    monkeypatch.setattr(parquet, "_READ_WHOLE", whole)
    path = tmp_path / "x.parquet"
    gpd.GeoDataFrame({"a": range(10)}, geometry=POINTS, crs=4326).to_parquet(path, write_covering_bbox=covering)
    table = read(path, [[8.15, 48.0, 8.35, 50.0]], ("a",))
    assert set(table.columns["a"]) == (set(range(10)) if whole else {2, 3})
    if not covering:
        assert (table.rows - 1).tolist() == table.columns["a"].tolist()
    assert len(table.rows) == len(table.geometry) == len(table.columns["a"])


def test_filter(layer_file: Write) -> None:
    path = layer_file(POINTS, a=range(10))
    assert read(path, columns=("a",), where="a > 6").columns["a"].tolist() == [7, 8, 9]
    with pytest.raises(InputError, match=r'map.gpkg.*: cannot be read with where = "b > 6"'):
        read(path, where="b > 6")


@pytest.mark.parametrize("name", ["m.gpkg", "m.fgb", "m.shp", "m.geojson"])
@pytest.mark.parametrize("whole", [0, 1_000_000])
@pytest.mark.parametrize("per_box", [0, 1_000_000])
def test_boxes_give_the_same_whatever_the_way(
    layer_file: Write, monkeypatch: pytest.MonkeyPatch, name: str, whole: int, per_box: int
) -> None:
    monkeypatch.setattr(vector_table, "_READ_WHOLE", whole)
    monkeypatch.setattr(vector_table, "_FEATURES_PER_BOX", per_box)
    path = layer_file(POINTS, name, a=[f"n{i}" for i in range(10)], b=range(10))
    boxes = [[8.15, 48.0, 8.35, 50.0], [8.25, 48.9, 8.45, 49.1], [8.85, 48.0, 9.5, 50.0]]
    table = read(path, boxes, ("b", "a"), where="b <> 3")
    rows = {
        int(b): (a, point.x) for b, a, point in zip(table.columns["b"], table.columns["a"], table.geometry, strict=True)
    }
    assert {2, 4, 9} <= set(rows)
    assert 3 not in rows
    assert len(rows) == len(table.rows) == len(set(table.rows.tolist()))
    assert all(rows[b] == (f"n{b}", pytest.approx(8 + b / 10)) for b in rows)
    if name == "m.gpkg" and whole == 0:
        assert set(rows) == {2, 4, 9}
        assert sorted(table.rows.tolist()) == [3, 5, 10]


def test_index_join_lets_no_feature_without_a_place_pass_uncounted(
    layer_file: Write, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(vector_table, "_READ_WHOLE", 0)
    path = layer_file(
        [*POINTS, None, shapely.Point(), shapely.Point(np.inf, 49), shapely.Point(8, -np.inf)], layer='odd "name"'
    )
    table = read(path, [[8.15, 48.0, 8.25, 50.0]], layer='odd "name"')
    assert len(table.rows) == 5
    assert shapely.get_coordinates(table.geometry[table.rows == 3]).tolist() == [[8.2, 49.0]]


def test_arcs_become_short_straight_lines(tmp_path: Path) -> None:
    path = tmp_path / "arc.gml"
    path.write_text(
        '<?xml version="1.0"?><gml:FeatureCollection xmlns:gml="http://www.opengis.net/gml/3.2" xmlns:a="http://x"><gml:featureMember>'
        '<a:road gml:id="r1"><a:geom><gml:Curve srsName="EPSG:25832" gml:id="c1"><gml:segments><gml:Arc><gml:posList>'
        "500000 5400000 500100 5400100 500200 5400000</gml:posList></gml:Arc></gml:segments></gml:Curve>"
        "</a:geom></a:road></gml:featureMember></gml:FeatureCollection>"
    )
    (line,) = read(path).geometry
    assert line.geom_type == "LineString"
    assert len(line.coords) > 20
    assert line.length * 111_000 > 200 * 0.7


def test_text_in_an_old_encoding(tmp_path: Path) -> None:
    path = tmp_path / "m.shp"
    gpd.GeoDataFrame({"street": ["Mühle"]}, geometry=POINTS[:1], crs=4326).to_file(path, encoding="ISO-8859-1")
    assert "Mühle".encode("latin-1") in path.with_suffix(".dbf").read_bytes()
    assert read(path, columns=("street",)).columns["street"].tolist() == ["Mühle"]


def test_zipped_shapefile(layer_file: Write, tmp_path: Path) -> None:
    path = layer_file(POINTS, "m.shp", a=range(10))
    archive = tmp_path / "packed.zip"
    with ZipFile(archive, "w") as packed:
        for part in tmp_path.glob("m.*"):
            packed.write(part, part.name)
    assert len(read(archive).rows) == len(read(path).rows) == 10


def test_ring_that_is_not_closed_is_closed(tmp_path: Path) -> None:
    path = tmp_path / "m.geojson"
    ring = "[[8,49],[8.1,49],[8.1,49.1]]"
    shape = f'{{"type":"Polygon","coordinates":[{ring}]}}'
    path.write_text(
        f'{{"type":"FeatureCollection","features":[{{"type":"Feature","properties":{{}},"geometry":{shape}}}]}}'
    )
    table = read(path)
    assert shapely.area(table.geometry).tolist() == pytest.approx([0.005])


def test_what_the_library_warns_of_is_passed_on(layer_file: Write, monkeypatch: pytest.MonkeyPatch) -> None:
    path = layer_file(POINTS)
    once = vector_table.pyogrio.raw.read_arrow

    def muttering(*args: object, **keys: object) -> object:
        for _ in range(2):
            warnings.warn("odd\x1b[1m header", RuntimeWarning, stacklevel=1)
        return once(*args, **keys)

    monkeypatch.setattr(vector_table.pyogrio.raw, "read_arrow", muttering)
    assert read(path).problems == ("map.gpkg, layer 'map': odd [1m header",)
