from __future__ import annotations

import numpy as np
import pytest

from layoutplan.job import Job
from layoutplan.siting.choose import RayBest, choose_pairs, distinct
from layoutplan.siting.figures import NOTHING_KNOWN
from layoutplan.siting.pairs import better_on_one_side
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


def asking(**rules: float | str) -> Job:
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


class Reads:
    """Figures by which every two positions read so much out of true, and leads opposite each other differently."""

    def __init__(self, bias_pct: float, coupling_pct: float, opposite_pct: float = 6.0) -> None:
        self.one_side, self.opposite = (bias_pct, coupling_pct), opposite_pct

    def __call__(self, tower: np.ndarray, bearing_deg: np.ndarray, distance_m: np.ndarray) -> dict[str, np.ndarray]:
        del tower, bearing_deg
        return {"bias_pct": np.full(distance_m.shape, self.opposite)}

    def pair_bias_pct(self, tower: int, bearing_deg: np.ndarray, distance_m: np.ndarray) -> np.ndarray:
        del tower, distance_m
        return self._of(bearing_deg, self.one_side[0], self.opposite)

    def coupling_pct(self, tower: int, bearing_deg: np.ndarray, distance_m: np.ndarray) -> np.ndarray:
        del tower, distance_m
        return self._of(bearing_deg, self.one_side[1], 0.0)

    def _of(self, bearing_deg: np.ndarray, one_side: float, opposite: float) -> np.ndarray:
        right = bearing_deg < 180
        return np.where(right[:, None] == right, one_side, opposite)

    def rows(self, index: np.ndarray) -> Reads:
        del index
        return self


FIELD_AND_FARMYARD = best(
    (0, RIGHT, 55, 70, 10), (0, RIGHT, 90, 76, 2), (0, RIGHT, 125, 76, 9), (0, LEFT, 270, 60, 80)
)  # the field lies to the right; whatever stands to the left needs four agreements


@pytest.mark.parametrize(
    ("sides", "expected"), [("required", (90, 270)), ("preferred", (90, 270)), ("scored", (125, 55))]
)
def test_sides_say_how_firmly_opposite_ones_are_wanted(sides: str, expected: tuple[int, int]) -> None:
    job, figures = asking(sides=sides), Reads(4.0, 1.0)
    choice = choose_pairs(FIELD_AND_FARMYARD, 1, job, figures)
    pairs, choice = better_on_one_side(FIELD_AND_FARMYARD, choice, job, figures)
    found = FIELD_AND_FARMYARD.bearing_deg[[choice.h[0], choice.s[0]]]
    assert tuple(found) == expected
    assert choice.same_side[0] == (sides == "scored")
    assert len(pairs) == (sides == "preferred")


def test_a_better_pair_on_one_side_is_told_with_its_reading() -> None:
    """10 and 9 points, 1 % coupled from lead to lead, and 2 % less bias twice at half a point each."""
    job, figures = asking(), Reads(4.0, 1.0)
    pairs, _ = better_on_one_side(FIELD_AND_FARMYARD, choose_pairs(FIELD_AND_FARMYARD, 1, job, figures), job, figures)
    assert pairs.bearing_deg.tolist() == [[125.0, 55.0]]  # H is the farther one
    assert pairs.distance_m.tolist() == [[76.0, 70.0]]
    assert (pairs.score[0], pairs.chosen_score[0]) == (19 + 1 - 2, 82)
    assert (pairs.bias_pct[0], pairs.coupling_pct[0], pairs.side[0]) == (4.0, 1.0, RIGHT)
    assert (pairs.chosen_bias_pct[0], pairs.chosen_coupling_pct[0]) == (6.0, 0.0)


