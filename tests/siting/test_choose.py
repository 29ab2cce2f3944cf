from __future__ import annotations

import numpy as np
import pytest

from layoutplan.job import Job
from layoutplan.siting.choose import RayBest, choose_pairs, distinct
from layoutplan.siting.figures import NOTHING_KNOWN
from layoutplan.siting.rays import LEFT, RIGHT


def best(*rows: tuple[int, int, float, float, float]) -> RayBest:
    """Positions as (tower, side, bearing, distance, score), sorted as the fan sorts them."""
    table = sorted(rows, key=lambda row: (row[0], row[1], row[4], row[2]))
    tower, side, bearing, distance, score = np.array(table, dtype=float).reshape(-1, 5).T
    count = len(table)
    return RayBest(
        ray=np.arange(count),
        tower=tower.astype(np.int64),
        side=side.astype(np.int64),
        bearing_deg=bearing,
        angle_deg=np.full(count, 90.0),
        distance_m=distance,
        caution_crossings=np.zeros(count, dtype=np.int64),
        score=score,
    )


def asking(**rules: float) -> Job:
    lines = [{"towers": {"path": "towers.csv"}}]
    return Job.model_validate({"lines": lines, "rules": rules})


def pairs(found: RayBest, towers: int = 1, angle: float = 60.0) -> list[tuple[float, float, bool] | None]:
    """Bearings of H and S for each tower."""
    choice = choose_pairs(found, towers, asking(same_side_min_angle_deg=angle), NOTHING_KNOWN)
    return [
        None if h < 0 else (float(found.bearing_deg[h]), float(found.bearing_deg[s]), bool(same))
        for h, s, same in zip(choice.h, choice.s, choice.same_side, strict=True)
    ]


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        pytest.param([(0, LEFT, 270, 60, 1), (0, RIGHT, 90, 70, 1)], (90, 270, False), id="H is the farther one"),
        pytest.param([(0, LEFT, 270, 70, 1), (0, RIGHT, 90, 60, 1)], (270, 90, False), id="H to the left"),
        pytest.param(
            [(0, LEFT, 270, 60, 1), (0, RIGHT, 90, 60, 1)], (90, 270, False), id="equally far: H to the right"
        ),
        pytest.param(
            [(0, LEFT, 270, 60, 5), (0, LEFT, 280, 60, 1), (0, RIGHT, 90, 60, 9), (0, RIGHT, 80, 60, 2)],
            (80, 280, False),
            id="fewest points on each side",
        ),
        pytest.param(
            [(0, LEFT, 280, 60, 1), (0, LEFT, 260, 60, 1), (0, RIGHT, 90, 60, 1)],
            (90, 260, False),
            id="tie: smaller bearing",
        ),
        pytest.param(
            [(0, RIGHT, 50, 60, 1), (0, RIGHT, 100, 60, 2), (0, RIGHT, 115, 60, 9)], (50, 115, True), id="one side only"
        ),
        pytest.param(
            [(0, RIGHT, 30, 60, 5), (0, RIGHT, 60, 60, 1), (0, RIGHT, 90, 60, 3), (0, RIGHT, 120, 60, 3)],
            (60, 120, True),
            id="best pair on one side",
        ),
        pytest.param([(0, RIGHT, 60, 60, 1), (0, RIGHT, 120, 60, 2)], (60, 120, True), id="exactly the angle"),
        pytest.param([(0, LEFT, 330, 60, 1), (0, LEFT, 30, 70, 2)], (30, 330, True), id="one side, over north"),
        pytest.param([(0, RIGHT, 60, 60, 1), (0, RIGHT, 119, 60, 2)], None, id="too narrow"),
        pytest.param([(0, RIGHT, 60, 60, 1)], None, id="a single position"),
        pytest.param([], None, id="no position"),
    ],
)
def test_pair_of_one_tower(rows: list, expected: tuple | None) -> None:
    assert pairs(best(*rows)) == [expected]


def test_towers_are_chosen_apart() -> None:
    found = best(
        (0, LEFT, 270, 60, 1),
        (0, RIGHT, 90, 61, 1),
        (2, RIGHT, 40, 60, 1),
        (2, RIGHT, 140, 75, 1),
        (3, LEFT, 200, 60, 1),
    )
    assert pairs(found, towers=5) == [(90, 270, False), None, (140, 40, True), None, None]


def test_no_towers() -> None:
    assert pairs(best(), towers=0) == []


@pytest.mark.parametrize(
    ("apart", "count", "bearings"),
    [
        (15, 4, [90, 110, 75]),
        (15, 2, [90, 110]),
        (15, 1, [90]),
        (15, 0, []),
        (5, 9, [90, 95, 110, 75]),
        (200, 9, [90]),
        (1e-9, 9, [90, 95, 91, 110, 75]),
    ],
)
def test_distinct_positions(apart: float, count: int, bearings: list[int]) -> None:
    """On a circle of 60 m a degree is 1.05 m."""
    order = [90, 95, 91, 110, 75]
    found = best(*((0, RIGHT, bearing, 60, points) for points, bearing in enumerate(order)))
    assert found.bearing_deg[distinct(found, apart, count)].tolist() == bearings


def test_distinct_positions_of_two_sides_and_towers() -> None:
    rows = [(tower, side, 90 + side, 60, 1) for tower in (0, 2) for side in (LEFT, RIGHT)]
    assert len(distinct(best(*rows), 15, 3)) == 4
    assert len(distinct(best(), 15, 3)) == 0


def test_distinct_positions_stand_apart_from_every_better_one() -> None:
    rng = np.random.default_rng(5)
    rows = [(0, RIGHT, bearing, rng.integers(60, 140), rng.integers(0, 50)) for bearing in range(30, 151)]
    found = best(*rows)
    chosen = distinct(found, 15.0, 6)
    turn = np.radians(found.bearing_deg)
    xy = found.distance_m[:, None] * np.column_stack((np.sin(turn), np.cos(turn)))
    taken: list[int] = []
    for row in range(len(rows)):
        if len(taken) < 6 and all(np.hypot(*(xy[row] - xy[other])) >= 15 for other in taken):
            taken.append(row)
    assert chosen.tolist() == taken
