"""Files on one lattice of cells, seen as one raster that is read as far as it is asked for."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.terrain.cells import Cells
from layoutplan.terrain.chart import Chart
from layoutplan.terrain.raster_file import Heights, RasterFile, read_windows
from layoutplan.terrain.tiles import TILE, Key, Tile, TileStore

Box = tuple[int, int, int, int]  # first row and column, and those after the last
Kernel = Callable[[Heights, FloatArray, FloatArray], Cells]

_MARGIN = 2  # cells that a kernel may look beyond the places it is asked for
_LARGEST_WINDOW = 1 << 20  # cells looked at together
_BLOCK = 128  # cells along the side of the windows that scattered places are looked up in
_TOGETHER = 64  # such windows whose tiles are read in one go


@dataclass(frozen=True, slots=True)
class MosaicFile:
    """A file and where its first cell lies in the mosaic."""

    file: RasterFile
    row: int
    col: int


class Mosaic:
    """Files on one lattice; where several hold a cell, the first one counts.

    Parameters
    ----------
    number : int
        Tells the mosaics of a store apart.
    chart : Chart
        Of the file whose first cell is row 0, column 0.
    placed : sequence of MosaicFile
    store : TileStore
    """

    def __init__(self, number: int, chart: Chart, placed: Sequence[MosaicFile], store: TileStore) -> None:
        self.chart = chart
        self._number, self._placed, self._store = number, tuple(placed), store
        boxes = [(at.row, at.col, at.row + at.file.height, at.col + at.file.width) for at in placed]
        self._top, self._left, self._bottom, self._right = np.array(boxes, dtype=np.int64).T

    def at(self, row: FloatArray, col: FloatArray, kernel: Kernel) -> Cells:
        """Apply a kernel at places of the mosaic, window by window.

        Parameters
        ----------
        row, col : ndarray, shape (n,)
            In cells; NaN where unknown.
        kernel : callable
            Takes a rectangle of heights, and rows and columns in it; gives a value for each place. It may look at the
            four cells around a place and at their neighbours.

        Returns
        -------
        ndarray, shape (n,)
            NaN outside the files.
        """
        extent = _extent(row, col)
        small = _is_small(extent)
        if small and self._meets(box := _box(extent)):
            return kernel(self.window(box), row - box[0], col - box[1])
        out = np.full(len(row), np.nan, dtype=kernel(np.empty((0, 0), np.float32), row[:0], col[:0]).dtype)
        groups = [] if small else _groups(np.flatnonzero(self._near(row, col)), row, col)
        for first in range(0, len(groups), _TOGETHER):
            some = groups[first : first + _TOGETHER]
            self.fetch(_box(_extent(row[group], col[group])) for group in some)
            for group in some:
                out[group] = self.at(row[group], col[group], kernel)
        return out

    def window(self, box: Box) -> Heights:
        """Heights in a rectangle of cells.

        Parameters
        ----------
        box : (top, left, bottom, right)
            Rows and columns; the last two are not included.

        Returns
        -------
        ndarray of float32, shape (rows, columns)
            NaN where no file has one. [m]
        """
        top, left, bottom, right = box
        out = np.full((bottom - top, right - left), np.nan, dtype=np.float32)
        for (_, i, j), tile in self._store.get(self._keys([box]), self._read).items():
            _fill(out, (top, left), tile, (i * TILE, j * TILE))
        return out

    def fetch(self, boxes: Iterable[Box]) -> None:
        """Read the tiles of several rectangles in one go, so far as they take no more than half the store.

        Parameters
        ----------
        boxes : iterable of (top, left, bottom, right)
            Rows and columns; the last two are not included.
        """
        self._store.get(self._keys(boxes)[: self._store.most // 2], self._read)

    def _meets(self, box: Box) -> bool:
        top, left, bottom, right = box
        return bool(
            top < self._bottom.max()
            and bottom > self._top.min()
            and left < self._right.max()
            and right > self._left.min()
        )

    def _near(self, row: FloatArray, col: FloatArray) -> NDArray[np.bool_]:
        near = (row > self._top.min() - 1) & (row < self._bottom.max())
        return near & (col > self._left.min() - 1) & (col < self._right.max())

    def _keys(self, boxes: Iterable[Box]) -> list[Key]:
        """Tiles of some rectangles that a file reaches, row by row."""
        tiles = {
            tile
            for top, left, bottom, right in boxes
            for tile in product(range(top // TILE, -(-bottom // TILE)), range(left // TILE, -(-right // TILE)))
        }
        return [(self._number, i, j) for i, j in sorted(tiles) if len(self._files_in(i, j))]

    def _files_in(self, i: int, j: int) -> IntArray:
        meets = (self._top < (i + 1) * TILE) & (self._bottom > i * TILE)
        return np.flatnonzero(meets & (self._left < (j + 1) * TILE) & (self._right > j * TILE))

    def _read(self, keys: list[Key]) -> dict[Key, Tile]:
        tiles = {key: np.full((TILE, TILE), np.nan, dtype=np.float32) for key in keys}
        wanted: dict[int, list[Key]] = {}
        for key in keys:
            for number in self._files_in(*key[1:]):
                wanted.setdefault(int(number), []).append(key)
        for number in sorted(wanted):
            placed = self._placed[number]
            cuts = [_cut(placed, key) for key in wanted[number]]
            for key, cut, heights in zip(wanted[number], cuts, read_windows(placed.file, cuts), strict=True):
                corner = (placed.row + cut[0], placed.col + cut[1])
                _fill(tiles[key], (key[1] * TILE, key[2] * TILE), heights, corner)
        return tiles


def _cut(placed: MosaicFile, key: Key) -> tuple[int, int, int, int]:
    """Window of a file that falls into a tile: row, column, height, width."""
    row, col = key[1] * TILE - placed.row, key[2] * TILE - placed.col
    first_row, first_col = max(row, 0), max(col, 0)
    return (
        first_row,
        first_col,
        min(row + TILE, placed.file.height) - first_row,
        min(col + TILE, placed.file.width) - first_col,
    )


def _fill(onto: Heights, onto_corner: tuple[int, int], cells: Heights, corner: tuple[int, int]) -> None:
    """Fill what is unknown in one rectangle of the mosaic from another."""
    ours, theirs = [], []
    for begin, size, other, other_size in zip(onto_corner, onto.shape, corner, cells.shape, strict=True):
        first, last = max(begin, other), min(begin + size, other + other_size)
        ours.append(slice(first - begin, last - begin))
        theirs.append(slice(first - other, last - other))
    part = onto[tuple(ours)]
    np.copyto(part, cells[tuple(theirs)], where=np.isnan(part))


def _extent(row: FloatArray, col: FloatArray) -> FloatArray:
    """Least row and column and greatest row and column, NaN if one of them is unknown or there is none."""
    return np.array([row.min(), col.min(), row.max(), col.max()]) if len(row) else np.full(4, np.nan)


def _is_small(extent: FloatArray) -> bool:
    height, width = extent[2:] - extent[:2] + 2 * _MARGIN
    return bool(height * width <= _LARGEST_WINDOW)


def _box(extent: FloatArray) -> Box:
    top, left = np.floor(extent[:2]).astype(int) - _MARGIN
    bottom, right = np.floor(extent[2:]).astype(int) + _MARGIN + 1
    return int(top), int(left), int(bottom), int(right)


def _groups(members: IntArray, row: FloatArray, col: FloatArray) -> list[IntArray]:
    """Split places into groups of one block each."""
    block = (row[members] // _BLOCK).astype(np.int64) * (1 << 32) + (col[members] // _BLOCK).astype(np.int64)
    order = np.argsort(block, kind="stable")
    return [group for group in np.split(members[order], np.flatnonzero(np.diff(block[order])) + 1) if len(group)]
