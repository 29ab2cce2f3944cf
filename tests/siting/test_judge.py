from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point, box

from layoutplan.job import Score
from layoutplan.siting.figures import FIGURE_TERMS, NOTHING_KNOWN
from layoutplan.siting.judge import TERMS, DistanceSteps, permitted, score_terms, total, within_stretches
from layoutplan.siting.meet import Stretches

from .scenes import Course, Feature, Scene, near_and_rays, north_line, trace
from .strategies import examples


def steps(start: float = 50.0, step: float = 1.0, count: int = 100, rays: int = 1) -> DistanceSteps:
    return DistanceSteps(np.full(rays, start), step, count)


def stretches(*rows: tuple[int, float, float]) -> Stretches:
    ray, enter, leave = np.array(rows, dtype=float).reshape(-1, 3).T
    return Stretches(ray.astype(np.int64), np.zeros(len(ray), dtype=np.int64), enter, leave)


@pytest.mark.parametrize(
    ("at", "first_at", "first_beyond"),
    [(0, 0, 0), (49.9, 0, 0), (50, 0, 1), (50.1, 1, 1), (51, 1, 2), (149, 99, 100), (149.5, 100, 100), (9e3, 100, 100)],
)
def test_number_of_a_step(at: float, first_at: int, first_beyond: int) -> None:
    ray, place = np.zeros(1, dtype=np.int64), np.array([float(at)])
    assert steps().first_at(ray, place)[0] == first_at
    assert steps().first_beyond(ray, place)[0] == first_beyond


@pytest.mark.parametrize("step", [0.1, 0.3, 1.0, 2.5, 10.0])
def test_steps_at_their_own_distance(step: float) -> None:
    """Steps that are no binary fractions: a distance step's own distance, give or take a micrometre, is found again."""
    all_steps = steps(60.0, step, 50)
    ray, number = np.zeros(50, dtype=np.int64), np.arange(50)
    distance = all_steps.distance_m[0]
    assert all_steps.first_at(ray, distance - 1e-6).tolist() == number.tolist()
    assert all_steps.first_beyond(ray, distance + 1e-6).tolist() == (number + 1).tolist()
    assert all_steps.first_at(ray, distance + 1e-6).tolist() == (number + 1).tolist()
    assert all_steps.first_beyond(ray, distance - 1e-6).tolist() == number.tolist()


@given(st.lists(st.tuples(st.integers(0, 2), st.integers(0, 700), st.integers(0, 300)), max_size=25))
@examples(100)
def test_covered_against_counting(rows: list[tuple[int, int, int]]) -> None:
    some = [(ray, first / 7, first / 7 + length / 13) for ray, first, length in rows]
    all_steps = steps(20.0, 1.0, 60, rays=3)
    found = within_stretches(stretches(*some), all_steps)
    assert found.shape == (3, 60)
    assert found.dtype == np.bool_
    for ray in range(3):
        want = [any(r == ray and a <= d <= b for r, a, b in some) for d in all_steps.distance_m[ray]]
        assert found[ray].tolist() == want


