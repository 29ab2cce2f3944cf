from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from layoutplan.line import LineModel, Towers, build_lines
from layoutplan.line.geodesy import turn_deg

from .lines import line_input

STRAIGHT = [(0, 0), (300, 0), (600, 0)]
PLACES = [(10.0, 48.0), (12.0005, 60.0), (179.999, -17.0), (-179.999, 66.0), (0.0, 0.0), (70.0, -79.0), (25.0, 83.0)]


def model(towers_m: Any, *more: Any, **options: Any) -> LineModel:
    return build_lines([line_input(towers_m, *more, **options)])


def one(towers: Towers, tower_id: str) -> Towers:
    return towers.rows(np.flatnonzero(towers.tower_id == tower_id))


@pytest.mark.parametrize(("lon", "lat"), PLACES)
def test_bearings_lengths_and_deflections_anywhere(lon: float, lat: float) -> None:
    """A line to the north-east that turns right by 50 degrees, then left by 90; every tower against geographiclib."""
    bearings = [40.0, 90.0, 0.0]
    steps = [[300 * np.sin(np.radians(b)), 300 * np.cos(np.radians(b))] for b in bearings]
    xy = np.vstack(([0, 0], np.cumsum(steps, axis=0)))
    towers = model(xy, lon=lon, lat=lat).towers
    assert towers.deflection_deg == pytest.approx([0, 50, -90, 0], abs=0.02)
    lonlat = towers.lonlat_deg
    for i in range(3):
        want = Geodesic.WGS84.Inverse(lonlat[i, 1], lonlat[i, 0], lonlat[i + 1, 1], lonlat[i + 1, 0])
        assert turn_deg(towers.ahead_deg[i] - want["azi1"]) == pytest.approx(0, abs=1e-6)
        assert turn_deg(towers.back_deg[i + 1] - want["azi2"] - 180) == pytest.approx(0, abs=1e-6)
        assert np.diff(towers.chainage_m)[i] == pytest.approx(want["s12"], abs=1e-6)
    assert np.ptp(lonlat[:, 0]) < 0.2


@pytest.mark.parametrize(
    ("towers_m", "deflection", "direction"),
    [
        pytest.param([(0, -300), (0, 0), (0, 300)], 0.0, 0.0, id="straight to the north"),
        pytest.param([(0, 300), (0, 0), (0, -300)], 0.0, 180.0, id="straight to the south"),
        pytest.param([(0, -300), (0, 0), (300, 0)], 90.0, 45.0, id="right turn"),
        pytest.param([(300, 0), (0, 0), (0, -300)], -90.0, 225.0, id="left turn on the way back"),
        pytest.param([(0, -300), (0, 0), (-300, 0)], -90.0, 315.0, id="left turn"),
        pytest.param([(-300, 0), (0, 0), (300, 10)], -1.909152, 89.045424, id="slight left turn"),
        pytest.param([(-150, 260), (0, 0), (-150, -260)], 59.963, 180.0, id="right turn about south"),
        pytest.param([(150, -260), (0, 0), (150, 260)], 59.963, 0.0, id="right turn about north"),
    ],
)
def test_direction_and_deflection(towers_m: Any, deflection: float, direction: float) -> None:
    middle = one(model(towers_m).towers, "2")
    assert middle.deflection_deg[0] == pytest.approx(deflection, abs=1e-3)
    assert turn_deg(middle.line_bearing_deg[0] - direction) == pytest.approx(0.0, abs=1e-3)
    assert 0 <= middle.line_bearing_deg[0] < 360


def test_direction_halves_the_angle_between_the_spans() -> None:
    rng = np.random.default_rng(3)
    towers = model(np.cumsum(rng.uniform(100, 300, (20, 2)) * [1, 0.8], axis=0), in_order=True).towers
    inner = slice(1, -1)
    left = turn_deg(towers.ahead_deg - towers.line_bearing_deg)[inner]
    right = turn_deg(towers.line_bearing_deg - (towers.back_deg + 180))[inner]
    assert left == pytest.approx(right, abs=1e-9)
    assert left * 2 == pytest.approx(towers.deflection_deg[inner], abs=1e-9)


