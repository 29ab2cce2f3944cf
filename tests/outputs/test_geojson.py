"""plan.geojson after RFC 7946."""

import json

import numpy as np
import pyogrio
import pytest
import shapely

from layoutplan.outputs.columns import on_the_globe
from layoutplan.outputs.geojson import cut_at_antimeridian, write_geojson


def read(path) -> dict:
    def refuse(constant: str) -> None:
        raise AssertionError(f"{constant} is not JSON")

    return json.loads(path.read_text("utf-8"), parse_constant=refuse)


def test_kinds_and_positions(plan, tmp_path) -> None:
    features = read(write_geojson(plan, tmp_path))["features"]
    kinds = [feature["properties"]["kind"] for feature in features]
    expected = ["tower"] * len(plan.towers) + ["electrode"] * len(plan.electrodes) + ["lead"] * len(plan.leads)
    assert kinds == expected
    first = features[0]
    assert first["geometry"]["type"] == "Point"
    assert first["geometry"]["coordinates"] == pytest.approx([plan.towers["lon"][0], plan.towers["lat"][0]], abs=1e-7)
    assert [f["properties"]["tower_id"] for f in features[: len(plan.towers)]] == plan.towers["tower_id"].tolist()


def test_the_collection_has_no_crs(plan, tmp_path) -> None:
    assert set(read(write_geojson(plan, tmp_path))) == {"type", "plan_number", "features"}  # RFC 7946, sections 4, 6.1


def test_across_the_antimeridian(make_plan, tmp_path) -> None:
    plan = make_plan(9, lon=180.0, lat=-17.0, span_m=8.0)
    features = read(write_geojson(on_the_globe(plan), tmp_path))["features"]
    shapes = [shapely.from_geojson(json.dumps(feature["geometry"])) for feature in features]
    x = shapely.get_coordinates(shapes)[:, 0]
    assert ((x >= -180) & (x <= 180)).all()
    leads = [shape for shape, f in zip(shapes, features, strict=True) if f["properties"]["kind"] == "lead"]
    cut = [lead for lead in leads if lead.geom_type == "MultiLineString"]
    assert cut, "no lead of this plan crosses the antimeridian: the test tests nothing"
    for lead in leads:
        for part in shapely.get_parts(lead):
            assert part.bounds[2] - part.bounds[0] < 0.01  # no part runs round the Earth
    lengths = [sum(part.length for part in shapely.get_parts(lead)) for lead in leads]
    assert np.allclose(lengths, shapely.length(plan.leads.geometry.array), atol=1e-6)


def test_cutting() -> None:
    line = shapely.LineString([(179.5, 0), (180.5, 1)])
    (cut,) = cut_at_antimeridian([line])
    assert cut.equals(shapely.from_wkt("MULTILINESTRING ((179.5 0, 180 0.5), (-180 0.5, -179.5 1))"))
    west = shapely.LineString([(-180.5, 0), (-179.5, 1)])
    assert cut_at_antimeridian([west])[0].equals(cut)


def test_unknown_is_null(plan, tmp_path) -> None:
    plan.electrodes.loc[0, "distance_from_leg_m"] = np.nan
    features = read(write_geojson(plan, tmp_path))["features"]
    assert features[len(plan.towers)]["properties"]["distance_from_leg_m"] is None


def test_out_of_reach_is_null_too(plan, tmp_path) -> None:
    """JSON has no infinity (RFC 8259, section 6)."""
    distance = plan.towers["distance_for_bias_target_m"]
    assert np.isinf(distance).any()
    features = read(write_geojson(plan, tmp_path))["features"][: len(plan.towers)]
    found = [feature["properties"]["distance_for_bias_target_m"] for feature in features]
    assert found == [round(value, 2) if np.isfinite(value) else None for value in distance]


def test_another_reader(plan, tmp_path) -> None:
    table = pyogrio.read_dataframe(write_geojson(plan, tmp_path))
    assert table.crs == "EPSG:4326"
    assert len(table) == len(plan.towers) + len(plan.electrodes) + len(plan.leads)


def test_empty_and_repeated(empty_plan, tmp_path) -> None:
    first = write_geojson(empty_plan, tmp_path).read_bytes()
    assert len(json.loads(first)["features"]) == len(empty_plan.towers)
    assert write_geojson(empty_plan, tmp_path).read_bytes() == first