@pytest.mark.parametrize(
    ("scene", "first", "last"),
    [
        # 60 m: five times the 12 m assumed for the earth electrode; 142 m: 150 m of reel less 5 % slack
        pytest.param(north_line(), 60, 142, id="nothing in the way"),
        pytest.param(
            north_line(settings={"rules": {"electrode_size_multiple": 0}}), 58, 142, id="line clearance, exactly"
        ),
        pytest.param(north_line(settings={"rules": {"min_distance_m": 70}}), 70, 142, id="least distance, exactly"),
        pytest.param(north_line(settings={"rules": {"reel_m": 105}}), 60, 100, id="reel, exactly"),
        pytest.param(north_line(Feature("main_road", LineString([(90, -99), (90, 99)]), 12)), 60, 74, id="main road"),
        pytest.param(north_line(Feature("railway", LineString([(90, -99), (90, 99)]), 4)), 60, 73, id="railway"),
        pytest.param(north_line(Feature("no_entry", box(100.01, -99, 300, 99))), 60, 100, id="no entry, to its edge"),
        pytest.param(north_line(Feature("standing_water", box(-20, -99, 70, 99))), None, None, id="tower in the water"),
        pytest.param(
            north_line(Feature("permitted_land", box(-20, -99, 80.01, 99))), 60, 80, id="permitted land, to its edge"
        ),
    ],
)
def test_allowed_distances_to_the_east(scene: Scene, first: int | None, last: int | None) -> None:
    ready = scene.ready()
    _, rays = near_and_rays(ready, [90.0])
    all_steps = steps(1.0, 1.0, 200)
    ok = permitted(rays, trace(ready, [90.0], 200.0), all_steps)[0]
    found = all_steps.distance_m[0][ok]
    assert (found.min(initial=np.inf), found.max(initial=-np.inf)) == (first or np.inf, last or -np.inf)
    assert len(found) == (0 if first is None else last - first + 1)


def test_stakes_beyond_a_keep_out_are_allowed() -> None:
    ready = north_line(Feature("minor_road", LineString([(90, -99), (90, 99)]), 6.0)).ready()
    _, rays = near_and_rays(ready, [90.0])
    all_steps = steps(1.0, 1.0, 200)
    ok = permitted(rays, trace(ready, [90.0], 200.0), all_steps)[0]
    assert all_steps.distance_m[0][ok].tolist() == [*range(60, 83), *range(98, 143)]


def term(name: str, scene: Scene, bearing: float = 90.0, distance: float = 100.0) -> float:
    ready = scene.ready()
    _, rays = near_and_rays(ready, [bearing])
    table = score_terms(rays, trace(ready, [bearing]), DistanceSteps(np.array([distance]), 1.0, 1), NOTHING_KNOWN)
    return float(np.broadcast_to(table[name], (1, 1))[0, 0])


CROSSED = [Feature("minor_road", LineString([(x, -99), (x, 99)]), 6.0) for x in (20, 40, 104)]


@pytest.mark.parametrize(
    ("name", "value", "scene"),
    [
        pytest.param("off_square_deg", 0, north_line(), id="square"),
        pytest.param("beyond_min_m", 40, north_line(), id="beyond the least distance"),
        pytest.param("caution_crossings", 0, north_line(), id="no crossing"),
        pytest.param("caution_crossings", 2, north_line(*CROSSED), id="two roads before the stake"),
        pytest.param(
            "caution_crossings", 1, north_line(Feature("permitted_land", box(-9, -9, 60, 9))), id="leaves permit"
        ),
        pytest.param(
            "caution_ground", 1, north_line(Feature("protected_area", box(80, -9, 120, 9))), id="in the reserve"
        ),
        pytest.param(
            "caution_ground", 0, north_line(Feature("protected_area", box(80, -9, 99, 9))), id="past the reserve"
        ),
        pytest.param("near_keep_out", 0, north_line(Feature("building", Point(100, 16))), id="16 m from a building"),
        pytest.param("near_keep_out", 1, north_line(Feature("building", Point(100, 14))), id="14 m from a building"),
        pytest.param("lead_beside_m", 0, north_line(Feature("building", box(50, 6, 60, 20))), id="6 m past a building"),
        pytest.param("lead_beside_m", 3, north_line(Feature("building", box(50, 2, 60, 20))), id="2 m past a building"),
        pytest.param(
            "lead_beside_m",
            4,
            north_line(Feature("main_road", LineString([(20, 7), (90, 99)]), 12.0)),
            id="1 m past the end of a road 12 m wide",
        ),
        pytest.param(
            "lead_beside_m", 0, north_line(Feature("minor_road", LineString([(20, 4), (90, 99)]), 6.0)), id="may cross"
        ),
        pytest.param("lead_beside_m", 0, north_line(Feature("building", box(101, 1, 120, 9))), id="beyond the stake"),
        pytest.param("lead_beside_m", 3, north_line(Feature("building", box(-9, -9, -2, 9))), id="tower at a building"),
        pytest.param(
            "lead_beside_m", 0, north_line(Feature("power_line", LineString([(0, 0), (-90, 90)]), 16.0)), id="its span"
        ),
        pytest.param("woodland_crops_m", 30, north_line(Feature("woodland", box(60, -9, 90, 9))), id="through a wood"),
        pytest.param("woodland_crops_m", 40, north_line(Feature("crops", box(60, -9, 120, 9))), id="into a field"),
        pytest.param("woodland_crops_m", 0, north_line(Feature("crops", box(110, -9, 120, 9))), id="short of a field"),
        pytest.param("woodland_crops_m", 100, north_line(Feature("crops", box(-9, -9, 120, 9))), id="tower in a field"),
        pytest.param(
            "woodland_crops_m",
            50,
            north_line(Feature("crops", box(20, -9, 50, 9)), Feature("woodland", box(30, -9, 70, 9))),
            id="wood and field overlap",
        ),
    ],
)
def test_terms_of_a_stake_100_m_to_the_east(name: str, value: float, scene: Scene) -> None:
    assert term(name, scene) == pytest.approx(value, abs=1e-2)