def test_terminal_towers_take_the_bearing_of_their_only_span() -> None:
    towers = model([(0, 0), (300, 0), (600, 300)]).towers
    assert np.isnan(towers.adjoining_deg).sum(axis=1).tolist() == [1, 0, 1]
    assert towers.deflection_deg[[0, 2]] == pytest.approx(0)
    assert towers.line_bearing_deg[[0, 2]] == pytest.approx([90, 45], abs=0.01)
    assert towers.back_deg[0] == pytest.approx(270, abs=0.01)
    assert towers.ahead_deg[2] == pytest.approx(45, abs=0.01)


def test_line_that_goes_on_has_no_terminal_tower_there() -> None:
    found = model([(0, 0), (300, 0)], [(0, 0), (300, 0), (300, 500)])
    last = one(found.towers, "2")
    assert not np.isnan(last.adjoining_deg[0, :2]).any()
    assert last.deflection_deg[0] == pytest.approx(-90, abs=0.01)
    assert found.spans.to_tower.tolist() == ["2", ""]
    assert found.spans.from_tower.tolist() == ["1", "2"]


def test_bearing_is_that_of_the_conductor_that_leaves_the_tower() -> None:
    """The centreline bends on the way: the angle that matters is to the first piece of the span."""
    found = model([(0, 0), (600, 0)], [(0, 0), (300, 300), (600, 0)])
    assert found.towers.ahead_deg[0] == pytest.approx(45, abs=0.01)
    assert found.towers.back_deg[1] == pytest.approx(315, abs=0.01)
    assert len(found.spans) == 2
    assert found.spans.from_tower.tolist() == ["1", "1"]


def test_spans_join_end_to_end() -> None:
    spans = model([(0, 0), (300, 0), (600, 300), (900, 300)]).spans
    assert spans.end_deg[:-1].tolist() == spans.start_deg[1:].tolist()
    assert list(zip(spans.from_tower, spans.to_tower, strict=True)) == [("1", "2"), ("2", "3"), ("3", "4")]
    assert spans.half_width_m.tolist() == [8.0] * 3


def tee(**branch: Any) -> LineModel:
    main = line_input([(-300, 0), (0, 0), (300, 0)], ids=["a", "b", "c"], settings={"id": "main"})
    options = {"ids": ["x", "y", "z"], "settings": {"id": "branch", "half_width_m": 12.0}} | branch
    return build_lines([main, line_input(options.pop("towers_m", [(0.3, 0.4), (0, 300), (0, 600)]), **options)])


def test_branch_tower_has_the_spans_of_both_lines() -> None:
    found = tee()
    assert found.towers.tower_id.tolist() == ["a", "b", "c", "y", "z"]
    shared = one(found.towers, "b")
    bearings = shared.adjoining_deg[0][~np.isnan(shared.adjoining_deg[0])]
    assert np.sort(np.mod(bearings + 1, 360) - 1) == pytest.approx([0, 90, 270], abs=0.1)
    assert len(found.spans) == 4
    assert len(found.offsets_m) == 5
    assert "tower x of line 'branch' is tower b of line 'main': planned once" in found.problems[0]


def test_branch_tower_keeps_the_direction_of_its_first_line() -> None:
    shared = one(tee().towers, "b")
    assert shared.line_bearing_deg[0] == pytest.approx(90, abs=0.01)
    assert shared.deflection_deg[0] == pytest.approx(0, abs=0.01)


def test_towers_of_two_lines_two_metres_apart_are_two_towers() -> None:
    found = tee(towers_m=[(0, 2), (0, 300), (0, 600)])
    assert len(found.towers) == 6
    assert found.problems == ()


@pytest.mark.parametrize("order", [(0, 1, 2), (1, 0, 2), (2, 1, 0), (1, 2, 0)])
def test_a_tower_shared_with_a_line_beside_stays_planned_wherever_the_job_lists_that_line(order: Any) -> None:
    lines = [
        line_input([(-300, 0), (0, 0), (300, 0)], ids=["a", "b", "c"], settings={"id": "main"}),
        line_input([(0, -300), (0, 0), (0, 300)], ids=["u", "v", "w"], settings={"id": "beside", "measured": False}),
        line_input([(0, 0), (300, 300)], ids=["x", "y"], settings={"id": "branch"}),
    ]
    found = build_lines([lines[i] for i in order])
    assert sorted(found.towers.tower_id) in (["a", "b", "c", "y"], ["a", "c", "x", "y"])
    bearings = found.towers.adjoining_deg[np.isin(found.towers.tower_id, ["b", "x"])][0]
    assert np.sort(bearings[~np.isnan(bearings)]) == pytest.approx([0, 45, 90, 180, 270], abs=0.1)
    assert len(found.problems) == 2
    assert all("planned once, under 'beside'" not in text for text in found.problems)


