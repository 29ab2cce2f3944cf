"""What is left of the base map, and what is said about that, on the page and in the record."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
import shapely
from pyproj import Geod

from layoutplan.outputs.map_page import surroundings, write_map
from layoutplan.outputs.map_page.layers import _json, base_layers
from layoutplan.outputs.map_page.surroundings import base_map, size
from layoutplan.outputs.page_notes import note_tag, page_note
from layoutplan.outputs.record import write_record

from .test_packing import unpacked

GEOD = Geod(ellps="WGS84")


def on_the_page(plan, base) -> int:
    return sum(len(_json(layer.columns).encode()) for layer in base_layers(plan, base))


@pytest.mark.long
@pytest.mark.parametrize("density", [300, 4000])
def test_size_is_not_guessed_too_small(make_plan, density) -> None:
    plan = make_plan(60, hostile=False, density=density)
    base = base_map(plan)
    assert 0.5 * size(base.features) < on_the_page(plan, base) < size(base.features)


def test_crowded_ground_is_cut_closer_to_the_towers(make_plan, monkeypatch) -> None:
    plan = make_plan(20, hostile=False, span_m=1500, density=2000)
    wide = base_map(plan)
    monkeypatch.setattr(surroundings, "_MOST_BYTES", size(wide.features) - 1)
    close = base_map(plan)
    assert 0 < len(close.features) < len(wide.features)
    reach_m = plan.job.rules.reach_m
    assert f"{reach_m + 350:.0f} m from each tower ({len(wide.features)} of {len(plan.obstacles)} map" in wide.note
    assert f"{reach_m + 350:.0f} m" not in close.note
    assert f"({len(close.features)} of {len(plan.obstacles)} map features)" in close.note


def test_outlines_move_by_a_metre_at_most(make_plan) -> None:
    """Every corner of the plan's shape lies within 1 m of what is drawn; measured on the ellipsoid by PROJ."""
    plan = make_plan(8, hostile=False)
    wave = np.linspace(0, 1, 400)
    lon, lat = 9.445 + 0.01 * wave, 47.12 + 0.00002 * np.sin(wave * 300)
    river = plan.obstacles.iloc[[0]].assign(geometry=[shapely.LineString(np.column_stack((lon, lat)))])
    (drawn,) = base_map(replace(plan, obstacles=river)).features.geometry
    assert len(drawn.coords) < 300
    nearest = [drawn.interpolate(drawn.project(shapely.Point(*corner))) for corner in zip(lon, lat, strict=True)]
    off_m = GEOD.inv(lon, lat, [point.x for point in nearest], [point.y for point in nearest])[2]
    assert 0.2 < max(off_m) <= 1.0


def test_stakes_leads_towers_and_line_stay_as_they_are(make_plan, tmp_path) -> None:
    """Read out of the page again: to half of 1e-7 degrees."""
    plan = make_plan(12, hostile=False, density=200)
    text = write_map(plan, tmp_path).read_text("utf-8")
    layers = [json.loads(line.partition(", ")[2][:-2]) for line in text.splitlines() if "layoutplan.add(" in line]
    drawn = {layer["words"]["labels"][0]: layer for layer in layers}
    tables = {"Status": plan.towers, "!": plan.electrodes, "In service": plan.leads, "Length": plan.spans}
    for label, table in tables.items():
        pieces = [piece for shape in drawn[label]["columns"]["shape"] for piece in shape.split()]
        points = np.concatenate([unpacked(piece, drawn[label]["unit"]) for piece in pieces])
        expected = shapely.get_coordinates(table.geometry.array)
        if label == "Status":  # drawn by severity
            expected = expected[drawn[label]["columns"]["tower"]]
        assert np.abs(points - expected).max() < 0.51e-7


def test_the_record_says_what_the_page_says(make_plan, tmp_path) -> None:
    plan = make_plan(hostile=False)
    write_map(plan, tmp_path)
    (tmp_path / "other.html").write_text("<title>no note</title>", "utf-8")
    (note,) = json.loads(write_record(plan, tmp_path).read_text("utf-8"))["notes"]
    assert note == f"map.html: {base_map(plan).note}"
    assert "simplified by up to 1 m" in note
    assert "stakes, leads and line are not simplified" in note
    assert note.removeprefix("map.html: ") in " ".join((tmp_path / "map.html").read_text("utf-8").split())


def test_notes_are_found_again(tmp_path) -> None:
    (tmp_path / "a.html").write_text(f"<head>{note_tag('cut to 5 m')}</head>", "utf-8")
    assert page_note(tmp_path / "a.html") == "cut to 5 m"


def test_the_edge_is_drawn_where_the_base_map_ends(make_plan, tmp_path) -> None:
    """Along the meridian of a lone tower, as far as PROJ measures it."""
    plan = make_plan(1, hostile=False)
    base = base_map(plan)
    tower = plan.towers.iloc[0]
    _, south, _, north = base.edge.bounds
    reach_m = plan.job.rules.reach_m + 350
    assert GEOD.inv(tower.lon, tower.lat, tower.lon, north)[2] == pytest.approx(reach_m, rel=0.01)
    assert GEOD.inv(tower.lon, tower.lat, tower.lon, south)[2] == pytest.approx(reach_m, rel=0.01)
    assert "Edge of the base map: beyond it map features are left out" in write_map(plan, tmp_path).read_text("utf-8")


def test_nothing_around_says_so(make_plan) -> None:
    plan = make_plan(hostile=False)
    note = base_map(replace(plan, obstacles=plan.obstacles.iloc[:0])).note
    assert "no map features lie within" in note
    assert "does not mean clear ground" in note