@pytest.mark.parametrize(
    ("bias", "coupling", "opposite", "told"),
    [
        pytest.param(9.0, 0.9, 6.0, True, id="within the target of 10 %"),
        pytest.param(9.0, 1.1, 6.0, False, id="beyond the target, and worse than the chosen one"),
        pytest.param(12.0, 1.0, 14.0, True, id="beyond the target, as the chosen one is"),
        pytest.param(np.nan, 1.0, 6.0, False, id="unknown is not as good"),
        pytest.param(4.0, np.nan, 6.0, False, id="coupling unknown"),
    ],
)
def test_a_pair_on_one_side_has_to_read_as_well(bias: float, coupling: float, opposite: float, told: bool) -> None:
    job, figures = asking(), Reads(bias, coupling, opposite)
    choice = choose_pairs(FIELD_AND_FARMYARD, 1, job, figures)
    assert len(better_on_one_side(FIELD_AND_FARMYARD, choice, job, figures)[0]) == told


def test_a_pair_on_one_side_without_fewer_points_or_angle_is_not_told() -> None:
    for rows in (
        [(0, RIGHT, 55, 70, 10), (0, RIGHT, 125, 76, 9), (0, LEFT, 270, 60, 9)],  # 20 points are not fewer than 18
        [(0, RIGHT, 70, 70, 1), (0, RIGHT, 120, 76, 1), (0, LEFT, 270, 60, 80)],  # 50 degrees apart
    ):
        found, job, figures = best(*rows), asking(), Reads(4.0, 1.0)
        assert len(better_on_one_side(found, choose_pairs(found, 1, job, figures), job, figures)[0]) == 0


def test_where_opposite_sides_are_required_one_side_gives_no_pair() -> None:
    found = best((0, RIGHT, 40, 60, 1), (0, RIGHT, 140, 75, 1))
    assert choose_pairs(found, 1, asking(sides="required"), NOTHING_KNOWN).h.tolist() == [-1]


class InLine:
    """Figures by which leads couple as the parts of them that run in one line (common practice, no source)."""

    def coupling_pct(self, tower: int, bearing_deg: np.ndarray, distance_m: np.ndarray) -> np.ndarray:
        del tower, distance_m
        return 3.0 * np.abs(np.cos(np.radians(bearing_deg[:, None] - bearing_deg)))

    def pair_bias_pct(self, tower: int, bearing_deg: np.ndarray, distance_m: np.ndarray) -> np.ndarray:
        del tower, distance_m
        return np.zeros((len(bearing_deg), len(bearing_deg)))

    def __call__(self, tower: np.ndarray, bearing_deg: np.ndarray, distance_m: np.ndarray) -> dict[str, np.ndarray]:
        del tower, bearing_deg
        return {"bias_pct": np.zeros(distance_m.shape)}


@pytest.mark.parametrize(
    ("sides", "limit", "expected"),
    [
        ("preferred", 4.0, (270.0, 45.0, False)),
        ("preferred", 1.0, (45.0, 135.0, True)),
        ("scored", 1.0, (45.0, 135.0, True)),
        ("required", 1.0, None),
    ],
)
def test_coupling_that_no_opposite_pair_keeps_is_kept_on_one_side_if_the_job_lets_it(
    sides: str, limit: float, expected: tuple[float, float, bool] | None
) -> None:
    """Two leads to the right, 90 degrees apart, couple nothing; either with the one to the left couples 2.1 %."""
    found = best((0, RIGHT, 45, 70, 1), (0, RIGHT, 135, 60, 2), (0, LEFT, 270, 80, 1))
    job, figures = asking(sides=sides, max_coupling_pct=limit), InLine()
    choice = choose_pairs(found, 1, job, figures)
    _, choice = better_on_one_side(found, choice, job, figures)
    if expected is None:
        assert choice.h[0] == choice.s[0] == -1
        assert choice.ways_out[0].rule == "lead_coupling"
        return
    assert (found.bearing_deg[choice.h[0]], found.bearing_deg[choice.s[0]], choice.same_side[0]) == expected
    assert choice.coupled[0] == (limit == 1.0)
    assert not choice.ways_out