def test_branch_that_passes_through() -> None:
    found = tee(towers_m=[(0, -300), (0, 0), (0, 300)])
    bearings = one(found.towers, "b").adjoining_deg[0]
    assert np.sort(bearings) == pytest.approx([0, 90, 180, 270], abs=0.01)


def test_three_lines_at_one_tower() -> None:
    ends = [(300, 0), (-150, 260), (-150, -260)]
    found = build_lines(
        [line_input([(0, 0), end], ids=["t", f"e{i}"], settings={"id": f"line {i}"}) for i, end in enumerate(ends)]
    )
    assert found.towers.tower_id.tolist() == ["t", "e0", "e1", "e2"]
    bearings = found.towers.adjoining_deg[0]
    assert np.sort(bearings[~np.isnan(bearings)]) == pytest.approx([90, 210, 330], abs=0.1)
    assert len(found.problems) == 2


def test_two_lines_on_the_same_towers() -> None:
    both = [line_input(STRAIGHT, settings={"id": name}) for name in ("north circuit", "south circuit")]
    found = build_lines(both)
    assert found.towers.line_id.tolist() == ["north circuit"] * 3
    assert len(found.spans) == 4
    assert len(found.problems) == 3
    assert np.nanmax(np.abs(turn_deg(found.towers.adjoining_deg[0] - 90))) < 0.01


def test_same_ids_in_two_lines_far_apart_stay_apart() -> None:
    lines = [line_input(STRAIGHT, settings={"id": name}, lat=lat) for name, lat in (("a", 48.0), ("b", 49.0))]
    found = build_lines(lines)
    assert list(zip(found.towers.line_id, found.towers.tower_id, strict=True)) == [
        (line, tower) for line in "ab" for tower in "123"
    ]
    assert found.towers.order.tolist() == [1, 2, 3, 1, 2, 3]


def test_branch_across_the_antimeridian() -> None:
    """The same tower counted once as 180.0001 and once as -179.9999 degrees of longitude."""
    main = line_input(STRAIGHT, lon=179.996, lat=-17.0, settings={"id": "main"}, ids=["a", "b", "c"])
    other = line_input([(600, 0), (600, 300)], lon=179.996 - 360, lat=-17.0, settings={"id": "branch"}, ids=["x", "y"])
    found = build_lines([main, other])
    assert found.towers.tower_id.tolist() == ["a", "b", "c", "y"]


def test_figures_of_the_table_come_before_those_of_the_line() -> None:
    source = line_input(
        STRAIGHT,
        settings={"base_width_m": 6.0, "earth_electrode_size_m": 20.0, "structure": "pole", "leg": "left back"},
        base_width_m=[8.0, np.nan, np.nan],
        earth_electrode_size_m=[np.nan, 33.0, np.nan],
        structure=["lattice_4", "", "frame_2"],
    )
    towers = build_lines([source]).towers
    assert towers.base_width_m.tolist() == [8.0, 6.0, 6.0]
    assert towers.electrode_size_m.tolist() == [20.0, 33.0, 20.0]
    assert towers.structure.tolist() == ["lattice_4", "pole", "frame_2"]
    assert towers.leg.tolist() == ["left back", "", "left"]
    assert not towers.size_assumed.any()


def test_size_of_the_earth_electrode_is_assumed_where_unknown() -> None:
    """The diagonal of the base, or 12 m (judgement): said so."""
    found = build_lines([line_input(STRAIGHT, base_width_m=[7.0, np.nan, np.nan])])
    assert found.towers.electrode_size_m == pytest.approx([7 * 2**0.5, 12.0, 12.0])
    assert found.towers.size_assumed.all()
    assert any("not known for 3 tower(s)" in text for text in found.assumptions)
    assert any("no leg is named for 2 tower(s)" in text for text in found.assumptions)


def test_rows_selects_towers() -> None:
    towers = model(STRAIGHT).towers
    some = towers.rows(np.array([2, 0]))
    assert some.tower_id.tolist() == ["3", "1"]
    assert some.adjoining_deg.shape == (2, 2)
    assert len(towers.rows(slice(1, 2))) == 1
