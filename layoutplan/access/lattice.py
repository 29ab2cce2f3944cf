"""Places on a square lattice, the straight moves between them, and how lines and areas lie to both.

Coordinates are counted in cells: place (row, column) lies at ``u = column``, ``v = row``, rows run north. A move goes
straight to one of sixteen neighbours; the eight ``MOVES`` and their opposites. A barrier shuts exactly the moves that
meet it, however thin it is and wherever it lies between the places, so that no way slips through between two cells.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutplan.arrays import BoolArray, FloatArray, IntArray

Geometries = NDArray[np.object_]

MOVES = ((1, 0), (0, 1), (1, 1), (-1, 1), (2, 1), (1, 2), (-1, 2), (-2, 1))  # columns east, rows north
_TOUCH = 1e-9  # in cells: a move that ends this near to a barrier meets it


def outline_segments(shapes: Geometries) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Straight pieces of lines and of the rings of areas, outer rings counter-clockwise.

    Parameters
    ----------
    shapes : ndarray of Geometry
        Points have no pieces; parts of several are taken one by one.

    Returns
    -------
    start, end : ndarray, shape (n, 2)
        In the unit of the shapes.
    of_area : ndarray of bool, shape (n,)
        Whether a piece belongs to a ring.

    Examples
    --------
    >>> start, end, of_area = outline_segments(np.array([shapely.box(0, 0, 2, 1), shapely.Point(5, 5)]))
    >>> end.tolist(), of_area.tolist()
    ([[2.0, 1.0], [0.0, 1.0], [0.0, 0.0], [2.0, 0.0]], [True, True, True, True])
    """
    parts = shapely.get_parts(shapes)
    dimension = shapely.get_dimensions(parts)
    lines = parts[dimension == 1]
    rings = shapely.get_rings(shapely.orient_polygons(parts[dimension == 2]))
    coords, line = shapely.get_coordinates(np.concatenate((lines, rings)), return_index=True)
    same = line[1:] == line[:-1]
    return coords[:-1][same], coords[1:][same], line[:-1][same] >= len(lines)


def shut_moves(start: FloatArray, end: FloatArray, size: int) -> BoolArray:
    """Which moves meet some straight pieces.

    Parameters
    ----------
    start, end : ndarray, shape (n, 2)
        ``u`` and ``v`` of the ends of each piece. [cells]
    size : int
        Rows and columns of the lattice.

    Returns
    -------
    ndarray of bool, shape (8, size, size)
        For each of ``MOVES`` and each place the move starts from.

    Notes
    -----
    All moves of one kind ``a`` lie on parallel lines. With a second lattice vector ``b``, chosen so that every place is
    ``i a + k b`` with whole ``i`` and ``k``, those lines are ``k = 0, 1, …``: a piece meets line ``k`` at one ``i``,
    whose whole part tells the move. A piece that runs along such a line is met by the other kinds of moves.

    Examples
    --------
    A fence between the columns 0 and 1 of a lattice of 3 by 3: the first move, to the east, is shut from column 0 only.

    >>> shut_moves(np.array([[0.5, -1.0]]), np.array([[0.5, 3.0]]), 3)[0].tolist()
    [[True, False, False], [True, False, False], [True, False, False]]
    """
    shut = np.zeros((len(MOVES), size, size), dtype=bool)
    for number, (east, north) in enumerate(MOVES):
        b_east, b_north = (0, 1) if abs(east) == 1 else (1, 0)
        inverse = np.linalg.inv(np.array([[east, b_east], [north, b_north]], dtype=float)).T
        (i0, k0), (i1, k1) = (start @ inverse).T, (end @ inverse).T
        piece, line = _whole_between(k0, k1)
        share = np.clip((line - k0[piece]) / (k1 - k0)[piece], 0.0, 1.0)
        along = i0[piece] + share * (i1 - i0)[piece]
        for side in (-_TOUCH, _TOUCH):
            i = np.floor(along + side).astype(np.int64)
            row, col = i * north + line * b_north, i * east + line * b_east
            inside = (row >= 0) & (row < size) & (col >= 0) & (col < size)
            shut[number, row[inside], col[inside]] = True
    return shut


def inside_areas(start: FloatArray, end: FloatArray, size: int) -> BoolArray:
    """Mark places within areas, which may overlap.

    Parameters
    ----------
    start, end : ndarray, shape (n, 2)
        Pieces of the rings, outer ones counter-clockwise (:func:`outline_segments`). [cells]
    size : int
        Rows and columns of the lattice.

    Returns
    -------
    ndarray of bool, shape (size, size)
        By row and column.

    Notes
    -----
    Along each row from the west, a ring met southward is entered, one met northward is left; the count is the number
    of areas a place lies in (winding number).

    Examples
    --------
    >>> start, end, _ = outline_segments(np.array([shapely.box(0.5, 0.5, 2.5, 1.5)]))
    >>> inside_areas(start, end, 3).astype(int)
    array([[0, 0, 0],
           [0, 1, 1],
           [0, 0, 0]])
    """
    v0, v1 = start[:, 1], end[:, 1]
    first = np.ceil(np.minimum(v0, v1)).astype(np.int64)
    count = np.ceil(np.maximum(v0, v1)).astype(np.int64) - first
    piece = np.repeat(np.arange(len(count)), count)
    row = np.arange(len(piece)) - np.repeat(np.cumsum(count) - count, count) + first[piece]
    share = (row - v0[piece]) / (v1 - v0)[piece]
    u = start[piece, 0] + share * (end - start)[piece, 0]
    col = np.clip(np.ceil(u), 0, size).astype(np.int64)
    there = (row >= 0) & (row < size)
    step = np.where(v1 > v0, -1.0, 1.0)[piece]
    steps = np.bincount((row * (size + 1) + col)[there], step[there], size * (size + 1))
    return np.asarray(np.cumsum(steps.reshape(size, size + 1), axis=1)[:, :size] > 0.5)


