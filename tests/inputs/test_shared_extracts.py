"""Real extracts (© OpenStreetMap contributors, ODbL): counts as their notes say, towers as in the ready lists."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import shapely
from geopandas.testing import assert_geodataframe_equal

from layoutplan.inputs import Inputs, extracts, osm_objects, read_inputs
from layoutplan.inputs.coverage import uncovered_reasons
from layoutplan.job import Job

pytestmark = [pytest.mark.shared, pytest.mark.long]

KREMS, KARLSRUHE, ANDORRA = (
    "krems/krems-2013.osm.gz",
    "karlsruhe/karlsruhe-nord-2026.osm.pbf",
    "andorra/andorra-250119.osm.pbf",
)
JOBS = {
    "andorra_150": (ANDORRA, "andorra/job_150kv", [174888976], 117, 117),
    "andorra_border": (ANDORRA, "andorra/job_110kv_border", [387673320], 103, 0),
    "karlsruhe": (KARLSRUHE, "karlsruhe/job_110kv", [26186270, 217630788, 217630790], 30, 4),
    "krems": (KREMS, "krems/job_110kv", [39977345, 39977491, 39977347], 37, 32),
}


def read(shared_data: Path, make_job: Callable[..., Job], name: str) -> Inputs:
    extract, _, ways, _, _ = JOBS[name]
    path = shared_data / extract
    return read_inputs(make_job(lines=[{"id": "A", "osm": {"path": path, "way_ids": ways}}], layers=[{"path": path}]))


@pytest.mark.parametrize("name", JOBS)
def test_towers_are_those_of_the_ready_list(shared_data: Path, make_job: Callable[..., Job], name: str) -> None:
    _, folder, _, count, _ = JOBS[name]
    table = pd.read_csv(shared_data / folder / "towers.csv", dtype=str, keep_default_na=False)
    (line,) = read(shared_data, make_job, name).lines
    assert len(line.towers) == len(table) == count
    lonlat = shapely.get_coordinates(line.towers.geometry)
    listed = table[["lon", "lat"]].to_numpy(dtype=float)
    assert lonlat == pytest.approx(listed, abs=1e-7)
    refs = table["osm_ref"].to_numpy()
    own = np.array([ref != "" and (refs == ref).sum() == 1 for ref in refs])
    ids = line.towers["tower_id"].to_numpy()
    assert (ids[own] == refs[own]).all()
    assert all(text.startswith("seq-") for text in ids[~own])
    assert ((line.towers["structure"] == "frame_2") == (table["structure"] == "portal")).all()


@pytest.mark.parametrize("name", JOBS)
def test_features_are_clean(shared_data: Path, make_job: Callable[..., Job], name: str) -> None:
    features = read(shared_data, make_job, name).features
    assert features.is_valid.all()
    assert not features.is_empty.any()
    assert set(features.geom_type) <= {"Point", "LineString", "Polygon"}
    assert np.isfinite(features.bounds).all(axis=None)
    assert features[["feature_id", "obstacle_class", "name", "width_m", "source"]].notna().all(axis=None)
    assert (features["width_m"] >= 0).all()
    assert features["obstacle_class"].nunique() > 10
    ways = {f"osm way {way}" for way in JOBS[name][2]}
    assert not ways & set(features["feature_id"])


def test_map_covers_the_line_inside_the_country(shared_data: Path, make_job: Callable[..., Job]) -> None:
    inputs = read(shared_data, make_job, "andorra_150")
    assert _covered(inputs).all()


def test_map_does_not_cover_what_lies_beyond_the_border(shared_data: Path, make_job: Callable[..., Job]) -> None:
    yes = _covered(read(shared_data, make_job, "andorra_border"))
    # 26 towers stand inside the border (the data's own notes), the last ones of the line; the three before them stand
    # 20 m, 160 m and 350 m beyond, where the extract still has what crosses the border
    assert yes[-26:].all()
    assert not yes[:-29].any()


def test_towers_outside_the_box_are_not_covered(shared_data: Path, make_job: Callable[..., Job]) -> None:
    for name, in_box in (("krems", 30), ("karlsruhe", 9)):
        assert 0 < _covered(read(shared_data, make_job, name)).sum() <= in_box


def test_ready_lists_give_the_same_towers_as_the_extract(shared_data: Path, make_job: Callable[..., Job]) -> None:
    folder = shared_data / "krems/job_110kv"
    towers = {"path": folder / "towers.csv", "id_column": "tower_no"}
    lines = [{"towers": towers, "centreline": {"path": folder / "line.geojson"}}]
    inputs = read_inputs(make_job(lines=lines, layers=[{"path": shared_data / KREMS}]))
    assert inputs.lines[0].towers["tower_id"].tolist()[:2] == ["001", "002"]
    assert len(inputs.lines[0].course) == 1


def test_headers(shared_data: Path, make_job: Callable[..., Job]) -> None:
    inputs = read(shared_data, make_job, "andorra_150")
    (file,) = inputs.files
    assert file.sha256.startswith("092c34352aa5dd14")
    assert file.data_date == "2025-01-19T21:21:36Z"
    assert inputs.extents[0].bounds == pytest.approx((1.4124, 42.4276, 1.7875, 42.6572), abs=1e-4)


def _covered(inputs: Inputs) -> np.ndarray:
    lonlat = shapely.get_coordinates(inputs.lines[0].towers.geometry)
    causes = uncovered_reasons(lonlat, 142.9, inputs.evidence, inputs.extents, inputs.coverage, 1000, 6)
    return np.array([not found for found in causes])


def test_a_large_extract_is_read_apart_for_lines_and_map(
    shared_data: Path, make_job: Callable[..., Job], monkeypatch: pytest.MonkeyPatch
) -> None:
    """All obstacles of a country would fill the memory: near the line the same is found when it is known first."""
    plain = read(shared_data, make_job, "krems")
    monkeypatch.setattr(osm_objects, "_SMALL", 0)
    asked = []
    read_file = extracts.read_osm

    def watched(*args: Any, **options: Any) -> Any:
        asked.append((options["rules"] is not None, options["lines"], options["corridor"] is not None))
        return read_file(*args, **options)

    monkeypatch.setattr(extracts, "read_osm", watched)
    found = read(shared_data, make_job, "krems")
    assert asked == [(False, True, False), (True, False, True)]
    assert_geodataframe_equal(found.features, plain.features)
    assert [line.towers["tower_id"].tolist() for line in found.lines] == [
        line.towers["tower_id"].tolist() for line in plain.lines
    ]
    assert found.problems == plain.problems
    assert (found.files, found.extents) == (plain.files, plain.extents)
