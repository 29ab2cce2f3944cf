from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely

from layoutplan.errors import ColumnError, CRSError, InputError, LayerError, LineError
from layoutplan.inputs.model import TOWER_COLUMNS, TOWER_FIGURES
from layoutplan.inputs.towers import read_towers
from layoutplan.job import TowerSource

POINTS = [shapely.Point(8 + i / 100, 49) for i in range(3)]
Write = Callable[..., Path]


def read(path: Path, **keys: Any) -> gpd.GeoDataFrame:
    return read_towers(TowerSource(path=path, **keys), "lines[0].towers")[0]


@pytest.mark.parametrize("name", ["t.gpkg", "t.shp", "t.geojson", "t.fgb"])
def test_formats(layer_file: Write, name: str) -> None:
    towers = read(layer_file(POINTS, name, tower_id=["a", "b", "c"]), order_column=None)
    assert list(towers.columns) == list(TOWER_COLUMNS)
    assert sorted(towers["tower_id"]) == ["a", "b", "c"]
    assert towers.crs == "EPSG:4326"
    by_id = dict(zip(towers["tower_id"], towers.geometry, strict=True))
    assert [by_id[name].x for name in "abc"] == pytest.approx([8.0, 8.01, 8.02])
    assert [by_id[name].y for name in "abc"] == [49.0] * 3
    assert towers[[*TOWER_FIGURES, "order"]].isna().all(axis=None)
    assert (towers["structure"] == "").all()


