"""Vector layers as the map: classes, widths, repairs, and what is said of all that was odd."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely

from layoutplan.errors import ColumnError, CRSError
from layoutplan.inputs import FEATURE_COLUMNS, Inputs, read_inputs
from layoutplan.inputs.features import repair
from layoutplan.inputs.gaps import SILENT_CLASSES
from layoutplan.job import Job

Write = Callable[..., Path]
Read = Callable[..., Inputs]
ROAD = shapely.LineString([(8.000, 49.001), (8.001, 49.001)])
YARD = shapely.box(8.01, 49.0005, 8.011, 49.001)
POND = shapely.Point(8.02, 49.0005)


@pytest.fixture
def read(make_job: Callable[..., Job], towers_csv: Write) -> Read:
    """Inputs of a job with three towers about 8.01 E, 49 N and the given layers.

    Without the areas that roads without any layer of houses leave open: test_silence.py asks about those.
    """

    def read(*layers: dict[str, Any], **keys: Any) -> Inputs:
        inputs = read_inputs(make_job(lines=[{"towers": {"path": towers_csv()}}], layers=list(layers), **keys))
        drawn = inputs.features["obstacle_class"].isin(SILENT_CLASSES)
        return replace(inputs, features=inputs.features[~drawn].reset_index(drop=True))

    return read


def test_one_class_for_all(read: Read, layer_file: Write) -> None:
    path = layer_file([ROAD, YARD, POND], title=["Mill\x1b[1m  Lane", None, "`{{7*7}}`"])
    inputs = read({"path": path, "obstacle_class": "minor_road", "name_column": "title"})
    features = inputs.features
    assert tuple(features.columns) == FEATURE_COLUMNS
    assert features.crs == "EPSG:4326"
    assert features["feature_id"].tolist() == ["map 1", "map 2", "map 3"]
    assert features["obstacle_class"].unique().tolist() == ["minor_road"]
    assert features["name"].tolist() == ["Mill [1m Lane", "", "`{{7*7}}`"]
    assert features["width_m"].tolist() == [6.0, 0.0, 2.0]  # the class's, none for an area, a point's
    assert features["source"].unique().tolist() == ["map.gpkg, layer 'map'"]
    assert inputs.problems == ()


def test_classes_from_a_column(read: Read, layer_file: Write) -> None:
    path = layer_file([ROAD] * 6, kind=[1.0, 2.0, 1.0, 3.0, None, 4.0])
    inputs = read({"path": path, "class_column": "kind", "class_map": {"1": "main_road", "2": "track_path"}})
    assert inputs.features["obstacle_class"].tolist() == ["main_road", "track_path", "main_road"]
    assert inputs.features["feature_id"].tolist() == ["map 1", "map 2", "map 3"]
    assert inputs.problems == (
        "map.gpkg, layer 'map': 3 features left out, values of 'kind' that class_map does not list: '' 1, '3' 1, '4' 1",
    )


@pytest.mark.parametrize(
    ("values", "widths"),
    [
        ([5.0, None, 0.0], [5.0, 9.0, 0.0]),
        (["5.5", "6 m", ""], [5.5, 6.0, 9.0]),
        ([4, 5, 6], [4.0, 5.0, 6.0]),
    ],
)
def test_widths_from_a_column(read: Read, layer_file: Write, values: list[Any], widths: list[float]) -> None:
    path = layer_file([ROAD] * 3, w=values)
    inputs = read({"path": path, "obstacle_class": "minor_road", "width_column": "w", "width_m": 9.0})
    assert inputs.features["width_m"].tolist() == widths
    assert inputs.problems == ()


def test_width_that_is_none(read: Read, layer_file: Write) -> None:
    path = layer_file([ROAD] * 3, w=["wide", "-4", "3"])
    inputs = read({"path": path, "obstacle_class": "track_path", "width_column": "w"})
    assert inputs.features["width_m"].tolist() == [3.0, 3.0, 3.0]
    assert (
        "2 features whose 'w' is no width (-4, wide); the width of the layer or class was taken" in inputs.problems[0]
    )


def test_job_width_of_a_class(read: Read, layer_file: Write) -> None:
    inputs = read(
        {"path": layer_file([ROAD]), "obstacle_class": "track_path"}, classes={"track_path": {"width_m": 7.5}}
    )
    assert inputs.features["width_m"].tolist() == [7.5]


def test_invalid_missing_and_multiple_geometries(read: Read, layer_file: Write) -> None:
    bow_tie = shapely.Polygon([(8, 49), (8.001, 49.001), (8.001, 49), (8, 49.001)])
    several = shapely.MultiPolygon([YARD, shapely.box(8.012, 49.0005, 8.013, 49.001)])
    mixed = shapely.GeometryCollection([ROAD, shapely.MultiPoint([POND, (8.021, 49)])])
    path = layer_file(
        [bow_tie, several, mixed, None, shapely.Polygon(), shapely.Point(np.inf, 49), shapely.force_3d(ROAD)]
    )
    inputs = read({"path": path, "obstacle_class": "yard"})
    ids = inputs.features["feature_id"].tolist()
    assert ids == ["map 1/1", "map 1/2", "map 2/1", "map 2/2", "map 3/1", "map 3/2", "map 3/3", "map 7"]
    assert inputs.features.is_valid.all()
    assert not inputs.features.has_z.any()
    assert set(inputs.features.geom_type) == {"Polygon", "LineString", "Point"}
    assert shapely.area(inputs.features.geometry.to_numpy()[:2]).sum() == pytest.approx(0.5 * 0.001 * 0.001)
    assert inputs.problems == (
        "map.gpkg, layer 'map': 3 features without a usable geometry (missing, empty or infinite) left out",
        "map.gpkg, layer 'map': 1 feature with an invalid geometry repaired",
    )


def test_area_that_collapses_keeps_its_edge() -> None:
    sliver = shapely.Polygon([(0, 0), (1, 0), (2, 0)])
    spike = shapely.Polygon([(0, 0), (1, 0), (1, 1), (0, 1), (0, 2), (0, 1)])
    restored, was_invalid = repair(np.array([sliver, spike, YARD], dtype=object), "map")
    assert was_invalid.tolist() == [True, True, False]
    assert restored[0].length == pytest.approx(2.0)
    assert restored[1].geom_type == "Polygon"
    assert restored[1].area == pytest.approx(1.0)


@pytest.mark.parametrize("crs", ["EPSG:25832", "EPSG:3857", "EPSG:31467", "EPSG:2154"])
def test_mixed_reference_systems(read: Read, tmp_path: Path, crs: str) -> None:
    path = tmp_path / "m.gpkg"
    gpd.GeoDataFrame(geometry=[ROAD, shapely.Point(8.5, 49.5)], crs=4326).to_crs(crs).to_file(path)
    inputs = read({"path": path, "obstacle_class": "minor_road"})
    (line,) = inputs.features.geometry
    assert shapely.get_coordinates(line) == pytest.approx(shapely.get_coordinates(ROAD), abs=1e-7)
    assert ["datum" in problem for problem in inputs.problems] == [True] * (crs == "EPSG:31467")


def test_no_reference_system_names_the_key(read: Read, layer_file: Write) -> None:
    good = layer_file([ROAD], "good.gpkg")
    bad = layer_file([ROAD], "bad.shp", crs=None)
    layers = [{"path": path, "obstacle_class": "minor_road"} for path in (good, bad)]
    with pytest.raises(CRSError, match=r"bad.shp, layer 'bad': no coordinate reference system. Set layers\[1\].crs"):
        read(*layers)
    layers[1]["crs"] = "EPSG:4326"
    assert len(read(*layers).features) == 2


def test_metres_called_degrees(read: Read, layer_file: Write) -> None:
    path = layer_file([shapely.LineString([(427_000, 5_428_000), (427_100, 5_428_000)])])
    with pytest.raises(CRSError, match="coordinates are no degrees, whatever the file says"):
        read({"path": path, "obstacle_class": "minor_road"})
    inputs = read({"path": path, "obstacle_class": "minor_road", "crs": "EPSG:25832"})
    assert len(inputs.features) == 1
    assert "the file says WGS 84, but layers[0].crs = 'EPSG:25832'" in inputs.problems[0]


def test_layer_that_lies_elsewhere_or_is_empty(read: Read, layer_file: Write) -> None:
    away = layer_file([shapely.Point(10, 50)], "away.gpkg")
    empty = layer_file([], "empty.gpkg")
    inputs = read({"path": away, "obstacle_class": "building"}, {"path": empty, "obstacle_class": "building"})
    assert len(inputs.features) == 0
    assert tuple(inputs.features.columns) == FEATURE_COLUMNS
    assert len(inputs.evidence) == 0
    away_text, empty_text = inputs.problems
    assert empty_text == "empty.gpkg, layer 'empty': empty; nothing is known from it"
    words, place = away_text.split("The towers and what is near them lie at ")
    assert words == (
        "away.gpkg, layer 'away': does not reach any tower (it covers longitude 10.0000 to 10.0000, latitude "
        "50.0000 to 50.0000); nothing is known from it. "
    )
    west, east, south, north = map(float, re.findall(r"\d+\.\d{4}", place))
    assert 7.9 < west < 8.0
    assert 8.02 < east < 8.1
    assert 48.9 < south < 49.0 < north < 49.1
    assert place.endswith(": if that is wrong, check their coordinates and crs")


def test_swapped_layer(read: Read, layer_file: Write) -> None:
    path = layer_file([shapely.Point(49.0, 8.01), shapely.Point(49.01, 8.0)])
    with pytest.raises(CRSError, match="away from all towers, but on them with the two swapped"):
        read({"path": path, "obstacle_class": "building"})


@pytest.mark.parametrize("key", ["class_column", "name_column", "width_column"])
def test_wrong_columns(read: Read, layer_file: Write, key: str) -> None:
    layer = {"path": layer_file([ROAD], a=[1], b=[2]), "obstacle_class": "yard"}
    layer = (
        {"path": layer["path"], "class_column": "x", "class_map": {"1": "yard"}}
        if key == "class_column"
        else layer | {key: "x"}
    )
    with pytest.raises(ColumnError, match=rf"no column 'x'; there are: a, b. Set layers\[0\].{key} in the job file"):
        read(layer)


def test_layer_from_the_far_side_of_the_earth(read: Read, layer_file: Write) -> None:
    """Bounds that no longitude and latitude can express, or that cross the antimeridian, do no harm."""
    fiji = layer_file(
        [shapely.Point(1_900_000, 3_900_000), shapely.Point(2_100_000, 3_900_000)], "fiji.gpkg", "EPSG:3460"
    )
    nowhere = layer_file([shapely.Point(1e15, 1e15)], "nowhere.gpkg", "EPSG:25832")
    inputs = read(*({"path": path, "obstacle_class": "yard"} for path in (fiji, nowhere)))
    assert inputs.features.empty
    assert any(text.startswith("fiji.gpkg, layer 'fiji': does not reach any tower") for text in inputs.problems)
    assert any(text.startswith("nowhere.gpkg, layer 'nowhere': 1 feature without a usable") for text in inputs.problems)


def test_only_the_corridor_is_taken(read: Read, layer_file: Write) -> None:
    path = layer_file([ROAD, shapely.Point(8.01, 49.2)])
    inputs = read({"path": path, "obstacle_class": "yard"})
    assert inputs.features["feature_id"].tolist() == ["map 1"]


def test_evidence_leaves_out_what_is_kept_whole_or_drawn_by_the_project(read: Read, layer_file: Write) -> None:
    path = layer_file([ROAD])
    assert len(read({"path": path, "obstacle_class": "track_path"}).evidence) == 2
    for name in ("power_line", "underground_cable", "pipeline", "protected_area", "permitted_land", "no_entry"):
        assert len(read({"path": path, "obstacle_class": name}).evidence) == 0
    long = layer_file([shapely.LineString([(7.99, 49.001), (8.03, 49.001)])], "long.gpkg")
    assert len(read({"path": long, "obstacle_class": "track_path"}).evidence) == 0


def test_where_applies_to_layers(read: Read, layer_file: Write) -> None:
    path = layer_file([ROAD, YARD], kind=["a", "b"])
    assert len(read({"path": path, "obstacle_class": "yard", "where": "kind = 'b'"}).features) == 1


def test_who_may_drive_by_a_column(read: Read, layer_file: Write) -> None:
    path = layer_file([ROAD] * 5, kind=["r", "r", "t", "b", "h"], may=["yes", "no", "hunters only", "yes", "yes"])
    layer = {
        "path": path,
        "class_column": "kind",
        "class_map": {"r": "minor_road", "t": "track_path", "b": "bridge_overhead", "h": "building"},
        "vehicle_column": "may",
    }
    features = read(layer).features
    assert features["road_class"].tolist() == ["minor_road", "minor_road", "track_path", "", ""]
    assert features["vehicle"].tolist() == ["yes", "no", "permit", "", ""]
    carried = read(layer | {"bridge_road_class": "minor_road"}).features
    assert carried["road_class"].tolist() == ["minor_road", "minor_road", "track_path", "minor_road", ""]
    assert carried["vehicle"].tolist()[3] == "yes"


def test_without_a_column_only_roads_are_open(read: Read, layer_file: Write) -> None:
    path = layer_file([ROAD] * 4, kind=["m", "r", "t", "g"])
    classes = {"m": "main_road", "r": "minor_road", "t": "track_path", "g": "gate"}
    features = read({"path": path, "class_column": "kind", "class_map": classes}).features
    assert features["vehicle"].tolist() == ["yes", "yes", "permit", "permit"]


def test_a_column_for_vehicles_that_is_not_there(read: Read, layer_file: Write) -> None:
    with pytest.raises(ColumnError, match="vehicle_column"):
        read({"path": layer_file([ROAD]), "obstacle_class": "minor_road", "vehicle_column": "may"})
