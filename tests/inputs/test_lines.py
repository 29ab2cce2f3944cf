from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
import shapely

from layoutplan.errors import InputError, LayerError, LineError
from layoutplan.inputs import Inputs, read_inputs
from layoutplan.job import Job

Write = Callable[..., Path]
Make = Callable[..., Job]
COURSE = shapely.LineString([(7.99, 49.0), (8.03, 49.0)])


@pytest.fixture
def read(make_job: Make, towers_csv: Write) -> Callable[..., Inputs]:
    def run(centreline: dict[str, Any], towers: str | None = None) -> Inputs:
        path = towers_csv() if towers is None else towers_csv(towers)
        return read_inputs(make_job(lines=[{"id": "A", "towers": {"path": path}, "centreline": centreline}]))

    return run


def segments(line: shapely.LineString) -> list[shapely.LineString]:
    return [shapely.LineString(pair) for pair in pairwise(line.coords)]


def test_line_through_towers_alone(make_job: Make, towers_csv: Write) -> None:
    (line,) = read_inputs(make_job(lines=[{"id": "A", "towers": {"path": towers_csv()}}])).lines
    assert line.line.id == "A"
    assert line.course == ()
    assert not line.in_order
    assert line.source == "towers.csv"


def test_order_column_sorts(make_job: Make, towers_csv: Write) -> None:
    path = towers_csv("tower_id,lon,lat,seq\n1,8,49,3\n2,8.1,49,1\n3,8.2,49,2\n")
    (line,) = read_inputs(make_job(lines=[{"towers": {"path": path, "order_column": "seq"}}])).lines
    assert line.in_order
    assert line.towers["tower_id"].tolist() == ["2", "3", "1"]


def test_centreline_in_parts(read: Callable[..., Inputs], layer_file: Write) -> None:
    parts = shapely.MultiLineString([[(7.99, 49, 5), (8.01, 49, 6)], [(8.01, 49, 6), (8.03, 49, 7)]])
    inputs = read({"path": layer_file([parts, None])})
    (line,) = inputs.lines
    assert len(line.course) == 2
    assert not line.course[0].has_z
    longest = max(shapely.length(segment) for part in line.course for segment in segments(part))
    assert longest <= 1000 / 111_000  # degrees; cut where longer than a kilometre
    assert inputs.problems == ("map.gpkg, layer 'map': 1 feature without a usable geometry left out",)


def test_polygon_centreline(read: Callable[..., Inputs], layer_file: Write) -> None:
    with pytest.raises(
        LayerError, match=r"feature 2: Polygon where a centreline was expected.*or leave lines\[0\].centreline out"
    ):
        read({"path": layer_file([COURSE, COURSE.buffer(0.01)])})


@pytest.mark.parametrize("geometry", [[], [None], [shapely.LineString([(8, 49), (8, 49)])]])
def test_centreline_without_a_line(read: Callable[..., Inputs], layer_file: Write, geometry: list[Any]) -> None:
    with pytest.raises(LayerError, match=r"map.gpkg, layer 'map': no line in it"):
        read({"path": layer_file(geometry)})


def test_towers_swapped_against_the_centreline(read: Callable[..., Inputs], layer_file: Write) -> None:
    path = layer_file([COURSE])
    towers = "tower_id,lon,lat\n1,49,8\n2,49,8.01\n3,49,8.02\n"
    with pytest.raises(
        LineError,
        match=r"towers.csv: the towers lie [\d,]+ km from the centreline .*but on it with .* swapped",
    ):
        read({"path": path}, towers)


def test_towers_only_off_the_line_are_left_to_the_line_model(read: Callable[..., Inputs], layer_file: Write) -> None:
    assert len(read({"path": layer_file([COURSE])}, "tower_id,lon,lat\n1,8,49.05\n2,8.01,49.05\n").lines) == 1


def test_missing_files_are_named_with_their_folder(make_job: Make, towers_csv: Write, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.csv: no such file"):
        read_inputs(make_job(lines=[{"towers": {"path": tmp_path / "none.csv"}}]))
    job = make_job(lines=[{"towers": {"path": towers_csv()}, "centreline": {"path": tmp_path / "none.gpkg"}}])
    with pytest.raises(
        InputError, match=r"none\.gpkg: no such file. Paths in a job file are taken from the job file's folder"
    ):
        read_inputs(job)
