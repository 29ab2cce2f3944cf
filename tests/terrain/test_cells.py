"""Heights and gradients between cells.

Sources: Horn 1981, worked out by hand on one patch; the rest derived here: on a plane z = a x + b y + c bilinear
values and gradients are exact, and a mean of cells is unknown where an unknown one has weight.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.terrain.cells import (
    aspect_deg,
    bilinear,
    gradient_between,
    horn,
    on_the_ground,
    slope_deg,
)

NAN = np.nan
NORTH_UP_1M = np.array([[1.0, 0.0], [0.0, -1.0]])  # columns to the east, rows to the south
share = st.floats(0, 1)
steep = st.floats(-5, 5)


@given(a=steep, b=steep, c=st.floats(-500, 4000), row=st.lists(share, min_size=1, max_size=5), col=share)
def test_bilinear_is_exact_on_any_plane(a: float, b: float, c: float, row: list[float], col: float) -> None:
    i, j = np.mgrid[:7, :9].astype(float)
    rows, cols = np.array(row) * 6, np.full(len(row), col * 8)
    found = bilinear(a * i + b * j + c, rows, cols)
    assert found == pytest.approx(a * rows + b * cols + c, abs=1e-5 * (1 + abs(a) + abs(b)))


def test_bilinear_between_four_cells() -> None:
    cells = np.array([[0.0, 10.0], [20.0, 70.0]])
    assert bilinear(cells, np.array([0.5, 0.0, 0.25]), np.array([0.5, 0.25, 1.0])) == pytest.approx([25, 2.5, 25])


def test_at_a_cells_centre_the_value_is_the_cells() -> None:
    cells = np.random.default_rng(1).normal(size=(5, 6)).astype(np.float32)
    i, j = np.mgrid[:5, :6]
    for off in (0.0, 1e-9, -1e-9):
        assert (bilinear(cells, i.ravel() + off, j.ravel() - off) == cells.ravel()).all()


@pytest.mark.parametrize(
    ("row", "col", "known"),
    [
        (0.0, 0.0, True),
        (2.0, 2.0, True),
        (1.0, 1.0, False),  # the unknown cell itself
        (0.0, 0.5, True),  # between two known cells; the unknown one has no weight
        (0.0, 1.0, True),
        (0.5, 0.0, True),
        (0.5, 0.5, False),
        (1e-3, 1.0, False),
        (1.5, 2.0, True),
        (-0.01, 0.0, False),  # outside
        (2.01, 0.0, False),
        (0.0, 2.01, False),
        (NAN, 0.0, False),
    ],
)
def test_unknown_cells_count_where_they_have_weight(row: float, col: float, known: bool) -> None:
    cells = np.arange(9.0).reshape(3, 3)
    cells[1, 1] = NAN
    assert np.isfinite(bilinear(cells, np.array([row]), np.array([col])))[0] == known


def test_empty_cells_and_no_places() -> None:
    assert np.isnan(bilinear(np.empty((0, 0)), np.zeros(2), np.zeros(2))).all()
    assert len(bilinear(np.zeros((2, 2)), np.empty(0), np.empty(0))) == 0
    assert horn(np.zeros((1, 5))).shape == (0, 3)


def test_long_lists_of_places_are_looked_up_in_parts() -> None:
    i, j = np.mgrid[:200, :300].astype(float)
    rng = np.random.default_rng(2)
    row, col = rng.uniform(-1, 200, 50_000), rng.uniform(0, 299, 50_000)
    found = bilinear(3 * i - 2 * j, row, col)
    inside = (row >= 0) & (row <= 199)
    assert found[inside] == pytest.approx((3 * row - 2 * col)[inside])
    assert np.isnan(found[~inside]).all()


def test_horn_on_a_patch_by_hand() -> None:
    """B. K. P. Horn, Proc. IEEE 69(1), 1981: p = ((z++ + 2 z+0 + z+-) - (z-+ + 2 z-0 + z--)) / 8 dx, likewise q.

    The patch, and the sums worked out on paper: east column 50 + 2 * 45 + 90 = 230, west column 50 + 2 * 30 + 8 = 118,
    so 112 / 8 = 14 m per cell to the east; lower row 8 + 2 * 10 + 90 = 118, upper row 50 + 2 * 45 + 50 = 190, so
    -72 / 8 = -9 m per cell downwards.
    """
    patch = np.array([[50.0, 45.0, 50.0], [30.0, 30.0, 45.0], [8.0, 10.0, 90.0]])
    assert horn(patch) == np.array([[14.0 - 9.0j]])
    ground = on_the_ground(horn(patch)[0] / 5, NORTH_UP_1M)  # cells of 5 m: 2.8 uphill to the east, 1.8 to the north
    assert ground == pytest.approx([2.8 + 1.8j])
    assert slope_deg(ground) == pytest.approx([np.degrees(np.arctan(np.sqrt(2.8**2 + 1.8**2)))])
    assert aspect_deg(ground) == pytest.approx([180 + np.degrees(np.arctan2(2.8, 1.8))])  # faces away from uphill


@given(a=steep, b=steep, row=share, col=share)
def test_gradient_is_exact_on_any_plane(a: float, b: float, row: float, col: float) -> None:
    i, j = np.mgrid[:6, :7].astype(float)
    found = gradient_between(a * i + b * j, 1 + 3 * np.array([row]), 1 + 4 * np.array([col]))
    assert found == pytest.approx([b + 1j * a], abs=1e-9)


def test_gradient_lies_between_those_of_the_cells() -> None:
    cells = np.random.default_rng(3).normal(size=(8, 8))
    at = horn(cells)
    want = 0.25 * (0.4 * at[1, 2] + 0.6 * at[1, 3]) + 0.75 * (0.4 * at[2, 2] + 0.6 * at[2, 3])
    assert gradient_between(cells, np.array([2.75]), np.array([3.6])) == pytest.approx([want])


def test_an_unknown_neighbour_makes_the_gradient_unknown() -> None:
    cells = np.zeros((7, 7))
    cells[3, 3] = NAN
    known = np.isfinite(horn(cells))
    assert (~known).sum() == 9
    assert not known[1:4, 1:4].any()


@pytest.mark.parametrize(
    ("uphill", "faces"), [(1j, 180.0), (-1j, 0.0), (1, 270.0), (-1, 90.0), (-1 - 1j, 45.0), (1e-30 - 1j, 0.0)]
)
def test_aspect_is_the_direction_downhill(uphill: complex, faces: float) -> None:
    """Uphill to the north: the ground faces south."""
    found = aspect_deg(np.array([uphill]))[0]
    assert found == pytest.approx(faces)
    assert 0 <= found < 360


def test_level_ground_has_no_aspect() -> None:
    gradient = np.array([0j, NAN + 0j])
    assert np.isnan(aspect_deg(gradient)).all()
    assert slope_deg(gradient)[0] == 0
    assert np.isnan(slope_deg(gradient)[1])


def test_gradient_turned_to_the_ground_on_turned_oblong_cells() -> None:
    """A plane stays the same plane in cells of 2 m by 5 m, turned by 30 degrees."""
    turn = np.radians(30.0)
    east_north_per_cell = np.array([[2 * np.cos(turn), 5 * np.sin(turn)], [-2 * np.sin(turn), 5 * np.cos(turn)]])
    i, j = np.mgrid[:3, :3].astype(float)
    east, north = np.tensordot(east_north_per_cell, np.stack((j, i)), axes=1)
    cells = horn(0.3 * east - 0.4 * north)[0]
    assert on_the_ground(cells, np.linalg.inv(east_north_per_cell)) == pytest.approx([0.3 - 0.4j])