def test_terms_have_the_published_names() -> None:
    ready = north_line().ready()
    _, rays = near_and_rays(ready, [90.0])
    assert tuple(score_terms(rays, trace(ready, [90.0]), steps(), NOTHING_KNOWN)) == TERMS


WEIGHTS: dict[str, Any] = {
    "off_square_deg": "off_perpendicular_per_deg",
    "beyond_min_m": "beyond_min_per_m",
    "caution_crossings": "caution_crossing",
    "caution_ground": "caution_ground",
    "near_keep_out": "near_keep_out",
    "lead_beside_m": "lead_beside_per_m",
    "woodland_crops_m": "woodland_crops_per_m",
    "induced_v": "induced_per_v",
    "bias_pct": "bias_per_pct",
    "steep_deg": "steep_per_deg",
    "walk_min": "walk_per_min",
}


@pytest.mark.parametrize("name", TERMS)
def test_each_weight_counts_its_own_term(name: str) -> None:
    nothing = dict.fromkeys(WEIGHTS.values(), 0.0)
    terms = {term_: np.full((1, 3), float(number + 1)) for number, term_ in enumerate(TERMS)}
    points = total(terms, Score(**nothing | {WEIGHTS[name]: 10.0}))
    assert np.broadcast_to(points, (1, 3)).tolist() == [[10.0 * (TERMS.index(name) + 1)] * 3]


def test_total_of_the_default_weights() -> None:
    """Off square, too long, two crossings, in a reserve, by a keep-out, past a house, wood, 3 V, 8 %, steep, a walk."""
    values = (10.0, 5.0, 2.0, 1.0, 1.0, 4.5, 40.0, 3.0, 8.0, 4.0, 2.5)
    terms = {name: np.array([[value]]) for name, value in zip(TERMS, values, strict=True)}
    assert total(terms, Score())[0, 0] == pytest.approx(
        10 * 1 + 5 * 0.2 + 2 * 15 + 20 + 10 + 4.5 * 2 + 40 * 0.1 + 3 * 2 + 8 * 0.5 + 4 * 1 + 2.5
    )


def test_what_is_unknown_counts_nothing() -> None:
    terms = {name: np.array([[np.nan if name in FIGURE_TERMS else 1.0]]) for name in TERMS}
    assert total(terms, Score())[0, 0] == pytest.approx(1 + 0.2 + 15 + 20 + 10 + 2 + 0.1)


def test_least_distance_is_that_of_the_tower() -> None:
    """Two towers with earth electrodes of different size in one fan."""
    columns = {"earth_electrode_size_m": np.array([12.0, 20.0, 12.0])}
    scene = Scene((Course([(0, -300), (0, 0), (0, 300)], {}, columns),))
    assert term("beyond_min_m", scene, distance=110.0) == pytest.approx(10.0)