def test_kml_names(tmp_path: Path) -> None:
    path = tmp_path / "t.kml"
    marks = "".join(
        f"<Placemark><name>T{i}</name><Point><coordinates>{8 + i / 100},49,300</coordinates></Point></Placemark>"
        for i in range(3)
    )
    path.write_text(f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{marks}</Document></kml>')
    assert read(path, id_column="Name")["tower_id"].tolist() == ["T0", "T1", "T2"]


def test_geoparquet(tmp_path: Path) -> None:
    path = tmp_path / "t.parquet"
    gpd.GeoDataFrame({"tower_id": [1.0, 2.0, 3.0]}, geometry=POINTS, crs="EPSG:4326").to_crs("EPSG:25832").to_parquet(
        path
    )
    towers = read(path)
    assert towers["tower_id"].tolist() == ["1", "2", "3"]
    assert towers.geometry.iloc[2].x == pytest.approx(8.02)
    with pytest.raises(InputError, match="`where` cannot be used on Parquet"):
        read(path, where="tower_id > 1")


def test_ids_become_clean_text(layer_file: Write) -> None:
    assert read(layer_file(POINTS, tower_id=[12.0, 13.5, 14.0]))["tower_id"].tolist() == ["12", "13.5", "14"]
    assert read(layer_file(POINTS, tower_id=[1, 2, 3]))["tower_id"].tolist() == ["1", "2", "3"]
    hostile = ["a/../b", "<script>\x1b[31m", "=1+1\t {{7*7}}"]
    assert read(layer_file(POINTS, tower_id=hostile))["tower_id"].tolist() == [
        "a/../b",
        "<script> [31m",
        "=1+1 {{7*7}}",
    ]


def test_columns_and_order(layer_file: Write) -> None:
    path = layer_file(
        POINTS,
        no=["a", "b", "c"],
        seq=[3, 1, 2],
        kind=["Lattice-4", "", "pole"],
        legs=[7.5, None, None],
        earth=[None, 20, 30],
        footing=["12.5", "", None],
        rho=[0.5, None, 2000],
    )
    towers = read(
        path,
        id_column="no",
        order_column="seq",
        structure_column="kind",
        base_width_column="legs",
        earth_electrode_size_column="earth",
        footing_resistance_column="footing",
        soil_resistivity_column="rho",
    )
    assert towers["tower_id"].tolist() == ["b", "c", "a"]
    assert towers["order"].tolist() == [1, 2, 3]
    assert towers["structure"].tolist() == ["", "pole", "lattice_4"]
    assert np.array_equal(towers["base_width_m"], [np.nan, np.nan, 7.5], equal_nan=True)
    assert np.array_equal(towers["earth_electrode_size_m"], [20, 30, np.nan], equal_nan=True)
    assert np.array_equal(towers["footing_resistance_ohm"], [np.nan, np.nan, 12.5], equal_nan=True)
    assert np.array_equal(towers["soil_resistivity_ohm_m"], [np.nan, 2000, 0.5], equal_nan=True)


CODES = {"AP": "lattice_4", "WA": "lattice_4", "3": "frame_2", "pole": "lattice_3"}


@pytest.mark.parametrize(
    ("values", "structures"),
    [
        (["AP", " WA ", "Frame-2"], ["lattice_4", "lattice_4", "frame_2"]),  # the owner's, and ours beside them
        ([3.0, None, 3.0], ["frame_2", "", "frame_2"]),  # a code that a table holds as a number
        (["pole", "AP", ""], ["lattice_3", "lattice_4", ""]),  # the owner's word goes before ours of the same letters
    ],
)
def test_the_owners_structures_in_our_words(layer_file: Write, values: list[Any], structures: list[str]) -> None:
    path = layer_file(POINTS, tower_id=["a", "b", "c"], kind=values)
    assert read(path, structure_column="kind", structure_map=CODES)["structure"].tolist() == structures


def test_a_structure_that_is_neither_the_owners_nor_ours_is_an_error(layer_file: Write) -> None:
    path = layer_file(POINTS, tower_id=["a", "b", "c"], kind=["AP", "ap", "WE"])
    words = (
        r"feature 2, 3, field 'kind': 'ap', 'WE' are no structures\. Known: lattice_4, lattice_3, pole, frame_2; by "
        r"structure_map AP, WA, 3, pole\. Correct it, .* structure_map = \{ \"ap\" = \"lattice_4\" \}\.$"
    )
    with pytest.raises(ColumnError, match=words):
        read(path, structure_column="kind", structure_map=CODES)


def test_a_map_of_structures_without_its_column_is_refused() -> None:
    with pytest.raises(ValueError, match=r"structure_map says .* name the column, structure_column"):
        TowerSource(path=Path("towers.csv"), structure_map={"AP": "lattice_4"})
    with pytest.raises(ValueError, match=r"structure_map\.AP"):
        TowerSource(path=Path("towers.csv"), structure_column="kind", structure_map={"AP": "mast"})


def test_heights_and_single_multipoints_are_taken(layer_file: Write) -> None:
    places = [shapely.MultiPoint([(8, 49, 300)]), shapely.MultiPoint([(8.01, 49, 301)])]
    towers = read(layer_file(places, tower_id=["a", "b"]))
    assert not towers.geometry.has_z.any()
    assert towers.geometry.geom_type.eq("Point").all()


@pytest.mark.parametrize(
    ("ids", "message"),
    [
        (["a", "b", "a"], r"feature 1, 3, field 'tower_id': the tower id 'a' is used more than once"),
        (["a", "b ", "b"], r"feature 2, 3, field 'tower_id': the tower id 'b' is used more than once"),
        (["a", None, " "], r"feature 2, 3, field 'tower_id': no tower id"),
    ],
)
def test_bad_ids(layer_file: Write, ids: list[Any], message: str) -> None:
    with pytest.raises(ColumnError, match=message):
        read(layer_file(POINTS, tower_id=ids))


@pytest.mark.parametrize("bad", [None, shapely.Point(), shapely.Point(np.inf, 49), shapely.Point(8, -np.inf)])
def test_bad_places_name_the_row(layer_file: Write, bad: Any) -> None:
    with pytest.raises(
        InputError, match=r"map.gpkg, layer 'map', feature 2: no coordinates, or coordinates that are not finite"
    ):
        read(layer_file([POINTS[0], bad, POINTS[2]], tower_id=["a", "b", "c"]))


@pytest.mark.parametrize(
    ("key", "values", "message"),
    [
        ("structure_column", ["pole", "mast", "mast"], "feature 2, 3, field 'value': 'mast' is no structure. Known: "),
        ("base_width_column", ["6", "wide", "7"], "feature 2, field 'value': 'wide' is no positive number"),
        ("base_width_column", [6.0, -1.0, 0.0], "feature 2, 3, field 'value': '-1.0' is no positive number"),
        ("base_width_column", [6.8, 6800.0, 7.0], r"feature 2, field 'value': 6800 m cannot be meant.*6.8 m if it is"),
        ("earth_electrode_size_column", [12.0, 12.0, 12e3], "feature 3, field 'value': 12000 m cannot be meant"),
        ("earth_electrode_size_column", ["1", "inf", "2"], "feature 2, field 'value': 'inf' is no positive number"),
        ("footing_resistance_column", [10.0, 0.0, -3.0], "feature 2, 3, field 'value': '0.0' is no positive number"),
        ("footing_resistance_column", ["10", "< 5", ""], "feature 2, field 'value': '< 5' is no positive number. C"),
        ("soil_resistivity_column", ["-1", "nan", "0"], "feature 1, 2, 3, field 'value': '-1' is no positive number"),
        ("soil_resistivity_column", ["dry", "1e3", "2"], "feature 1, field 'value': 'dry' is no positive number"),
        ("order_column", ["1", "two", "3"], "feature 2, field 'value': 'two' is no number"),
        ("order_column", [1, 2, 2], "feature 2, 3, field 'value': empty or used twice"),
        ("order_column", [1, None, 2], "feature 2, field 'value': empty or used twice"),
    ],
)  # fmt: skip
def test_bad_values(layer_file: Write, key: str, values: list[Any], message: str) -> None:
    with pytest.raises(ColumnError, match=message):
        read(layer_file(POINTS, tower_id=["a", "b", "c"], value=values), **{key: "value"})


@pytest.mark.parametrize("key", ["footing_resistance_column", "soil_resistivity_column"])
def test_missing_column_is_named_with_its_key(layer_file: Write, key: str) -> None:
    path = layer_file(POINTS, tower_id=["a", "b", "c"])
    with pytest.raises(ColumnError, match=rf"no column 'ohm'; there are: tower_id. Set lines\[0\].towers.{key} in"):
        read(path, **{key: "ohm"})


def test_latitude_beyond_ninety(layer_file: Write) -> None:
    places = [shapely.Point(49, 98 + i / 100) for i in range(3)]
    with pytest.raises(
        InputError, match=r"feature 1, 2, 3: latitude 98 is beyond ±90. Longitude and latitude look swapped"
    ):
        read(layer_file(places, tower_id=["a", "b", "c"]))


def test_one_swapped_row_is_named(layer_file: Write) -> None:
    places = [*POINTS, shapely.Point(49, 8.03)]
    with pytest.raises(
        InputError, match="feature 4: far from all other towers, but near them with longitude and latitude swapped"
    ):
        read(layer_file(places, tower_id=["a", "b", "c", "d"]))


def test_too_few_towers(layer_file: Write) -> None:
    with pytest.raises(LineError, match=r"needs at least two towers \(found 1\)"):
        read(layer_file(POINTS[:1], tower_id=["a"]))
    path = layer_file(POINTS, "more.gpkg", tower_id=["a", "b", "c"])
    with pytest.raises(LayerError, match="no towers that meet where = \"tower_id = 'z'\""):
        read(path, where="tower_id = 'z'")


def test_span_without_length(layer_file: Write) -> None:
    places = [*POINTS, shapely.Point(8.01, 49.000003)]  # 0.33 m north of the second
    with pytest.raises(LineError, match="towers 'b' and 'd' stand at the same place"):
        read(layer_file(places, tower_id=["a", "b", "c", "d"]))
    apart = [*POINTS, shapely.Point(8.01, 49.000006)]
    assert len(read(layer_file(apart, "apart.gpkg", tower_id=["a", "b", "c", "d"]))) == 4


@pytest.mark.parametrize("shape", [shapely.LineString([(8, 49), (9, 49)]), shapely.MultiPoint([(8, 49), (9, 49)])])
def test_towers_must_be_points(layer_file: Write, shape: Any) -> None:
    with pytest.raises(LayerError, match=f"feature 1, 2: {shape.geom_type} where a tower's point was expected"):
        read(layer_file([shape, shape], tower_id=["a", "b"]))


def test_no_reference_system(layer_file: Write) -> None:
    path = layer_file(POINTS, "t.shp", crs=None, tower_id=["a", "b", "c"])
    with pytest.raises(CRSError, match=r"t.shp, layer 't': no coordinate reference system. Set lines\[0\].towers.crs"):
        read(path)
    assert len(read(path, crs="EPSG:4326")) == 3
    with pytest.raises(CRSError, match=r"lines\[0\].towers.crs = 'EPSG:99999' is no known coordinate reference system"):
        read(path, crs="EPSG:99999")
