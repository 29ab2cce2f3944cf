"""The whole reading: one extract for line and map, the antimeridian, files and progress."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely

from layoutplan.errors import CRSError, InputError, LayerError
from layoutplan.inputs import extracts, map_gaps, osm_collect, read_inputs
from layoutplan.job import Job

Make = Callable[..., Job]
NewFile = Callable[..., Any]


@pytest.fixture
def line_and_map(osm_file: NewFile) -> Any:
    new = osm_file(box=(7.9, 48.9, 8.2, 49.1))
    new.way([new.node(8 + i / 500, 49, power="tower") for i in range(4)], 5, power="line")
    new.line([(8, 49.0005), (8.006, 49.0005)], 6, power="line", name="Other")
    new.line([(8, 49.001), (8.006, 49.001)], 7, waterway="stream", name="Brook")
    new.square(8.003, 49.0003, 0.0005, 8, building="yes")
    new.line([(8.1, 49.05), (8.106, 49.05)], 9, highway="track")
    return new


def test_one_extract_for_line_and_map_is_read_once(
    line_and_map: Any, make_job: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = []
    once = extracts.read_osm
    monkeypatch.setattr(extracts, "read_osm", lambda path, **keys: (calls.append(path), once(path, **keys))[1])
    path = line_and_map.save()
    job = make_job(
        lines=[{"id": "A", "osm": {"path": path, "way_ids": [5]}}],
        layers=[{"path": path}, {"path": path, "skip_classes": ["building", "stream_ditch"]}],
    )
    inputs = read_inputs(job)
    assert calls == [path]
    assert inputs.features["feature_id"].tolist() == ["osm way 6", "osm way 7", "osm way 8", "osm way 6"]
    assert inputs.features["name"].tolist() == ["Other", "Brook", "", "Other"]
    assert inputs.features["width_m"].tolist() == [16.0, 2.0, 0.0, 16.0]
    assert inputs.assumptions == ("map.osm: 2 features left out by skip_classes",)
    assert [extent.bounds for extent in inputs.extents] == [(7.9, 48.9, 8.2, 49.1)]
    (file,) = inputs.files
    assert file.path == path
    assert file.used_for == "line 'A'; map"
    assert file.attribution == "© OpenStreetMap contributors, ODbL 1.0"


def test_only_the_planned_ways_are_left_out(line_and_map: Any, make_job: Make, towers_csv: Callable[..., Path]) -> None:
    path = line_and_map.save()
    towers = towers_csv("tower_id,lon,lat\n1,8,49\n2,8.002,49\n")
    inputs = read_inputs(
        make_job(lines=[{"towers": {"path": towers}}], layers=[{"path": path, "attribution": "The office"}])
    )
    assert "osm way 5" in inputs.features["feature_id"].tolist()
    assert {file.path.name: file.attribution for file in inputs.files} == {"towers.csv": None, "map.osm": "The office"}


def test_result_does_not_depend_on_whether_the_corridor_was_known(
    line_and_map: Any, make_job: Make, towers_csv: Callable[..., Path]
) -> None:
    path = line_and_map.save()
    towers = towers_csv("tower_id,lon,lat\n1,8,49\n2,8.002,49\n3,8.004,49\n4,8.006,49\n")
    apart = read_inputs(make_job(lines=[{"towers": {"path": towers}}], layers=[{"path": path}]))
    together = read_inputs(make_job(lines=[{"osm": {"path": path, "way_ids": [5]}}], layers=[{"path": path}]))
    without = apart.features[apart.features["feature_id"] != "osm way 5"].reset_index(drop=True)
    assert without.equals(together.features)
    assert np.array_equal(apart.evidence, together.evidence)


def test_batches_give_the_same_as_one(
    line_and_map: Any, make_job: Make, towers_csv: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    job = make_job(lines=[{"towers": {"path": towers_csv()}}], layers=[{"path": line_and_map.save()}])
    once = read_inputs(job)
    monkeypatch.setattr(osm_collect, "_BATCH", 2)
    assert len(once.features) > 2
    assert read_inputs(job).features.equals(once.features)


def test_no_map_covers_nothing(
    make_job: Make, towers_csv: Callable[..., Path], layer_file: Callable[..., Path]
) -> None:
    everywhere = layer_file([shapely.box(7, 48, 9, 50)], "cover.gpkg")
    job = make_job(lines=[{"towers": {"path": towers_csv()}}], coverage={"path": everywhere})
    inputs = read_inputs(job)
    assert len(inputs.features) == 0
    assert inputs.coverage == ()
    assert "nothing is known of any obstacle" in inputs.problems[0]
    assert map_gaps(job, inputs, np.array([[8.0, 49.0]]))[1] == [["no_map"]]


def test_coverage_polygons(make_job: Make, towers_csv: Callable[..., Path], layer_file: Callable[..., Path]) -> None:
    house = layer_file([shapely.box(8, 49.001, 8.0001, 49.0011)], "map.gpkg")
    bow_tie = shapely.Polygon([(7, 48), (9, 50), (9, 48), (7, 50)])
    path = layer_file(
        [shapely.MultiPolygon([shapely.box(7, 48, 8, 50), shapely.box(8.5, 48, 9, 50)]), bow_tie], "cover.gpkg"
    )
    layers = [{"path": house, "obstacle_class": "building"}]
    job = make_job(lines=[{"towers": {"path": towers_csv()}}], layers=layers, coverage={"path": path})
    inputs = read_inputs(job)
    assert len(inputs.coverage) == 4
    assert all(part.is_valid for part in inputs.coverage)
    assert inputs.problems == ("cover.gpkg, layer 'cover': 1 invalid polygon(s) repaired",)
    assert [file.used_for for file in inputs.files] == ["towers of line 'line'", "coverage of the map", "map"]
    for wrong in ([shapely.Point(8, 49)], [None]):
        path = layer_file(wrong, f"wrong{len(inputs.problems)}.gpkg")
        job = make_job(lines=[{"towers": {"path": towers_csv()}}], layers=layers, coverage={"path": path})
        with pytest.raises(LayerError, match="coverage needs polygons"):
            read_inputs(job)


@pytest.mark.parametrize("west_first", [True, False])
def test_line_across_the_antimeridian(
    make_job: Make, towers_csv: Callable[..., Path], osm_file: NewFile, tmp_path: Path, west_first: bool
) -> None:
    lons = [179.996, 179.999, -179.998, -179.995]
    lons = lons if west_first else lons[::-1]
    rows = "".join(f"{i},{lon},-16.5\n" for i, lon in enumerate(lons))
    new = osm_file(box=(179, -17, 180, -16))
    new.line([(179.9995, -16.501), (-179.9995, -16.501)], 7, waterway="stream")
    new.square(-179.9985, -16.502, 0.0005, 8, building="yes")
    new.line([(0.0, -16.5), (0.1, -16.5)], 9, waterway="stream")
    split = tmp_path / "split.gpkg"
    halves = [shapely.box(179.999, -16.504, 180, -16.503), shapely.box(-180, -16.504, -179.999, -16.503)]
    gpd.GeoDataFrame(geometry=halves, crs=4326).to_file(split, layer="lonlat")
    gpd.GeoDataFrame(geometry=halves, crs=4326).to_crs(3832).to_file(split, layer="pacific")
    jump = [shapely.LineString([(179.99, -16.505), (-179.99, -16.505)])]  # not split, as many files have it
    gpd.GeoDataFrame(geometry=jump, crs=4326).to_file(split, layer="jump")
    centreline = tmp_path / "line.geojson"
    gpd.GeoDataFrame(
        geometry=[shapely.MultiLineString([[(179.99, -16.5), (180, -16.5)], [(-180, -16.5), (-179.99, -16.5)]])],
        crs=4326,
    ).to_file(centreline)
    layers = [
        {"path": new.save()},
        {"path": split, "layer": "lonlat", "obstacle_class": "yard"},
        {"path": split, "layer": "pacific", "obstacle_class": "yard"},
        {"path": split, "layer": "jump", "obstacle_class": "track_path"},
    ]
    inputs = read_inputs(
        make_job(
            lines=[{"towers": {"path": towers_csv("tower_id,lon,lat\n" + rows)}, "centreline": {"path": centreline}}],
            layers=layers,
        )
    )
    towers = shapely.get_coordinates(inputs.lines[0].towers.geometry)
    assert np.ptp(towers[:, 0]) == pytest.approx(0.009)
    everything = [
        *inputs.features.geometry, *inputs.lines[0].course, shapely.MultiPoint(inputs.evidence)
    ]  # fmt: skip
    middle = towers[:, 0].mean()
    for geometry in everything:
        assert abs(geometry.bounds[0] - middle) < 0.02
        assert abs(geometry.bounds[2] - middle) < 0.02
    assert len(inputs.features) == 7
    assert inputs.features.geometry.iloc[6].length == pytest.approx(0.02)
    stream = inputs.features.geometry.iloc[0]
    assert stream.length == pytest.approx(0.001)
    assert inputs.extents[0].bounds[2] == pytest.approx(180 if middle > 0 else -180)
    assert inputs.problems == ()


def test_extract_line_across_the_antimeridian(osm_file: NewFile, make_job: Make) -> None:
    new = osm_file()
    lons = [179.97, 179.99, -179.99, -179.97]
    new.way([new.node(lon, -16.5, power="tower") for lon in lons], 5, power="line")
    (line,) = read_inputs(make_job(lines=[{"osm": {"path": new.save(), "way_ids": [5]}}])).lines
    assert np.ptp(shapely.get_coordinates(line.towers.geometry)[:, 0]) == pytest.approx(0.06)
    (course,) = line.course
    assert course.length == pytest.approx(0.06)
    assert len(course.coords) < 15


@pytest.mark.parametrize("key", [{"where": "a = 1"}, {"width_m": 3.0}, {"name_column": "name"}])
def test_keys_without_meaning_for_an_extract(
    line_and_map: Any, make_job: Make, towers_csv: Callable[..., Path], key: dict[str, Any]
) -> None:
    job = make_job(lines=[{"towers": {"path": towers_csv()}}], layers=[{"path": line_and_map.save(), **key}])
    with pytest.raises(InputError, match=f"map.osm: {next(iter(key))} cannot be used on an OpenStreetMap extract"):
        read_inputs(job)


def test_progress_runs_from_start_to_end(line_and_map: Any, make_job: Make) -> None:
    path = line_and_map.save()
    said: list[tuple[str, float]] = []
    job = make_job(lines=[{"osm": {"path": path, "way_ids": [5]}}], layers=[{"path": path}])
    read_inputs(job, lambda what, share: said.append((what, share)))
    shares = [share for _, share in said]
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert all(0 <= share <= 1 and what for what, share in said)


@pytest.mark.parametrize("box", [None, (9.9, 49.9, 10.2, 50.1)])
def test_extract_of_another_place(
    osm_file: NewFile, make_job: Make, towers_csv: Callable[..., Path], box: tuple[float, ...] | None
) -> None:
    new = osm_file(box=box)
    new.square(10, 50, 0.001, building="yes")
    inputs = read_inputs(make_job(lines=[{"towers": {"path": towers_csv()}}], layers=[{"path": new.save()}]))
    assert inputs.features.empty
    (problem,) = inputs.problems
    assert problem.startswith("map.osm: does not reach any tower (it covers longitude ")
    swapped = towers_csv("tower_id,lon,lat\n1,50.0005,10.0005\n2,50.0006,10.01\n")
    with pytest.raises(CRSError, match="away from all towers, but on them with the two swapped"):
        read_inputs(make_job(lines=[{"towers": {"path": swapped}}], layers=[{"path": new.path}]))


def test_empty_extract(osm_file: NewFile, make_job: Make, towers_csv: Callable[..., Path]) -> None:
    inputs = read_inputs(make_job(lines=[{"towers": {"path": towers_csv()}}], layers=[{"path": osm_file().save()}]))
    assert inputs.problems == ("map.osm: empty; nothing is known from it",)


def test_ids_below_zero(osm_file: NewFile, make_job: Make) -> None:
    new = osm_file()  # as editors write objects that were never uploaded
    new.way([new.node(8 + i / 500, 49, -1 - i, power="tower") for i in range(3)], -5, power="line")
    with pytest.raises(InputError, match=r"map.osm: holds objects with ids below zero"):
        read_inputs(make_job(lines=[{"osm": {"path": new.save(), "way_ids": [-5]}}]))


def test_flaws_are_said_with_their_objects(osm_file: NewFile, make_job: Make, towers_csv: Callable[..., Path]) -> None:
    new = osm_file()
    new.line([(8, 49.001), (8.001, 49.001), (8.001, 49.002)], 6, landuse="quarry")
    half = new.line([(8.005, 49.001), (8.006, 49.001)], 7)
    new.relation([(half, "outer"), (9999, "outer")], 8, type="multipolygon", natural="water")
    new.relation([(9999, "outer")], 9, type="boundary", boundary="national_park")
    new.way([new.node(8.01, 49.001), 9999, new.node(8.011, 49.001)], 10, waterway="stream")
    new.line([(9, 49.001), (9.001, 49.001), (9.001, 49.002)], 11, landuse="quarry")  # far from the line: not told
    new.way([9998, 9999], 12, waterway="stream")
    inputs = read_inputs(make_job(lines=[{"towers": {"path": towers_csv()}}], layers=[{"path": new.save()}]))
    assert inputs.problems == (
        "map.osm: ways tagged as areas that do not close: 1 (osm way 6); kept as lines, the ground inside is not known",
        "map.osm: areas that do not close in the extract: 1 (osm relation 8); kept as edges where so, the "
        "ground inside is not known",
        "map.osm: ways with nodes that are not in the extract: 1 (osm way 10); drawn without them",
        "map.osm: objects without any node or edge in the extract: 2 (osm way 12, osm relation 9); whether the line "
        "lies there is not known",
    )
    assert set(inputs.features["feature_id"]) == {"osm way 6", "osm relation 8", "osm way 10"}