def along_lines(start: FloatArray, end: FloatArray, size: int) -> BoolArray:
    """Mark the places nearest to points on straight pieces, half a cell apart or less.

    Parameters
    ----------
    start, end : ndarray, shape (n, 2)
        ``u`` and ``v`` of the ends of each piece. [cells]
    size : int
        Rows and columns of the lattice.

    Returns
    -------
    ndarray of bool, shape (size, size)
        By row and column.

    Examples
    --------
    >>> along_lines(np.array([[0.0, 0.0]]), np.array([[2.0, 2.0]]), 3).astype(int)
    array([[1, 0, 0],
           [0, 1, 0],
           [0, 0, 1]])
    """
    steps = np.ceil(2.0 * np.hypot(*(end - start).T)).astype(np.int64) + 1
    piece = np.repeat(np.arange(len(steps)), steps)
    number = np.arange(len(piece)) - np.repeat(np.cumsum(steps) - steps, steps)
    share = (number / np.maximum(steps - 1, 1)[piece])[:, None]
    cell = np.rint(start[piece] + share * (end - start)[piece]).astype(np.int64)
    cell = cell[((cell >= 0) & (cell < size)).all(axis=1)]
    mark = np.zeros((size, size), dtype=bool)
    mark[cell[:, 1], cell[:, 0]] = True
    return mark


def shifted_views(grid: NDArray[np.float64], move: tuple[int, int], by: tuple[int, int]) -> NDArray[np.float64]:
    """Values ``by`` (columns, rows) away from all places where ``move`` starts and ends on the lattice; a view.

    Parameters
    ----------
    grid : ndarray, shape (size, size)
        Rows to the north.
    move : tuple of int
        Columns and rows from the start of a move to its end.
    by : tuple of int
        Columns and rows from the start.

    Returns
    -------
    ndarray
        A view of the grid.

    Examples
    --------
    What lies one column to the east of every place from which a move to the east is possible:

    >>> shifted_views(np.arange(9.0).reshape(3, 3), (1, 0), (1, 0))
    array([[1., 2.],
           [4., 5.],
           [7., 8.]])
    """
    rows, cols = starts(move, len(grid))
    return grid[rows.start + by[1] : rows.stop + by[1], cols.start + by[0] : cols.stop + by[0]]


def starts(move: tuple[int, int], size: int) -> tuple[slice, slice]:
    """Rows and columns of the places from which a move ends on the lattice.

    Parameters
    ----------
    move : tuple of int
        Columns and rows.
    size : int
        Cells along a side.

    Returns
    -------
    rows, columns : slice

    Examples
    --------
    >>> starts((1, 0), 3)
    (slice(0, 3, None), slice(0, 2, None))
    """
    return tuple(slice(max(0, -step), size - max(0, step)) for step in (move[1], move[0]))  # type: ignore[return-value]


def passed(move: tuple[int, int]) -> tuple[tuple[int, int], ...]:
    """Cells (columns, rows from the start) of which a move passes through equal lengths.

    Parameters
    ----------
    move : tuple of int
        Columns and rows.

    Returns
    -------
    tuple of (int, int)

    Examples
    --------
    A step to the side passes through the cells of its ends, a knight's move through two more:

    >>> passed((1, 0)), passed((2, 1))
    (((0, 0), (1, 0)), ((0, 0), (1, 0), (1, 1), (2, 1)))
    """
    east, north = move
    if abs(east) == 2:
        return ((0, 0), (east // 2, 0), (east // 2, north), move)
    if north == 2:
        return ((0, 0), (0, 1), (east, 1), move)
    return ((0, 0), move)


@lru_cache(maxsize=4)
def graph_places(size: int) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Where the moves from each place end, and where each place's moves begin: the structure of a sparse matrix.

    Moves that leave the lattice end anywhere; their weight must be infinite.

    Parameters
    ----------
    size : int
        Cells along a side.

    Returns
    -------
    indices, indptr : ndarray of int32
        As in `scipy.sparse.csr_array`, eight entries in each row.

    Examples
    --------
    >>> indices, indptr = graph_places(3)
    >>> indices[:3].tolist(), indptr[:3].tolist()  # from place 0: east, north, north-east
    ([1, 3, 4], [0, 8, 16])
    """
    shift = np.array([north * size + east for east, north in MOVES])
    ends = np.clip(np.arange(size * size)[:, None] + shift, 0, size * size - 1).astype(np.int32)
    return ends.reshape(-1), np.arange(0, size * size * len(MOVES) + 1, len(MOVES), dtype=np.int32)


def _whole_between(low: FloatArray, high: FloatArray) -> tuple[IntArray, IntArray]:
    """For each pair of numbers the whole numbers between them, ends included; none if the two are the same."""
    first = np.ceil(np.minimum(low, high) - _TOUCH).astype(np.int64)
    last = np.floor(np.maximum(low, high) + _TOUCH).astype(np.int64)
    count = np.where(np.abs(high - low) > 1e-12, np.maximum(last - first + 1, 0), 0)
    pair = np.repeat(np.arange(len(count)), count)
    number = np.arange(len(pair)) - np.repeat(np.cumsum(count) - count, count)
    return pair, first[pair] + number
