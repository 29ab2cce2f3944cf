"""Shut moves and inner places against shapely, which asks for each move and place on its own."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from layoutplan.access.lattice import MOVES, along_lines, inside_areas, outline_segments, passed, shut_moves, starts

SIZE = 9


def every_move(number):
    """Starts (row, column) of all moves of one kind, and the moves as lines."""
    rows, cols = (np.arange(part.start, part.stop) for part in starts(MOVES[number], SIZE))
    row, col = (grid.ravel() for grid in np.meshgrid(rows, cols, indexing="ij"))
    ends = np.stack((np.column_stack((col, row)), np.column_stack((col, row)) + MOVES[number]), axis=1)
    return row, col, shapely.linestrings(ends.astype(float))


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("number", range(len(MOVES)))
def test_a_move_is_shut_exactly_where_it_meets_a_barrier(number, seed):
    random = np.random.default_rng(seed)
    ends = random.uniform(-2, SIZE + 1, (6, 2, 2))
    row, col, lines = every_move(number)
    meets = shapely.intersects(lines[:, None], shapely.linestrings(ends)).any(axis=1)
    shut = shut_moves(ends[:, 0], ends[:, 1], SIZE)[number]
    np.testing.assert_array_equal(shut[row, col], meets)


def test_a_barrier_through_places_shuts_all_moves_to_and_from_them():
    shut = shut_moves(np.array([[4.0, -1.0]]), np.array([[4.0, 9.0]]), SIZE)
    for number, (east, _) in enumerate(MOVES):
        row, col, _ = every_move(number)
        across = (np.minimum(col, col + east) <= 4) & (np.maximum(col, col + east) >= 4) & (east != 0)
        np.testing.assert_array_equal(shut[number][row, col], across)


def test_nobody_slips_through_a_slanting_barrier():
    start, end = np.array([[-1.0, 1.3]]), np.array([[9.0, 6.9]])
    shut, barrier = shut_moves(start, end, SIZE), shapely.LineString(np.vstack((start, end)))
    for number in range(len(MOVES)):
        row, col, lines = every_move(number)
        assert not shapely.crosses(lines[~shut[number][row, col]], barrier).any()


@pytest.mark.parametrize("seed", range(10))
def test_places_within_overlapping_areas_with_holes(seed):
    random = np.random.default_rng(seed)
    rings = [shapely.Point(random.uniform(0, SIZE, 2)).buffer(random.uniform(1, 4)) for _ in range(4)]
    areas = np.array([ring.difference(ring.centroid.buffer(0.7)) for ring in rings], dtype=object)
    areas[0] = shapely.reverse(areas[0])  # whichever way round it was drawn
    start, end, ring = outline_segments(areas)
    assert ring.all()
    place = shapely.points(np.stack(np.meshgrid(np.arange(SIZE), np.arange(SIZE)), axis=-1).astype(float))
    expected = shapely.contains(areas[:, None, None], place).any(axis=0)
    np.testing.assert_array_equal(inside_areas(start, end, SIZE), expected)


def test_areas_that_reach_beyond_the_lattice():
    start, end, _ = outline_segments(np.array([shapely.box(-50, -50, 3.5, 50)], dtype=object))
    inside = inside_areas(start, end, SIZE)
    assert inside[:, :4].all()
    assert not inside[:, 4:].any()


@pytest.mark.parametrize("seed", range(10))
def test_places_along_lines_lie_beside_them(seed):
    ends = np.random.default_rng(seed).uniform(0, SIZE - 1, (2, 2))
    mark = along_lines(ends[:1], ends[1:], SIZE)
    row, col = np.nonzero(mark)
    away = shapely.distance(shapely.LineString(ends), shapely.points(np.column_stack((col, row)).astype(float)))
    assert away.max() <= np.sqrt(0.5) + 1e-9
    for end in ends:
        assert mark[tuple(np.rint(end).astype(int)[::-1])]


@pytest.mark.parametrize("move", MOVES)
def test_a_move_passes_through_equal_lengths_of_its_cells(move):
    way = shapely.LineString([(0, 0), move])
    cells = [shapely.box(east - 0.5, north - 0.5, east + 0.5, north + 0.5) for east, north in passed(move)]
    lengths = [cell.intersection(way).length for cell in cells]
    assert lengths == pytest.approx([way.length / len(cells)] * len(cells))


def test_no_pieces_no_marks():
    none = np.empty((0, 2))
    assert not shut_moves(none, none, SIZE).any()
    assert not inside_areas(none, none, SIZE).any()
    assert not along_lines(none, none, SIZE).any()
    assert len(outline_segments(np.array([shapely.Point(0, 0)], dtype=object))[0]) == 0
